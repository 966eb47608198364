//! The same plant judged again under plausible whites and thresholds, tile by tile: what intervals are made of.

use crate::base::raster::Raster;
use crate::base::stats::SplitMix64;
use crate::calibrate::Calibrated;
use crate::segment::Rosette;
use crate::tissue::class::{PerTissue, Tissue};
use crate::tissue::leaf::Leaf;
use crate::tissue::{count, judge_leaf};

/// Longer side of the grid for repeated judging, pixels: only differences between readings are used.
const GRID: usize = 360;
/// Tiles across the plant: blocks larger than a leaf is wide, so that tiles are nearly independent.
const TILES: usize = 10;
/// Readings beside the best one.
const READINGS: usize = 24;
/// Standard deviation of the rule's hue thresholds, degrees, and of the logarithm of its C/L thresholds: spread of real
/// leaves around the model leaves (hue moves 1-8 degrees with leaf thickness: PROSPECT-D, `docs/science.md`).
const RULE_SPREAD: (f64, f64) = (6.0, 0.15);

/// Counts of the classes in the plant's tiles, and under each plausible reading.
pub struct Samples {
    /// One count a tile, best reading.
    pub tiles: Vec<PerTissue<usize>>,
    /// The whole plant: the best reading first, then the plausible ones.
    pub readings: Vec<PerTissue<usize>>,
}

/// Judges the plant again under plausible whites and thresholds. Deterministic.
pub fn samples(calibrated: &Calibrated, rosette: &Rosette) -> Samples {
    let leaf = Leaf::look(&calibrated.photo.rgb, rosette, GRID);
    let mut random = SplitMix64::new(0x5A17);
    let whites = calibrated.white.samples(READINGS + 1);
    let mut readings = Vec::with_capacity(READINGS + 1);
    let mut tiles = Vec::new();
    for (number, white) in whites.into_iter().enumerate() {
        let converter = calibrated.converter_for(white);
        let turn = match number {
            0 => (0.0, 1.0),
            _ => ((RULE_SPREAD.0 * random.normal()) as f32, (RULE_SPREAD.1 * random.normal()).exp() as f32),
        };
        let tissue = judge_leaf(&leaf, &leaf.planes(&converter, turn));
        readings.push(count(&tissue));
        if number == 0 {
            tiles = tile_counts(&tissue);
        }
    }
    Samples { tiles, readings }
}

fn tile_counts(tissue: &Raster<Option<Tissue>>) -> Vec<PerTissue<usize>> {
    let side = tissue.width().max(tissue.height()).div_ceil(TILES).max(1);
    let across = tissue.width().div_ceil(side);
    let mut tiles = vec![PerTissue::<usize>::default(); across * tissue.height().div_ceil(side)];
    for y in 0..tissue.height() {
        for (x, t) in tissue.row(y).iter().enumerate() {
            if let Some(t) = t {
                tiles[y / side * across + x / side][*t] += 1;
            }
        }
    }
    tiles.retain(|t| t.0.iter().any(|&n| n > 0));
    tiles
}
