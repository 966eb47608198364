//! Fields read on another grid, as pictures or row by row, so that no fine picture of them need be kept.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::taps;
use crate::base::wide::wide;

/// A field at `width` x `height`, bilinear between samples that lie at pixel centres; edge values are continued outside.
pub fn bilinear(field: &Raster<f32>, width: usize, height: usize) -> Raster<f32> {
    bilinear_part(field, field.bounds(), field.bounds(), (width, height))
}

/// A field known over the rectangle `whole`, read over the rectangle `part` at `size` (width, height), bilinear as
/// [`bilinear`].
pub fn bilinear_part(field: &Raster<f32>, whole: Rect, part: Rect, size: (usize, usize)) -> Raster<f32> {
    let mut rows = Bilinear::new([field], whole, part, size);
    let mut out = Vec::with_capacity(size.0 * size.1);
    (0..size.1).for_each(|y| out.extend_from_slice(rows.row(y).as_flattened()));
    Raster::from_vec(size.0, size.1, out)
}

/// `N` fields of one size, read together.
pub struct Bilinear<const N: usize> {
    /// The fields' values side by side, row by row.
    grid: Vec<[f32; N]>,
    width: usize,
    /// For each place along a row: the sample before it, and the weight of the next.
    columns: Vec<(usize, f32)>,
    rows: Vec<(usize, f32)>,
    line: Vec<[f32; N]>,
    out: Vec<[f32; N]>,
}

impl<const N: usize> Bilinear<N> {
    /// Fields known over the rectangle `whole`, to be read over the rectangle `part` at `size` (width, height): the values of
    /// [`bilinear_part`].
    ///
    /// # Panics
    /// If the fields differ in size.
    pub fn new(fields: [&Raster<f32>; N], whole: Rect, part: Rect, size: (usize, usize)) -> Self {
        let (width, height) = (fields[0].width(), fields[0].height());
        assert!(fields.iter().all(|f| (f.width(), f.height()) == (width, height)), "fields of one size");
        let mut grid = vec![[0.0; N]; width * height];
        for (n, field) in fields.into_iter().enumerate() {
            grid.iter_mut().zip(field.as_slice()).for_each(|(values, &value)| values[n] = value);
        }
        let starts = |taps: Vec<(usize, usize, f32)>| taps.into_iter().map(|(low, _, weight)| (low, weight)).collect();
        let columns = starts(taps(width, whole.width, (part.x as f64 - whole.x as f64, part.width), size.0));
        let rows = starts(taps(height, whole.height, (part.y as f64 - whole.y as f64, part.height), size.1));
        let (line, out) = (vec![[0.0; N]; width + 1], vec![[0.0; N]; size.0]);
        Self { grid, width, columns, rows, line, out }
    }

    /// Row `y` of the finer grid.
    pub fn row(&mut self, y: usize) -> &[[f32; N]] {
        let Self { grid, width, columns, rows, line, out } = self;
        let (y, v) = rows[y];
        let mut samples = grid[y * *width..].chunks_exact(*width);
        let above = samples.next().unwrap_or_default();
        let below = samples.next().unwrap_or(above);
        wide(|| {
            for ((value, above), below) in line.iter_mut().zip(above).zip(below) {
                *value = between(above, below, v);
            }
            line[*width] = line[*width - 1];
            for (value, &(x, u)) in out.iter_mut().zip(&*columns) {
                *value = between(&line[x], &line[x + 1], u);
            }
        });
        out
    }
}

#[allow(clippy::inline_always, reason = "what is not compiled into a wide loop keeps it from becoming vectors")]
#[inline(always)]
fn between<const N: usize>(a: &[f32; N], b: &[f32; N], part: f32) -> [f32; N] {
    let mut out = *a;
    for (a, b) in out.iter_mut().zip(b) {
        *a += part * (b - *a);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::resample::around;

    #[test]
    fn bilinear_keeps_a_ramp() {
        let ramp = Raster::from_vec(4, 1, vec![0.0, 1.0, 2.0, 3.0]);
        let wide = bilinear(&ramp, 8, 1);
        assert_eq!(wide.as_slice(), &[0.0, 0.25, 0.75, 1.25, 1.75, 2.25, 2.75, 3.0]);
    }

    #[test]
    fn a_part_is_read_at_the_right_place() {
        let map = Raster::from_vec(4, 1, vec![0.0, 1.0, 2.0, 3.0]);
        let whole = Rect { x: 0, y: 0, width: 400, height: 100 };
        let part = bilinear_part(&map, whole, Rect { x: 100, y: 0, width: 200, height: 100 }, (2, 1));
        assert_eq!(part.as_slice(), &[1.0, 2.0]);
    }

    /// Against the definition, in double precision.
    #[test]
    fn rows_are_what_the_definition_says() {
        let field = |salt: usize| Raster::from_vec(7, 5, (0..35).map(|i| ((i * i + salt) % 17) as f32).collect());
        let fields = [&field(0), &field(5)];
        let whole = Rect { x: 10, y: 0, width: 70, height: 50 };
        for part in [Rect { x: 0, y: 0, width: 90, height: 50 }, Rect { x: 33, y: 8, width: 41, height: 9 }] {
            let mut rows = Bilinear::new(fields, whole, part, (31, 23));
            for (y, x, n) in (0..23).flat_map(|y| (0..31).flat_map(move |x| [(y, x, 0), (y, x, 1)])) {
                let at = |i: usize, to: f64, start: usize, length: usize, before: usize| {
                    (start as f64 + (i as f64 + 0.5) * length as f64 / to - before as f64) / 10.0 - 0.5
                };
                let place = [at(x, 31.0, part.x, part.width, whole.x), at(y, 23.0, part.y, part.height, whole.y)];
                let parts = around(place, (7, 5)).map(|([u, v], share)| share * f64::from(fields[n].get(u, v)));
                let (found, expected) = (f64::from(rows.row(y)[x][n]), parts.iter().sum::<f64>());
                assert!((found - expected).abs() < 1e-4, "{found} for {expected} at {x}, {y}");
            }
        }
    }
}
