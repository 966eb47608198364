//! Where the plants are: one look at the whole photo, then a closer one at each place where it shows plant. The two
//! looks differ in scale and surroundings, and the close one is through a mirror; they are the two witnesses of an outline.

use crate::base::bilinear::bilinear_part;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::{fit, shrink};
use crate::network::input_size;
use crate::options::Plants;
use crate::photo::Photo;
use crate::segment::crowns::Crowns;
use crate::segment::guided::{Guide, follow_edges};
use crate::segment::look::Look;
use crate::segment::regions::{components, labels};

/// Longer side of the whole photo as the network sees it, and of the grid on which that evidence is kept, pixels.
pub const WHOLE: usize = 416;
/// Longer side of a close look, pixels.
pub const CLOSE: usize = 448;
/// A spot of plant seen from afar holds at least this many pixels of the map.
const FEWEST_MAP_PIXELS: usize = 80;
/// All close looks of a photo together cost at most this many input pixels: 3 full ones.
pub const CLOSE_BUDGET: usize = 3 * CLOSE * CLOSE;
/// The close look's share in the joined evidence. At 2/3 outlines of the rendered scenes overlap the truth by .003 less.
const CLOSER: f32 = 0.8;
/// Longer side of the grid on which outlines are drawn, pixels.
const DRAWING: usize = 1000;
/// All drawings of a photo together have at most this many pixels, if none is coarser than the coarsest: 3 full ones.
const DRAWING_BUDGET: usize = 3 * DRAWING * DRAWING;
/// Longer side of the coarsest drawing of what has more pixels: finer than a close look's answer. Round number.
const COARSEST: usize = 300;
/// Evidence beyond this is as good as certain, so that the edge filter is not drawn to strong interiors.
const CERTAIN: f32 = 4.0;

/// Evidence for plant inside one part of the photo.
#[derive(Debug, Clone)]
pub struct Field {
    /// The part, in pixels of the upright photo.
    pub rect: Rect,
    /// Logit of plant (> 0: plant), drawn to the picture's edges.
    pub logit: Raster<f32>,
    /// What the look from afar and the close one said, on a grid half as fine.
    pub witnesses: [Raster<f32>; 2],
    /// Where the close look saw crowns.
    pub crowns: Crowns,
    /// Where the look from afar saw them, on the same grid.
    pub crowns_afar: Crowns,
}

impl Field {
    /// A label picture of the connected parts of what is plant.
    pub fn parts(&self) -> Raster<u32> {
        labels(&self.logit.map(|v| v > 0.0))
    }
}

/// What was seen from afar, over `rect`.
struct Afar {
    rect: Rect,
    plant: Raster<f32>,
    crowns: Crowns,
}

impl Afar {
    fn look(picture: &Raster<[u8; 3]>, rect: Rect, long: usize) -> Self {
        let look = Look::at(picture, rect, long);
        Self { rect, plant: look.plant_at(fit(rect.width, rect.height, long)), crowns: look.crowns }
    }
}

/// The parts of the photo that hold plants, with the evidence, none overlapping. Empty when no plant is seen. When many
/// plants are asked for, the photo is also looked at in four overlapping parts, because plants of a tray are small.
pub fn fields(photo: &Photo, plants: Plants) -> Vec<Field> {
    let picture = &photo.rgb;
    let frame = picture.bounds();
    let (afar, smallest) = match plants {
        Plants::Many => (in_parts(photo), 100),
        Plants::Auto | Plants::One => (Afar::look(&photo.rgb, frame, WHOLE), 50),
    };
    let places = places(&afar.plant, frame, smallest);
    let scale = |side: fn(Rect) -> usize, budget: usize| {
        let wanted: usize = places.iter().map(|&place| side(place).pow(2)).sum();
        (budget as f64 / wanted.max(1) as f64).sqrt().min(1.0)
    };
    let scales = (scale(close_side, CLOSE_BUDGET), scale(drawing_side, DRAWING_BUDGET));
    places.into_iter().map(|rect| look_closer(picture, &afar, rect, scales)).collect()
}

/// The whole photo's evidence on a finer grid: where a part, five eighths of each side, shows more plant, its word counts.
fn in_parts(photo: &Photo) -> Afar {
    let picture = &photo.rgb;
    let frame = picture.bounds();
    let (w, h) = fit(frame.width, frame.height, 2 * WHOLE);
    let scale = (frame.width as f64 / w as f64, frame.height as f64 / h as f64);
    let look = Look::at(picture, frame, WHOLE);
    let mut map = look.plant_at((w, h));
    let (width, height) = ((w * 5).div_ceil(8), (h * 5).div_ceil(8));
    for (x, y) in [(0, 0), (w - width, 0), (0, h - height), (w - width, h - height)] {
        let part = scaled(Rect { x, y, width, height }, scale, frame);
        let seen = Look::at(picture, part, WHOLE).plant_at((width, height));
        for row in 0..height {
            let known = &mut map.row_mut(y + row)[x..x + width];
            known.iter_mut().zip(seen.row(row)).for_each(|(known, &seen)| *known = known.max(seen));
        }
    }
    Afar { rect: frame, plant: map, crowns: look.crowns }
}

