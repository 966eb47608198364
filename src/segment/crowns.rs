//! Plants told apart by their crowns (the growing point, the middle of a rosette). The network says how likely each place is a
//! crown and, for each place on a plant, where its crown lies; a pixel belongs to the crown that its vote comes nearest to
//! (Cheng et al. 2020, "Panoptic-DeepLab", CVPR, arXiv:1911.10194).

use crate::base::bilinear::{bilinear, bilinear_part};
use crate::base::raster::{Raster, Rect};
use crate::base::resample::nearest;
use crate::segment::regions::{Component, measured, pieces, spread};
use std::collections::{BTreeMap, BTreeSet};

/// What the network says of crowns in one part of the photo, on a grid of its own, coarser than the outline's.
#[derive(Debug, Clone)]
pub struct Crowns {
    /// Logit of a crown.
    pub heat: Raster<f32>,
    /// Where the crown of the plant seen at each cell lies: cells to the right of it, and down.
    pub offset: [Raster<f32>; 2],
}

/// A crown: a cell whose heat is above this (logit of 0.3), and the highest around.
const CROWN: f32 = -0.85;
/// Cells to each side among which a crown is the highest.
const AROUND: usize = 3;
/// Crowns nearer than this share of a plant's size (root of its cells) to its crown are the same plant's. Of two rosettes that
/// overlap by a third of their diameters, crowns are .9 sizes apart; where one is seen twice on real photos, under .25.
const SAME: f32 = 0.35;
/// A vote counts for a crown that it misses by no more than this share of its way, and [`SLACK`] cells.
const MISSED: f32 = 0.5;
/// See [`MISSED`]: the votes of crowns themselves have no way to go, and miss a little.
const SLACK: f32 = 3.0;
/// A crown has a part alone, or among others, only with the votes of at least this share of the cells that come nearest to it.
const BELIEVED: f32 = 0.25;
/// A crown with fewer votes in a part than this share of the part's strongest is none of that part.
const FEWEST_VOTES: f32 = 0.04;
/// A piece of a plant smaller than this share of its largest one goes to what lies around it.
const CRUMB: f32 = 0.1;

/// A place on the crowns' grid, in cells.
type Cell = (f32, f32);

/// What gaps in the mask mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gaps {
    /// Something may lie across a plant: parts with one crown are one plant.
    Within,
    /// They were painted to part plants: a crown has one part.
    Between,
}

/// A label picture of the plants in the connected parts of a mask (a label picture): 0 outside, then 1, 2, ... Parts without any
/// crown are plants of their own.
pub fn tell_apart(parts: &Raster<u32>, crowns: &Crowns, gaps: Gaps) -> Raster<u32> {
    let (width, height) = (parts.width(), parts.height());
    let ballots = crowns.ballots(parts);
    let peaks = distinct(&crowns.peaks(), &ballots);
    let owners = owners(parts, &ballots, &peaks, gaps);
    let own = |part: u32| owners[part as usize].as_slice();
    if owners.iter().all(|own| own.len() < 2) {
        return parts.map(|part| own(part).first().copied().unwrap_or(0));
    }
    let way = [0, 1].map(|k| bilinear(&crowns.offset[k], width, height));
    let cell_of = |at: usize, cells: usize, pixels: usize| (at as f32 + 0.5) * cells as f32 / pixels as f32 - 0.5;
    let mut plants = Raster::filled(width, height, 0u32);
    for y in 0..height {
        for x in 0..width {
            let plant = match own(parts.get(x, y)) {
                [] => continue,
                [only] => *only,
                several => {
                    let u = cell_of(x, crowns.heat.width(), width) + way[0].get(x, y);
                    let v = cell_of(y, crowns.heat.height(), height) + way[1].get(x, y);
                    nearest_of((u, v), &peaks, several.iter().copied())
                }
            };
            plants.set(x, y, plant);
        }
    }
    without_crumbs(parts, plants)
}

/// A cell on a part of the mask, and the place that it votes for.
struct Ballot {
    part: usize,
    cell: Cell,
    vote: Cell,
}

