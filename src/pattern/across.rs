//! What a leaf shows across its width: how strongly, how finely and where it is pale.
//!
//! Each piece of leaf is straightened to a width of -1..1 and read twice. What both readings share is there, what they do
//! not share is noise: the mean product of their cosine transforms (DCT-II; Ahmed, Natarajan, Rao 1974, IEEE Trans.
//! Computers C-23:90-93) is the spectrum without the noise, as in split-half reliability. Readings of interleaved
//! cross-sections share all that is seen; readings of the front and the rear half share only what runs along the leaf.

use super::leaves::{Piece, SIDE};
use super::look::Look;
use crate::base::resample::around;
use std::f32::consts::PI;

/// Samples across a leaf: 32 lines at most.
pub(super) const SAMPLES: usize = 64;
/// Part of the width that is read: the rest is mixed with what lies behind the edge.
const READ: f32 = 0.92;
/// Orders of the transform used; the first is one side of the leaf against the other: light from the side, or a leaf that
/// a sector's border runs through.
const FIRST: usize = 2;
const ORDERS: usize = 48;
/// Weight (cross-sections without bands) from which a sample counts in a reading.
const SEEN: f32 = 0.35;
/// Share of the samples that must be seen in both readings of a piece.
const SEEN_SHARE: f32 = 0.75;
/// Pieces from which the plant is read.
const LEAST: usize = 4;

/// What the free leaves show across their width.
#[derive(Debug, Clone)]
pub(super) struct Across {
    /// Mean paleness.
    pub level: f64,
    /// Standard deviation across the leaf of all that is seen.
    pub seen: f64,
    /// Standard deviation across the leaf of what runs along it.
    pub contrast: f64,
    /// Pale lines in a leaf's width: mean number of periods, weighted by their power.
    pub lines: f64,
    /// Paleness of the middle beyond the margins, as amplitude of one period across the leaf (DCT-II of order 2,
    /// orthonormal); negative with pale margins.
    pub middle: f64,
    /// Pieces read.
    pub pieces: usize,
    /// Profile of each piece that was read, with its place in the list of pieces; NAN where nothing is seen.
    pub profiles: Vec<(usize, [f32; SAMPLES])>,
}

/// Sum and weight of the samples of some cross-sections.
#[derive(Clone, Copy)]
struct Sum([f32; SAMPLES], [f32; SAMPLES]);

impl Sum {
    const NONE: Self = Self([0.0; SAMPLES], [0.0; SAMPLES]);

    fn with(mut self, other: &Self) -> Self {
        self.0.iter_mut().zip(other.0).for_each(|(a, b)| *a += b);
        self.1.iter_mut().zip(other.1).for_each(|(a, b)| *a += b);
        self
    }
}

/// One piece: front and rear, each in two interleaved parts.
type Quarters = [[Sum; 2]; 2];

/// What two readings of many pieces share.
struct Shared {
    /// Mean product of the transforms, by order.
    power: Vec<f64>,
    middle: f64,
    level: f64,
    pieces: usize,
}

impl Shared {
    fn deviation(&self) -> f64 {
        self.power[FIRST..].iter().sum::<f64>().max(0.0).sqrt()
    }

    fn lines(&self) -> f64 {
        let positive = || self.power.iter().enumerate().skip(FIRST).map(|(order, p)| (order as f64 / 2.0, p.max(0.0)));
        positive().map(|(lines, p)| lines * p).sum::<f64>() / positive().map(|(_, p)| p).sum::<f64>().max(1e-12)
    }
}

/// Reads the pieces; `None` if fewer than 4 can be read.
pub(super) fn across(look: &Look, pieces: &[Piece]) -> Option<Across> {
    let quarters: Vec<Quarters> = pieces.iter().map(|piece| quarters(look, piece)).collect();
    let cosines = cosines();
    let all = shared(&quarters, &cosines, |[front, rear]| [front[0].with(&rear[0]), front[1].with(&rear[1])])?;
    let along = shared(&quarters, &cosines, |[front, rear]| [front[0].with(&front[1]), rear[0].with(&rear[1])]);
    let run = along.as_ref().unwrap_or(&all);
    let whole = |[front, rear]: &Quarters| profile(&front[0].with(&front[1]).with(&rear[0]).with(&rear[1]));
    Some(Across {
        level: all.level,
        seen: all.deviation(),
        contrast: run.deviation(),
        lines: run.lines(),
        middle: run.middle,
        pieces: all.pieces,
        profiles: quarters.iter().map(whole).enumerate().filter_map(|(i, p)| Some((i, p?))).collect(),
    })
}

