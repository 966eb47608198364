//! Bands in the record.

use super::build::rounded;
use super::{BandLeaf, Bands, Estimate, Spread};
use crate::bands::{self, Leaf};

impl Bands {
    pub(super) fn new(bands: &bands::Bands) -> Self {
        let part = |side: usize| Some(bands.width_mm?.value * bands.spread?[side]).and_then(|mm| rounded(mm, 3));
        let number = |value: Option<f64>, decimals| value.and_then(|v| rounded(v, decimals));
        Self {
            count: (!bands.bands.is_empty()).then_some(bands.bands.len()),
            width_mm: Spread { mean: Estimate::rounded(bands.width_mm, 3), p10: part(0), p90: part(1) },
            pitch_mm: Estimate::rounded(bands.pitch_mm, 3),
            width_rel: number(bands.duty, 4),
            class: bands.class.map(|class| class.name().into()),
            class_by: bands.class.map(|_| if bands.width_mm.is_some() { "width" } else { "duty" }),
            waviness: number(bands.waviness, 3),
            continuity: number(bands.continuity, 3),
            cover: number(bands.cover, 4),
            leaves: bands.leaves.iter().map(|leaf| BandLeaf::new(leaf, bands)).collect(),
        }
    }
}

impl BandLeaf {
    fn new(leaf: &Leaf, bands: &bands::Bands) -> Self {
        let (counts_for, reason) = counted(leaf, bands);
        Self {
            number: leaf.number,
            bands: leaf.bands.len(),
            width_px: rounded(leaf.width_px, 2),
            length_px: rounded(leaf.length_px, 1),
            pitch_px: leaf.pitch_px.and_then(|px| rounded(px, 2)),
            width_rel: leaf.duty.and_then(|duty| rounded(duty, 3)),
            waviness: leaf.waviness.and_then(|waves| rounded(waves, 3)),
            facing: leaf.facing.and_then(|facing| rounded(facing, 3)),
            counts_for,
            reason,
        }
    }
}

/// What a leaf counts for, and why not for all: every leaf counts where the plant's width is told.
fn counted(leaf: &Leaf, bands: &bands::Bands) -> (&'static str, String) {
    let why = bands.doubts.last().map(|doubt| doubt.code.to_owned());
    match (leaf.pitch_px, bands.pitch_px, bands.width_px) {
        (Some(_), Some(_), Some(_)) => ("width and pitch", String::new()),
        (None, Some(_), Some(_)) => ("width", "single band, no pitch".into()),
        (Some(_), Some(_), None) => ("pitch", why.unwrap_or_default()),
        _ => ("nothing", why.unwrap_or_else(|| "single band, no pitch".into())),
    }
}
