//! Stage 3: which pixels belong to which plant.
//!
//! A network looks from afar and close ([`look`], [`propose`]), its evidence is drawn to the picture's edges ([`guided`]),
//! plants are told apart by their crowns ([`crowns`]), and focus, size and place choose which plants are meant
//! ([`choose`]). How far the two looks agree is the confidence.

pub mod choose;
pub mod crowns;
pub mod focus;
pub mod guided;
pub mod hints;
pub mod look;
pub mod propose;
pub mod regions;

use crate::base::doubt::Doubt;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::{bilinear_part, nearest};
use crate::calibrate::Calibrated;
use crate::error::{Error, Result};
use crate::options::{Hint, Plants};
use crate::photo::Photo;
use choose::Candidate;
use crowns::Gaps;
use focus::Focus;
use propose::Field;
use regions::Component;
use std::collections::BTreeMap;

/// Confidence under which an outline is a doubt.
pub const DOUBTFUL: f64 = 0.6;
/// Share of a plant that both looks must give to one plant; under it, where it ends is a doubt. Round number.
const APART: f64 = 0.5;
/// Confidence under which there is no outline to speak of.
pub const HOPELESS: f64 = 0.2;
/// Share of the outline on the frame above which a plant counts as cut off.
const CUT_DOUBT: f64 = 0.02;
/// The same, above which too much of the plant is missing to measure. Round number.
const CUT_REFUSED: f64 = 0.4;
/// The same for the largest plant: a close-up of a rosette is worth its shares. Round number.
const CLOSE_UP_REFUSED: f64 = 0.8;
/// Fewest leaf pixels that can be measured: about 40 x 40.
const FEWEST_PIXELS: usize = 1500;

/// One plant in the photo.
#[derive(Debug, Clone)]
pub struct Rosette {
    /// Where it lies in the upright photo.
    pub bounds: Rect,
    /// True where the plant is; the size of `bounds`.
    pub mask: Raster<bool>,
    /// Agreement of the witnesses, 0..1 (intersection over union of their outlines).
    pub confidence: f64,
    /// Blur of the photo at this plant: standard deviation of a Gaussian, pixels; `None` where no edge is clear enough.
    pub blur_px: Option<f64>,
    /// Caveats (low confidence, cut by the frame, not surely told from a neighbour).
    pub doubts: Vec<Doubt>,
}

impl Rosette {
    /// Whether a pixel of the upright photo is the plant's.
    pub fn covers(&self, x: usize, y: usize) -> bool {
        self.bounds.contains(x, y) && self.mask.get(x - self.bounds.x, y - self.bounds.y)
    }
}

/// The plants of a photo, largest first.
///
/// # Errors
/// [`Error::Refused`] when the hint lies outside the photo, when there is no plant, when the witnesses disagree about all of
/// them, or when all are too small or cut off by the frame.
pub fn rosettes(calibrated: &Calibrated, plants: Plants, hint: Option<&Hint>) -> Result<Vec<Rosette>> {
    let Photo { rgb, overview, .. } = &calibrated.photo;
    let frame = rgb.bounds();
    let (fields, limit) = hints::fields(&calibrated.photo, plants, hint)?;
    let labels: Vec<Raster<u32>> = fields.iter().map(|field| hints::plants(field, hint)).collect();
    let mut candidates = Vec::new();
    for (number, (field, labels)) in fields.iter().zip(&labels).enumerate() {
        let focus = Focus::of(overview, frame, field.rect);
        let mask = field.logit.map(|v| v > 0.0);
        let from_afar = Parting::of(crowns::tell_apart(&mask, &field.crowns_afar, Gaps::Within));
        let found = regions::measured(labels).into_iter();
        candidates.extend(found.map(|part| candidate(number, field, (labels, &from_afar), part, &focus)));
    }
    let chosen = match hint {
        Some(&Hint::At { x, y }) => {
            let distance = |c: &Candidate| hints::distance(&fields[c.field], &labels[c.field], c.part, (x, y));
            candidates.into_iter().min_by(|a, b| distance(a).total_cmp(&distance(b))).into_iter().collect()
        }
        // A box is drawn around one plant, unless all are asked for.
        Some(Hint::Box(_)) if plants == Plants::Auto => choose::choose(candidates, limit, Plants::One),
        _ => choose::choose(candidates, frame, plants),
    };
    if chosen.is_empty() {
        return Err(Error::Refused(
            "no plant found in the photo; fill at least a tenth of the frame with the plant, in focus".into(),
        ));
    }
    let drawn = chosen.iter().enumerate().map(|(place, c)| {
        let most_cut = if place == 0 { CLOSE_UP_REFUSED } else { CUT_REFUSED };
        let mut rosette = draw(&fields[c.field], &labels[c.field], c, (limit, most_cut))?;
        rosette.doubts.extend(hint.and_then(|hint| hints::beside(&rosette, hint)));
        Ok(rosette)
    });
    let (good, bad): (Vec<_>, Vec<_>) = drawn.partition(Result::is_ok);
    match bad.into_iter().next() {
        Some(Err(reason)) if good.is_empty() => Err(reason),
        _ => good.into_iter().collect(),
    }
}

