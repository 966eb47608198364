//! What the layers of a network hand on: pictures of many channels, laid out for wide arithmetic.

use crate::base::raster::Raster;
use std::cell::RefCell;
use std::mem::take;

/// Channels that lie together.
pub(super) const LANES: usize = 16;
/// Pixels of zeros around a picture: as far as the widest kernel, 5 x 5, reaches.
const BORDER: usize = 2;
/// Pixels behind the last plane that the last tile of a kernel may read, to no effect.
const SLACK: usize = 32;
/// Lines of memory that a thread keeps for its next tensors at most: 24 MiB.
const KEPT: usize = 24 << 14;

/// Sixteen channels of one pixel: one line of the cache, so that no load straddles two.
#[derive(Debug, Clone, Copy, PartialEq)]
#[repr(align(64))]
pub(super) struct Line(pub(super) [f32; LANES]);

impl Line {
    pub(super) const ZERO: Self = Self([0.0; LANES]);
}

/// A picture of many channels. Each block of [`LANES`] channels is a plane of its own; channels that fill up the last block
/// are zero. A row ends in zeros, which are also what lies left of the next row, and rows of zeros lie above and below: a
/// kernel that reaches beyond the picture finds zeros, and goes on from row to row without a turn.
pub(super) struct Tensor {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) blocks: usize,
    pub(super) lines: Vec<Line>,
}

thread_local! {
    /// Memory of tensors that are gone, for the next ones: new pages cost as much time as a layer.
    static SPARE: RefCell<Vec<Vec<Line>>> = const { RefCell::new(Vec::new()) };
}

impl Drop for Tensor {
    fn drop(&mut self) {
        SPARE.with_borrow_mut(|spare| {
            if self.lines.len() + spare.iter().map(Vec::len).sum::<usize>() <= KEPT {
                spare.push(take(&mut self.lines));
            }
        });
    }
}

/// Spare memory of at least so many lines. If all is too small, the largest makes room for what is allocated instead: so
/// pictures of ever other sizes do not let it grow.
fn spare(needed: usize) -> Option<Vec<Line>> {
    SPARE.with_borrow_mut(|spare| {
        // Not much too large: a small tensor may live long, and the next large one would want another.
        let fits = |&i: &usize| (needed..=8 * needed).contains(&spare[i].len());
        let closest = (0..spare.len()).filter(fits).min_by_key(|&i| spare[i].len());
        let small = (0..spare.len()).filter(|&i| spare[i].len() < needed).max_by_key(|&i| spare[i].len());
        let found = closest.or(small).map(|i| spare.swap_remove(i));
        found.filter(|lines| lines.len() >= needed)
    })
}

impl Tensor {
    /// With zeros around; the pixels are yet to be written.
    pub(super) fn new(width: usize, height: usize, blocks: usize) -> Self {
        let mut tensor = Self { width, height, blocks, lines: Vec::new() };
        let needed = blocks * tensor.plane() + SLACK;
        tensor.lines = spare(needed).unwrap_or_else(|| vec![Line::ZERO; needed]);
        tensor.clear_borders();
        tensor
    }

    /// The same again.
    pub(super) fn copy(&self) -> Self {
        let mut copy = Self::new(self.width, self.height, self.blocks);
        let used = self.blocks * self.plane();
        copy.lines[..used].copy_from_slice(&self.lines[..used]);
        copy
    }

    /// Lines from a pixel to the one under it.
    pub(super) fn pitch(&self) -> usize {
        self.width + BORDER
    }

    /// Lines from a pixel to itself in the next block.
    pub(super) fn plane(&self) -> usize {
        (self.height + 2 * BORDER) * self.pitch() + BORDER
    }

    /// Place of a pixel in the first block.
    pub(super) fn at(&self, x: usize, y: usize) -> usize {
        BORDER + (y + BORDER) * self.pitch() + x
    }

    /// Pixels of row `y` of a block.
    pub(super) fn row(&self, block: usize, y: usize) -> &[Line] {
        &self.lines[block * self.plane() + self.at(0, y)..][..self.width]
    }

    /// The same, to be written.
    pub(super) fn row_mut(&mut self, block: usize, y: usize) -> &mut [Line] {
        let start = block * self.plane() + self.at(0, y);
        &mut self.lines[start..][..self.width]
    }

