//! From single crossings to bands, to pairs of neighbours, to the plant.

use super::along::off_straight;
use super::profile::Crossing;
use super::{Band, Pair};
use crate::base::stats::{self, Interval};
use std::collections::BTreeMap;

/// Fewest crossings that make a band measured, and a pair of neighbours.
const CROSSINGS: (usize, usize) = (3, 2);
/// Fewest bands and pairs from which a plant can be told.
const FEWEST: (usize, usize) = (8, 6);

/// Bands and pairs of neighbours, each with the medians of its crossings, in the order of their numbers.
pub(super) fn gathered(crossings: &[Crossing]) -> (Vec<Band>, Vec<Pair>) {
    let mut bands: BTreeMap<usize, Vec<&Crossing>> = BTreeMap::new();
    let mut pairs: BTreeMap<(usize, usize), Vec<[f64; 2]>> = BTreeMap::new();
    for crossing in crossings {
        bands.entry(crossing.band).or_default().push(crossing);
        for neighbour in &crossing.neighbours {
            let key = (crossing.band.min(neighbour.band), crossing.band.max(neighbour.band));
            let width = f64::midpoint(crossing.width, neighbour.width);
            pairs.entry(key).or_default().push([neighbour.pitch, width]);
        }
    }
    let bands = bands.into_iter().filter(|(_, seen)| seen.len() >= CROSSINGS.0).map(|(number, seen)| {
        let middle = |value: fn(&Crossing) -> f64| median(seen.iter().map(|c| value(c)).collect());
        let width_px = middle(|c| c.width);
        Band {
            number,
            at: [middle(|c| c.at[0]), middle(|c| c.at[1])],
            across: mean_direction(&seen),
            width_px,
            length_px: middle(|c| c.length),
            waviness: off_straight(&seen.iter().map(|c| c.middle()).collect::<Vec<_>>()).map(|off| off / width_px),
            crossings: seen.len(),
        }
    });
    let pairs = pairs.into_iter().filter(|(_, seen)| seen.len() >= CROSSINGS.1).map(|(bands, seen)| {
        let pitch_px = median(seen.iter().map(|s| s[0]).collect());
        let width_px = median(seen.iter().map(|s| s[1]).collect());
        Pair { bands, pitch_px, width_px, crossings: seen.len() }
    });
    (bands.collect(), pairs.collect())
}

/// Mean unit vector across a band; either sense.
fn mean_direction(seen: &[&Crossing]) -> [f64; 2] {
    let first = seen[0].across;
    let sum = seen.iter().map(|c| c.across).fold([0.0, 0.0], |sum: [f64; 2], [x, y]| {
        let sense = (x * first[0] + y * first[1]).signum();
        [sum[0] + sense * x, sum[1] + sense * y]
    });
    sum.map(|v| v / sum[0].hypot(sum[1]))
}

/// Length of bands over that of bands and the gaps between pieces of one row.
pub(super) fn continuity(crossings: &[Crossing]) -> f64 {
    let (bands, gaps) = crossings.iter().fold((0.0, 0.0), |sum, c| (sum.0 + c.length, sum.1 + c.gaps));
    bands / (bands + gaps)
}

/// Natural logarithms of what is seen of a plant's bands, pixels: most leaves are turned away from the camera, so upper
/// quantiles come near the true lengths and the lower ones tell how far leaves are turned.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// Pitch that 9 in 10 pairs keep under.
    pitch_90: f64,
    /// Median pitch.
    pitch_50: f64,
    /// Width that 9 in 10 bands keep under.
    width_90: f64,
    /// Median width.
    width_50: f64,
    /// Median of width over pitch.
    duty_50: f64,
}

impl Seen {
    /// `None` with too few bands or pairs.
    pub(super) fn of(bands: &[Band], pairs: &[Pair]) -> Option<Self> {
        if bands.len() < FEWEST.0 || pairs.len() < FEWEST.1 {
            return None;
        }
        let width = |p| quantile(bands.iter().map(|b| (b.width_px, (b.width_px * b.length_px).sqrt())), p).ln();
        let pitch = |p| quantile(pairs.iter().map(|c| (c.pitch_px, weight(c))), p).ln();
        let duty_50 = quantile(pairs.iter().map(|c| (c.width_px / c.pitch_px, weight(c))), 0.5).ln();
        Some(Self { pitch_90: pitch(0.9), pitch_50: pitch(0.5), width_90: width(0.9), width_50: width(0.5), duty_50 })
    }

    /// Pitch of the plant, pixels.
    pub(super) fn pitch(&self, tilt_deg: Option<f64>) -> f64 {
        self.length(self.pitch_50, &PITCH, tilt_deg)
    }

    /// Width of the plant's bands, pixels.
    pub(super) fn width(&self, tilt_deg: Option<f64>) -> f64 {
        self.length(self.width_50, &WIDTH, tilt_deg)
    }

