//! Bands that neighbour each other, as one leaf shows them.

use super::plant::median;
use super::{Band, Pair};
use std::collections::BTreeMap;

/// The bands of one leaf, as seen; a leaf that others cross counts as several.
#[derive(Debug, Clone)]
pub struct Leaf {
    /// Its number on the plant, from 1.
    pub number: usize,
    /// Numbers of its bands.
    pub bands: Vec<usize>,
    /// Median width of its bands, pixels.
    pub width_px: f64,
    /// Median length of its bands, pixels.
    pub length_px: f64,
    /// Median pitch of its pairs, pixels; `None` for a single band.
    pub pitch_px: Option<f64>,
    /// Median of width over pitch of its pairs.
    pub duty: Option<f64>,
    /// Median waviness of its bands, see [`Band::waviness`].
    pub waviness: Option<f64>,
    /// Its pitch over the plant's, once that is told: 1 where it faces the camera, less where it is turned away.
    pub facing: Option<f64>,
}

impl Leaf {
    /// How far its bands reach along it, pixels.
    pub(super) fn extent_px(&self) -> f64 {
        (self.bands.len() - 1) as f64 * self.pitch_px.unwrap_or(0.0) + self.width_px
    }
}

/// Bands that pairs link one after the other are one leaf.
pub(super) fn grouped(bands: &[Band], pairs: &[Pair]) -> Vec<Leaf> {
    let pairs = in_rows(bands, pairs);
    // First band of the leaf that each band is on.
    let mut first: BTreeMap<usize, usize> = bands.iter().map(|band| (band.number, band.number)).collect();
    for pair in &pairs {
        let (Some(&a), Some(&b)) = (first.get(&pair.bands.0), first.get(&pair.bands.1)) else { continue };
        first.values_mut().filter(|of| **of == a.max(b)).for_each(|of| *of = a.min(b));
    }
    let mut leaves: BTreeMap<usize, (Vec<&Band>, Vec<&Pair>)> = BTreeMap::new();
    for band in bands {
        leaves.entry(first[&band.number]).or_default().0.push(band);
    }
    for pair in pairs {
        if let Some((_, linked)) = first.get(&pair.bands.0).and_then(|of| leaves.get_mut(of)) {
            linked.push(pair);
        }
    }
    (1..).zip(leaves.into_values()).map(|(number, (bands, pairs))| leaf(number, &bands, &pairs)).collect()
}

/// Pairs that are, for both of their bands, the pair crossed most often on that side (the closer of equals): a band has one
/// neighbour on either side, and lines that run on to a leaf behind are few.
fn in_rows<'a>(bands: &[Band], pairs: &'a [Pair]) -> Vec<&'a Pair> {
    let band = |number: usize| bands.binary_search_by_key(&number, |band| band.number).ok().map(|i| &bands[i]);
    let better = |new: &Pair, old: &Pair| (new.crossings, old.pitch_px) > (old.crossings, new.pitch_px);
    let mut best: BTreeMap<(usize, bool), &Pair> = BTreeMap::new();
    for pair in pairs {
        let (Some(a), Some(b)) = (band(pair.bands.0), band(pair.bands.1)) else { continue };
        for (from, to) in [(a, b), (b, a)] {
            let along: f64 = (0..2).map(|i| (to.at[i] - from.at[i]) * from.across[i]).sum();
            let chosen = best.entry((from.number, along > 0.0)).or_insert(pair);
            if better(pair, chosen) {
                *chosen = pair;
            }
        }
    }
    let chosen = |pair: &&Pair| best.values().filter(|best| best.bands == pair.bands).count() == 2;
    pairs.iter().filter(chosen).collect()
}

fn leaf(number: usize, bands: &[&Band], pairs: &[&Pair]) -> Leaf {
    let of_bands = |value: fn(&Band) -> f64| median(bands.iter().map(|band| value(band)).collect());
    let of_pairs =
        |value: fn(&Pair) -> f64| (bands.len() > 1).then(|| median(pairs.iter().map(|pair| value(pair)).collect()));
    let wavy: Vec<f64> = bands.iter().filter_map(|band| band.waviness).collect();
    Leaf {
        number,
        bands: bands.iter().map(|band| band.number).collect(),
        width_px: of_bands(|band| band.width_px),
        length_px: of_bands(|band| band.length_px),
        pitch_px: of_pairs(|pair| pair.pitch_px),
        duty: of_pairs(|pair| pair.width_px / pair.pitch_px),
        waviness: (!wavy.is_empty()).then(|| median(wavy)),
        facing: None,
    }
}