    /// Zeros above, below and between the rows, where a kernel may have run on.
    pub(super) fn clear_borders(&mut self) {
        let (top, pitch, plane) = (self.at(0, 0), self.pitch(), self.plane());
        for block in self.lines.chunks_exact_mut(plane).take(self.blocks) {
            let (above, rest) = block.split_at_mut(top);
            let (rows, below) = rest.split_at_mut(self.height * pitch);
            above.fill(Line::ZERO);
            rows.chunks_exact_mut(pitch).for_each(|row| row[self.width..].fill(Line::ZERO));
            below.fill(Line::ZERO);
        }
    }

    /// A picture given as one plane a channel, at most four, at half its size: 2 x 2 pixels become one of four times the
    /// channels.
    pub(super) fn folded(planes: &[f32], width: usize, height: usize, value: impl Fn(f32) -> f32) -> Self {
        let mut tensor = Self::new(width / 2, height / 2, 1);
        tensor.lines.fill(Line::ZERO);
        for (i, row) in planes.chunks(width).enumerate() {
            let (channel, y) = (i / height, i % height);
            let first = (channel * 2 + y % 2) * 2;
            for (line, pair) in tensor.row_mut(0, y / 2).iter_mut().zip(row.chunks_exact(2)) {
                line.0[first] = value(pair[0]);
                line.0[first + 1] = value(pair[1]);
            }
        }
        tensor
    }

    /// At twice the size, every pixel four times.
    pub(super) fn doubled(&self) -> Self {
        let mut double = Self::new(2 * self.width, 2 * self.height, self.blocks);
        for block in 0..self.blocks {
            for y in 0..double.height {
                let pairs = double.row_mut(block, y).chunks_exact_mut(2);
                for (pair, &line) in pairs.zip(self.row(block, y / 2)) {
                    pair.fill(line);
                }
            }
        }
        double
    }

    /// Mean of each channel over the picture, as a picture of one pixel.
    pub(super) fn mean(&self) -> Self {
        let mut mean = Self::new(1, 1, self.blocks);
        for block in 0..self.blocks {
            let mut sums = [0.0f64; LANES];
            for line in (0..self.height).flat_map(|y| self.row(block, y)) {
                sums.iter_mut().zip(line.0).for_each(|(sum, value)| *sum += f64::from(value));
            }
            let pixels = (self.width * self.height) as f64;
            mean.row_mut(block, 0)[0] = Line(sums.map(|sum| (sum / pixels) as f32));
        }
        mean
    }

    /// Adds a picture of one pixel to every pixel.
    pub(super) fn add_everywhere(&mut self, one: &Self) {
        for block in 0..self.blocks {
            let more = one.row(block, 0)[0];
            for y in 0..self.height {
                for line in self.row_mut(block, y) {
                    line.0.iter_mut().zip(more.0).for_each(|(value, more)| *value += more);
                }
            }
        }
    }

    /// The first `count` channels, at most [`LANES`].
    pub(super) fn fields(&self, count: usize) -> Vec<Raster<f32>> {
        let mut fields = vec![Vec::with_capacity(self.width * self.height); count];
        for line in (0..self.height).flat_map(|y| self.row(0, y)) {
            fields.iter_mut().zip(line.0).for_each(|(field, value)| field.push(value));
        }
        fields.into_iter().map(|field| Raster::from_vec(self.width, self.height, field)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folding_keeps_each_channel_and_place() {
        let planes: Vec<f32> = (0..24).map(|i| i as f32).collect(); // three channels of 4 x 2
        let folded = Tensor::folded(&planes, 4, 2, |v| v);
        assert_eq!((folded.width, folded.height), (2, 1));
        assert_eq!(folded.row(0, 0)[1].0[..12], [2.0, 3.0, 6.0, 7.0, 10.0, 11.0, 14.0, 15.0, 18.0, 19.0, 22.0, 23.0]);
    }

    #[test]
    fn doubling_and_mean_and_fields() {
        let one = Tensor::folded(&[1.0, 2.0, 3.0, 6.0], 2, 2, |v| v);
        let four = one.doubled();
        assert!((0..2).all(|y| four.row(0, y).iter().all(|line| line.0[..4] == [1.0, 2.0, 3.0, 6.0])));
        assert_eq!(four.fields(4)[3].as_slice(), [6.0; 4]);
        let mut two = Tensor::folded(&[1.0, 2.0, 3.0, 6.0, 5.0, 6.0, 7.0, 8.0], 4, 2, |v| v);
        assert_eq!(two.mean().row(0, 0)[0].0[..4], [2.0, 4.0, 6.0, 7.0]);
        two.add_everywhere(&one);
        assert_eq!(two.row(0, 0)[1].0[..4], [4.0, 8.0, 10.0, 14.0]);
    }
}
