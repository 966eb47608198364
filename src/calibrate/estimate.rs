//! White from the picture alone: Bayesian colour constancy on a grid of lights.
//!
//! Each light is scored by how well the picture's surfaces look under it (Brainard and Freeman 1997, J. Opt. Soc. Am. A
//! 14:1393; Gehler et al. 2008, CVPR), the surfaces being a histogram of chromaticity that is correlated with the
//! logarithm of a surface model ("Color by Correlation", Finlayson, Hordley, Hubel 2001, IEEE TPAMI 23:1209). Bright
//! surfaces weigh most, as in Shades of Grey (Finlayson and Trezzi 2004). The camera's own balance is the prior. Mean
//! and spread of the posterior are the white and its uncertainty. Numbers and how they were checked: `docs/science.md`.

use super::tiles::{Tiles, tiles};
use super::white::{White, WhiteSource};
use crate::base::color::Linear;
use crate::base::color::light::Light;
use crate::base::color::matrix::{self, BRADFORD, D65, Matrix, SRGB};
use crate::photo::Photo;
use std::sync::LazyLock;

/// A shift of light or surface colour: mired (warm is positive) and duv (green is positive).
type Shift = [f64; 2];

/// Prior: how far a camera's own balance is off, as standard deviations. Cameras leave part of warm light in the
/// picture on purpose, so the warm side is wider (assumption, `docs/science.md`).
const PRIOR_COOL: f64 = 15.0;
const PRIOR_WARM: f64 = 20.0;
const PRIOR_DUV: f64 = 0.004;

/// Share of a picture's bright surfaces that are meant to be neutral: pots, labels, perlite, gravel, tubercles, gloss.
const NEUTRAL_SHARE: f64 = 0.2;

/// How neutral they are: standard deviations about grey. Paper alone spans 5 to 24 mired (`docs/science.md`).
const NEUTRAL_SD: Shift = [6.0, 0.003];

/// All other surfaces: soil, wood, terracotta and leaves lie on the warm and green side, widely spread.
const COLOURED_MEAN: Shift = [40.0, 0.003];
const COLOURED_SD: Shift = [60.0, 0.02];

/// Independent surfaces that a background counts for, however many tiles it has: tiles of one gravel share its colour.
const BACKGROUND_SURFACES: f64 = 3.0;

/// The same for the plants: bands are near white, but they are one kind of surface, and a pale plant is not neutral.
const PLANT_SURFACES: f64 = 1.0;

/// Least share of all usable tiles for a background to count in full.
const FULL_BACKGROUND: f64 = 0.1;

/// Weight of a tile: its luminance to this power.
const BRIGHTNESS_POWER: i32 = 2;

/// What the posterior cannot see: two lights in one photo (sun and sky), neutrals that lean the same way. Added in
/// quadrature.
const SYSTEMATIC: Shift = [6.0, 0.001];

/// Grid of lights: shifts from the camera's balance, first, step, count.
const MIRED_GRID: (f64, f64, usize) = (-60.0, 4.0, 41);
const DUV_GRID: (f64, f64, usize) = (-0.016, 0.002, 17);

/// Histogram of surfaces: first, step, count. What lies outside counts in the outermost bins.
const MIRED_BINS: (f64, f64, usize) = (-160.0, 4.0, 101);
const DUV_BINS: (f64, f64, usize) = (-0.06, 0.001, 141);

/// The white before the picture was looked at: the camera's own balance, and how far that may be off.
pub(super) fn prior() -> White {
    white(&[])
}

/// The white of a photo whose plants are known.
pub(super) fn from_picture(photo: &Photo, on_plant: impl Fn(usize, usize) -> bool) -> White {
    let Tiles { background, plants } = tiles(photo, on_plant);
    let share = background.len() as f64 / (background.len() + plants.len()).max(1) as f64;
    white(&[
        Evidence { tiles: &background, surfaces: BACKGROUND_SURFACES * (share / FULL_BACKGROUND).min(1.0) },
        Evidence { tiles: &plants, surfaces: PLANT_SURFACES },
    ])
}

/// Tiles and the number of independent surfaces that they count for together.
struct Evidence<'a> {
    tiles: &'a [Linear],
    surfaces: f64,
}

