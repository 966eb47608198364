//! Guided filter: draws a coarse field to the edges of a picture.
//!
//! He, Sun, Tang 2013, "Guided image filtering", IEEE TPAMI 35(6):1397-1409, with a colour guide; the coefficients are
//! computed on a smaller grid and applied to the full one as in He, Sun 2015, "Fast guided filter", arXiv:1505.00996.

use crate::base::raster::Raster;
use crate::base::resample::{bilinear, shrink};
use crate::base::window;

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

/// `field` redrawn along the edges of `picture`; both have the same size. `grid` is the size at which the linear
/// models (one a window: field = slope . colour + offset) are fitted.
pub fn follow_edges(field: &Raster<f32>, picture: &Raster<[u8; 3]>, grid: (usize, usize), guide: Guide) -> Raster<f32> {
    let small = shrink(picture, picture.bounds(), grid.0, grid.1);
    let target = bilinear(field, grid.0, grid.1);
    let flat_variance = guide.flat_variance.max(NOISE * noise_deviation(&small).powi(2));
    let models = window_models(&small, &target, Guide { flat_variance, ..guide });
    let [r, g, b, offset] = models.map(|m| bilinear(&m, picture.width(), picture.height()));
    let mut out = offset;
    for (i, value) in out.as_mut_slice().iter_mut().enumerate() {
        let [cr, cg, cb] = picture.as_slice()[i].map(|c| f32::from(c) / 255.0);
        *value += r.as_slice()[i] * cr + g.as_slice()[i] * cg + b.as_slice()[i] * cb;
    }
    out
}

/// Slope (red, green, blue) and offset of the model of the windows over each pixel.
fn window_models(picture: &Raster<[u8; 3]>, field: &Raster<f32>, guide: Guide) -> [Raster<f32>; 4] {
    let mean = |r: Raster<f32>| window::mean(&r, guide.radius);
    let channel = |k: usize| picture.map(|c| f32::from(c[k]) / 255.0);
    let colour = [channel(0), channel(1), channel(2)];
    let mean_colour = [mean(colour[0].clone()), mean(colour[1].clone()), mean(colour[2].clone())];
    let mean_field = mean(field.clone());
    let pairs = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)];
    let moments = pairs.map(|(i, j)| mean(product(&colour[i], &colour[j])));
    let with_field = [0, 1, 2].map(|i| mean(product(&colour[i], field)));
    let mut models = [(); 4].map(|()| Raster::filled(picture.width(), picture.height(), 0.0f32));
    for i in 0..field.as_slice().len() {
        let m = [0, 1, 2].map(|k| mean_colour[k].as_slice()[i]);
        let f = mean_field.as_slice()[i];
        let mut covariance: [f32; 6] =
            std::array::from_fn(|k| moments[k].as_slice()[i] - m[pairs[k].0] * m[pairs[k].1]);
        for on_diagonal in [0, 3, 5] {
            covariance[on_diagonal] += guide.flat_variance;
        }
        let slope = solve_symmetric(covariance, [0, 1, 2].map(|k| with_field[k].as_slice()[i] - m[k] * f));
        for (model, value) in models.iter_mut().zip(slope) {
            model.as_mut_slice()[i] = value;
        }
        models[3].as_mut_slice()[i] = f - slope[0] * m[0] - slope[1] * m[1] - slope[2] * m[2];
    }
    models.map(mean)
}

/// Standard deviation of the noise in a picture's green (0..1): median response to a mask that is blind to levels and slopes
/// (mask: Immerkaer 1996, "Fast noise variance estimation", Computer Vision and Image Understanding 64(2):300-302).
fn noise_deviation(picture: &Raster<[u8; 3]>) -> f32 {
    /// Deviation of the mask's response to noise of deviation 1, times the share of it that half of all responses stay under.
    const MEDIAN_RESPONSE: f32 = 6.0 * 0.6745;
    let (w, h) = (picture.width(), picture.height());
    let sum = |y: usize, x: usize, weights: [i32; 3]| {
        (0..3).map(|k| weights[k] * i32::from(picture.get(x + k, y)[1])).sum::<i32>()
    };
    let response = |x: usize, y: usize| {
        let outer = sum(y, x, [1, -2, 1]) + sum(y + 2, x, [1, -2, 1]);
        (outer + sum(y + 1, x, [-2, 4, -2])).unsigned_abs()
    };
    let places = (0..h.saturating_sub(2)).flat_map(|y| (0..w.saturating_sub(2)).map(move |x| (x, y)));
    let mut responses: Vec<u32> = places.map(|(x, y)| response(x, y)).collect();
    if responses.is_empty() {
        return 0.0;
    }
    let middle = responses.len() / 2;
    let (_, &mut median, _) = responses.select_nth_unstable(middle);
    median as f32 / (MEDIAN_RESPONSE * 255.0)
}

fn product(a: &Raster<f32>, b: &Raster<f32>) -> Raster<f32> {
    let data = a.as_slice().iter().zip(b.as_slice()).map(|(x, y)| x * y).collect();
    Raster::from_vec(a.width(), a.height(), data)
}

/// Solves a symmetric 3 x 3 system given as [xx, xy, xz, yy, yz, zz] by its adjugate.
fn solve_symmetric([a, b, c, d, e, f]: [f32; 6], v: [f32; 3]) -> [f32; 3] {
    let (ca, cb, cc) = (d * f - e * e, c * e - b * f, b * e - c * d);
    let det = a * ca + b * cb + c * cc;
    let (cd, ce, cf) = (a * f - c * c, b * c - a * e, a * d - b * b);
    [
        (ca * v[0] + cb * v[1] + cc * v[2]) / det,
        (cb * v[0] + cd * v[1] + ce * v[2]) / det,
        (cc * v[0] + ce * v[1] + cf * v[2]) / det,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::stats::SplitMix64;

    #[test]
    fn symmetric_systems_are_solved() {
        let x = solve_symmetric([4.0, 1.0, 0.5, 3.0, 0.2, 2.0], [6.5, 7.6, 6.9]);
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
        let out = follow_edges(&field, &picture, (40, 20), Guide { radius: 4, flat_variance: 1e-4 });
        assert!(out.get(18, 10) < 0.0 && out.get(19, 10) < 0.0 && out.get(20, 10) > 0.0);
    }
}
