//! Guided filter: draws a coarse field to the edges of a picture.
//!
//! He, Sun, Tang 2013, "Guided image filtering", IEEE TPAMI 35(6):1397-1409, with a colour guide; the coefficients are
//! computed on a smaller grid and applied to the full one as in He, Sun 2015, "Fast guided filter", arXiv:1505.00996.

#![allow(
    clippy::inline_always,
    reason = "what is not compiled into the function chosen for the machine loses its vectors"
)]

use crate::base::raster::Raster;
use crate::base::resample::{beside, shrink};
use crate::base::wide::wide;
use crate::segment::windows::Windows;

/// How the field follows the picture.
#[derive(Debug, Clone, Copy)]
pub struct Guide {
    /// Half the window's side, pixels of the small grid.
    pub radius: usize,
    /// Variance of the guide (codes 0..1, squared) under which an area counts as flat, in a picture without noise.
    pub flat_variance: f32,
}

/// An area is flat too where its variance is under so many times that of the noise. From 1 to 6 the rendered scenes' outlines
/// change by .001; edges in noisy real photos are smooth from 2 on.
const NOISE: f32 = 2.0;

/// `field` redrawn along the edges of `picture`, at the picture's size. The linear models (one a window: field =
/// slope . colour + offset) are fitted at the size of the field.
pub fn follow_edges(field: &Raster<f32>, picture: &Raster<[u8; 3]>, guide: Guide) -> Raster<f32> {
    let small = shrink(picture, picture.bounds(), field.width(), field.height());
    let flat = guide.flat_variance.max(NOISE * noise_deviation(&small).powi(2)) * 255.0 * 255.0;
    let mut windows = Windows::new(guide.radius, (field.width(), field.height()), MEANS);
    let mut models = Raster::filled(4 * field.width(), field.height(), 0.0f32);
    for y in 0..field.height() {
        let means = windows.next(|y, row| moments(small.row(y), field.row(y), row));
        fit(means, flat, models.row_mut(y));
    }
    applied(&mean_models(&models, guide.radius), picture)
}

/// Slope (red, green, blue; a code) and offset.
type Model = [f32; 4];

/// What a model is fitted to are means of these, by number: red, green, blue, the field ...
const MEANS: usize = 4 + PRODUCTS.len();
/// ... and the products of two of them.
const PRODUCTS: [(usize, usize); 9] = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2), (0, 3), (1, 3), (2, 3)];

/// A row of what is averaged. Codes and their products are whole numbers: their sums are exact.
fn moments(colours: &[[u8; 3]], field: &[f32], out: &mut [f32]) {
    let (plain, products) = out.split_at_mut(4 * field.len());
    for (k, row) in plain.chunks_exact_mut(field.len()).enumerate().take(3) {
        row.iter_mut().zip(colours).for_each(|(value, colour)| *value = f32::from(colour[k]));
    }
    plain[3 * field.len()..].copy_from_slice(field);
    let plain: [&[f32]; 4] = parts(plain);
    for ((i, j), row) in PRODUCTS.into_iter().zip(products.chunks_exact_mut(field.len())) {
        wide(|| row.iter_mut().zip(plain[i]).zip(plain[j]).for_each(|((value, a), b)| *value = a * b));
    }
}

/// A row of models from one of means.
fn fit(means: &[f32], flat: f32, models: &mut [f32]) {
    let [r, g, b, f, rr, rg, rb, gg, gb, bb, rf, gf, bf]: [&[f32]; MEANS] = parts(means);
    let mut rows = models.chunks_exact_mut(f.len());
    let mut row = || rows.next().expect("a model has four numbers");
    let (red, green, blue, offset) = (row(), row(), row(), row());
    wide(|| {
        for i in 0..f.len() {
            let [r, g, b, f] = [r[i], g[i], b[i], f[i]];
            let variance = [rr[i] - r * r + flat, gg[i] - g * g + flat, bb[i] - b * b + flat];
            let covariance = [rg[i] - r * g, rb[i] - r * b, gb[i] - g * b];
            let slope = solve_symmetric(variance, covariance, [rf[i] - r * f, gf[i] - g * f, bf[i] - b * f]);
            [red[i], green[i], blue[i]] = slope;
            offset[i] = f - slope[0] * r - slope[1] * g - slope[2] * b;
        }
    });
}

/// `N` rows that stand one behind the other.
fn parts<const N: usize>(rows: &[f32]) -> [&[f32]; N] {
    let length = rows.len() / N;
    std::array::from_fn(|k| &rows[k * length..][..length])
}

/// The mean of the models of all windows over each pixel.
fn mean_models(models: &Raster<f32>, radius: usize) -> Raster<Model> {
    let size = (models.width() / 4, models.height());
    let mut windows = Windows::new(radius, size, 4);
    let mut out = Raster::filled(size.0, size.1, [0.0; 4]);
    for y in 0..size.1 {
        let [r, g, b, offset] = parts(windows.next(|y, row| row.copy_from_slice(models.row(y))));
        out.row_mut(y).iter_mut().enumerate().for_each(|(i, model)| *model = [r[i], g[i], b[i], offset[i]]);
    }
    out
}

