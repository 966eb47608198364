//! Pieces of leaf that lie free: outline on both sides, so that the leaf's whole width is seen.

use super::axis::Axis;
use super::look::Look;

/// Distance of the places tried, parts of the diameter.
const STRIDE: f32 = 0.014;
/// Step along the search for the outline, parts of the diameter.
const STEP: f32 = 0.004;
/// Widths of a leaf, parts of the diameter: wider is more than one leaf, narrower a tip that shows no stripes. Judgement:
/// leaves of these rosettes are 0.1 to 0.25 of the diameter wide.
const WIDTH: (f32, f32) = (0.04, 0.3);
/// A place tried lies this near to the leaf's middle, parts of the width, so that each leaf counts by its length.
const MIDDLE: f32 = 0.15;
/// Cross-sections on each side of the piece's middle.
pub(super) const SIDE: i32 = 8;
/// Distance of neighbouring cross-sections, parts of the diameter: a piece is 0.2 of the diameter long, some bands.
const APART: f32 = 0.012;
/// How much width and middle may change from the piece's middle to a cross-section: at first and for each step. More is
/// another leaf that comes in. Judgement: leaves taper by a third of their width along such a piece.
const CHANGE: (f32, f32) = (0.10, 0.06);
const DRIFT: (f32, f32) = (0.05, 0.04);
/// Pieces kept, spread evenly: more change nothing, because neighbouring pieces overlap.
const MOST: usize = 300;

/// A cross-section: its middle and the leaf's width there, pixels of [`Look`].
#[derive(Debug, Clone, Copy)]
pub(super) struct Section {
    pub middle: [f32; 2],
    pub width: f32,
}

/// A piece of free leaf.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    /// Unit vector along the leaf.
    pub along: [f32; 2],
    /// The cross-section in its middle.
    pub middle: Section,
    /// Cross-sections before and behind, with their place -SIDE..=SIDE; the stripes of a leaf run towards its tip, so
    /// each has its own width.
    pub sections: Vec<(i32, Section)>,
}

/// The pieces of a plant.
pub(super) fn pieces(look: &Look, axis: &Axis) -> Vec<Piece> {
    let (w, h) = (look.tissue.width(), look.tissue.height());
    let stride = (STRIDE * look.diameter).round().max(1.0) as usize;
    let places = (0..h).step_by(stride).flat_map(|y| (0..w).step_by(stride).map(move |x| (x, y)));
    let middles: Vec<([f32; 2], Section)> = places
        .filter(|&(x, y)| look.tissue.get(x, y).is_some())
        .filter_map(|(x, y)| {
            let place = [x as f32, y as f32];
            let along = axis.along(place[0], place[1]);
            let (section, off) = section(look, place, along)?;
            (section.width >= WIDTH.0 * look.diameter && off.abs() < MIDDLE * section.width).then_some((along, section))
        })
        .collect();
    let step = middles.len().div_ceil(MOST).max(1);
    middles.into_iter().step_by(step).map(|(along, middle)| piece(look, along, middle)).collect()
}

fn piece(look: &Look, along: [f32; 2], middle: Section) -> Piece {
    let apart = APART * look.diameter;
    let fits = |number: i32, section: &Section, off: f32| {
        let far = number.abs() as f32;
        (section.width / middle.width).ln().abs() < CHANGE.0 + CHANGE.1 * far
            && off.abs() < (DRIFT.0 + DRIFT.1 * far) * middle.width
    };
    let sections = (-SIDE..=SIDE)
        .filter(|&number| number != 0)
        .filter_map(|number| {
            let far = number as f32 * apart;
            let place = [middle.middle[0] + far * along[0], middle.middle[1] + far * along[1]];
            let (section, off) = section(look, place, along)?;
            fits(number, &section, off).then_some((number, section))
        })
        .collect();
    Piece { along, middle, sections }
}

/// The cross-section through a place, and how far its middle lies from there; `None` if the leaf's edge is not the
/// outline on both sides, or is cut by the photo.
fn section(look: &Look, place: [f32; 2], along: [f32; 2]) -> Option<(Section, f32)> {
    let across = [-along[1], along[0]];
    let left = reach(look, place, [-across[0], -across[1]])?;
    let right = reach(look, place, across)?;
    let off = (right - left) / 2.0;
    let width = left + right;
    let middle = [place[0] + off * across[0], place[1] + off * across[1]];
    (width < WIDTH.1 * look.diameter).then_some((Section { middle, width }, off))
}

/// Distance from a place on the plant to the outline.
fn reach(look: &Look, place: [f32; 2], way: [f32; 2]) -> Option<f32> {
    let (w, h) = (look.tissue.width() as f32, look.tissue.height() as f32);
    let step = (STEP * look.diameter).max(0.5);
    let mut far = 0.0;
    while far < WIDTH.1 * look.diameter {
        let (x, y) = (place[0] + far * way[0] + 0.5, place[1] + far * way[1] + 0.5);
        if !(0.0..w).contains(&x) || !(0.0..h).contains(&y) {
            return None;
        }
        if look.tissue.get(x as usize, y as usize).is_none() {
            return (far > 0.0).then_some(far - step / 2.0);
        }
        far += step;
    }
    None
}
