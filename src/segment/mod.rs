//! Stage 3: which pixels belong to which plant.
//!
//! A network looks from afar and close ([`look`], [`propose`]), its evidence is drawn to the picture's edges ([`guided`]),
//! plants are told apart by their crowns ([`crowns`]), and focus, size and place choose which plants are meant
//! ([`choose`]). How far the two looks agree is the confidence.

pub mod agree;
pub mod choose;
pub mod crowns;
pub mod draw;
pub mod focus;
pub mod guided;
pub mod hints;
pub mod look;
pub mod propose;
pub mod regions;
pub mod strip;
pub mod windows;

use crate::base::doubt::Doubt;
use crate::base::raster::{Raster, Rect};
use crate::calibrate::Calibrated;
use crate::error::{Error, Result};
use crate::options::{Hint, Plants};
use crate::photo::Photo;
use agree::Agreement;
use choose::Candidate;
use draw::draw;
use focus::Focus;
use regions::Component;

/// Confidence under which there is no outline to speak of.
pub const HOPELESS: f64 = 0.2;
/// Confidence under which an outline is a doubt.
pub const DOUBTFUL: f64 = 0.6;
/// Share of the outline on the frame above which too much of the plant is missing to measure. Round number.
const CUT_REFUSED: f64 = 0.4;
/// The same for the largest plant: a close-up of a rosette is worth its shares. Round number.
const CLOSE_UP_REFUSED: f64 = 0.8;

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
    let (mut labels, mut candidates) = (Vec::new(), Vec::new());
    for (number, field) in fields.iter().enumerate() {
        let parts = field.parts();
        let plants = hints::plants(field, &parts, hint);
        let agreement = Agreement::of(field, &parts, &plants);
        let candidate = |part: Component| Candidate {
            field: number,
            part,
            pixels: part.pixels * field.rect.area() / plants.as_slice().len(),
            bounds: in_photo(field.rect, (plants.width(), plants.height()), part.bounds),
            confidence: agreement.outline(part),
            told_apart: agreement.parting(part.label),
            focus: Focus::of(overview, (frame, field.rect), &plants, part),
        };
        candidates.extend(regions::measured(&plants).into_iter().map(candidate));
        labels.push(plants);
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

fn in_photo(rect: Rect, (w, h): (usize, usize), part: Rect) -> Rect {
    let x = rect.x + part.x * rect.width / w;
    let y = rect.y + part.y * rect.height / h;
    let right = rect.x + (part.right() * rect.width).div_ceil(w);
    let bottom = rect.y + (part.bottom() * rect.height).div_ceil(h);
    Rect { x, y, width: right - x, height: bottom - y }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_is_placed_in_the_photo() {
        let rect = Rect { x: 100, y: 50, width: 200, height: 100 };
        let part = Rect { x: 10, y: 0, width: 5, height: 50 };
        assert_eq!(in_photo(rect, (100, 50), part), Rect { x: 120, y: 50, width: 10, height: 100 });
    }
}