impl Ballot {
    /// Number of the peak that it comes nearest to, and whether it counts for it.
    fn choice(&self, peaks: &[Cell]) -> Option<(usize, bool)> {
        let number = (nearest_of(self.vote, peaks, 1..=peaks.len() as u32) as usize).checked_sub(1)?;
        let near = MISSED * squared(self.cell, self.vote).sqrt() + SLACK;
        Some((number, squared(self.vote, peaks[number]) <= near * near))
    }
}

/// The crowns without those that lie inside another crown's plant; a plant's strongest crown stays.
fn distinct(peaks: &[Cell], ballots: &[Ballot]) -> Vec<Cell> {
    let mut strength = vec![0usize; peaks.len()];
    for (number, _) in ballots.iter().filter_map(|ballot| ballot.choice(peaks)).filter(|&(_, counts)| counts) {
        strength[number] += 1;
    }
    let mut strongest_first: Vec<usize> = (0..peaks.len()).collect();
    strongest_first.sort_by_key(|&i| std::cmp::Reverse(strength[i]));
    let mut kept: Vec<usize> = Vec::new();
    for i in strongest_first {
        let apart = |&other: &usize| squared(peaks[i], peaks[other]) >= SAME * SAME * strength[other] as f32;
        if kept.iter().all(apart) {
            kept.push(i);
        }
    }
    kept.into_iter().map(|i| peaks[i]).collect()
}

/// For each part (0: outside) the plants it holds, by label: 1 + the number of a crown, or a number of its own.
fn owners(parts: &Raster<u32>, ballots: &[Ballot], peaks: &[Cell], gaps: Gaps) -> Vec<Vec<u32>> {
    let count = parts.as_slice().iter().max().map_or(0, |&m| m as usize);
    let mut cast = vec![vec![(0usize, 0usize); peaks.len()]; count + 1];
    for ballot in ballots {
        if let Some((number, counts)) = ballot.choice(peaks) {
            let (all, counted) = &mut cast[ballot.part][number];
            *all += 1;
            *counted += usize::from(counts);
        }
    }
    let home = |number: usize| (0..=count).max_by_key(|&part| cast[part][number].1);
    let homes: Vec<Option<usize>> = (0..peaks.len()).map(home).collect();
    let plants_of = |part: usize| {
        let strongest = cast[part].iter().map(|&(_, counted)| counted).max().unwrap_or(0) as f32;
        let holds = |&number: &usize| {
            let (all, counted) = cast[part][number];
            let enough = counted as f32 >= (BELIEVED * all as f32).max(FEWEST_VOTES * strongest);
            counted > 0 && enough && (gaps == Gaps::Within || homes[number] == Some(part))
        };
        let own: Vec<u32> = (0..peaks.len()).filter(holds).map(|number| number as u32 + 1).collect();
        if own.is_empty() && part > 0 { vec![(peaks.len() + part) as u32] } else { own }
    };
    (0..=count).map(plants_of).collect()
}

/// Label, among `several`, of the peak that the vote comes nearest to; 0 without any.
fn nearest_of(vote: Cell, peaks: &[Cell], several: impl Iterator<Item = u32>) -> u32 {
    let missed = |label: u32| squared(vote, peaks[label as usize - 1]);
    several.map(|label| (missed(label), label)).min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0, |(_, label)| label)
}

fn squared(a: Cell, b: Cell) -> f32 {
    (a.0 - b.0).powi(2) + (a.1 - b.1).powi(2)
}

