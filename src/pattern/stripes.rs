//! Stripes along the leaf: how many, how wide.

use super::across::{Across, SAMPLES};
use super::leaves::Piece;
use super::look::Look;
use super::spread::{SECTORS, sector};
use crate::base::doubt::Doubt;
use crate::base::stats::{Interval, SplitMix64, quantile};
use std::ops::Range;

/// Part of a leaf's width that a profile covers.
const READ: f64 = 0.92;
/// Quantiles of a profile that stand for green and for pale: a stripe is what lies above half way between, in linear
/// light, where half way is the edge (`docs/science.md`, bands).
const LEVELS: (f64, f64) = (0.10, 0.95);
/// Replicates of the bootstrap.
const REPLICATES: usize = 400;
/// Narrowest stripe whose width is told, standard deviations of the blur: under it the half level moves by over 1.3 % of
/// the width (Gaussian blur of a bar, computed).
const BLURS: f64 = 2.5;
/// Narrowest stripe whose width is told in a sharp photo, photo pixels: with less the edges' pixels are most of it.
const PIXELS: f64 = 3.0;

/// Stripes along the leaves that lie free.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stripes {
    /// Pale stripes across a leaf, median; 0 on a plain plant; `None` where they cannot be told apart.
    pub count: Option<usize>,
    /// Width across the leaf, photo pixels, median with its 95 % interval (bootstrap over the leaves, without the
    /// scale's error); as seen, not corrected for a leaf's roundness.
    pub width_px: Option<Interval>,
    /// Centre to centre distance of neighbouring stripes across the leaf, photo pixels, as `width_px`; `None` also
    /// where leaves have one stripe.
    pub spacing_px: Option<Interval>,
    /// Pale lines in a leaf's width; `None` where they cannot be told apart.
    pub lines: Option<f64>,
    /// Part of the leaf's width that is pale, 0..1.
    pub share: Option<f64>,
}

impl Stripes {
    /// Why there is no width, where stripes were counted.
    pub(super) fn doubt(&self) -> Option<Doubt> {
        (self.lines.is_some() && self.width_px.is_none()).then(|| {
            let text = "the stripes are narrower than the photo's sharpness can measure: their width is not given; move closer, focus on the leaves";
            Doubt::new("stripes-narrow", text)
        })
    }
}

/// The stripes of one profile: how many, their mean width and spacing in photo pixels, the pale share.
#[derive(Clone, Copy)]
struct Counted {
    sector: usize,
    count: f64,
    width: f64,
    spacing: Option<f64>,
    share: f64,
}

/// Counts and measures the stripes of the profiles. `blur`: standard deviation, photo pixels.
pub(super) fn stripes(look: &Look, across: &Across, pieces: &[Piece], crown: [f32; 2], blur: Option<f64>) -> Stripes {
    let counted: Vec<Counted> = across
        .profiles
        .iter()
        .map(|(number, profile)| {
            let piece = &pieces[*number];
            let [x, y] = piece.middle.middle;
            let runs = runs(profile);
            let pale = runs.iter().map(Range::len).sum::<usize>() as f64 / SAMPLES as f64;
            let sample = f64::from(piece.middle.width) * look.scale * READ / SAMPLES as f64;
            let width = sample * pale * SAMPLES as f64 / runs.len().max(1) as f64;
            Counted {
                sector: sector(crown, x, y),
                count: runs.len() as f64,
                width,
                spacing: spacing(&runs).map(|samples| samples * sample),
                share: pale,
            }
        })
        .collect();
    let median = |of: fn(&Counted) -> f64| quantile(&mut counted.iter().map(of).collect::<Vec<_>>(), 0.5);
    let least = blur.map_or(PIXELS, |b| (BLURS * b).max(PIXELS));
    let wide = median(|c| c.width).is_some_and(|w| w >= least);
    let several = 2 * counted.iter().filter(|c| c.spacing.is_some()).count() > counted.len();
    Stripes {
        count: median(|c| c.count).map(|c| c.round() as usize),
        width_px: wide.then(|| with_interval(&counted, |c| Some(c.width))).flatten(),
        spacing_px: (wide && several).then(|| with_interval(&counted, |c| c.spacing)).flatten(),
        lines: Some(across.lines),
        share: median(|c| c.share),
    }
}

/// The pale stripes of a profile: first and after-last sample. What is not seen continues what stands before it.
fn runs(profile: &[f32; SAMPLES]) -> Vec<Range<usize>> {
    let mut seen: Vec<f64> = profile.iter().filter(|v| !v.is_nan()).map(|&v| f64::from(v)).collect();
    let [low, high] = [LEVELS.0, LEVELS.1].map(|p| quantile(&mut seen, p).unwrap_or(0.0));
    let half = f64::midpoint(low, high);
    let mut runs: Vec<Range<usize>> = Vec::new();
    let mut pale = false;
    for (i, &value) in profile.iter().enumerate() {
        let before = pale;
        pale = if value.is_nan() { before } else { f64::from(value) > half };
        match runs.last_mut() {
            Some(run) if pale && before => run.end = i + 1,
            _ if pale => runs.push(i..i + 1),
            _ => {}
        }
    }
    runs
}

/// Mean centre to centre distance of neighbours, samples.
fn spacing(runs: &[Range<usize>]) -> Option<f64> {
    let [first, .., last] = runs else { return None };
    let centre = |run: &Range<usize>| (run.start + run.end) as f64 / 2.0;
    Some((centre(last) - centre(first)) / (runs.len() - 1) as f64)
}

/// The median with its interval: leaves (sectors around the crown) are drawn with replacement, because pieces of one leaf
/// are not independent.
fn with_interval(counted: &[Counted], of: fn(&Counted) -> Option<f64>) -> Option<Interval> {
    let mut leaves: Vec<Vec<f64>> = vec![Vec::new(); SECTORS];
    for stripe in counted {
        leaves[stripe.sector].extend(of(stripe));
    }
    leaves.retain(|leaf| !leaf.is_empty());
    let value = quantile(&mut leaves.concat(), 0.5)?;
    let mut random = SplitMix64::new(0x571A);
    let mut medians: Vec<f64> = (0..REPLICATES)
        .filter_map(|_| {
            let drawn = (0..leaves.len()).flat_map(|_| leaves[random.below(leaves.len())].iter().copied());
            quantile(&mut drawn.collect::<Vec<_>>(), 0.5)
        })
        .collect();
    let low = quantile(&mut medians, 0.025)?.min(value);
    let high = quantile(&mut medians, 0.975)?.max(value);
    Some(Interval { value, low, high })
}
