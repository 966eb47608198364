//! The white point: what it is, how it is given, which others are plausible.

use super::to_srgb;
use crate::base::color::light::Light;
use crate::base::color::transfer::DECODE;
use crate::base::color::{Linear, matrix};
use crate::base::doubt::Doubt;
use crate::base::raster::Rect;
use crate::base::stats::SplitMix64;
use crate::photo::Photo;

/// Where the white point comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhiteSource {
    /// Grey patches of a label card.
    Card,
    /// Estimated from the picture.
    Estimated,
    /// Stated by the user.
    Given,
}

/// What the user says about white.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum WhiteChoice {
    /// Nothing: estimate it.
    #[default]
    Auto,
    /// The 8-bit code of something neutral, as the photo (or another of the same light and camera) shows it.
    Given {
        /// Red, green, blue in the photo's own primaries.
        code: [u8; 3],
    },
    /// A part of the upright photo that shows something neutral.
    Spot(Rect),
}

/// The white point and how sure it is.
#[derive(Debug, Clone)]
pub struct White {
    /// Where it comes from.
    pub source: WhiteSource,
    /// A perfect white surface as the camera recorded it, linear sRGB, green = 1; (1, 1, 1) if the camera's own balance
    /// holds.
    pub rgb: Linear,
    /// Standard uncertainty along the daylight locus, mired (reciprocal megakelvin).
    pub mired_sd: f64,
    /// Standard uncertainty across the locus (green-magenta), in CIE 1960 uv distance.
    pub duv_sd: f64,
}

/// Standard uncertainty of a given white: a "neutral" thing is rarely quite neutral. Office paper of CIELAB b* -2 reads 5
/// mired too cool (computed in `docs/science.md`).
const GIVEN_MIRED_SD: f64 = 5.0;

/// The same across the locus, CIE 1960 uv.
const GIVEN_DUV_SD: f64 = 0.001;

/// Codes from here on may be clipped: highlights of JPEG pictures ring by a few codes.
pub(super) const CLIPPED: u8 = 250;

/// Codes below carry too little colour: one code is 5 % of the linear light or more.
const DARK: u8 = 20;

impl White {
    /// White of a light's colour.
    pub fn new(source: WhiteSource, light: Light, mired_sd: f64, duv_sd: f64) -> Self {
        Self { source, rgb: light.srgb(), mired_sd, duv_sd }
    }

    /// `n` plausible whites: the estimate itself, then a Latin hypercube of normal quantiles (`McKay`, Beckman, Conover
    /// 1979, Technometrics 21:239-245) over mired and duv, always the same ones, in random order. Their spread is the
    /// white's uncertainty from small `n` on, which independent random draws would only reach at large `n`.
    pub fn samples(&self, n: usize) -> Vec<Linear> {
        let others = n.saturating_sub(1);
        let Some(centre) = Light::from_srgb(self.rgb) else { return vec![self.rgb; n] };
        let mut random = SplitMix64::new(1);
        let (along, across) = (shuffled(others, &mut random), shuffled(others, &mut random));
        let quantile = |rank: usize| normal_quantile((rank as f64 + 0.5) / others as f64);
        let shifted = along
            .iter()
            .zip(&across)
            .map(|(&i, &j)| centre.shifted(self.mired_sd * quantile(i), self.duv_sd * quantile(j)).srgb());
        std::iter::once(self.rgb).take(n).chain(shifted).collect()
    }
}

/// 0..n in random order (Fisher and Yates).
fn shuffled(n: usize, random: &mut SplitMix64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..n).collect();
    for i in (1..n).rev() {
        order.swap(i, random.below(i + 1));
    }
    order
}

/// Quantile of the standard normal distribution, good to 4.5e-4 (Abramowitz and Stegun 1964, 26.2.23).
fn normal_quantile(p: f64) -> f64 {
    let t = (-2.0 * p.min(1.0 - p).ln()).sqrt();
    let tail =
        t - (2.515_517 + t * (0.802_853 + t * 0.010_328)) / (1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308)));
    if p < 0.5 { -tail } else { tail }
}

/// The white that the user stated: `None` for [`WhiteChoice::Auto`], a doubt if it cannot be used.
pub(super) fn given(photo: &Photo, choice: WhiteChoice) -> Result<Option<White>, Doubt> {
    let linear = match choice {
        WhiteChoice::Auto => return Ok(None),
        WhiteChoice::Given { code } => mean(&[code]),
        WhiteChoice::Spot(rect) => mean(&pixels(photo, rect)),
    };
    let light = linear.map(|rgb| srgb(photo, rgb)).and_then(Light::from_srgb).ok_or_else(|| {
        Doubt::new(
            "white-unusable",
            "the white that was given cannot be used (outside the photo, clipped, too dark or not the colour of a light), \
             so white was estimated; give a spot of paper or grey card, neither burnt out nor in deep shade",
        )
    })?;
    Ok(Some(White::new(WhiteSource::Given, light, GIVEN_MIRED_SD, GIVEN_DUV_SD)))
}

/// Pixels of a rectangle, as far as it lies in the photo.
fn pixels(photo: &Photo, rect: Rect) -> Vec<[u8; 3]> {
    let (right, bottom) = (
        rect.x.saturating_add(rect.width).min(photo.rgb.width()),
        rect.y.saturating_add(rect.height).min(photo.rgb.height()),
    );
    let rows = (rect.y..bottom).filter(|_| rect.x < right).map(|y| &photo.rgb.row(y)[rect.x..right]);
    rows.flatten().copied().collect()
}

/// Mean in linear light of the codes that are neither clipped nor dark, in the codes' own primaries. `None` if fewer
/// than half can be used: of a burnt spot, what is left is its coloured rim.
fn mean(codes: &[[u8; 3]]) -> Option<[f64; 3]> {
    let usable = |code: &&[u8; 3]| code.iter().all(|value| (DARK..CLIPPED).contains(value));
    let count = codes.iter().filter(usable).count();
    if count == 0 || 2 * count < codes.len() {
        return None;
    }
    let mut sum = [0.0; 3];
    for code in codes.iter().filter(usable) {
        for (sum, &value) in sum.iter_mut().zip(code) {
            *sum += f64::from(DECODE[usize::from(value)]);
        }
    }
    Some(sum.map(|sum| sum / count as f64))
}

/// Linear light in the photo's primaries to linear sRGB.
fn srgb(photo: &Photo, rgb: [f64; 3]) -> Linear {
    matrix::apply(&to_srgb(photo.primaries), rgb).map(|part| part as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles from any table of the normal distribution (NIST e-Handbook 1.3.6.7.1 prints the function's inverse).
    #[test]
    fn normal_quantiles() {
        for (p, z) in [(0.5, 0.0), (0.975, 1.959_964), (0.025, -1.959_964), (0.841_345, 1.0)] {
            assert!((normal_quantile(p) - z).abs() < 4.5e-4, "{p}: {}", normal_quantile(p));
        }
    }
}
