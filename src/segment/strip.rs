//! Fine detail of a part of a photo's overview, row by row.

use crate::base::raster::Raster;
use crate::base::wide::wide;

/// The two Gaussians (standard deviation, pixels) whose gradients are compared to find the blur.
pub const SIGMA: (f32, f32) = (1.0, 2.0);
/// Weights that the values around a place enter with.
const TAPS: usize = 11;

/// A Gaussian, cut at two standard deviations, and the central difference of its means.
struct Scale {
    mean: [f32; TAPS],
    slope: [f32; TAPS],
}

impl Scale {
    fn of(sigma: f32) -> Self {
        let reach = (2.0 * sigma).ceil() as isize;
        let weight = |offset: isize| {
            if offset.abs() > reach { 0.0 } else { (-0.5 * (offset as f32 / sigma).powi(2)).exp() }
        };
        let total: f32 = (-reach..=reach).map(weight).sum();
        let offset = |k: usize| k as isize - (TAPS / 2) as isize;
        Self {
            mean: std::array::from_fn(|k| weight(offset(k)) / total),
            slope: std::array::from_fn(|k| (weight(offset(k) - 1) - weight(offset(k) + 1)) / (2.0 * total)),
        }
    }
}

/// A plant's surroundings in the overview, and what was seen in one row of them.
pub struct Strip {
    /// Green, with what enters the means on all sides; edge values are continued outside of the photo.
    green: Raster<u8>,
    scales: [Scale; 2],
    /// Means and slopes down.
    down: [Vec<f32>; 2],
    /// Of both scales: means, slopes across and slopes down.
    seen: [[Vec<f32>; 3]; 2],
    /// Difference of the means over the brightness, for each column.
    pub contrast: Vec<f32>,
    /// Lengths of the gradients under both Gaussians, codes a pixel.
    pub edges: Vec<[f32; 2]>,
}

impl Strip {
    /// Around these places of the overview (first numbers), which lie side by side.
    pub fn new(overview: &Raster<[u8; 3]>, columns: &[(usize, usize)], rows: &[(usize, usize)]) -> Self {
        let reach = TAPS / 2;
        let around = |places: &[(usize, usize)], length: usize| {
            let first = places.first().map_or(0, |place| place.0);
            (0..places.len() + 2 * reach)
                .map(move |i| (first + i).saturating_sub(reach).min(length - 1))
                .collect::<Vec<_>>()
        };
        let (across, down) = (around(columns, overview.width()), around(rows, overview.height()));
        let mut green = Vec::with_capacity(across.len() * down.len());
        for row in down.iter().map(|&y| overview.row(y)) {
            green.extend(across.iter().map(|&x| row[x][1]));
        }
        let [wide, narrow] = [across.len(), columns.len()].map(|length| vec![0.0; length]);
        Self {
            green: Raster::from_vec(across.len(), down.len(), green),
            scales: [Scale::of(SIGMA.0), Scale::of(SIGMA.1)],
            down: [wide.clone(), wide],
            seen: std::array::from_fn(|_| std::array::from_fn(|_| narrow.clone())),
            edges: vec![[0.0; 2]; columns.len()],
            contrast: narrow,
        }
    }

    /// Reads the row of this number of its own.
    pub fn look_at(&mut self, row: usize) {
        for (scale, seen) in self.scales.iter().zip(&mut self.seen) {
            for (weights, down) in [&scale.mean, &scale.slope].into_iter().zip(&mut self.down) {
                weighted(weights, |k| self.green.row(row + k), down);
            }
            let [even, slope] = &self.down;
            for (weights, line, out) in [(&scale.mean, even, 0), (&scale.slope, even, 1), (&scale.mean, slope, 2)] {
                weighted(weights, |k| &line[k..], &mut seen[out]);
            }
        }
        let [[fine, fine_across, fine_down], [coarse, coarse_across, coarse_down]] = &self.seen;
        wide(|| {
            let means = fine.iter().zip(coarse);
            self.contrast.iter_mut().zip(means).for_each(|(c, (a, b))| *c = (a - b).abs() / (b + 8.0));
        });
        let slopes = fine_across.iter().zip(fine_down).zip(coarse_across.iter().zip(coarse_down));
        wide(|| {
            for (edge, ((a, b), (c, d))) in self.edges.iter_mut().zip(slopes) {
                *edge = [(a * a + b * b).sqrt(), (c * c + d * d).sqrt()];
            }
        });
    }
}

/// Sums of lines by their weights.
fn weighted<'a, T: Copy + Into<f32> + 'a>(weights: &[f32; TAPS], line: impl Fn(usize) -> &'a [T], out: &mut [f32]) {
    out.fill(0.0);
    for (k, &weight) in weights.iter().enumerate().filter(|(_, weight)| **weight != 0.0) {
        let values = line(k);
        wide(|| out.iter_mut().zip(values).for_each(|(sum, &value)| *sum += weight * value.into()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the `imageproc` crate, which cuts the weights at the same place.
    #[test]
    fn means_and_slopes_are_those_of_a_reference_library() {
        let (w, h) = (30, 20);
        let overview = Raster::from_vec(w, h, (0..w * h).map(|v| [(v * v % 251) as u8; 3]).collect());
        let places = |n: usize| (0..n).map(|i| (i, 0)).collect::<Vec<_>>();
        let codes = overview.as_slice().iter().map(|code| f32::from(code[1])).collect();
        let image = image::ImageBuffer::<image::Luma<f32>, _>::from_raw(w as u32, h as u32, codes).unwrap();
        let reference = [SIGMA.0, SIGMA.1].map(|sigma| imageproc::filter::gaussian_blur_f32(&image, sigma));
        let mut strip = Strip::new(&overview, &places(w), &places(h));
        for y in 1..h - 1 {
            strip.look_at(y);
            for (x, k) in (1..w - 1).flat_map(|x| [(x, 0), (x, 1)]) {
                let mean = |x: usize, y: usize| reference[k].get_pixel(x as u32, y as u32)[0];
                let gradient = (mean(x + 1, y) - mean(x - 1, y)).hypot(mean(x, y + 1) - mean(x, y - 1)) / 2.0;
                assert!((strip.seen[k][0][x] - mean(x, y)).abs() < 1e-2, "{x}, {y}");
                assert!((strip.edges[x][k] - gradient).abs() < 1e-2, "{x}, {y}");
            }
        }
    }
}