impl Crowns {
    /// The same with left and right exchanged.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let [right, down] = &self.offset;
        Self { heat: self.heat.mirrored(), offset: [right.mirrored().map(|v| -v), down.mirrored()] }
    }

    /// What was seen over `whole`, read over its part `rect` on a grid of `size`.
    #[must_use]
    pub fn part(&self, whole: Rect, rect: Rect, size: (usize, usize)) -> Self {
        let read = |field: &Raster<f32>| bilinear_part(field, whole, rect, size);
        let finer = (size.0 * whole.width) as f32 / (rect.width * self.heat.width()) as f32;
        let offset = [0, 1].map(|k| read(&self.offset[k]).map(|cells| cells * finer));
        Self { heat: read(&self.heat), offset }
    }

    /// The crowns, in rows.
    fn peaks(&self) -> Vec<Cell> {
        let (w, h) = (self.heat.width(), self.heat.height());
        // Of equals the first counts.
        let above = |(u, v): (usize, usize), (x, y): (usize, usize)| {
            let order = self.heat.get(u, v).total_cmp(&self.heat.get(x, y));
            order.then((y, x).cmp(&(v, u))).is_gt()
        };
        let highest_around = |x: usize, y: usize| {
            let (columns, rows) =
                (x.saturating_sub(AROUND)..(x + AROUND + 1).min(w), y.saturating_sub(AROUND)..(y + AROUND + 1).min(h));
            !rows.flat_map(|v| columns.clone().map(move |u| (u, v))).any(|other| above(other, (x, y)))
        };
        let places = (0..h).flat_map(|y| (0..w).map(move |x| (x, y)));
        let crowns = places.filter(|&(x, y)| self.heat.get(x, y) > CROWN && highest_around(x, y));
        crowns.map(|(x, y)| (x as f32, y as f32)).collect()
    }

    /// The votes of the cells whose middles lie in the parts.
    fn ballots(&self, parts: &Raster<u32>) -> Vec<Ballot> {
        let columns = nearest(parts.width(), self.heat.width());
        let rows = nearest(parts.height(), self.heat.height());
        let ballot = |(x, y): (usize, usize)| {
            let cell = (x as f32, y as f32);
            let vote = (cell.0 + self.offset[0].get(x, y), cell.1 + self.offset[1].get(x, y));
            Ballot { part: parts.get(columns[x], rows[y]) as usize, cell, vote }
        };
        let cells = (0..rows.len()).flat_map(|y| (0..columns.len()).map(move |x| (x, y)));
        cells.map(ballot).filter(|ballot| ballot.part > 0).collect()
    }
}

