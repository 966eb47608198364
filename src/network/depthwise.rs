//! Convolutions of each channel by itself.

#![allow(
    clippy::inline_always,
    reason = "what is not compiled into the function chosen for the machine loses its vectors"
)]

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

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, one sum at a time, for the first channel.
    fn slowly(filters: &Filters, step: usize, input: &Tensor, (x, y): (usize, usize)) -> f32 {
        let kernel = filters.kernel;
        let before = (kernel - step) / 2;
        let mut sum = filters.bias[0];
        for (tap, weight) in filters.weights[..kernel * kernel].iter().enumerate() {
            let (u, v) = (x * step + tap % kernel, y * step + tap / kernel);
            let (u, v) = (u.wrapping_sub(before), v.wrapping_sub(before));
            if u < input.width && v < input.height {
                sum += weight * input.row(0, v)[u].0[0];
            }
        }
        sum.clamp(0.0, 6.0)
    }

    #[test]
    fn each_channel_is_convolved_by_itself_whatever_the_width() {
        for (kernel, step, width, height) in [(3, 1, 9, 4), (3, 2, 11, 3), (5, 1, 1, 1), (5, 1, 17, 5), (5, 2, 6, 7)] {
            // Channel c of 20 is the first, c + 1 times as bright, with weights and bias as much smaller.
            let weights = |c: usize| (0..kernel * kernel).map(move |tap| (tap as f32 - 7.0) / (8.0 * (c + 1) as f32));
            let filters =
                Filters { inputs: 1, kernel, weights: (0..20).flat_map(weights).collect(), bias: vec![0.25; 20] };
            let mut input = Tensor::new(width * step, height * step, 2);
            for (block, y) in (0..2).flat_map(|block| (0..height * step).map(move |y| (block, y))) {
                for (x, line) in input.row_mut(block, y).iter_mut().enumerate() {
                    *line =
                        Line(std::array::from_fn(|c| ((x * 7 + y * 5) % 11 * (block * LANES + c + 1)) as f32 / 11.0));
                }
            }
            let layer = Depthwise::new(&filters, step, Activation::Relu6);
            let mut answers = [layer.of(&input), Tensor::new(width, height, 2)];
            pulp::Scalar::new().vectorize(Pass { layer: &layer, input: &input, output: &mut answers[1] });
            for (answer, x, y) in
                answers.iter().flat_map(|a| (0..width).flat_map(move |x| (0..height).map(move |y| (a, x, y))))
            {
                let expected = slowly(&filters, step, &input, (x, y));
                for channel in 0..20 {
                    let found = answer.row(channel / LANES, y)[x].0[channel % LANES];
                    assert!((found - expected).abs() < 1e-4, "{found} for {expected} at {channel}, {x}, {y}");
                }
            }
        }
    }
}
