//! Connected parts of a mask.

use crate::base::raster::{Raster, Rect};
use image::{ImageBuffer, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};
use std::collections::VecDeque;

/// A connected part of a mask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Component {
    /// Its label in the label picture, from 1.
    pub label: u32,
    /// Pixels.
    pub pixels: usize,
    /// Smallest rectangle around it.
    pub bounds: Rect,
}

/// The connected parts of a mask (here and below: pixels that touch by a side or a corner).
pub fn components(mask: &Raster<bool>) -> Vec<Component> {
    measured(&labels(mask))
}

/// A label picture of a mask's connected parts: 0 outside, then 1, 2, ...
pub fn labels(mask: &Raster<bool>) -> Raster<u32> {
    pieces(&mask.map(u32::from))
}

/// The same, of pixels that touch by a side.
pub fn labels_by_sides(mask: &Raster<bool>) -> Raster<u32> {
    connected(&mask.map(u32::from), Connectivity::Four)
}

/// A label picture of the connected pieces of equal labels: 0 where they are 0, then 1, 2, ...
pub fn pieces(labels: &Raster<u32>) -> Raster<u32> {
    connected(labels, Connectivity::Eight)
}

fn connected(labels: &Raster<u32>, connectivity: Connectivity) -> Raster<u32> {
    let pieces = connected_components(&picture(labels), connectivity, Luma([0]));
    Raster::from_vec(labels.width(), labels.height(), pieces.into_raw())
}

fn picture(labels: &Raster<u32>) -> ImageBuffer<Luma<u32>, Vec<u32>> {
    ImageBuffer::from_raw(labels.width() as u32, labels.height() as u32, labels.as_slice().to_vec())
        .expect("a raster holds width * height values")
}

/// Size and bounds of each label, in the order of the labels; labels that no pixel carries are left out.
pub fn measured(labels: &Raster<u32>) -> Vec<Component> {
    let count = labels.as_slice().iter().max().map_or(0, |&m| m as usize);
    let mut spans = vec![(0usize, usize::MAX, usize::MAX, 0usize, 0usize); count + 1];
    for y in 0..labels.height() {
        for (x, &label) in labels.row(y).iter().enumerate() {
            let s = &mut spans[label as usize];
            *s = (s.0 + 1, s.1.min(x), s.2.min(y), s.3.max(x + 1), s.4.max(y + 1));
        }
    }
    let component = |(label, &(pixels, x, y, right, bottom)): (usize, &(usize, usize, usize, usize, usize))| {
        Component { label: label as u32, pixels, bounds: Rect { x, y, width: right - x, height: bottom - y } }
    };
    spans.iter().enumerate().skip(1).filter(|(_, s)| s.0 > 0).map(component).collect()
}

/// Labels spread within the mask to the pixels that carry none, each taking that of the nearest (in steps).
pub fn spread(mask: impl Fn(usize, usize) -> bool, mut labels: Raster<u32>) -> Raster<u32> {
    let (w, h) = (labels.width(), labels.height());
    let mut reached: VecDeque<(usize, usize)> = (0..w * h).map(|i| (i % w, i / w)).collect();
    reached.retain(|&(x, y)| labels.get(x, y) > 0);
    while let Some((x, y)) = reached.pop_front() {
        for v in y.saturating_sub(1)..(y + 2).min(h) {
            for u in x.saturating_sub(1)..(x + 2).min(w) {
                if labels.get(u, v) == 0 && mask(u, v) {
                    labels.set(u, v, labels.get(x, y));
                    reached.push_back((u, v));
                }
            }
        }
    }
    labels
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mask(rows: &[&str]) -> Raster<bool> {
        let data = rows.iter().flat_map(|r| r.bytes().map(|b| b == b'#')).collect();
        Raster::from_vec(rows[0].len(), rows.len(), data)
    }

    #[test]
    fn components_are_found_with_their_bounds() {
        let found = components(&mask(&["##..", "....", "..##", ".#.."]));
        assert_eq!(found.len(), 2);
        assert_eq!(found[0].bounds, Rect { x: 0, y: 0, width: 2, height: 1 });
        assert_eq!((found[1].pixels, found[1].bounds), (3, Rect { x: 1, y: 2, width: 3, height: 2 }));
    }

    #[test]
    fn labels_spread_inside_the_mask() {
        let within = mask(&["###.#", "###.#"]);
        let mut labels = Raster::filled(5, 2, 0);
        labels.set(0, 0, 1);
        labels.set(2, 1, 2);
        let spread = spread(|x, y| within.get(x, y), labels);
        assert_eq!(spread.row(0), [1, 1, 2, 0, 0]);
    }
}
