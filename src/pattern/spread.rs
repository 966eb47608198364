//! How pale tissue is spread over the plant: evenly, or on one side.

use super::look::Look;
use crate::tissue::class::Tissue;

/// Sectors around the crown for evenness: at most about one leaf each.
pub(super) const SECTORS: usize = 12;
/// Sectors around the crown for halves: a dividing line every 10 degrees.
const FINE: usize = 3 * SECTORS;
/// Slopes of the lines between the fine sectors of a quarter: tangents of 10, 20, ... 80 degrees.
const LINES: [f32; FINE / 4 - 1] =
    [0.176_327, 0.363_970, 0.577_350, 0.839_100, 1.191_754, 1.732_051, 2.747_477, 5.671_282];
/// Arcs of this many sectors are tried as the one side: a sixth to a half of the circle; the rest is the other.
const ARC: std::ops::RangeInclusive<usize> = 2..=SECTORS / 2;
/// Least share of the leaf on each side.
const LEAST_SIDE: f64 = 0.1;
/// Least share of the leaf in each half: with less the plant is seen from one side only.
const LEAST_HALF: f64 = 0.25;
/// Side of the tiles over which evenness over the leaves is told, parts of the diameter: about a leaf's width.
const TILE: f32 = 0.15;
/// Shares of pale tissue under and over which there is nothing to be spread: the error of a class, 2 %.
const SPREADABLE: std::ops::RangeInclusive<f64> = 0.02..=0.98;

/// How evenly pale tissue is spread: 1 - F, where F = variance of the parts' pale shares / (p (1 - p)) and p is the share
/// of the whole: Wright's fixation index (Wright 1951, Annals of Eugenics 15:323-354), which tells for genes what is
/// asked here for tissue. 1 if all parts have the same share, 0 if each part is all pale or all green. The use of F on
/// leaves is our own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evenness {
    /// Over tiles of 0.15 of the diameter, about a leaf's width.
    pub leaves: f64,
    /// Over 12 sectors around the crown: what offsets from different sides will be like.
    pub around: f64,
}

/// The two halves of a plant, parted by the line through the crown between whose sides green capacity differs most. Also
/// patches strewn by chance differ a little.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Halves {
    /// Green capacity of the poorer half, green / (green + cream + gold) in the tissue map.
    pub weak: f64,
    /// The same of the other half.
    pub strong: f64,
    /// Where the poorer half lies, seen from the crown: degrees from the right, counter-clockwise in the upright photo.
    pub weak_deg: f64,
}

/// The arc around the crown that parts pale from green best.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Side {
    /// Part of the variance of pale against green that the arc against the rest explains, 0..1.
    pub explained: f64,
    /// Share of the green and pale leaf on the paler side, 0..1.
    pub share: f64,
    /// Where the paler side lies, as [`Halves::weak_deg`].
    pub deg: f64,
    /// Green capacity of the paler side, as in [`Halves`].
    pub weak: f64,
    /// The same of the rest.
    pub strong: f64,
}

/// Green and pale leaf of one part of the plant, pixels.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Part {
    pale: f64,
    all: f64,
}

impl Part {
    fn add(&mut self, other: Part) {
        self.pale += other.pale;
        self.all += other.all;
    }

    fn share(self) -> f64 {
        self.pale / self.all.max(1.0)
    }

    /// Of `whole`, what is not in this part.
    fn rest(self, whole: Part) -> Part {
        Part { pale: whole.pale - self.pale, all: whole.all - self.all }
    }
}

/// Pale tissue by sectors and tiles.
pub(super) struct Spread {
    fine: [Part; FINE],
    tiles: Vec<Part>,
    whole: Part,
}

impl Spread {
    pub(super) fn new(look: &Look, crown: [f32; 2]) -> Self {
        let (w, h) = (look.tissue.width(), look.tissue.height());
        let side = ((TILE * look.diameter) as usize).max(1);
        let across = w.div_ceil(side);
        let mut fine = [Part::default(); FINE];
        let mut tiles = vec![Part::default(); across * h.div_ceil(side)];
        for y in 0..h {
            let tiles = &mut tiles[y / side * across..];
            for (number, (tile, classes)) in tiles.iter_mut().zip(look.tissue.row(y).chunks(side)).enumerate() {
                for (x, class) in (number * side..).zip(classes) {
                    let pale = match class {
                        Some(Tissue::Green) => 0.0,
                        Some(Tissue::Cream | Tissue::Gold) => 1.0,
                        Some(Tissue::Red | Tissue::Band | Tissue::Dead | Tissue::Unsure) | None => continue,
                    };
                    let part = Part { pale, all: 1.0 };
                    fine[fine_sector(crown, x as f32, y as f32)].add(part);
                    tile.add(part);
                }
            }
        }
        Self { fine, tiles, whole: arc(&fine, 0, FINE) }
    }

