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
    /// Variance of the guide (codes 0..1, squared) under which an area counts as flat.
    pub flat_variance: f32,
}

/// `field` redrawn along the edges of `picture`; both have the same size. `grid` is the size at which the linear
/// models (one a window: field = slope . colour + offset) are fitted.
pub fn follow_edges(field: &Raster<f32>, picture: &Raster<[u8; 3]>, grid: (usize, usize), guide: Guide) -> Raster<f32> {
    let small = shrink(picture, picture.bounds(), grid.0, grid.1);
    let target = bilinear(field, grid.0, grid.1);
    let models = window_models(&small, &target, guide);
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
        let cov: Vec<f32> = pairs.iter().zip(&moments).map(|(&(a, b), s)| s.as_slice()[i] - m[a] * m[b]).collect();
        let flat = guide.flat_variance;
        let matrix = [cov[0] + flat, cov[1], cov[2], cov[3] + flat, cov[4], cov[5] + flat];
        let slope = solve_symmetric(matrix, [0, 1, 2].map(|k| with_field[k].as_slice()[i] - m[k] * f));
        for (model, value) in models.iter_mut().zip(slope) {
            model.as_mut_slice()[i] = value;
        }
        models[3].as_mut_slice()[i] = f - slope[0] * m[0] - slope[1] * m[1] - slope[2] * m[2];
    }
    models.map(mean)
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

    #[test]
    fn symmetric_systems_are_solved() {
        let x = solve_symmetric([4.0, 1.0, 0.5, 3.0, 0.2, 2.0], [6.5, 7.6, 6.9]);
        let back =
            [4.0 * x[0] + x[1] + 0.5 * x[2], x[0] + 3.0 * x[1] + 0.2 * x[2], 0.5 * x[0] + 0.2 * x[1] + 2.0 * x[2]];
        for (got, want) in back.iter().zip([6.5, 7.6, 6.9]) {
            assert!((got - want).abs() < 1e-4);
        }
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
