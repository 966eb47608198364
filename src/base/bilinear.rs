//! Coarse fields read on a finer grid, row by row, so that no fine picture of them is ever kept.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::beside;
use crate::base::wide::wide;

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
    /// [`crate::base::resample::bilinear_part`].
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
        let columns = taps(width, whole.width, (part.x as f64 - whole.x as f64, part.width), size.0);
        let rows = taps(height, whole.height, (part.y as f64 - whole.y as f64, part.height), size.1);
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

/// For each of `to` places along `part` (start, length) of a line of length `whole` that holds `from` samples: the sample
/// before its centre, and the weight of the next.
fn taps(from: usize, whole: usize, (start, length): (f64, usize), to: usize) -> Vec<(usize, f32)> {
    let (step, samples) = (length as f64 / to as f64, from as f64 / whole as f64);
    let tap = |i: usize| {
        let (low, _, weight) = beside((start + (i as f64 + 0.5) * step) * samples - 0.5, from);
        (low, weight as f32)
    };
    (0..to).map(tap).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::resample::bilinear_part;

    #[test]
    fn rows_are_those_of_the_whole_picture() {
        let field = |salt: usize| Raster::from_vec(7, 5, (0..35).map(|i| ((i * i + salt) % 17) as f32).collect());
        let fields = [&field(0), &field(5)];
        let whole = Rect { x: 10, y: 0, width: 70, height: 50 };
        for part in [Rect { x: 0, y: 0, width: 90, height: 50 }, Rect { x: 33, y: 8, width: 41, height: 9 }] {
            let mut rows = Bilinear::new(fields, whole, part, (31, 23));
            let pictures = fields.map(|field| bilinear_part(field, whole, part, (31, 23)));
            for y in 0..23 {
                let [first, second] = [0, 1].map(|n| rows.row(y).iter().map(|values| values[n]).collect::<Vec<_>>());
                assert_eq!((&first[..], &second[..]), (pictures[0].row(y), pictures[1].row(y)));
            }
        }
    }
}