    /// The median where single lengths spread as little as on leaves that all face the camera; the fit where they spread as on
    /// rosettes; between, between.
    fn length(&self, median: f64, fit: &Fit, tilt_deg: Option<f64>) -> f64 {
        let spread = f64::midpoint(self.pitch_90 - self.pitch_50, self.width_90 - self.width_50);
        let turned = ((spread - FACING) / (TURNED - FACING)).clamp(0.0, 1.0);
        (median + turned * (self.fitted(fit, tilt_deg) - median)).exp()
    }

    fn fitted(&self, fit: &Fit, tilt_deg: Option<f64>) -> f64 {
        let beside = |other: f64| other - self.pitch_90;
        let view = tilt_deg.map_or(0.0, |deg| deg.to_radians().cos() - USUAL_VIEW);
        self.pitch_90
            + fit.constant
            + fit.pitch_50 * beside(self.pitch_50)
            + fit.width_90 * beside(self.width_90)
            + fit.width_50 * beside(self.width_50)
            + fit.duty_50 * self.duty_50
            + fit.view * view
    }
}

/// Logarithm of the 0.9 quantile over the median of pitch and width, their mean: bands of one leaf differ by about 10 %, which
/// alone makes 0.13; on 19 in 20 of the fitted plants it is over 0.25.
const FACING: f64 = 0.15;
/// See [`FACING`].
const TURNED: f64 = 0.25;

/// How a plant's true length follows from what is seen: linear in logarithms. The weights of the three lengths beside the
/// 0.9 quantile of the pitch are of their differences from it, so that twice the pixels give twice the length.
struct Fit {
    constant: f64,
    pitch_50: f64,
    width_90: f64,
    width_50: f64,
    duty_50: f64,
    /// Of the cosine of the camera's tilt, less [`USUAL_VIEW`]: seen from aside, other leaves face the camera.
    view: f64,
}

/// Cosine of tilt where nothing is known of it: about the mean of the plants of the fit.
const USUAL_VIEW: f64 = 0.9;

/// By `docs/band-fit/fit.py` over 323 rendered plants of the outline's training pictures (bands of 5 pixels and more, unbroken),
/// none of which is used to judge the program: least absolute deviations. With each plant's photo left out of the fit, the error
/// is 5 % in the median, 14 % at the 0.9 quantile.
const PITCH: Fit =
    Fit { constant: 0.108, pitch_50: -0.090, width_90: 0.284, width_50: 0.161, duty_50: -0.399, view: 0.296 };

/// The same for the width: 5 % and 15 %.
const WIDTH: Fit =
    Fit { constant: 0.138, pitch_50: -0.069, width_90: 0.429, width_50: 0.299, duty_50: 0.217, view: 0.162 };

/// Standard deviation of the logarithm of an error, such that 95 % of those of the fit lie within 1.96 of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Error {
    /// However many pairs are seen: which way leaves are turned.
    own: f64,
    /// Of a single pair; falls with the root of their number.
    one: f64,
}

/// Of the pitch, by the same fit.
pub(super) const PITCH_ERROR: Error = Error { own: 0.061, one: 0.397 };
/// Of the width.
pub(super) const WIDTH_ERROR: Error = Error { own: 0.074, one: 0.377 };

impl Error {
    /// With so many pairs.
    pub(super) fn sd(self, pairs: usize) -> f64 {
        self.own.hypot(self.one / (pairs as f64).sqrt())
    }
}

/// Normal quantile of 95 % intervals.
const Z: f64 = 1.96;

/// A length in mm with its 95 % interval: the error of the length itself (`sd`, of its logarithm) and that of the scale.
pub(super) fn length_mm(px: f64, sd: f64, scale: Interval) -> Interval {
    let scale_sd = (scale.high / scale.low).ln() / (2.0 * Z);
    let range = (Z * sd.hypot(scale_sd)).exp();
    let value = px / scale.value;
    Interval { value, low: value / range, high: value * range }
}

/// Widths over the plant's width that 1 in 10 and 9 in 10 bands keep under: from width over pitch of pairs, which hardly
/// changes when a leaf turns.
pub(super) fn spread(pairs: &[Pair]) -> [f64; 2] {
    let duty = |p| quantile(pairs.iter().map(|c| (c.width_px / c.pitch_px, weight(c))), p);
    [0.1, 0.9].map(|p| duty(p) / duty(0.5))
}

/// Neighbours crossed often count more, as the root: their crossings are not independent.
fn weight(pair: &Pair) -> f64 {
    (pair.crossings as f64).sqrt()
}

/// Quantile `p` of weighted values, by linear interpolation between the middles of their weights; 0 without values.
fn quantile(values: impl Iterator<Item = (f64, f64)>, p: f64) -> f64 {
    let mut values: Vec<(f64, f64)> = values.collect();
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let want = p * values.iter().map(|v| v.1).sum::<f64>();
    let (mut before, mut last): (f64, Option<(f64, f64)>) = (0.0, None);
    for (value, weight) in values {
        let middle = before + weight / 2.0;
        if middle >= want {
            return last.map_or(value, |(at, lower)| lower + (want - at) / (middle - at) * (value - lower));
        }
        before += weight;
        last = Some((middle, value));
    }
    last.map_or(0.0, |(_, value)| value)
}

/// Median; 0 without values.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    stats::quantile(&mut values, 0.5).unwrap_or(0.0)
}