fn candidate(
    number: usize,
    field: &Field,
    (labels, from_afar): (&Raster<u32>, &Parting),
    part: Component,
    focus: &Focus,
) -> Candidate {
    let scale = field.rect.area() as f64 / labels.as_slice().len() as f64;
    Candidate {
        field: number,
        part,
        pixels: (part.pixels as f64 * scale) as usize,
        bounds: in_photo(field.rect, (labels.width(), labels.height()), part.bounds),
        confidence: agreement(field, labels, part),
        told_apart: told_apart(labels, from_afar, part),
        sharpness: focus.sharpness(field.rect, labels, part),
        blur_px: focus.blur(field.rect, labels, part),
    }
}

/// Intersection over union of the two witnesses' outlines around one plant; what belongs to another plant is left out.
fn agreement(field: &Field, labels: &Raster<u32>, part: Component) -> f64 {
    let margin = part.bounds.width.max(part.bounds.height) / 20 + 1;
    let around = part.bounds.grown(margin, labels.bounds());
    let (mut both, mut either) = (0usize, 0usize);
    for y in around.y..around.bottom() {
        for x in around.x..around.right() {
            if labels.get(x, y) != 0 && labels.get(x, y) != part.label {
                continue;
            }
            let [a, b] = [0, 1].map(|k| field.witnesses[k].get(x, y) > 0.0);
            both += usize::from(a && b);
            either += usize::from(a || b);
        }
    }
    both as f64 / either.max(1) as f64
}

/// A mask's plants, and the pixels of each.
struct Parting {
    labels: Raster<u32>,
    pixels: BTreeMap<u32, usize>,
}

impl Parting {
    fn of(labels: Raster<u32>) -> Self {
        let pixels = regions::measured(&labels).iter().map(|part| (part.label, part.pixels)).collect();
        Self { labels, pixels }
    }
}

/// Intersection over union of one plant and the plant that another parting of the same mask takes most of it for.
fn told_apart(labels: &Raster<u32>, other: &Parting, part: Component) -> f64 {
    let mut within: BTreeMap<u32, usize> = BTreeMap::new();
    for y in part.bounds.y..part.bounds.bottom() {
        for x in (part.bounds.x..part.bounds.right()).filter(|&x| labels.get(x, y) == part.label) {
            *within.entry(other.labels.get(x, y)).or_default() += 1;
        }
    }
    let Some((label, &both)) = within.iter().max_by_key(|&(_, &pixels)| pixels) else { return 0.0 };
    let whole = other.pixels.get(label).copied().unwrap_or(both);
    both as f64 / (part.pixels + whole - both) as f64
}

fn in_photo(rect: Rect, (w, h): (usize, usize), part: Rect) -> Rect {
    let x = rect.x + part.x * rect.width / w;
    let y = rect.y + part.y * rect.height / h;
    let right = rect.x + (part.right() * rect.width).div_ceil(w);
    let bottom = rect.y + (part.bottom() * rect.height).div_ceil(h);
    Rect { x, y, width: right - x, height: bottom - y }
}

/// The outline at the photo's full resolution; what lies on the border of `limit` is cut off, up to a share `most_cut`.
fn draw(field: &Field, labels: &Raster<u32>, candidate: &Candidate, (limit, most_cut): (Rect, f64)) -> Result<Rosette> {
    if candidate.confidence < HOPELESS {
        return Err(Error::Refused(format!(
            "the outline is not sure enough (the two witnesses agree on {:.0} % of it, {:.0} % needed); use a plainer \
             background, or show the plant with --at or --box",
            candidate.confidence * 100.0,
            HOPELESS * 100.0
        )));
    }
    let mask = full_size(field, labels, candidate.part.label, candidate.bounds);
    let pixels = mask.as_slice().iter().filter(|&&m| m).count();
    if pixels < FEWEST_PIXELS {
        return Err(Error::Refused(format!(
            "the plant is too small ({pixels} pixels, {FEWEST_PIXELS} needed); go closer"
        )));
    }
    let cut = share_on_frame(&mask, candidate.bounds, limit);
    if cut > most_cut {
        return Err(Error::Refused(format!(
            "the plant is cut off by the frame or the box ({:.0} % of its outline, {:.0} % allowed); step back or widen the box",
            cut * 100.0,
            most_cut * 100.0
        )));
    }
    let mut doubts = Vec::new();
    if cut > CUT_DOUBT {
        doubts.push(Doubt::new(
            "cut-off",
            format!(
                "{:.0} % of the outline lies on the frame or the box: shares hold for what is seen, the diameter does not",
                cut * 100.0
            ),
        ));
    }
    if candidate.told_apart < APART {
        doubts.push(Doubt::new(
            "neighbours",
            "where this plant ends and the one beside it begins is unsure: look at the overlay",
        ));
    }
    if candidate.confidence < DOUBTFUL {
        doubts.push(Doubt::new(
            "outline",
            format!(
                "the outline is unsure (the two witnesses agree on {:.0} %): look at the overlay",
                candidate.confidence * 100.0
            ),
        ));
    }
    Ok(Rosette { bounds: candidate.bounds, mask, confidence: candidate.confidence, blur_px: candidate.blur_px, doubts })
}

