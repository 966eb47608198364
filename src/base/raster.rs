//! A plain row-major picture and a rectangle in it.

use crate::base::wide::wide;

/// A picture of `T`, row-major, origin at the top left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Raster<T> {
    width: usize,
    height: usize,
    data: Vec<T>,
}

impl<T: Copy> Raster<T> {
    /// A picture of one value.
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { width, height, data: vec![value; width * height] }
    }

    /// Takes rows one after another.
    ///
    /// # Panics
    /// If `data` does not hold `width * height` values.
    pub fn from_vec(width: usize, height: usize, data: Vec<T>) -> Self {
        assert_eq!(data.len(), width * height, "a raster needs width * height values");
        Self { width, height, data }
    }

    /// Pixels a row.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// The whole picture as a rectangle.
    pub fn bounds(&self) -> Rect {
        Rect { x: 0, y: 0, width: self.width, height: self.height }
    }

    /// The value at column `x`, row `y`.
    ///
    /// # Panics
    /// Outside the picture.
    #[inline]
    pub fn get(&self, x: usize, y: usize) -> T {
        debug_assert!(x < self.width, "column {x} of {}", self.width);
        self.data[y * self.width + x]
    }

    /// Writes the value at column `x`, row `y`.
    ///
    /// # Panics
    /// Outside the picture.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        debug_assert!(x < self.width, "column {x} of {}", self.width);
        self.data[y * self.width + x] = value;
    }

    /// Row `y`.
    pub fn row(&self, y: usize) -> &[T] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// Row `y`, to be written.
    pub fn row_mut(&mut self, y: usize) -> &mut [T] {
        &mut self.data[y * self.width..(y + 1) * self.width]
    }

    /// All values, row by row.
    pub fn as_slice(&self) -> &[T] {
        &self.data
    }

    /// All values, row by row, to be written.
    pub fn as_mut_slice(&mut self) -> &mut [T] {
        &mut self.data
    }

    /// Gives the values back, row by row.
    pub fn into_vec(self) -> Vec<T> {
        self.data
    }

    /// A picture of the same size with `f` of each value.
    pub fn map<U: Copy>(&self, f: impl FnMut(T) -> U) -> Raster<U> {
        Raster { width: self.width, height: self.height, data: self.data.iter().copied().map(f).collect() }
    }

    /// The same with left and right exchanged.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut out = self.clone();
        (0..self.height).for_each(|y| out.row_mut(y).reverse());
        out
    }

    /// A copy of the part inside `rect`.
    ///
    /// # Panics
    /// If `rect` reaches outside.
    #[must_use]
    pub fn crop(&self, rect: Rect) -> Self {
        let mut data = Vec::with_capacity(rect.area());
        for y in rect.y..rect.bottom() {
            data.extend_from_slice(&self.row(y)[rect.x..rect.right()]);
        }
        Self { width: rect.width, height: rect.height, data }
    }
}

impl Raster<bool> {
    /// Number of the true pixels, and their mean column and row; `None` where none is true.
    pub fn centre(&self) -> Option<(usize, [f64; 2])> {
        let (mut pixels, mut columns, mut rows) = (0, 0, 0);
        wide(|| {
            for y in 0..self.height {
                let row = (0u64..).zip(self.row(y));
                let (n, sum) = row.fold((0, 0), |(n, sum), (x, &on)| (n + u64::from(on), sum + if on { x } else { 0 }));
                (pixels, columns, rows) = (pixels + n, columns + sum, rows + n * y as u64);
            }
        });
        (pixels > 0).then(|| (pixels as usize, [columns, rows].map(|sum| sum as f64 / pixels as f64)))
    }
}

/// A rectangle of whole pixels; `right` and `bottom` are just outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Rect {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Rect {
    /// Column just right of the last.
    pub fn right(self) -> usize {
        self.x.saturating_add(self.width)
    }

    /// Row just under the last.
    pub fn bottom(self) -> usize {
        self.y.saturating_add(self.height)
    }

    /// Pixels inside.
    pub fn area(self) -> usize {
        self.width.saturating_mul(self.height)
    }

    /// Whether the pixel lies inside.
    pub fn contains(self, x: usize, y: usize) -> bool {
        (self.x..self.right()).contains(&x) && (self.y..self.bottom()).contains(&y)
    }

    /// Whether both share a pixel.
    pub fn overlaps(self, other: Rect) -> bool {
        self.x < other.right() && other.x < self.right() && self.y < other.bottom() && other.y < self.bottom()
    }

    /// The smallest rectangle that holds both.
    #[must_use]
    pub fn union(self, other: Rect) -> Self {
        let (x, y) = (self.x.min(other.x), self.y.min(other.y));
        let (right, bottom) = (self.right().max(other.right()), self.bottom().max(other.bottom()));
        Self { x, y, width: right - x, height: bottom - y }
    }

    /// Grown by `margin` on each side, cut at `limit`.
    #[must_use]
    pub fn grown(self, margin: usize, limit: Rect) -> Self {
        let x = self.x.saturating_sub(margin).max(limit.x);
        let y = self.y.saturating_sub(margin).max(limit.y);
        let right = self.right().saturating_add(margin).min(limit.right());
        let bottom = self.bottom().saturating_add(margin).min(limit.bottom());
        Self { x, y, width: right.saturating_sub(x), height: bottom.saturating_sub(y) }
    }
}
