//! Sliding windows over fields: mean, least, greatest, soft mean. Costs grow with the logarithm of the window's size at most.

#![allow(clippy::inline_always, reason = "what is not compiled into a wide loop keeps it from becoming vectors")]

use crate::base::bilinear::{Bilinear, bilinear_part};
use crate::base::raster::{Raster, Rect};
use crate::base::resample::blocks;
use crate::base::wide::wide;

/// Columns that are worked on side by side: windows down so many stay in the processor's own memory.
const STRIP: usize = 32;
/// Soft means wider than twice this (standard deviation, pixels) are taken on a coarser grid, where they are wider than this.
const COARSE: f32 = 3.0;

/// Does `work` along each row, and then down columns, many side by side: given a line, its values a place, and room.
fn separably(field: &Raster<f32>, work: impl Fn(&mut [f32], usize, &mut Room)) -> Raster<f32> {
    let mut out = field.clone();
    let mut room = Room::default();
    let mut strip = Vec::new();
    (0..field.height()).for_each(|y| work(out.row_mut(y), 1, &mut room));
    for left in (0..field.width()).step_by(STRIP) {
        let columns = left..(left + STRIP).min(field.width());
        strip.clear();
        (0..field.height()).for_each(|y| strip.extend_from_slice(&out.row(y)[columns.clone()]));
        work(&mut strip, columns.len(), &mut room);
        for (y, row) in strip.chunks_exact(columns.len()).enumerate() {
            out.row_mut(y)[columns.clone()].copy_from_slice(row);
        }
    }
    out
}

/// Mean over the square window of half side `radius`, cut at the border.
pub fn mean(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    separably(field, |line, step, room| means(line, step, radius, room))
}

/// The mean over `radius` places on either side of each place along a line, beyond whose ends is nothing.
fn means(line: &mut [f32], step: usize, radius: usize, room: &mut Room) {
    let n = line.len() / step;
    sums(line, step, radius.min(n), room);
    // Places whose window is whole.
    let start = radius.min(n);
    let whole = start..(n - start).max(start);
    for at in (0..whole.start).chain(whole.end..n) {
        let share = 1.0 / inside(at, n, radius);
        line[at * step..][..step].iter_mut().for_each(|value| *value *= share);
    }
    let share = 1.0 / (2 * radius + 1) as f32;
    line[whole.start * step..whole.end * step].iter_mut().for_each(|value| *value *= share);
}

/// How many of the `n` places lie within `radius` of place `at`.
fn inside(at: usize, n: usize, radius: usize) -> f32 {
    ((at + radius + 1).min(n) - at.saturating_sub(radius)) as f32
}

/// The sum over `radius` places on either side of each place along a line of `step` values a place; beyond its ends is
/// nothing. Windows are put together from windows of 1, 2, 4, ... places, all places at once.
fn sums(line: &mut [f32], step: usize, radius: usize, room: &mut Room) {
    let (window, beyond) = (2 * radius + 1, radius * step);
    room.now.clear();
    room.now.resize(beyond, 0.0);
    room.now.extend_from_slice(line);
    room.now.resize(line.len() + 2 * beyond, 0.0);
    line.fill(0.0);
    let (mut length, mut from) = (1, 0);
    wide(|| {
        loop {
            // Here stand the sums of `length` places from each on.
            if window & length != 0 {
                for (sum, part) in line.iter_mut().zip(&room.now[from * step..]) {
                    *sum += part;
                }
                from += length;
            }
            if from == window {
                return;
            }
            room.join(length * step, |a, b| a + b);
            length *= 2;
        }
    });
}

/// What windows along a line are put together in.
#[derive(Default)]
struct Room {
    now: Vec<f32>,
    next: Vec<f32>,
}

impl Room {
    /// Each value with that `ahead` of it; the last ones have none and go.
    #[inline(always)]
    fn join(&mut self, ahead: usize, with: impl Fn(f32, f32) -> f32) {
        let Self { now, next } = self;
        next.resize(now.len() - ahead, 0.0);
        for ((both, &a), &b) in next.iter_mut().zip(&*now).zip(&now[ahead..]) {
            *both = with(a, b);
        }
        std::mem::swap(now, next);
    }
}

