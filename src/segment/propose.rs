//! Where the plants are: both witnesses look at the whole photo, then closer at each place where they see plant.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::{fit, shrink};
use crate::segment::guided::{Guide, follow_edges};
use crate::segment::network::{Witness, plant_logit};
use crate::segment::regions::components;

/// Longer side of the whole photo as each witness sees it, pixels.
const WHOLE: [(Witness, usize); 2] = [(Witness::Deep, 384), (Witness::Light, 512)];
/// Longer side of a close look, pixels. Overlap with the truth on 16 rendered scenes before the edge filter: 384 .931, 448 .937,
/// 512 .941, at a cost that grows with the square.
const CLOSE: usize = 448;
/// All close looks of a photo together cost at most this many input pixels a witness: 4 full ones.
const CLOSE_BUDGET: usize = 4 * CLOSE * CLOSE;
/// Longer side of the grid on which the whole photo's evidence is kept, pixels.
const MAP: usize = 512;
/// Longer side of the grid on which outlines are drawn, pixels.
const DRAWING: usize = 1000;
/// Evidence beyond this is as good as certain, so that the edge filter is not drawn to strong interiors.
const CERTAIN: f32 = 4.0;

/// Evidence for plant inside one part of the photo.
#[derive(Debug, Clone)]
pub struct Field {
    /// The part, in pixels of the upright photo.
    pub rect: Rect,
    /// Logit of plant (> 0: plant), drawn to the picture's edges.
    pub logit: Raster<f32>,
    /// What each witness said in its close look, on the same grid.
    pub witnesses: [Raster<f32>; 2],
}

/// The parts of the photo that hold plants, with the evidence, none overlapping. Empty when no witness sees a plant.
pub fn fields(picture: &Raster<[u8; 3]>) -> Vec<Field> {
    let frame = picture.bounds();
    let whole = joint(WHOLE.map(|(w, long)| plant_logit(w, picture, frame, long, fit(frame.width, frame.height, MAP))));
    let places = places(&whole, frame);
    let wanted: usize = places.iter().map(|&p| close_side(p).pow(2)).sum();
    let scale = (CLOSE_BUDGET as f64 / wanted.max(1) as f64).sqrt().min(1.0);
    places.into_iter().map(|rect| look_closer(picture, &whole, rect, scale)).collect()
}

/// The evidence inside `rect` alone, whatever the whole photo says there: for a hint.
pub fn field_at(picture: &Raster<[u8; 3]>, rect: Rect) -> Field {
    let frame = picture.bounds();
    let even = Raster::filled(fit(frame.width, frame.height, MAP).0, fit(frame.width, frame.height, MAP).1, 0.0);
    look_closer(picture, &even, rect, 1.0)
}

/// Input side for a close look: small plants are not blown up, their pixels hold no more than they hold.
fn close_side(rect: Rect) -> usize {
    (rect.width.max(rect.height) * 6 / 5).clamp(192, CLOSE)
}

fn look_closer(picture: &Raster<[u8; 3]>, whole: &Raster<f32>, rect: Rect, scale: f64) -> Field {
    let size = fit(rect.width, rect.height, DRAWING);
    let long = (close_side(rect) as f64 * scale) as usize;
    let looks = [Witness::Deep, Witness::Light].map(|w| plant_logit(w, picture, rect, long, size));
    let mut logit = sampled(whole, picture.bounds(), rect, size);
    for (i, value) in logit.as_mut_slice().iter_mut().enumerate() {
        let close = looks[0].as_slice()[i] + looks[1].as_slice()[i];
        *value = ((close + *value) / 3.0).clamp(-CERTAIN, CERTAIN);
    }
    let drawing = shrink(picture, rect, size.0, size.1);
    let longer = size.0.max(size.1);
    let grid = fit(size.0, size.1, (longer / 2).max(1));
    // 0.8 % of the part's longer side, flat below 1 % contrast: chosen among 10 settings on the fresh rendered scenes,
    // whose overlap with the truth at this threshold differed by under .008.
    let guide = Guide { radius: (longer as f64 * 0.004).round().max(1.0) as usize, flat_variance: 1e-4 };
    let logit = follow_edges(&logit, &drawing, grid, guide);
    Field { rect, logit, witnesses: looks }
}

fn joint([a, b]: [Raster<f32>; 2]) -> Raster<f32> {
    let data = a.as_slice().iter().zip(b.as_slice()).map(|(x, y)| f32::midpoint(*x, *y)).collect();
    Raster::from_vec(a.width(), a.height(), data)
}

/// Boxes (photo pixels) around what the map calls plant: grown by 12 % of their longer side, joined where they overlap.
fn places(map: &Raster<f32>, frame: Rect) -> Vec<Rect> {
    let found = components(&map.map(|v| v > 0.0));
    let largest = found.iter().map(|c| c.pixels).max().unwrap_or(0);
    let least = (largest / 50).max(map.as_slice().len() / 2500);
    let scale = (frame.width as f64 / map.width() as f64, frame.height as f64 / map.height() as f64);
    let mut boxes: Vec<Rect> = found
        .iter()
        .filter(|c| c.pixels >= least)
        .map(|c| {
            let margin = c.bounds.width.max(c.bounds.height) * 12 / 100 + 2;
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

/// The map's values under `rect`, at `size`, bilinear.
fn sampled(map: &Raster<f32>, frame: Rect, rect: Rect, size: (usize, usize)) -> Raster<f32> {
    let at = |i: usize, n: usize, start: usize, length: usize, whole: usize, samples: usize| {
        let photo = start as f32 + (i as f32 + 0.5) * length as f32 / n as f32;
        let v = (photo * samples as f32 / whole as f32 - 0.5).clamp(0.0, (samples - 1) as f32);
        (v as usize, (v as usize + 1).min(samples - 1), v.fract())
    };
    let columns: Vec<_> = (0..size.0).map(|x| at(x, size.0, rect.x, rect.width, frame.width, map.width())).collect();
    let mut out = Vec::with_capacity(size.0 * size.1);
    for y in 0..size.1 {
        let (y0, y1, v) = at(y, size.1, rect.y, rect.height, frame.height, map.height());
        out.extend(columns.iter().map(|&(x0, x1, u)| {
            let top = map.get(x0, y0) * (1.0 - u) + map.get(x1, y0) * u;
            let bottom = map.get(x0, y1) * (1.0 - u) + map.get(x1, y1) * u;
            top * (1.0 - v) + bottom * v
        }));
    }
    Raster::from_vec(size.0, size.1, out)
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

    #[test]
    fn a_map_is_sampled_at_the_right_place() {
        let map = Raster::from_vec(4, 1, vec![0.0, 1.0, 2.0, 3.0]);
        let frame = Rect { x: 0, y: 0, width: 400, height: 100 };
        let part = sampled(&map, frame, Rect { x: 100, y: 0, width: 200, height: 100 }, (2, 1));
        assert_eq!(part.as_slice(), &[1.0, 2.0]);
    }
}
