//! Connected parts of a mask.

use crate::base::raster::{Raster, Rect};
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
    connected(mask, 1)
}

/// The same, of pixels that touch by a side.
pub fn labels_by_sides(mask: &Raster<bool>) -> Raster<u32> {
    connected(mask, 0)
}

/// A label picture of the connected pieces of equal labels: 0 where they are 0, then 1, 2, ...
pub fn pieces(labels: &Raster<u32>) -> Raster<u32> {
    connected(labels, 1)
}

/// Pixels of one value beside each other in a row.
struct Run<T> {
    value: T,
    y: usize,
    from: usize,
    to: usize,
}

/// Pieces of equal values other than the default, numbered from the top; runs of two rows touch if they overlap or miss each
/// other by less than `corner`. Runs are joined as disjoint sets (Tarjan 1975, J. ACM 22:215-225), the first run leads.
fn connected<T: Copy + Default + PartialEq>(values: &Raster<T>, corner: usize) -> Raster<u32> {
    let runs = runs(values);
    let mut leader: Vec<usize> = (0..runs.len()).collect();
    let mut above = 0;
    for (number, run) in runs.iter().enumerate() {
        while runs[above].y + 1 < run.y || (runs[above].y + 1 == run.y && runs[above].to + corner <= run.from) {
            above += 1;
        }
        let near = runs[above..number].iter().enumerate();
        for (other, _) in near
            .take_while(|(_, other)| other.y + 1 == run.y && other.from < run.to + corner)
            .filter(|(_, other)| other.value == run.value)
        {
            let (a, b) = (first(&mut leader, above + other), first(&mut leader, number));
            leader[a.max(b)] = a.min(b);
        }
    }
    let mut out = Raster::filled(values.width(), values.height(), 0u32);
    let (mut labels, mut count) = (vec![0u32; runs.len()], 0);
    for (number, run) in runs.iter().enumerate() {
        let first = first(&mut leader, number);
        if first == number {
            count += 1;
            labels[number] = count;
        }
        out.row_mut(run.y)[run.from..run.to].fill(labels[first]);
    }
    out
}

/// The first run of the set that holds run `number`; shortens the way there.
fn first(leader: &mut [usize], mut number: usize) -> usize {
    while leader[number] != number {
        leader[number] = leader[leader[number]];
        number = leader[number];
    }
    number
}

fn runs<T: Copy + Default + PartialEq>(values: &Raster<T>) -> Vec<Run<T>> {
    let mut runs = Vec::new();
    for y in 0..values.height() {
        let mut from = 0;
        for stretch in values.row(y).chunk_by(|a, b| a == b) {
            let to = from + stretch.len();
            if stretch[0] != T::default() {
                runs.push(Run { value: stretch[0], y, from, to });
            }
            from = to;
        }
    }
    runs
}

/// Size and bounds of each label, in the order of the labels; labels that no pixel carries are left out.
pub fn measured(labels: &Raster<u32>) -> Vec<Component> {
    let mut found: Vec<Option<Component>> = Vec::new();
    for Run { value: label, y, from, to } in runs(labels) {
        let (pixels, bounds) = (to - from, Rect { x: from, y, width: to - from, height: 1 });
        let place = label as usize;
        found.resize(found.len().max(place + 1), None);
        let known = found[place].get_or_insert(Component { label, pixels: 0, bounds });
        *known = Component { label, pixels: known.pixels + pixels, bounds: known.bounds.union(bounds) };
    }
    found.into_iter().flatten().collect()
}

/// Labels spread within the mask to the pixels that carry none, each taking that of the nearest (in steps).
pub fn spread(mask: impl Fn(usize, usize) -> bool, mut labels: Raster<u32>) -> Raster<u32> {
    let (w, h) = (labels.width(), labels.height());
    let places = (0..w * h).map(|i| (i % w, i / w));
    let mut reached: VecDeque<(usize, usize)> = places.filter(|&(x, y)| labels.get(x, y) > 0).collect();
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

    /// Against the `imageproc` crate, on noise of a few values: the same pieces, in the same order.
    #[test]
    fn pieces_equal_those_of_a_reference_library() {
        use image::{ImageBuffer, Luma};
        use imageproc::region_labelling::{Connectivity, connected_components};
        let mut random = crate::base::stats::SplitMix64::new(7);
        for (w, h, values) in [(1, 1, 2), (40, 1, 2), (1, 40, 2), (60, 50, 2), (60, 50, 3), (61, 47, 5)] {
            let data: Vec<u32> = (0..w * h).map(|_| random.below(values) as u32).collect();
            let picture = Raster::from_vec(w, h, data.clone());
            let image: ImageBuffer<Luma<u32>, Vec<u32>> = ImageBuffer::from_raw(w as u32, h as u32, data).unwrap();
            for (corner, connectivity) in [(0, Connectivity::Four), (1, Connectivity::Eight)] {
                let reference = connected_components(&image, connectivity, Luma([0])).into_raw();
                assert_eq!(connected(&picture, corner).into_vec(), reference, "{w} x {h}, {values} values");
            }
        }
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