/// A line with its ends repeated `radius` times.
fn drawn_out(line: &[f32], step: usize, radius: usize, out: &mut Vec<f32>) {
    out.clear();
    (0..radius).for_each(|_| out.extend_from_slice(&line[..step]));
    out.extend_from_slice(line);
    (0..radius).for_each(|_| out.extend_from_slice(&line[line.len() - step..]));
}

/// About a Gaussian mean of standard deviation `sigma` pixels: three box means of the same variance (Wells 1986, IEEE
/// TPAMI 8:234-239). Under half a pixel the field is returned as it is; wide ones are taken on a coarser grid, which holds all
/// that they leave.
pub fn soft(field: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let Coarse { field, whole, bounds } = coarse(field, sigma);
    if field.bounds() == bounds {
        return field;
    }
    bilinear_part(&field, whole, bounds, (bounds.width, bounds.height))
}

/// A soft mean on the grid that it needs.
pub struct Coarse {
    field: Raster<f32>,
    /// What the grid covers.
    whole: Rect,
    /// What there is to be read.
    bounds: Rect,
}

/// The same on the grid that it needs, to be read by [`rows`].
pub fn coarse(field: &Raster<f32>, sigma: f32) -> Coarse {
    let bounds = field.bounds();
    let cell = (sigma / COARSE) as usize;
    if cell < 2 {
        return Coarse { field: thrice(field, sigma), whole: bounds, bounds };
    }
    let coarse = blocks(field, cell);
    // Means over blocks and lines between them are soft themselves: variances of about 1/12 and 1/6 of a cell, squared.
    let spread = ((sigma / cell as f32).powi(2) - 0.25).sqrt();
    let whole = Rect { x: 0, y: 0, width: coarse.width() * cell, height: coarse.height() * cell };
    Coarse { field: thrice(&coarse, spread), whole, bounds }
}

/// Soft means of one width and size, to be read together row by row.
pub fn rows<const N: usize>(means: &[Coarse; N]) -> Bilinear<N> {
    let Coarse { whole, bounds, .. } = means[0];
    Bilinear::new(means.each_ref().map(|mean| &mean.field), whole, bounds, (bounds.width, bounds.height))
}

/// Three box means, each of the smaller or the next larger radius, whose variances add up nearest to that of `sigma`.
fn thrice(field: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let small = (((4.0 * sigma * sigma + 1.0).sqrt() - 1.0) / 2.0) as usize;
    let missing = sigma * sigma - (small * (small + 1)) as f32;
    let larger = (1.5 * missing / (small + 1) as f32).round() as usize;
    let radii = [0, 1, 2].map(|pass| small + usize::from(pass < larger));
    separably(field, |line, step, room| radii.iter().for_each(|&radius| means(line, step, radius, room)))
}

/// Greatest value in the square window of half side `radius`.
pub fn greatest(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    separably(field, |line, step, room| best(line, step, radius, room, |a, b| if a > b { a } else { b }))
}

/// Least value in the square window of half side `radius`.
pub fn least(field: &Raster<f32>, radius: usize) -> Raster<f32> {
    separably(field, |line, step, room| best(line, step, radius, room, |a, b| if a < b { a } else { b }))
}

/// The best of `radius` places on either side of each place along a line of `step` values a place.
fn best(line: &mut [f32], step: usize, radius: usize, room: &mut Room, better: impl Fn(f32, f32) -> f32 + Copy) {
    let radius = radius.min(line.len() / step);
    // An end's value stands in every window that reaches beyond it.
    drawn_out(line, step, radius, &mut room.now);
    let window = 2 * radius + 1;
    let mut length = 1;
    wide(|| {
        while length < window {
            // Here stand the best of `length` places from each on.
            let by = length.min(window - length);
            room.join(by * step, better);
            length += by;
        }
    });
    line.copy_from_slice(&room.now[..line.len()]);
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