/// Gives the crumbs of plants to what lies around them; a part made of crumbs alone stays as it was.
fn without_crumbs(parts: &Raster<u32>, plants: Raster<u32>) -> Raster<u32> {
    let pieces = pieces(&plants);
    let found = measured(&pieces);
    let mut owner = vec![0u32; found.len() + 1];
    for (&piece, &plant) in pieces.as_slice().iter().zip(plants.as_slice()) {
        owner[piece as usize] = plant;
    }
    let mut largest: BTreeMap<u32, usize> = BTreeMap::new();
    for piece in &found {
        let most = largest.entry(owner[piece.label as usize]).or_default();
        *most = piece.pixels.max(*most);
    }
    let is_crumb = |piece: &&Component| (piece.pixels as f32) < CRUMB * largest[&owner[piece.label as usize]] as f32;
    let crumbs: BTreeSet<u32> = found.iter().filter(is_crumb).map(|piece| piece.label).collect();
    if crumbs.is_empty() {
        return plants;
    }
    let mut sure = plants.clone();
    for (plant, piece) in sure.as_mut_slice().iter_mut().zip(pieces.as_slice()) {
        *plant *= u32::from(!crumbs.contains(piece));
    }
    let mut filled = spread(|x, y| parts.get(x, y) > 0, sure);
    for (now, before) in filled.as_mut_slice().iter_mut().zip(plants.into_vec()) {
        *now = if *now == 0 { before } else { *now };
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::regions::labels;

    const SIZE: (usize, usize) = (120, 60);

    fn drawn(inside: impl Fn(f32, f32) -> bool) -> Raster<bool> {
        let data = (0..SIZE.0 * SIZE.1).map(|i| inside((i % SIZE.0) as f32, (i / SIZE.0) as f32)).collect();
        Raster::from_vec(SIZE.0, SIZE.1, data)
    }

    /// Crowns at places of the mask (heat falls off over six pixels), on a grid of half its size; each cell votes for the
    /// nearest.
    fn seen(places: &[Cell]) -> Crowns {
        let (w, h) = (SIZE.0 / 2, SIZE.1 / 2);
        let cell = |i: usize| ((i % w) as f32, (i / w) as f32);
        let way = |i: usize, &(x, y): &Cell| ((x - 0.5) / 2.0 - cell(i).0, (y - 0.5) / 2.0 - cell(i).1);
        let length = |way: Cell| way.0.hypot(way.1);
        let nearest = |i: usize| places.iter().map(|p| way(i, p)).min_by(|&a, &b| length(a).total_cmp(&length(b)));
        let field = |f: &dyn Fn(Cell) -> f32, none: f32| {
            Raster::from_vec(w, h, (0..w * h).map(|i| nearest(i).map_or(none, f)).collect())
        };
        let heat = field(&|way| 4.0 - 2.0 * length(way), -9.0);
        Crowns { heat, offset: [field(&|way| way.0, 0.0), field(&|way| way.1, 0.0)] }
    }

    fn told(mask: &Raster<bool>, crowns: &Crowns) -> Raster<u32> {
        tell_apart(&labels(mask), crowns, Gaps::Within)
    }

    fn disc(x: f32, y: f32, cx: f32) -> bool {
        (x - cx).hypot(y - 30.0) <= 24.0
    }

    #[test]
    fn plants_that_touch_are_cut_between_their_crowns() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        let plants = told(&mask, &seen(&[(35.0, 30.0), (75.0, 30.0)]));
        assert_eq!(measured(&plants).len(), 2);
        assert_eq!((plants.get(54, 30), plants.get(57, 30)), (plants.get(20, 30), plants.get(90, 30)));
        assert_ne!(plants.get(20, 30), plants.get(90, 30));
    }

    /// A part of the field read on a grid twice as fine holds the same plants.
    #[test]
    fn crowns_of_a_part_lie_where_they_lay() {
        let whole = Rect { x: 0, y: 0, width: 120, height: 60 };
        let rect = Rect { x: 20, y: 10, width: 80, height: 40 };
        let crowns = seen(&[(45.0, 30.0), (75.0, 30.0)]).part(whole, rect, (80, 40));
        let peaks = crowns.peaks();
        assert_eq!(peaks.len(), 2);
        for (peak, x) in peaks.iter().zip([25.0, 55.0]) {
            assert!((peak.0 - x).abs() <= 1.0 && (peak.1 - 20.0).abs() <= 1.0, "{peak:?}");
        }
        let reached = 10.0 + crowns.offset[0].get(10, 20);
        assert!((reached - 25.0).abs() < 1.0, "{reached}");
    }

    #[test]
    fn one_crown_is_one_plant_of_any_shape() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        assert_eq!(measured(&told(&mask, &seen(&[(50.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn a_crown_seen_twice_is_one() {
        let mask = drawn(|x, y| disc(x, y, 60.0));
        assert_eq!(measured(&told(&mask, &seen(&[(56.0, 30.0), (66.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn a_plant_behind_a_stake_is_one() {
        let mask = drawn(|x, y| disc(x, y, 60.0) && (x - 50.0).abs() > 3.0);
        assert_eq!(measured(&told(&mask, &seen(&[(60.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn gaps_that_were_painted_part_plants() {
        let mask = drawn(|x, y| disc(x, y, 60.0) && (x - 50.0).abs() > 3.0);
        let crowns = seen(&[(60.0, 30.0)]);
        assert_eq!(measured(&tell_apart(&labels(&mask), &crowns, Gaps::Between)).len(), 2);
    }

    #[test]
    fn parts_without_crowns_are_plants() {
        let mask = drawn(|x, y| disc(x, y, 30.0) || disc(x, y, 85.0));
        assert_eq!(measured(&told(&mask, &seen(&[]))).len(), 2);
        let mut one_seen = seen(&[(30.0, 30.0), (85.0, 30.0)]);
        one_seen
            .heat
            .as_mut_slice()
            .iter_mut()
            .enumerate()
            .filter(|(i, _)| i % 60 > 30)
            .for_each(|(_, heat)| *heat = -9.0);
        assert_eq!(measured(&told(&mask, &one_seen)).len(), 2);
    }

    #[test]
    fn crumbs_go_to_their_surroundings() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        let mut crowns = seen(&[(35.0, 30.0), (75.0, 30.0)]);
        // Two cells of the left plant that vote for the right crown.
        for x in 8..10 {
            crowns.offset[0].set(x, 15, 37.0 - x as f32);
        }
        let plants = told(&mask, &crowns);
        assert!((12..50).all(|x| plants.get(x, 30) == plants.get(30, 20)));
    }
}