    /// The best of all arcs.
    pub(super) fn side(&self) -> Side {
        let mean = self.whole.share();
        let arcs = (0..SECTORS).flat_map(|first| ARC.map(move |length| (3 * first, 3 * length)));
        let sides = arcs.filter_map(|(first, length)| {
            let arc = arc(&self.fine, first, length);
            let rest = arc.rest(self.whole);
            let size = arc.all / self.whole.all.max(1.0);
            let apart = size * (1.0 - size) * (arc.share() - rest.share()).powi(2);
            let (share, deg) = if arc.share() > rest.share() {
                (size, middle(first, length))
            } else {
                (1.0 - size, middle(first + length, FINE - length))
            };
            let explained = apart / (mean * (1.0 - mean)).max(0.02);
            let (weak, strong) = (1.0 - arc.share().max(rest.share()), 1.0 - arc.share().min(rest.share()));
            (LEAST_SIDE..=1.0 - LEAST_SIDE).contains(&size).then_some(Side { explained, share, deg, weak, strong })
        });
        sides.max_by(|a, b| a.explained.total_cmp(&b.explained)).unwrap_or_default()
    }

    /// `None` where one half of the plant is hardly seen.
    pub(super) fn halves(&self) -> Option<Halves> {
        let halves = (0..FINE).filter_map(|first| {
            let weak = arc(&self.fine, first, FINE / 2);
            let strong = weak.rest(self.whole);
            let seen = weak.all.min(strong.all) >= (LEAST_HALF * self.whole.all).max(1.0);
            let [weak, strong] = [weak, strong].map(|half| 1.0 - half.share());
            seen.then_some(Halves { weak, strong, weak_deg: middle(first, FINE / 2) })
        });
        halves.max_by(|a, b| (a.strong - a.weak).total_cmp(&(b.strong - b.weak)))
    }

    /// `None` where there is no pale or no green tissue to speak of.
    pub(super) fn evenness(&self) -> Option<Evenness> {
        let mean = self.whole.share();
        SPREADABLE.contains(&mean).then(|| {
            let even = |parts: &[Part]| {
                let variance: f64 = parts.iter().map(|p| p.all * (p.share() - mean).powi(2)).sum();
                (1.0 - variance / self.whole.all / (mean * (1.0 - mean))).clamp(0.0, 1.0)
            };
            let sectors: Vec<Part> = (0..SECTORS).map(|i| arc(&self.fine, 3 * i, 3)).collect();
            Evenness { leaves: even(&self.tiles), around: even(&sectors) }
        })
    }
}

/// Sum of `length` fine sectors from `first` on, around the circle.
fn arc(fine: &[Part; FINE], first: usize, length: usize) -> Part {
    let mut sum = Part::default();
    (first..first + length).for_each(|i| sum.add(fine[i % FINE]));
    sum
}

/// Middle of an arc of fine sectors, degrees from the right, counter-clockwise; sectors run clockwise, as rows run down.
fn middle(first: usize, length: usize) -> f64 {
    (-(first as f64 + length as f64 / 2.0) * 360.0 / FINE as f64).rem_euclid(360.0)
}

/// Sector of a place around the crown.
pub(super) fn sector(crown: [f32; 2], x: f32, y: f32) -> usize {
    fine_sector(crown, x, y) * SECTORS / FINE
}

/// Fine sector of a place around the crown: turned back by whole quarters, it lies above so many of the lines between sectors.
fn fine_sector(crown: [f32; 2], x: f32, y: f32) -> usize {
    let [x, y] = [x - crown[0], y - crown[1]];
    let (quarter, along, up) = match (x > 0.0, y > 0.0) {
        (false, true) => (1, y, -x),
        (false, false) if x < 0.0 => (2, -x, -y),
        (_, false) if y < 0.0 => (3, -y, x),
        _ => (0, x, y),
    };
    quarter * FINE / 4 + LINES.iter().filter(|&&slope| up > slope * along).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sectors_are_ten_degrees_each() {
        let crown = [7.25, -3.5];
        for number in 0..720 {
            let degrees = number as f32 / 2.0 + 0.25;
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (x, y) = (crown[0] + 90.0 * cos, crown[1] + 90.0 * sin);
            assert_eq!(fine_sector(crown, x, y), (degrees / 10.0) as usize, "{degrees}");
            assert_eq!(sector(crown, x, y), (degrees / 30.0) as usize, "{degrees}");
        }
        let beside = [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0], [0.0, 0.0]];
        assert_eq!(beside.map(|[x, y]| fine_sector([0.0; 2], x, y)), [0, 9, 18, 27, 0]);
    }
}