/// The camera's own white: D65 in sRGB's terms.
fn camera_white() -> Light {
    Light::from_srgb([1.0; 3]).expect("D65 lies within the table of lights")
}

/// Mean and spread of the posterior over the grid of lights.
fn white(evidence: &[Evidence]) -> White {
    let plane = ShiftPlane::new();
    let lights = lights(&plane);
    let mut score: Vec<f64> = lights.iter().map(|light| log_prior(light.shift)).collect();
    for part in evidence {
        for (weight, surface) in histogram(part.tiles, &plane) {
            for (score, light) in score.iter_mut().zip(&lights) {
                let seen = [surface[0] - light.seen[0], surface[1] - light.seen[1]];
                *score += part.surfaces * weight * log_density(seen);
            }
        }
    }
    let best = score.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let chance: Vec<f64> = score.iter().map(|score| (score - best).exp()).collect();
    let total: f64 = chance.iter().sum();
    let expect = |of: &dyn Fn(Shift) -> f64| {
        chance.iter().zip(&lights).map(|(chance, light)| chance * of(light.shift)).sum::<f64>() / total
    };
    let mean = [0, 1].map(|axis| expect(&|shift| shift[axis]));
    let sd = [0, 1].map(|axis| expect(&|shift| (shift[axis] - mean[axis]).powi(2)).sqrt().hypot(SYSTEMATIC[axis]));
    White::new(WhiteSource::Estimated, camera_white().shifted(mean[0], mean[1]), sd[0], sd[1])
}

/// A light of the grid.
struct GridLight {
    /// Shift from the camera's balance.
    shift: Shift,
    /// The same as a colour in the [`ShiftPlane`], where surfaces are placed.
    seen: Shift,
}

/// All lights of the grid.
fn lights(plane: &ShiftPlane) -> Vec<GridLight> {
    let at = |(first, step, _): (f64, f64, usize), i: usize| first + step * i as f64;
    let shifts = (0..MIRED_GRID.2).flat_map(|i| (0..DUV_GRID.2).map(move |j| [at(MIRED_GRID, i), at(DUV_GRID, j)]));
    let camera = camera_white();
    shifts.map(|shift| GridLight { shift, seen: plane.place(camera.shifted(shift[0], shift[1]).srgb()) }).collect()
}

/// Logarithm of the prior, but for a constant.
fn log_prior([mired, duv]: Shift) -> f64 {
    let sd = if mired < 0.0 { PRIOR_COOL } else { PRIOR_WARM };
    -0.5 * ((mired / sd).powi(2) + (duv / PRIOR_DUV).powi(2))
}

/// Logarithm of how often a bright surface has this colour under a neutral light: a neutral one, or any other.
fn log_density(shift: Shift) -> f64 {
    let neutral = NEUTRAL_SHARE.ln() + log_normal(shift, [0.0; 2], NEUTRAL_SD);
    let coloured = (1.0 - NEUTRAL_SHARE).ln() + log_normal(shift, COLOURED_MEAN, COLOURED_SD);
    coloured + log_of_one_more(neutral - coloured)
}

/// Logarithm of the density of two independent normal variables, but for the common term -ln 2 pi.
fn log_normal(at: Shift, mean: Shift, sd: Shift) -> f64 {
    let square: f64 = (0..2).map(|axis| ((at[axis] - mean[axis]) / sd[axis]).powi(2)).sum();
    -0.5 * square - (sd[0] * sd[1]).ln()
}

/// ln(1 + e^x), read from a table between whose values are lines: off by 1e-5 at most, as there it bends by 1/4 at most.
fn log_of_one_more(x: f64) -> f64 {
    const REACH: f64 = 16.0;
    const A_UNIT: f64 = 64.0;
    static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| {
        let places = (2.0 * REACH * A_UNIT) as usize + 2;
        (0..places).map(|i| (i as f64 / A_UNIT - REACH).exp().ln_1p()).collect()
    });
    if x.abs() >= REACH {
        return x.max(0.0);
    }
    let place = (x + REACH) * A_UNIT;
    let (low, table) = (place as usize, &*TABLE);
    table[low] + (place - low as f64) * (table[low + 1] - table[low])
}

