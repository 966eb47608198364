//! How blurred the card is: the width of its edges (the slanted-edge idea of ISO 12233: an edge at an angle is sampled at
//! all sub-pixel phases).

use super::edges::{Edge, light};
use super::refine::Fit;
use crate::base::raster::Raster;

/// Linear light from which a camera's highlights may be clipped: the edge's light side is then cut off.
const BURNT: f64 = 0.95;

/// Fewest edges that tell the blur.
const FEWEST: usize = 12;

/// Points of a profile on either side of the edge.
const POINTS: i32 = 20;

/// Most of a profile's length on either side, pixels.
const REACH: f64 = 12.0;

/// Points at either end of a profile that tell its dark and its light.
const ENDS: usize = 6;

/// Variance that reading between pixel centres adds, pixels squared: t (1 - t) at a share t of the way, 1/6 on average.
const BETWEEN: f64 = 1.0 / 6.0;

/// Standard deviation of the blur across the card's edges, pixels, taken as Gaussian; `None` where too few edges are sound.
pub(super) fn blur(rgb: &Raster<[u8; 3]>, fit: &Fit, edges: &[Edge]) -> Option<f64> {
    let steps: Vec<Vec<(f64, f64)>> = edges.iter().filter_map(|edge| profile(rgb, fit, *edge)).collect();
    if steps.len() < FEWEST {
        return None;
    }
    let error = |sigma: f64| steps.iter().map(|step| misfit(step, (sigma * sigma + BETWEEN).sqrt())).sum::<f64>();
    let sigmas = (0..240).map(|i| 0.2 * 1.015_f64.powi(i));
    sigmas.min_by(|a, b| error(*a).total_cmp(&error(*b)))
}

/// Squared differences of a profile from an edge of blur `sigma` that is levelled as the profile is: where the blur reaches
/// beyond the ends, neither has its full dark and light there.
fn misfit(profile: &[(f64, f64)], sigma: f64) -> f64 {
    let edge = levelled(profile.iter().map(|(t, _)| (*t, normal_share(t / sigma))).collect());
    edge.iter().zip(profile).map(|((_, a), (_, b))| (a - b).powi(2)).sum()
}

/// Means of the two ends of a profile.
fn ends(profile: &[(f64, f64)]) -> (f64, f64) {
    let mean = |part: &[(f64, f64)]| part.iter().map(|(_, v)| v).sum::<f64>() / part.len() as f64;
    (mean(&profile[..ENDS]), mean(&profile[profile.len() - ENDS..]))
}

/// A profile with 0 at its dark end and 1 at its light end.
fn levelled(profile: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let (dark, light) = ends(&profile);
    profile.into_iter().map(|(t, v)| (t, (v - dark) / (light - dark))).collect()
}

/// Distance from the edge (pixels, positive on the light side) and light from 0 (dark side) to 1 (light side).
fn profile(rgb: &Raster<[u8; 3]>, fit: &Fit, edge: Edge) -> Option<Vec<(f64, f64)>> {
    let seen = edge.find(rgb, &fit.map)?;
    let at = |t: f64| {
        let along = seen.offset + t;
        light(rgb, [seen.expected[0] + along * seen.normal[0], seen.expected[1] + along * seen.normal[1]])
    };
    let place = |i: i32| f64::from(i) / f64::from(POINTS) * seen.reach.min(REACH);
    let samples: Option<Vec<(f64, f64)>> = (-POINTS..=POINTS).map(place).map(|t| Some((t, at(t)?))).collect();
    let samples = samples?;
    let (dark, light) = ends(&samples);
    let sound = light < BURNT && light - dark > 0.05;
    sound.then(|| levelled(samples))
}

/// Share of the standard normal distribution below `z`, good to 1e-5 (Abramowitz and Stegun 1964, 26.2.16).
fn normal_share(z: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.33267 * z.abs());
    let density = (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt();
    let tail = density * t * (0.436_183_6 + t * (-0.120_167_6 + t * 0.937_298));
    if z < 0.0 { tail } else { 1.0 - tail }
}

#[cfg(test)]
mod tests {
    use super::normal_share;

    /// Values of the normal distribution (NIST e-Handbook 1.3.6.7.1).
    #[test]
    fn shares_of_the_normal_distribution() {
        for (z, share) in [(0.0, 0.5), (1.0, 0.841_34), (-1.96, 0.025), (2.33, 0.990_10)] {
            assert!((normal_share(z) - share).abs() < 2e-5, "{z}: {}", normal_share(z));
        }
    }
}
