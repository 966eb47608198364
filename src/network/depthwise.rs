//! Convolutions of each channel by itself.

use crate::network::convolution::{Activation, vector};
use crate::network::tensor::{LANES, Line, Tensor};
use crate::network::weights::Filters;
use pulp::{Arch, Simd, WithSimd};

/// Pixels that are worked out at once: their sums stay in the registers.
const TILE: usize = 8;

/// A convolution of each channel by itself, 3 x 3 or 5 x 5, step 1 or 2. With a step the border is uneven, as the encoder
/// was trained: a pixel less at the left and above.
pub(super) struct Depthwise {
    kernel: usize,
    step: usize,
    /// For each block of channels, row and column of the kernel.
    weights: Vec<Line>,
    /// For each block of channels.
    bias: Vec<Line>,
    activation: Activation,
}

impl Depthwise {
    /// From filters of one input channel.
    pub(super) fn new(filters: &Filters, step: usize, activation: Activation) -> Self {
        let taps = filters.kernel * filters.kernel;
        let blocks = (0..filters.outputs()).step_by(LANES);
        let weights = blocks.flat_map(|block| (0..taps).map(move |tap| filters.line(block, 0, tap))).collect();
        Self { kernel: filters.kernel, step, weights, bias: filters.bias_lines(), activation }
    }

    /// Its answer to a picture.
    pub(super) fn of(&self, input: &Tensor) -> Tensor {
        let mut output = Tensor::new(input.width / self.step, input.height / self.step, self.bias.len());
        Arch::new().dispatch(Pass { layer: self, input, output: &mut output });
        output
    }
}

/// One pass over a picture.
struct Pass<'a> {
    layer: &'a Depthwise,
    input: &'a Tensor,
    output: &'a mut Tensor,
}

impl WithSimd for Pass<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        match self.layer.step {
            1 => self.sweep::<S, 1>(simd),
            _ => self.sweep::<S, 2>(simd),
        }
        self.output.clear_borders();
    }
}

impl Pass<'_> {
    #[inline(always)]
    fn sweep<S: Simd, const STEP: usize>(&mut self, simd: S) {
        let (width, height, pitch) = (self.output.width, self.output.height, self.output.pitch());
        // As in a full convolution: without a step the whole picture is one row.
        let (rows, length) = if STEP == 1 { (1, (height - 1) * pitch + width) } else { (height, width) };
        let back = ((self.layer.kernel - STEP) / 2) * (self.input.pitch() + 1);
        for block in 0..self.output.blocks {
            for y in 0..rows {
                let from = block * self.input.plane() + self.input.at(0, y * STEP) - back;
                let to = block * self.output.plane() + self.output.at(0, y);
                for x in (0..length).step_by(TILE) {
                    self.tile::<S, STEP>(simd, block, (from + x * STEP, to + x), TILE.min(length - x));
                }
            }
        }
    }

    /// The first `count` pixels of a tile, from and to these places.
    #[inline(always)]
    fn tile<S: Simd, const STEP: usize>(&mut self, simd: S, block: usize, (from, to): (usize, usize), count: usize) {
        let Depthwise { kernel, ref weights, ref bias, activation, .. } = *self.layer;
        let weights = &weights[block * kernel * kernel..][..kernel * kernel];
        let [low, high] = activation.range(simd);
        for v in 0..LANES / S::F32_LANES {
            let mut sums = [vector::<S>(&bias[block], v); TILE];
            for (ky, weights) in weights.chunks_exact(kernel).enumerate() {
                for (kx, weight) in weights.iter().enumerate() {
                    let start = from + ky * self.input.pitch() + kx;
                    let pixels = &self.input.lines[start..=start + (TILE - 1) * STEP];
                    let weight = vector::<S>(weight, v);
                    for p in 0..TILE {
                        sums[p] = simd.mul_add_e_f32s(weight, vector::<S>(&pixels[p * STEP], v), sums[p]);
                    }
                }
            }
            let lines = &mut self.output.lines[to..to + count];
            for p in 0..TILE {
                if p < count {
                    let sum = simd.min_f32s(simd.max_f32s(sums[p], low), high);
                    S::as_mut_simd_f32s(&mut lines[p].0).0[v] = sum;
                }
            }
        }
    }
}
