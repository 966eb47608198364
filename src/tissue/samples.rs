//! The same plant judged again under plausible whites and thresholds, tile by tile: what intervals are made of.

use crate::base::approximate::atan2;
use crate::base::color::OkLab;
use crate::base::color::oklab::Relight;
use crate::base::raster::Raster;
use crate::base::stats::SplitMix64;
use crate::base::wide::wide;
use crate::calibrate::Calibrated;
use crate::tissue::class::{PerTissue, Tissue};
use crate::tissue::form::Bands;
use crate::tissue::rule::judge;

/// At most about this many pixels of a plant are judged again: only differences between readings are used.
const MOST: usize = 2_500;
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

/// Judges the colour of the plant's living leaf again under plausible whites and thresholds: colour alone, bands and exposure
/// held, because the network's word does not move with them; the shift that this gives is larger than that of both witnesses
/// together. Deterministic.
pub(super) fn readings(calibrated: &Calibrated, bands: &Bands, tissue: &Raster<Option<Tissue>>) -> Vec<PerTissue<f64>> {
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
    readings.collect()
}

/// Colour and known lightness of every n-th pixel of living leaf.
fn living(bands: &Bands, tissue: &Raster<Option<Tissue>>) -> Vec<(OkLab, Option<f32>)> {
    let living = [Tissue::Green, Tissue::Cream, Tissue::Gold, Tissue::Red];
    let pixels = tissue.as_slice().iter().enumerate();
    let pixels = pixels.filter(|(_, class)| class.is_some_and(|t| living.contains(&t))).map(|(i, _)| i);
    let step = pixels.clone().count().div_ceil(MOST).max(1);
    pixels.step_by(step).map(|i| (bands.oklab(i), bands.lightness(i))).collect()
}

/// What the rule makes of the colours under another white, hue turned (degrees) and chroma scaled.
fn reading(living: &[(OkLab, Option<f32>)], relight: &Relight, turn: (f32, f32)) -> PerTissue<f64> {
    let mut turned = vec![(0.0, 0.0); living.len()];
    wide(|| {
        for ((hue, saturation), &(colour, _)) in turned.iter_mut().zip(living) {
            let lab = relight.oklab(colour);
            *saturation = (lab.a * lab.a + lab.b * lab.b).sqrt() / lab.l.max(0.02) * turn.1;
            *hue = atan2(lab.b, lab.a).to_degrees() + turn.0;
        }
    });
    let mut counts = PerTissue::default();
    for ((hue, saturation), &(_, lightness)) in turned.into_iter().zip(living) {
        counts[judge(hue, saturation, lightness).tissue().unwrap_or(Tissue::Unsure)] += 1.0;
    }
    counts
}
