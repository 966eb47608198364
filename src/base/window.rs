//! Sliding windows over fields: mean, least, greatest, soft mean. Costs are free of the window's size.

use crate::base::raster::Raster;
use std::collections::VecDeque;

/// Rows averaged together: their sums do not wait for one another.
const LANES: usize = 8;

/// Mean over the square window of half side `radius`, cut at the border (running sums).
pub fn mean(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    let (w, h) = (field.width(), field.height());
    let mut rows = Raster::filled(w, h, 0.0f32);
    for (values, out) in field.as_slice().chunks(LANES * w.max(1)).zip(rows.as_mut_slice().chunks_mut(LANES * w.max(1)))
    {
        running_means(values, out, w, radius);
    }
    let mut out = Raster::filled(w, h, 0.0f32);
    let mut sum = vec![0.0f64; w];
    for y in 0..h + radius {
        if y < h {
            sum.iter_mut().zip(rows.row(y)).for_each(|(s, &v)| *s += f64::from(v));
        }
        if y > 2 * radius {
            sum.iter_mut().zip(rows.row(y - 2 * radius - 1)).for_each(|(s, &v)| *s -= f64::from(v));
        }
        if y >= radius {
            let share = 1.0 / inside(y - radius, h, radius);
            out.row_mut(y - radius).iter_mut().zip(&sum).for_each(|(o, s)| *o = (s * share) as f32);
        }
    }
    out
}

/// How many of the `n` places lie within `radius` of place `at`.
fn inside(at: usize, n: usize, radius: usize) -> f64 {
    ((at + radius + 1).min(n) - at.saturating_sub(radius)) as f64
}

/// Running means along up to [`LANES`] rows of `width` values.
fn running_means(values: &[f32], out: &mut [f32], width: usize, radius: usize) {
    let lanes = values.len() / width.max(1);
    let mut sums = [0.0f64; LANES];
    for x in 0..width + radius {
        if x < width {
            (0..lanes).for_each(|lane| sums[lane] += f64::from(values[lane * width + x]));
        }
        if x > 2 * radius {
            (0..lanes).for_each(|lane| sums[lane] -= f64::from(values[lane * width + x - 2 * radius - 1]));
        }
        if x >= radius {
            let share = 1.0 / inside(x - radius, width, radius);
            (0..lanes).for_each(|lane| out[lane * width + x - radius] = (sums[lane] * share) as f32);
        }
    }
}

/// About a Gaussian mean of standard deviation `sigma` pixels: three box means of the same variance (Wells 1986, IEEE
/// TPAMI 8:234-239). Under a third of a pixel the field is returned as it is.
pub fn soft(field: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let radius = (((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0).round() as usize;
    if radius == 0 { field.clone() } else { mean(&mean(&mean(field, radius), radius), radius) }
}

/// Soft mean of `field` where `weight` says so: soft(field x weight) / soft(weight); where no weight is near, 0.
pub fn soft_where(field: &Raster<f32>, weight: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let product = field.as_slice().iter().zip(weight.as_slice()).map(|(f, w)| f * w).collect();
    let mut top = soft(&Raster::from_vec(field.width(), field.height(), product), sigma);
    let bottom = soft(weight, sigma);
    for (t, &b) in top.as_mut_slice().iter_mut().zip(bottom.as_slice()) {
        *t = if b > 1e-5 { *t / b } else { 0.0 };
    }
    top
}

/// Greatest value in the square window of half side `radius`.
pub fn greatest(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    let mut rows = Raster::filled(field.width(), field.height(), 0.0f32);
    for y in 0..field.height() {
        running_greatest(field.row(y), rows.row_mut(y), radius);
    }
    let mut out = Raster::filled(field.width(), field.height(), 0.0f32);
    let (mut column, mut best) = (vec![0.0; field.height()], vec![0.0; field.height()]);
    for x in 0..field.width() {
        column.iter_mut().enumerate().for_each(|(y, c)| *c = rows.get(x, y));
        running_greatest(&column, &mut best, radius);
        best.iter().enumerate().for_each(|(y, &b)| out.set(x, y, b));
    }
    out
}

/// Least value in the square window of half side `radius`.
pub fn least(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    greatest(&field.map(|v| -v), radius).map(|v| -v)
}

/// Keeps the candidates for the maximum in falling order (Lemire 2006, "Streaming maximum-minimum filter").
fn running_greatest(values: &[f32], out: &mut [f32], radius: usize) {
    let mut candidates: VecDeque<usize> = VecDeque::new();
    for x in 0..values.len() + radius {
        if x < values.len() {
            while candidates.back().is_some_and(|&b| values[b] <= values[x]) {
                candidates.pop_back();
            }
            candidates.push_back(x);
        }
        if x >= radius {
            while candidates.front().is_some_and(|&f| f + 2 * radius < x) {
                candidates.pop_front();
            }
            out[x - radius] = values[candidates[0]];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slow(field: &Raster<f32>, radius: usize, fold: impl Fn(&[f32]) -> f32) -> Raster<f32> {
        let mut out = field.clone();
        for y in 0..field.height() {
            for x in 0..field.width() {
                let inside: Vec<f32> = (y.saturating_sub(radius)..(y + radius + 1).min(field.height()))
                    .flat_map(|v| field.row(v)[x.saturating_sub(radius)..(x + radius + 1).min(field.width())].to_vec())
                    .collect();
                out.set(x, y, fold(&inside));
            }
        }
        out
    }

    #[test]
    fn windows_equal_the_slow_way() {
        let field = Raster::from_vec(7, 5, (0..35).map(|v| (v * v % 17) as f32 - 8.0).collect());
        for radius in [0, 1, 2, 9] {
            let average = slow(&field, radius, |v| v.iter().sum::<f32>() / v.len() as f32);
            for (a, b) in mean(&field, radius).as_slice().iter().zip(average.as_slice()) {
                assert!((a - b).abs() < 1e-4);
            }
            assert_eq!(greatest(&field, radius), slow(&field, radius, |v| v.iter().copied().fold(f32::MIN, f32::max)));
            assert_eq!(least(&field, radius), slow(&field, radius, |v| v.iter().copied().fold(f32::MAX, f32::min)));
        }
    }

    #[test]
    fn a_soft_mean_has_the_stated_width() {
        let mut point = Raster::filled(101, 1, 0.0);
        point.set(50, 0, 1.0);
        let spread = soft(&point, 6.0);
        let variance: f32 = (0..101).map(|x| spread.get(x, 0) * (x as f32 - 50.0).powi(2)).sum();
        assert!((variance.sqrt() - 6.0).abs() < 0.6, "{}", variance.sqrt());
    }
}