/// The models, bilinear between their places, of the picture's colours.
fn applied(models: &Raster<Model>, picture: &Raster<[u8; 3]>) -> Raster<f32> {
    let place = |at: usize, models: usize, pixels: usize| {
        let (low, high, weight) = beside((at as f64 + 0.5) * models as f64 / pixels as f64 - 0.5, models);
        (low, high, weight as f32)
    };
    let columns: Vec<_> = (0..picture.width()).map(|x| place(x, models.width(), picture.width())).collect();
    let mut out = Raster::filled(picture.width(), picture.height(), 0.0f32);
    let mut line = vec![[0.0f32; 4]; models.width()];
    for y in 0..picture.height() {
        let (above, below, v) = place(y, models.height(), picture.height());
        let both = models.row(above).as_flattened().iter().zip(models.row(below).as_flattened());
        wide(|| line.as_flattened_mut().iter_mut().zip(both).for_each(|(m, (a, b))| *m = a + v * (b - a)));
        let pixels = out.row_mut(y).iter_mut().zip(picture.row(y)).zip(&columns);
        wide(|| {
            for ((value, colour), &(left, right, u)) in pixels {
                let (left, right) = (line[left], line[right]);
                let [r, g, b, offset]: Model = std::array::from_fn(|k| left[k] + u * (right[k] - left[k]));
                *value = offset + r * f32::from(colour[0]) + g * f32::from(colour[1]) + b * f32::from(colour[2]);
            }
        });
    }
    out
}

/// Standard deviation of the noise in a picture's green (0..1): median response to a mask that is blind to levels and slopes
/// (mask: Immerkaer 1996, "Fast noise variance estimation", Computer Vision and Image Understanding 64(2):300-302).
fn noise_deviation(picture: &Raster<[u8; 3]>) -> f32 {
    /// Deviation of the mask's response to noise of deviation 1, times the share of it that half of all responses stay under.
    const MEDIAN_RESPONSE: f32 = 6.0 * 0.6745;
    let (w, h) = (picture.width(), picture.height());
    if w < 3 || h < 3 {
        return 0.0;
    }
    let green: Vec<i16> = picture.as_slice().iter().map(|code| i16::from(code[1])).collect();
    // Second differences down, then across.
    let mut counts = vec![0usize; 16 * 255 + 1];
    let mut down = vec![0i16; w];
    for rows in green.windows(3 * w).step_by(w) {
        let (above, row, below) = (&rows[..w], &rows[w..2 * w], &rows[2 * w..]);
        let around = above.iter().zip(row).zip(below);
        wide(|| down.iter_mut().zip(around).for_each(|(d, ((above, row), below))| *d = above - 2 * row + below));
        for d in down.windows(3) {
            counts[usize::from((d[0] - 2 * d[1] + d[2]).unsigned_abs())] += 1;
        }
    }
    let half = (w - 2) * (h - 2) / 2;
    let reached = |sum: &mut usize, count: &usize| {
        *sum += count;
        Some(*sum)
    };
    let median = counts.iter().scan(0, reached).take_while(|&sum| sum <= half).count();
    median as f32 / (MEDIAN_RESPONSE * 255.0)
}

/// Solves a symmetric 3 x 3 system of the diagonal [xx, yy, zz] and [xy, xz, yz] beside it by its adjugate.
#[inline(always)]
fn solve_symmetric([a, d, f]: [f32; 3], [b, c, e]: [f32; 3], v: [f32; 3]) -> [f32; 3] {
    let (ca, cb, cc) = (d * f - e * e, c * e - b * f, b * e - c * d);
    let scale = 1.0 / (a * ca + b * cb + c * cc);
    let (cd, ce, cf) = (a * f - c * c, b * c - a * e, a * d - b * b);
    [
        (ca * v[0] + cb * v[1] + cc * v[2]) * scale,
        (cb * v[0] + cd * v[1] + ce * v[2]) * scale,
        (cc * v[0] + ce * v[1] + cf * v[2]) * scale,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::stats::SplitMix64;

    #[test]
    fn symmetric_systems_are_solved() {
        let x = solve_symmetric([4.0, 3.0, 2.0], [1.0, 0.5, 0.2], [6.5, 7.6, 6.9]);
        let back =
            [4.0 * x[0] + x[1] + 0.5 * x[2], x[0] + 3.0 * x[1] + 0.2 * x[2], 0.5 * x[0] + 0.2 * x[1] + 2.0 * x[2]];
        for (got, want) in back.iter().zip([6.5, 7.6, 6.9]) {
            assert!((got - want).abs() < 1e-4);
        }
    }

    #[test]
    fn noise_is_told_from_slopes_and_edges() {
        let mut random = SplitMix64::new(3);
        let picture = |deviation: f64, random: &mut SplitMix64| {
            let scene = |x: usize, y: usize| if x > 60 { 190.0 } else { 60.0 + y as f64 };
            let noisy = |i: usize| scene(i % 80, i / 80) + deviation * random.normal();
            let data = (0..80 * 60).map(noisy).map(|v| [v.round().clamp(0.0, 255.0) as u8; 3]).collect();
            Raster::from_vec(80, 60, data)
        };
        assert!(noise_deviation(&picture(0.0, &mut random)) < 1e-6);
        let measured = f64::from(noise_deviation(&picture(8.0, &mut random)) * 255.0);
        assert!((measured - 8.0).abs() < 0.6, "{measured}");
        assert!(noise_deviation(&Raster::filled(2, 9, [0; 3])) < 1e-6);
    }

    /// A blurred step three pixels off a sharp edge of the picture moves onto the edge.
    #[test]
    fn a_blurred_step_moves_to_the_edge() {
        let picture =
            Raster::from_vec(40, 20, (0..800).map(|i| if i % 40 < 20 { [40; 3] } else { [200; 3] }).collect());
        let field = Raster::from_vec(40, 20, (0..800).map(|i| ((i % 40) as f32 - 18.0).clamp(-4.0, 4.0)).collect());
        let out = follow_edges(&field, &picture, Guide { radius: 4, flat_variance: 1e-4 });
        assert!(out.get(18, 10) < 0.0 && out.get(19, 10) < 0.0 && out.get(20, 10) > 0.0);
    }
}
