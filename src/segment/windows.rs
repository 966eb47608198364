//! Means over square windows of several fields at once, row by row: only the rows under the windows are kept.

use crate::base::wide::wide;

/// The windows over one row after another. A row holds those of the fields, one behind the other.
pub struct Windows {
    radius: usize,
    /// Width and height of the fields.
    size: (usize, usize),
    /// Sums across of the rows in reach: row `y` stands in place `y` modulo their number.
    across: Vec<Vec<f32>>,
    read: usize,
    given: usize,
    /// A row as it was read, and one field of it with nothing on both sides.
    row: Vec<f32>,
    padded: Vec<f32>,
    means: Vec<f32>,
    /// One over the columns under the window, for each place of a row.
    shares: Vec<f32>,
}

impl Windows {
    /// Over `fields` fields of `size` (width, height); windows of half side `radius`, cut at the border.
    pub fn new(radius: usize, size: (usize, usize), fields: usize) -> Self {
        let (radius, length) = (radius.min(size.0.max(size.1)), size.0 * fields);
        let columns = |x: usize| (x + radius + 1).min(size.0) - x.saturating_sub(radius);
        Self {
            radius,
            size,
            across: vec![vec![0.0; length]; 2 * radius + 1],
            read: 0,
            given: 0,
            row: vec![0.0; length],
            padded: vec![0.0; size.0 + 2 * radius],
            means: vec![0.0; length],
            shares: (0..length).map(|i| 1.0 / columns(i % size.0) as f32).collect(),
        }
    }

    /// The means around the next row; `read` writes the fields' row of the given number, each once and in order.
    pub fn next(&mut self, mut read: impl FnMut(usize, &mut [f32])) -> &[f32] {
        let (above, below) = (self.given.saturating_sub(self.radius), (self.given + self.radius + 1).min(self.size.1));
        self.given += 1;
        while self.read < below {
            read(self.read, &mut self.row);
            self.sum_across();
            self.read += 1;
        }
        self.means.fill(0.0);
        let places = self.across.len();
        (above..below).for_each(|y| add(&mut self.means, &self.across[y % places]));
        let share = 1.0 / (below - above) as f32;
        wide(|| self.means.iter_mut().zip(&self.shares).for_each(|(mean, columns)| *mean *= columns * share));
        &self.means
    }

    fn sum_across(&mut self) {
        let (width, radius, places) = (self.size.0, self.radius, self.across.len());
        let sums = &mut self.across[self.read % places];
        sums.fill(0.0);
        for (sums, field) in sums.chunks_exact_mut(width).zip(self.row.chunks_exact(width)) {
            self.padded[radius..radius + width].copy_from_slice(field);
            (0..=2 * radius).for_each(|from| add(sums, &self.padded[from..]));
        }
    }
}

fn add(sums: &mut [f32], values: &[f32]) {
    wide(|| sums.iter_mut().zip(values).for_each(|(sum, value)| *sum += value));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::raster::Raster;
    use crate::base::window;

    #[test]
    fn means_equal_those_of_whole_fields() {
        for (w, h, radius) in [(9, 7, 2), (3, 2, 4), (1, 12, 1), (6, 5, 0)] {
            let field = |k: usize| Raster::from_vec(w, h, (0..w * h).map(|i| (i * (7 + k) % 11) as f32).collect());
            let fields = [field(0), field(1)];
            let mut windows = Windows::new(radius, (w, h), 2);
            for y in 0..h {
                let read = |y: usize, row: &mut [f32]| {
                    row.copy_from_slice(&[fields[0].row(y), fields[1].row(y)].concat());
                };
                let means = windows.next(read);
                for (means, field) in means.chunks(w).zip(&fields) {
                    let whole = window::mean(field, radius);
                    assert!(means.iter().zip(whole.row(y)).all(|(a, b)| (a - b).abs() < 1e-4), "{w} x {h}, {radius}");
                }
            }
        }
    }
}
