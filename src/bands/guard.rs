//! Whether what tissue calls band is bands at all, and not glare, bloom, wax or the texture of a leaf.

use super::profile::Crossing;
use super::{Band, Leaf};
use std::collections::BTreeMap;

/// Widths of one band, and of neighbours, are alike within this factor: bands of one leaf differ by about 10 %, and one
/// measured width by as much.
const ALIKE: f64 = 1.3;
/// From a quarter to three quarters of an edge at most, in parts of the band's width, or in standard deviations of the blur
/// (which alone makes 1.35): glare fades over all its width.
const SHARP: (f64, f64) = (0.45, 1.6);

/// What a plant's measurements say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Bands.
    Bands,
    /// May be either.
    Unsure,
    /// No bands.
    Nothing,
}

/// Share of crossings that look like rungs of a ladder at least for bands, and at most for nothing.
const RUNGS: (f64, f64) = (0.08, 0.04);

/// Judges by the share of crossings that look like a rung of a ladder.
pub(super) fn verdict(crossings: &[Crossing], bands: &[Band], leaves: &[Leaf], sigma: f64) -> Verdict {
    match rungs(crossings, bands, leaves, sigma) {
        share if share >= RUNGS.0 => Verdict::Bands,
        share if share >= RUNGS.1 => Verdict::Unsure,
        _ => Verdict::Nothing,
    }
}

/// Share of crossings with edges that are sharp for the width, on a band that is as wide elsewhere, with a neighbour that is as
/// wide, on a leaf along which the bands reach at least as far as they are long: stripes that run along a leaf do not.
fn rungs(crossings: &[Crossing], bands: &[Band], leaves: &[Leaf], sigma: f64) -> f64 {
    let across = leaves.iter().filter(|leaf| leaf.extent_px() >= leaf.length_px);
    let across: BTreeMap<usize, f64> = across
        .flat_map(|leaf| &leaf.bands)
        .filter_map(|number| bands.iter().find(|band| band.number == *number))
        .map(|band| (band.number, band.width_px))
        .collect();
    let alike = |a: f64, b: f64| a < ALIKE * b && b < ALIKE * a;
    let rung = |c: &&Crossing| {
        across.get(&c.band).is_some_and(|&width| alike(width, c.width))
            && c.rise < (SHARP.0 * c.width).max(SHARP.1 * sigma)
            && c.neighbours.iter().any(|n| alike(n.width, c.width))
    };
    crossings.iter().filter(rung).count() as f64 / crossings.len().max(1) as f64
}