fn full_size(field: &Field, labels: &Raster<u32>, label: u32, bounds: Rect) -> Raster<bool> {
    let rect = field.rect;
    let logit = bilinear_part(&field.logit, rect, bounds, (bounds.width, bounds.height));
    let (columns, rows) = (nearest(labels.width(), rect.width), nearest(labels.height(), rect.height));
    let mut mask = Raster::filled(bounds.width, bounds.height, false);
    for y in 0..bounds.height {
        let v = bounds.y + y - rect.y;
        for (x, m) in mask.row_mut(y).iter_mut().enumerate() {
            let u = bounds.x + x - rect.x;
            *m = logit.get(x, y) > 0.0 && labels.get(columns[u], rows[v]) == label;
        }
    }
    mask
}

/// Share of the outline's length that runs along the frame.
fn share_on_frame(mask: &Raster<bool>, bounds: Rect, frame: Rect) -> f64 {
    let (w, h) = (mask.width(), mask.height());
    let count = |row: &[bool]| row.iter().filter(|&&inside| inside).count();
    let column = |x: usize| (0..h).filter(|&y| mask.get(x, y)).count();
    // The sides of the bounds with whether they lie on the frame.
    let sides = [
        (column(0), bounds.x <= frame.x),
        (column(w - 1), bounds.right() >= frame.right()),
        (count(mask.row(0)), bounds.y <= frame.y),
        (count(mask.row(h - 1)), bounds.bottom() >= frame.bottom()),
    ];
    let across = (0..h).map(|y| mask.row(y).iter().zip(&mask.row(y)[1..]).filter(|(a, b)| a != b).count());
    let down = (1..h).map(|y| mask.row(y).iter().zip(mask.row(y - 1)).filter(|(a, b)| a != b).count());
    let edge = across.chain(down).chain(sides.map(|(pixels, _)| pixels)).sum::<usize>();
    let border: usize = sides.iter().filter(|(_, on_frame)| *on_frame).map(|(pixels, _)| pixels).sum();
    border as f64 / edge.max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_share_on_the_frame_counts_edges() {
        let mask = Raster::filled(4, 2, true);
        let frame = Rect { x: 0, y: 0, width: 10, height: 10 };
        let inside = Rect { x: 3, y: 3, width: 4, height: 2 };
        assert!(share_on_frame(&mask, inside, frame).abs() < 1e-9);
        let at_top = Rect { x: 3, y: 0, width: 4, height: 2 };
        assert!((share_on_frame(&mask, at_top, frame) - 4.0 / 12.0).abs() < 1e-9);
    }

    #[test]
    fn plants_are_surely_apart_where_both_looks_part_them_alike() {
        let labels = |rows: [&str; 2]| {
            let data = rows.iter().flat_map(|row| row.bytes().map(|b| u32::from(b - b'0'))).collect();
            Raster::from_vec(6, 2, data)
        };
        let ours = labels(["111222", "111222"]);
        let part = regions::measured(&ours)[0];
        let against = |rows| told_apart(&ours, &Parting::of(labels(rows)), part);
        assert!((against(["222111", "222111"]) - 1.0).abs() < 1e-9);
        assert!((against(["333333", "333333"]) - 0.5).abs() < 1e-9);
        assert!((against(["112222", "112222"]) - 4.0 / 6.0).abs() < 1e-9);
    }

    #[test]
    fn a_part_is_placed_in_the_photo() {
        let rect = Rect { x: 100, y: 50, width: 200, height: 100 };
        let part = Rect { x: 10, y: 0, width: 5, height: 50 };
        assert_eq!(in_photo(rect, (100, 50), part), Rect { x: 120, y: 50, width: 10, height: 100 });
    }
}