fn quarters(look: &Look, piece: &Piece) -> Quarters {
    let mut out = [[Sum::NONE; 2]; 2];
    for (number, section) in &piece.sections {
        let part = &mut out[usize::from(*number > 0)][(number.abs() / 2 % 2) as usize];
        let half = section.width / 2.0 * READ;
        for i in 0..SAMPLES {
            let off = half * ((i as f32 + 0.5) * 2.0 / SAMPLES as f32 - 1.0);
            let (x, y) = (section.middle[0] - off * piece.along[1], section.middle[1] + off * piece.along[0]);
            let (paleness, weight) = read(look, x, y);
            part.0[i] += paleness;
            part.1[i] += weight;
        }
    }
    debug_assert!(piece.sections.len() <= 2 * SIDE as usize);
    out
}

/// Paleness times weight, and weight, bilinear.
fn read(look: &Look, x: f32, y: f32) -> (f32, f32) {
    let near = around([f64::from(x), f64::from(y)], (look.weight.width(), look.weight.height()));
    near.iter().fold((0.0, 0.0), |(paleness, weight), &([x, y], part)| {
        (paleness + part as f32 * look.paleness.get(x, y), weight + part as f32 * look.weight.get(x, y))
    })
}

/// `cosines()[order][sample]` of the orthonormal DCT-II, over the root of the number of samples: the squares of the
/// orders sum to the variance.
fn cosines() -> Vec<[f32; SAMPLES]> {
    let n = SAMPLES as f32;
    (0..ORDERS)
        .map(|order| std::array::from_fn(|i| 2f32.sqrt() / n * (PI * (i as f32 + 0.5) * order as f32 / n).cos()))
        .collect()
}

fn shared(quarters: &[Quarters], cosines: &[[f32; SAMPLES]], halves: impl Fn(&Quarters) -> [Sum; 2]) -> Option<Shared> {
    let mut shared = Shared { power: vec![0.0; ORDERS], middle: 0.0, level: 0.0, pieces: 0 };
    for [a, b] in quarters.iter().map(halves) {
        let seen: [bool; SAMPLES] = std::array::from_fn(|i| a.1[i] > SEEN && b.1[i] > SEEN);
        let n = seen.iter().filter(|s| **s).count() as f32;
        if n < SEEN_SHARE * SAMPLES as f32 {
            continue;
        }
        let centred = |sum: &Sum| {
            let value = |i: usize| if seen[i] { sum.0[i] / sum.1[i] } else { 0.0 };
            let mean = (0..SAMPLES).map(value).sum::<f32>() / n;
            // Samples that are not seen are as the mean, and the others stand in for them.
            let stand = (SAMPLES as f32 / n).sqrt();
            let centred: [f32; SAMPLES] =
                std::array::from_fn(|i| if seen[i] { (value(i) - mean) * stand } else { 0.0 });
            (mean, centred)
        };
        let ((mean_a, a), (mean_b, b)) = (centred(&a), centred(&b));
        let dot = |cosine: &[f32; SAMPLES], values: &[f32; SAMPLES]| {
            f64::from(cosine.iter().zip(values).map(|(c, v)| c * v).sum::<f32>())
        };
        for (order, cosine) in cosines.iter().enumerate() {
            let (a, b) = (dot(cosine, &a), dot(cosine, &b));
            shared.power[order] += a * b;
            if order == 2 {
                shared.middle -= f64::midpoint(a, b);
            }
        }
        shared.level += f64::from(f32::midpoint(mean_a, mean_b));
        shared.pieces += 1;
    }
    let share = 1.0 / shared.pieces as f64;
    shared.power.iter_mut().for_each(|p| *p *= share);
    let (middle, level) = (shared.middle * share, shared.level * share);
    (shared.pieces >= LEAST).then_some(Shared { middle, level, ..shared })
}

fn profile(sum: &Sum) -> Option<[f32; SAMPLES]> {
    let profile: [f32; SAMPLES] = std::array::from_fn(|i| if sum.1[i] > SEEN { sum.0[i] / sum.1[i] } else { f32::NAN });
    let seen = profile.iter().filter(|v| !v.is_nan()).count();
    (seen as f32 >= SEEN_SHARE * SAMPLES as f32).then_some(profile)
}