/// The evidence inside `rect` alone, for a hint; its surroundings are looked at, but nothing in them is taken for plant.
pub fn field_at(picture: &Raster<[u8; 3]>, rect: Rect) -> Field {
    let around = rect.grown(rect.width.max(rect.height) * 3 / 10, picture.bounds());
    look_closer(picture, &Afar::look(picture, around, CLOSE), rect, (1.0, 1.0))
}

/// Input side for a close look: small plants are not blown up, their pixels hold no more than they hold.
fn close_side(rect: Rect) -> usize {
    (rect.width.max(rect.height) * 6 / 5).clamp(192, CLOSE)
}

/// Longer side of a drawing where nothing is short.
fn drawing_side(rect: Rect) -> usize {
    rect.width.max(rect.height).min(DRAWING)
}

/// The evidence in `rect`; `close` and `drawing` scale the sides of the look and of the drawing.
fn look_closer(picture: &Raster<[u8; 3]>, afar: &Afar, rect: Rect, (close, drawing): (f64, f64)) -> Field {
    let longer = (drawing_side(rect) as f64 * drawing) as usize;
    let size = fit(rect.width, rect.height, longer.max(COARSEST));
    let drawing = shrink(picture, rect, size.0, size.1);
    let close_side = (close_side(rect) as f64 * close) as usize;
    let look = Look::mirrored(&drawing, input_size(rect.width, rect.height, close_side));
    let cells = (look.crowns.heat.width(), look.crowns.heat.height());
    let crowns_afar = afar.crowns.part(afar.rect, rect, cells);
    let longer = size.0.max(size.1);
    // Half as fine is fine enough for what the network says, and for the models of the edge filter.
    let grid = fit(size.0, size.1, (longer / 2).max(1));
    let close = look.plant_at(grid);
    let afar = bilinear_part(&afar.plant, afar.rect, rect, grid);
    let joint = |(close, afar): (&f32, &f32)| (afar + CLOSER * (close - afar)).clamp(-CERTAIN, CERTAIN);
    let logit = close.as_slice().iter().zip(afar.as_slice()).map(joint).collect();
    // 0.8 % of the part's longer side, flat below 1 % contrast: chosen among 10 settings on the fresh rendered scenes,
    // whose overlap with the truth at this threshold differed by under .008.
    let guide = Guide { radius: (longer as f64 * 0.004).round().max(1.0) as usize, flat_variance: 1e-4 };
    let logit = follow_edges(&Raster::from_vec(grid.0, grid.1, logit), &drawing, guide);
    Field { rect, logit, witnesses: [afar, close], crowns: look.crowns, crowns_afar }
}

/// Boxes (photo pixels) around what the map calls plant: grown by a tenth of their longer side, joined where they overlap.
/// Spots of less than one `smallest`-th of the largest are left out.
fn places(map: &Raster<f32>, frame: Rect, smallest: usize) -> Vec<Rect> {
    let found = components(&map.map(|v| v > 0.0));
    let largest = found.iter().map(|c| c.pixels).max().unwrap_or(0);
    let least = (largest / smallest).max(FEWEST_MAP_PIXELS);
    let scale = (frame.width as f64 / map.width() as f64, frame.height as f64 / map.height() as f64);
    let mut boxes: Vec<Rect> = found
        .iter()
        .filter(|c| c.pixels >= least)
        .map(|c| {
            let margin = c.bounds.width.max(c.bounds.height) / 10 + 2;
            scaled(c.bounds.grown(margin, map.bounds()), scale, frame)
        })
        .collect();
    join_overlapping(&mut boxes);
    boxes
}

fn scaled(rect: Rect, (sx, sy): (f64, f64), frame: Rect) -> Rect {
    let x = (rect.x as f64 * sx) as usize;
    let y = (rect.y as f64 * sy) as usize;
    let right = ((rect.right() as f64 * sx).ceil() as usize).min(frame.width);
    let bottom = ((rect.bottom() as f64 * sy).ceil() as usize).min(frame.height);
    Rect { x, y, width: right - x, height: bottom - y }
}

fn join_overlapping(boxes: &mut Vec<Rect>) {
    let mut i = 0;
    while i < boxes.len() {
        match (i + 1..boxes.len()).find(|&j| boxes[i].overlaps(boxes[j])) {
            Some(j) => {
                boxes[i] = boxes[i].union(boxes[j]);
                boxes.swap_remove(j);
                i = 0;
            }
            None => i += 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overlapping_boxes_become_one() {
        let b = |x, y| Rect { x, y, width: 10, height: 10 };
        let mut boxes = vec![b(0, 0), b(50, 50), b(16, 0), b(8, 0)];
        join_overlapping(&mut boxes);
        boxes.sort_by_key(|r| r.x);
        assert_eq!(boxes, vec![Rect { x: 0, y: 0, width: 26, height: 10 }, b(50, 50)]);
    }
}
