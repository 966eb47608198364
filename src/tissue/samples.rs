//! The same plant judged again under plausible whites and thresholds, tile by tile: what intervals are made of.

use crate::base::color::OkLab;
use crate::base::color::oklab::Relight;
use crate::base::raster::Raster;
use crate::base::stats::SplitMix64;
use crate::calibrate::Calibrated;
use crate::tissue::class::{PerTissue, Tissue};
use crate::tissue::form::Bands;
use crate::tissue::leaf::Leaf;
use crate::tissue::rule::judge;
use crate::tissue::shared_out;
use crate::tissue::witness::Evidence;

/// At most about this many pixels of a plant are judged again: only differences between readings are used.
const MOST: usize = 2_500;
/// Tiles across the plant: blocks larger than a leaf is wide, so that tiles are nearly independent.
const TILES: usize = 10;
/// Readings beside the best one.
const READINGS: usize = 24;
/// Standard deviation of the rule's hue thresholds, degrees, and of the logarithm of its C/L thresholds: spread of real
/// leaves around the model leaves (hue moves 1-8 degrees with leaf thickness: PROSPECT-D, `docs/science.md`).
const RULE_SPREAD: (f64, f64) = (6.0, 0.15);

/// What fractions and their intervals are made of.
pub struct Samples {
    /// Leaf pixels in each tile, shared out among the classes; what cannot be read or seems no leaf is [`Tissue::Unsure`].
    pub tiles: Vec<PerTissue<f64>>,
    /// Pixels' worth of leaf on which the two witnesses do not agree.
    pub disputed: f64,
    /// Part of the living leaf by colour alone: the best reading first, then the plausible ones.
    pub readings: Vec<PerTissue<f64>>,
}

/// Shares the plant's pixels out, and judges the colour of its living leaf again under plausible whites and thresholds;
/// colour alone, bands and exposure held, because the network's word does not move with them; the shift that this gives
/// is larger than that of both witnesses together. Deterministic.
pub(super) fn samples(
    calibrated: &Calibrated,
    leaf: &Leaf,
    bands: &Bands,
    evidence: &Evidence,
    tissue: &Raster<Option<Tissue>>,
) -> Samples {
    let living = living(bands, tissue);
    let mut random = SplitMix64::new(0x5A17);
    let from = calibrated.converter();
    let readings = calibrated.white.samples(READINGS + 1).into_iter().enumerate().map(|(number, white)| {
        let turn = match number {
            0 => (0.0, 1.0),
            _ => ((RULE_SPREAD.0 * random.normal()) as f32, (RULE_SPREAD.1 * random.normal()).exp() as f32),
        };
        reading(&living, &Relight::new(&from, &calibrated.converter_for(white)), turn)
    });
    let (tiles, disputed) = tiles(leaf, bands, evidence);
    Samples { readings: readings.collect(), tiles, disputed }
}

/// Colour and known lightness of every n-th pixel of living leaf.
fn living(bands: &Bands, tissue: &Raster<Option<Tissue>>) -> Vec<(OkLab, Option<f32>)> {
    let living = [Tissue::Green, Tissue::Cream, Tissue::Gold, Tissue::Red];
    let pixels: Vec<usize> =
        (0..tissue.as_slice().len()).filter(|&i| tissue.as_slice()[i].is_some_and(|t| living.contains(&t))).collect();
    let step = pixels.len().div_ceil(MOST).max(1);
    pixels.into_iter().step_by(step).map(|i| (bands.oklab(i), bands.lightness.as_slice()[i])).collect()
}

/// What the rule makes of the colours under another white, hue turned (degrees) and chroma scaled.
fn reading(living: &[(OkLab, Option<f32>)], relight: &Relight, turn: (f32, f32)) -> PerTissue<f64> {
    let mut counts = PerTissue::default();
    for &(colour, lightness) in living {
        let lab = relight.oklab(colour);
        let saturation = lab.a.hypot(lab.b) / lab.l.max(0.02) * turn.1;
        let hue = lab.b.atan2(lab.a).to_degrees() + turn.0;
        counts[judge(hue, saturation, lightness).tissue().unwrap_or(Tissue::Unsure)] += 1.0;
    }
    counts
}

fn tiles(leaf: &Leaf, bands: &Bands, evidence: &Evidence) -> (Vec<PerTissue<f64>>, f64) {
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let side = w.max(h).div_ceil(TILES).max(1);
    let across = w.div_ceil(side);
    let mut tiles = vec![PerTissue::<f64>::default(); across * h.div_ceil(side)];
    let mut disputed = 0.0;
    for i in (0..w * h).filter(|&i| leaf.mask.as_slice()[i]) {
        let tile = &mut tiles[i / w / side * across + i % w / side];
        if leaf.unreadable(i % w, i / w).is_some() {
            tile[Tissue::Unsure] += 1.0;
            continue;
        }
        let (shares, dispute) = shared_out(bands.class(i), evidence.shares(i));
        tile.add(&shares);
        disputed += dispute;
    }
    tiles.retain(|t| t.0.iter().any(|&n| n > 0.0));
    (tiles, disputed)
}