/// Occupied bins of the surfaces' colours: weight (sum 1) and mean place of what fell in. Empty for no tiles.
fn histogram(tiles: &[Linear], plane: &ShiftPlane) -> Vec<(f64, Shift)> {
    let bin = |value: f64, (first, step, count): (f64, f64, usize)| {
        (((value - first) / step).round().max(0.0) as usize).min(count - 1)
    };
    let mut bins = vec![(0.0, [0.0; 2]); MIRED_BINS.2 * DUV_BINS.2];
    for &tile in tiles {
        let place = plane.place(tile);
        let weight = plane.luminance(tile).powi(BRIGHTNESS_POWER);
        let (sum, places) = &mut bins[bin(place[0], MIRED_BINS) * DUV_BINS.2 + bin(place[1], DUV_BINS)];
        *sum += weight;
        *places = [places[0] + weight * place[0], places[1] + weight * place[1]];
    }
    let total: f64 = bins.iter().map(|(weight, _)| weight).sum();
    let occupied = bins.into_iter().filter(|(weight, _)| *weight > 0.0);
    occupied.map(|(weight, places)| (weight / total, places.map(|sum| sum / weight))).collect()
}

/// Logarithms of the ratios of Bradford cone responses, turned and scaled so that near D65 the axes are mired and duv.
/// In this plane a change of light moves all surfaces by the same amount (von Kries), and lights of any temperature lie
/// near a straight line (Finlayson and Hordley 2001, J. Opt. Soc. Am. A 18:253).
struct ShiftPlane {
    to_cones: Matrix,
    luminance: [f64; 3],
    origin: [f64; 2],
    to_shift: [[f64; 2]; 2],
}

impl ShiftPlane {
    fn new() -> Self {
        let to_xyz = matrix::rgb_to_xyz(&SRGB, D65);
        let to_cones = matrix::multiply(&BRADFORD, &to_xyz);
        let of = |mired: f64, duv: f64| log_ratios(&to_cones, camera_white().shifted(mired, duv).srgb());
        // Columns of the derivative at D65, by central differences.
        let (mired, duv) = (1.0, 0.001);
        let difference = |a: [f64; 2], b: [f64; 2], width: f64| [(a[0] - b[0]) / width, (a[1] - b[1]) / width];
        let p = difference(of(mired, 0.0), of(-mired, 0.0), 2.0 * mired);
        let q = difference(of(0.0, duv), of(0.0, -duv), 2.0 * duv);
        let determinant = p[0] * q[1] - q[0] * p[1];
        let to_shift = [[q[1] / determinant, -q[0] / determinant], [-p[1] / determinant, p[0] / determinant]];
        Self { to_cones, luminance: to_xyz[1], origin: of(0.0, 0.0), to_shift }
    }

    /// Where a colour (linear sRGB) lies: its shift from neutral.
    fn place(&self, rgb: Linear) -> Shift {
        let at = log_ratios(&self.to_cones, rgb);
        let from = [at[0] - self.origin[0], at[1] - self.origin[1]];
        self.to_shift.map(|row| row[0] * from[0] + row[1] * from[1])
    }

    /// Luminance of a colour, linear sRGB; not below 0 for colours outside sRGB.
    fn luminance(&self, rgb: Linear) -> f64 {
        self.luminance.iter().zip(rgb).map(|(part, value)| part * f64::from(value)).sum::<f64>().max(0.0)
    }
}

/// Logarithms of long and short over middle cone response.
fn log_ratios(to_cones: &Matrix, rgb: Linear) -> [f64; 2] {
    // A saturated colour may give a cone response of 0 or less; it lands in the outermost bins.
    let [long, middle, short] = matrix::apply(to_cones, rgb.map(f64::from)).map(|cone| cone.max(1e-9));
    [(long / middle).ln(), (short / middle).ln()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_holds_the_logarithm() {
        for x in (-2000..2000).map(|i| f64::from(i) * 0.013_7) {
            assert!((log_of_one_more(x) - x.exp().ln_1p()).abs() < 1e-5, "{x}");
        }
    }
}
