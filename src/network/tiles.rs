//! Convolutions of 3 x 3 without a step in four ninths of the multiplications: 2 x 2 pixels of the answer come from 4 x 4
//! products, each for all channels, of transformed pixels and transformed weights (Lavin, Gray 2016, "Fast algorithms for
//! convolutional neural networks", CVPR, arXiv:1509.09308, section 4.1: F(2 x 2, 3 x 3)).

#![allow(
    clippy::inline_always,
    reason = "what is not compiled into the function chosen for the machine loses its vectors"
)]

use crate::network::convolution::{Activation, Area, Convolution, vector};
use crate::network::tensor::{LANES, Line, Tensor};
use crate::network::weights::Filters;
use pulp::{Simd, WithSimd};
use std::array::from_fn;

/// Tiles in work at once: their products stay in the nearer cache.
const TILES: usize = 30;

/// A convolution of 3 x 3 without a step.
pub(super) struct Tiled {
    /// What the pixels at each place of the transformed tiles are multiplied with: convolutions of 1 x 1.
    places: Vec<Convolution>,
    bias: Vec<Line>,
    activation: Activation,
}

impl Tiled {
    pub(super) fn new(filters: &Filters, activation: Activation) -> Self {
        let weights = filters.weights.chunks_exact(9).map(transformed_weights).collect::<Vec<_>>();
        let place = |place: usize| {
            let weights = weights.iter().map(|tile| tile[place]).collect();
            let bias = vec![0.0; filters.outputs()];
            Convolution::new(&Filters { inputs: filters.inputs, kernel: 1, weights, bias }, 1, Activation::Linear)
        };
        Self { places: (0..16).map(place).collect(), bias: filters.bias_lines(), activation }
    }

    /// Writes its answer, or what it makes of the answer added to what is there.
    #[inline(always)]
    pub(super) fn work<S: Simd>(&self, simd: S, input: &Tensor, output: &mut Tensor, add: bool) {
        let across = output.width.div_ceil(2);
        let tiles = across * output.height.div_ceil(2);
        // A row a place, a column a tile.
        let mut seen = Tensor::new(TILES, 16, input.blocks);
        let mut products = Tensor::new(TILES, 16, output.blocks);
        for first in (0..tiles).step_by(TILES) {
            let part = Part { across, first, count: TILES.min(tiles - first) };
            simd.vectorize(Spread { part, input, seen: &mut seen });
            for (row, place) in self.places.iter().enumerate() {
                let rows = row..row + 1;
                let length = part.count;
                place.sweep(simd, Area { input: &seen, output: &mut products, add: false, rows, length });
            }
            simd.vectorize(Gather { part, layer: self, products: &products, output, add });
        }
    }
}

/// A filter of 3 x 3 as what the places of a tile are multiplied with.
fn transformed_weights(filter: &[f32]) -> [f32; 16] {
    let rows: [_; 3] = from_fn(|y| along(from_fn(|x| filter[y * 3 + x])));
    let columns: [_; 4] = from_fn(|x| along(from_fn(|y| rows[y][x])));
    from_fn(|place| columns[place % 4][place / 4])
}

/// The G of the paper, along one axis.
fn along([a, b, c]: [f32; 3]) -> [f32; 4] {
    let (outer, middle) = (0.5 * (a + c), 0.5 * b);
    [a, outer + middle, outer - middle, c]
}

/// Some of a picture's tiles, counted row by row.
#[derive(Clone, Copy)]
struct Part {
    /// Tiles in a row of the picture.
    across: usize,
    first: usize,
    count: usize,
}

impl Part {
    /// Column and row of the first pixel of tile number `tile` of the part.
    #[inline(always)]
    fn pixel(self, tile: usize) -> (usize, usize) {
        let tile = self.first + tile;
        (tile % self.across * 2, tile / self.across * 2)
    }
}

/// Pixels to transformed tiles.
struct Spread<'a> {
    part: Part,
    input: &'a Tensor,
    seen: &'a mut Tensor,
}

impl WithSimd for Spread<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { part, input, seen } = self;
        let pitch = seen.pitch();
        for block in 0..input.blocks {
            for tile in 0..part.count {
                let (x, y) = part.pixel(tile);
                // A tile reaches a pixel further to all sides, where zeros lie beyond the border.
                let from = block * input.plane() + input.at(x, y) - input.pitch() - 1;
                let rows: [&[Line]; 4] = from_fn(|row| &input.lines[from + row * input.pitch()..][..4]);
                let to = block * seen.plane() + seen.at(tile, 0);
                let lines = &mut seen.lines[to..][..=15 * pitch];
                for v in 0..LANES / S::F32_LANES {
                    let across: [_; 4] = from_fn(|row| spread(simd, from_fn(|x| vector::<S>(&rows[row][x], v))));
                    for column in 0..4 {
                        let down = spread(simd, from_fn(|row| across[row][column]));
                        for (row, value) in down.into_iter().enumerate() {
                            S::as_mut_simd_f32s(&mut lines[(row * 4 + column) * pitch].0).0[v] = value;
                        }
                    }
                }
            }
        }
    }
}

/// The transposed B of the paper, along one axis.
#[inline(always)]
fn spread<S: Simd>(simd: S, [a, b, c, d]: [S::f32s; 4]) -> [S::f32s; 4] {
    [simd.sub_f32s(a, c), simd.add_f32s(b, c), simd.sub_f32s(c, b), simd.sub_f32s(b, d)]
}

/// Products to pixels of the answer.
struct Gather<'a> {
    part: Part,
    layer: &'a Tiled,
    products: &'a Tensor,
    output: &'a mut Tensor,
    add: bool,
}

impl WithSimd for Gather<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { part, layer, products, output, add } = self;
        let [low, high] = layer.activation.range(simd);
        let pitch = products.pitch();
        for (block, bias) in layer.bias.iter().enumerate() {
            for tile in 0..part.count {
                let lines = &products.lines[block * products.plane() + products.at(tile, 0)..][..=15 * pitch];
                let (x, y) = part.pixel(tile);
                let (to, down_one) = (block * output.plane() + output.at(x, y), output.pitch());
                // The last tile of a row or column may have one pixel only.
                let (width, height) = ((output.width - x).min(2), (output.height - y).min(2));
                for v in 0..LANES / S::F32_LANES {
                    let line = |row: usize, column: usize| vector::<S>(&lines[(row * 4 + column) * pitch], v);
                    let across: [_; 4] = from_fn(|row| gather(simd, from_fn(|column| line(row, column))));
                    let down: [_; 2] = from_fn(|column| gather(simd, from_fn(|row| across[row][column])));
                    for (dy, dx) in (0..height).flat_map(|dy| (0..width).map(move |dx| (dy, dx))) {
                        let stored = &mut S::as_mut_simd_f32s(&mut output.lines[to + dy * down_one + dx].0).0[v];
                        let sum = simd.add_f32s(down[dx][dy], vector::<S>(bias, v));
                        let sum = if add { simd.add_f32s(sum, *stored) } else { sum };
                        *stored = simd.min_f32s(simd.max_f32s(sum, low), high);
                    }
                }
            }
        }
    }
}

/// The transposed A of the paper, along one axis.
#[inline(always)]
fn gather<S: Simd>(simd: S, [a, b, c, d]: [S::f32s; 4]) -> [S::f32s; 2] {
    [simd.add_f32s(simd.add_f32s(a, b), c), simd.sub_f32s(simd.sub_f32s(b, c), d)]
}
