//! Connected parts of a mask, and touching plants told apart.

use crate::base::raster::{Raster, Rect};
use image::{GrayImage, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;
use imageproc::geometry::{contour_area, convex_hull};
use imageproc::point::Point;
use imageproc::region_labelling::{Connectivity, connected_components};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

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

/// The 8-connected parts of a mask.
pub fn components(mask: &Raster<bool>) -> Vec<Component> {
    measured(&labels(mask, Connectivity::Eight))
}

/// A label picture of the connected parts: 0 outside, then 1, 2, ...
pub fn labels(mask: &Raster<bool>, connectivity: Connectivity) -> Raster<u32> {
    let labels = connected_components(&gray(mask), connectivity, Luma([0]));
    Raster::from_vec(mask.width(), mask.height(), labels.into_raw())
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

/// Distance of each mask pixel to the nearest pixel outside, in pixels; the frame's border is no outside.
pub fn depth(mask: &Raster<bool>) -> Raster<f32> {
    let outside = mask.map(|m| !m);
    let squared = euclidean_squared_distance_transform(&gray(&outside));
    let data = squared.into_raw().into_iter().map(|d| (d.sqrt() as f32).min(1e6)).collect();
    Raster::from_vec(mask.width(), mask.height(), data)
}

/// A core counts as a plant of its own when it is at least this deep, as a share of the deepest one. From .45 to .75 no
/// rendered scene changes (100 plants); on 85 real photos higher values cut fewer single plants in parts.
const CORE_DEPTH: f32 = 0.75;
/// Cores are the parts deeper than this share of the deepest point of their part.
const CORE_LEVEL: f32 = 0.6;

/// A piece that fills more than this share of its convex hull is a leaf, not a rosette: rosettes are stars. Round number:
/// 70 true outlines of rendered rosettes fill .75 at most; leaves are nearly convex.
const LEAF_SOLIDITY: f64 = 0.88;

/// Up to this many compact pieces that touch are plants, more are leaves. Round number.
const FEW_PIECES: usize = 3;

/// Tells touching plants apart: every connected part is cut between its fat cores, by flooding from the cores downwards
/// in depth (Meyer 1994, "Topographic distance and watershed lines", Signal Processing 38:113-125). Thin leaves make no
/// core; the pieces that fleshy leaves make are given back to the plant. Gives a label picture: 0 outside, then 1, 2, ...
pub fn split_touching(mask: &Raster<bool>) -> Raster<u32> {
    let depth = smoothed(&depth(mask));
    let parts = labels(mask, Connectivity::Eight);
    let deepest = deepest_of(&parts, &depth);
    let mut core = Raster::filled(mask.width(), mask.height(), false);
    for (i, c) in core.as_mut_slice().iter_mut().enumerate() {
        let part = parts.as_slice()[i] as usize;
        *c = part > 0 && depth.as_slice()[i] >= CORE_LEVEL * deepest[part];
    }
    let mut cores = labels(&core, Connectivity::Eight);
    let core_depth = deepest_of(&cores, &depth);
    for (i, c) in cores.as_mut_slice().iter_mut().enumerate() {
        if *c > 0 && core_depth[*c as usize] < CORE_DEPTH * deepest[parts.as_slice()[i] as usize] {
            *c = 0;
        }
    }
    fill_single_cored(&parts, &mut cores);
    let pieces = flood(&parts, &depth, cores.clone());
    if !drop_leaves(&parts, &pieces, &mut cores) {
        return pieces;
    }
    fill_single_cored(&parts, &mut cores);
    flood(&parts, &depth, cores)
}

/// Takes away the cores whose pieces are leaves; true if any core went. In a part without any star, few pieces are compact
/// rosettes that touch, and many are the leaves of one: then the largest core stays.
fn drop_leaves(parts: &Raster<u32>, pieces: &Raster<u32>, cores: &mut Raster<u32>) -> bool {
    let found = measured(pieces);
    let mut part_of = vec![0; found.iter().map(|piece| piece.label as usize + 1).max().unwrap_or(1)];
    for (&piece, &part) in pieces.as_slice().iter().zip(parts.as_slice()) {
        part_of[piece as usize] = part;
    }
    let mut by_part: BTreeMap<u32, Vec<Component>> = BTreeMap::new();
    for piece in found {
        by_part.entry(part_of[piece.label as usize]).or_default().push(piece);
    }
    let mut leaves = BTreeSet::new();
    for siblings in by_part.values().filter(|siblings| siblings.len() > 1) {
        let (leaf, star): (Vec<&Component>, Vec<&Component>) =
            siblings.iter().partition(|piece| solidity(pieces, piece) > LEAF_SOLIDITY);
        if star.is_empty() && leaf.len() <= FEW_PIECES {
            continue;
        }
        let kept = leaf.iter().filter(|_| star.is_empty()).max_by_key(|piece| piece.pixels).map(|piece| piece.label);
        leaves.extend(leaf.iter().map(|piece| piece.label).filter(|&label| Some(label) != kept));
    }
    for core in cores.as_mut_slice().iter_mut().filter(|core| leaves.contains(core)) {
        *core = 0;
    }
    !leaves.is_empty()
}

/// Share of its convex hull that a piece fills.
fn solidity(labels: &Raster<u32>, piece: &Component) -> f64 {
    let mut ends = Vec::new();
    for y in piece.bounds.y..piece.bounds.bottom() {
        let row = labels.row(y);
        let inside = |&x: &usize| row[x] == piece.label;
        let span = (piece.bounds.x..piece.bounds.right())
            .find(inside)
            .zip((piece.bounds.x..piece.bounds.right()).rev().find(inside));
        // Pixels are squares: both edges, top and bottom.
        ends.extend(
            span.into_iter()
                .flat_map(|(first, last)| [first, last + 1])
                .flat_map(|x| [Point::new(x as i32, y as i32), Point::new(x as i32, y as i32 + 1)]),
        );
    }
    piece.pixels as f64 / contour_area(&convex_hull(ends)).max(1.0)
}

/// Gives every pixel of a part with one core that core's label: nothing to cut there.
fn fill_single_cored(parts: &Raster<u32>, cores: &mut Raster<u32>) {
    let count = parts.as_slice().iter().max().map_or(0, |&m| m as usize);
    let mut only = vec![Some(0u32); count + 1];
    for (&part, &core) in parts.as_slice().iter().zip(cores.as_slice()) {
        let seen = &mut only[part as usize];
        match *seen {
            Some(0) if core > 0 => *seen = Some(core),
            Some(one) if core > 0 && core != one => *seen = None,
            _ => {}
        }
    }
    for (&part, core) in parts.as_slice().iter().zip(cores.as_mut_slice()) {
        if let (true, Some(one)) = (part > 0, only[part as usize]) {
            *core = one;
        }
    }
}

fn deepest_of(labels: &Raster<u32>, depth: &Raster<f32>) -> Vec<f32> {
    let count = labels.as_slice().iter().max().map_or(0, |&m| m as usize);
    let mut deepest = vec![0.0f32; count + 1];
    for (&label, &d) in labels.as_slice().iter().zip(depth.as_slice()) {
        deepest[label as usize] = deepest[label as usize].max(d);
    }
    deepest
}

/// 3 x 3 mean, so that a ragged edge makes no cores.
fn smoothed(field: &Raster<f32>) -> Raster<f32> {
    let mut out = field.clone();
    for y in 1..field.height().saturating_sub(1) {
        for x in 1..field.width().saturating_sub(1) {
            let sum: f32 = (y - 1..=y + 1).map(|v| field.row(v)[x - 1..=x + 1].iter().sum::<f32>()).sum();
            out.set(x, y, sum / 9.0);
        }
    }
    out
}

/// A pixel waiting to be flooded: deepest first, then first come.
#[derive(PartialEq)]
struct Waiting {
    depth: f32,
    order: usize,
    at: (usize, usize),
    label: u32,
}

impl Eq for Waiting {}

impl Ord for Waiting {
    fn cmp(&self, other: &Self) -> Ordering {
        self.depth.total_cmp(&other.depth).then(other.order.cmp(&self.order))
    }
}

impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

fn flood(parts: &Raster<u32>, depth: &Raster<f32>, mut labels: Raster<u32>) -> Raster<u32> {
    let mut queue = BinaryHeap::new();
    let mut order = 0;
    for y in 0..parts.height() {
        for x in 0..parts.width() {
            if labels.get(x, y) > 0 && touches_unlabelled(parts, &labels, (x, y)) {
                queue.push(Waiting { depth: depth.get(x, y), order, at: (x, y), label: labels.get(x, y) });
                order += 1;
            }
        }
    }
    while let Some(Waiting { at: (x, y), label, .. }) = queue.pop() {
        for (u, v) in around(parts, (x, y)) {
            if parts.get(u, v) > 0 && labels.get(u, v) == 0 {
                labels.set(u, v, label);
                queue.push(Waiting { depth: depth.get(u, v), order, at: (u, v), label });
                order += 1;
            }
        }
    }
    labels
}

fn touches_unlabelled(parts: &Raster<u32>, labels: &Raster<u32>, at: (usize, usize)) -> bool {
    around(parts, at).any(|(u, v)| parts.get(u, v) > 0 && labels.get(u, v) == 0)
}

/// The pixel and its neighbours inside the picture.
fn around(picture: &Raster<u32>, (x, y): (usize, usize)) -> impl Iterator<Item = (usize, usize)> {
    let (right, bottom) = ((x + 2).min(picture.width()), (y + 2).min(picture.height()));
    (y.saturating_sub(1)..bottom).flat_map(move |v| (x.saturating_sub(1)..right).map(move |u| (u, v)))
}

fn gray(mask: &Raster<bool>) -> GrayImage {
    let data = mask.as_slice().iter().map(|&m| u8::from(m) * 255).collect();
    GrayImage::from_raw(mask.width() as u32, mask.height() as u32, data).expect("a raster holds width * height values")
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
    fn depth_is_the_distance_to_the_outside() {
        let d = depth(&mask(&[".....", ".###.", ".###.", ".###.", "....."]));
        assert_eq!((d.get(0, 0), d.get(1, 1), d.get(2, 2)), (0.0, 1.0, 2.0));
    }

    /// Two stars that touch are two plants, and so are two discs; a star with a long arm is one, and so are fat leaves around
    /// a centre.
    #[test]
    fn rosettes_are_told_apart_and_leaves_are_not() {
        let star = |cx: f32, cy: f32| {
            move |x: f32, y: f32| {
                let (dx, dy) = (x - cx, y - cy);
                dx.hypot(dy) <= 30.0 * (0.7 + 0.3 * (6.0 * dy.atan2(dx)).cos())
            }
        };
        let draw = |inside: &dyn Fn(f32, f32) -> bool| {
            let data = (0..80 * 160).map(|i| inside((i % 160) as f32, (i / 160) as f32)).collect();
            Raster::from_vec(160, 80, data)
        };
        let (a, b) = (star(40.0, 40.0), star(97.0, 40.0));
        let two = split_touching(&draw(&|x, y| a(x, y) || b(x, y)));
        assert_eq!(measured(&two).len(), 2);
        assert_ne!(two.get(40, 40), two.get(97, 40));
        let armed = split_touching(&draw(&|x, y| a(x, y) || ((y - 40.0).abs() < 4.0 && x > 40.0 && x < 140.0)));
        assert_eq!(measured(&armed).len(), 1);
        let disc = |x: f32, y: f32, cx: f32| (x - cx).hypot(y - 40.0) <= 24.0;
        let compact = split_touching(&draw(&|x, y| disc(x, y, 40.0) || disc(x, y, 86.0)));
        assert_eq!(measured(&compact).len(), 2);
        let leaf = |x: f32, y: f32, cx: f32, cy: f32| ((x - cx) / 20.0).hypot((y - cy) / 10.0) <= 1.0;
        let fleshy = split_touching(&draw(&|x, y| {
            let lying = leaf(x, y, 38.0, 40.0) || leaf(x, y, 74.0, 40.0);
            lying || leaf(y, x, 22.0, 56.0) || leaf(y, x, 58.0, 56.0)
        }));
        assert_eq!(measured(&fleshy).len(), 1);
    }
}
