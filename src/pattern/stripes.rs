//! Stripes along the leaf: how many, how wide.

use super::across::{Across, SAMPLES};
use super::leaves::Piece;
use super::look::Look;
use super::spread::{SECTORS, sector};
use crate::base::doubt::Doubt;
use crate::base::stats::{Interval, SplitMix64, quantile};

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

/// Number, mean width (photo pixels) and pale share of the stripes of one profile.
#[derive(Clone, Copy)]
struct Counted {
    sector: usize,
    count: f64,
    width: f64,
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
            let (runs, pale) = runs(profile);
            let width = f64::from(piece.middle.width) * look.scale * READ * pale / runs.max(1) as f64;
            Counted { sector: sector(crown, x, y), count: runs as f64, width, share: pale }
        })
        .collect();
    let median = |of: fn(&Counted) -> f64| quantile(&mut counted.iter().map(of).collect::<Vec<_>>(), 0.5);
    let least = blur.map_or(PIXELS, |b| (BLURS * b).max(PIXELS));
    let width = median(|c| c.width).filter(|w| *w >= least);
    Stripes {
        count: median(|c| c.count).map(|c| c.round() as usize),
        width_px: width.and_then(|w| interval(w, &counted)),
        lines: Some(across.lines),
        share: median(|c| c.share),
    }
}

/// How many stripes a profile has, and how much of it is pale.
fn runs(profile: &[f32; SAMPLES]) -> (usize, f64) {
    let mut seen: Vec<f64> = profile.iter().filter(|v| !v.is_nan()).map(|&v| f64::from(v)).collect();
    let values = seen.clone();
    let level = |seen: &mut [f64], p| quantile(seen, p).unwrap_or(0.0);
    let half = f64::midpoint(level(&mut seen, LEVELS.0), level(&mut seen, LEVELS.1));
    let pale = values.iter().filter(|v| **v > half).count() as f64 / values.len().max(1) as f64;
    let starts = values.windows(2).filter(|v| v[0] <= half && v[1] > half).count();
    (starts + usize::from(values.first().is_some_and(|v| *v > half)), pale)
}

/// The median's interval: leaves (sectors around the crown) are drawn with replacement, because pieces of one leaf are
/// not independent.
fn interval(value: f64, counted: &[Counted]) -> Option<Interval> {
    let mut leaves: Vec<Vec<f64>> = vec![Vec::new(); SECTORS];
    for stripe in counted {
        leaves[stripe.sector].push(stripe.width);
    }
    leaves.retain(|leaf| !leaf.is_empty());
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
