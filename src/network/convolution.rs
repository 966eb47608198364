//! Convolutions, every output channel from all input channels. But for kernels of 3 x 3 without a step (`tiles`) no picture is
//! brought into another order first: a tile of
//! pixels by output channels stays in the registers while the kernel passes over all input channels.

#![allow(
    clippy::inline_always,
    reason = "what is not compiled into the function chosen for the machine loses its vectors"
)]

use crate::network::tensor::{LANES, Line, Tensor};
use crate::network::tiles::Tiled;
use crate::network::weights::Filters;
use pulp::{Arch, Simd, WithSimd};
use std::array::from_fn;
use std::ops::Range;

/// What becomes of a sum before it is stored.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Activation {
    /// Nothing.
    Linear,
    /// Nothing below 0.
    Relu,
    /// Nothing below 0 or above 6.
    Relu6,
}

impl Activation {
    /// The range of what is stored.
    pub(super) fn range<S: Simd>(self, simd: S) -> [S::f32s; 2] {
        let (low, high) = match self {
            Self::Linear => (f32::NEG_INFINITY, f32::INFINITY),
            Self::Relu => (0.0, f32::INFINITY),
            Self::Relu6 => (0.0, 6.0),
        };
        [simd.splat_f32s(low), simd.splat_f32s(high)]
    }
}

/// A convolution with its bias and what follows it. Beyond its border a picture is zero.
pub(super) struct Convolution {
    inputs: usize,
    kernel: usize,
    step: usize,
    /// For each block of output channels, block of input channels, row and column of the kernel: a line for each input channel.
    weights: Vec<[Line; LANES]>,
    /// For each block of output channels.
    bias: Vec<Line>,
    activation: Activation,
    /// What does its work with fewer multiplications, where there is such a way.
    tiled: Option<Tiled>,
}

impl Convolution {
    /// With a kernel of 1 x 1, 2 x 2 (which reaches left and up) or 3 x 3; a step of 1 or 2.
    pub(super) fn new(filters: &Filters, step: usize, activation: Activation) -> Self {
        let Filters { inputs, kernel, .. } = *filters;
        let tiled = ((kernel, step) == (3, 1)).then(|| Tiled::new(filters, activation));
        let mut weights = Vec::new();
        for output in (0..filters.outputs()).step_by(LANES).filter(|_| tiled.is_none()) {
            for input in (0..inputs).step_by(LANES) {
                for tap in 0..kernel * kernel {
                    weights.push(from_fn(|i| filters.line(output, input + i, tap)));
                }
            }
        }
        Self { inputs, kernel, step, weights, bias: filters.bias_lines(), activation, tiled }
    }

    /// Its answer to a picture.
    pub(super) fn of(&self, input: &Tensor) -> Tensor {
        let mut output = Tensor::new(input.width / self.step, input.height / self.step, self.bias.len());
        Arch::new().dispatch(Pass { layer: self, input, output: &mut output, add: false });
        output
    }

    /// Its answer and `sum`, added before the activation.
    pub(super) fn added_to(&self, mut sum: Tensor, input: &Tensor) -> Tensor {
        Arch::new().dispatch(Pass { layer: self, input, output: &mut sum, add: true });
        sum
    }

    /// Its answer in an area, in tiles of vectors of output channels by pixels. With more than twenty sums the compiler moves
    /// them out of the registers, at a quarter of the speed (seen with 32 registers of 512 bits).
    #[inline(always)]
    pub(super) fn sweep<S: Simd>(&self, simd: S, mut area: Area) {
        let blocks = self.bias.len();
        // One tile answers for up to four blocks of output channels where a vector holds a block, for one elsewhere.
        let parts = if S::F32_LANES == LANES { blocks.div_ceil(4) } else { blocks };
        for part in 0..parts {
            let (first, end) = (part * blocks / parts, (part + 1) * blocks / parts);
            match (S::F32_LANES, end - first) {
                (LANES, 1) => self.part::<S, 1, 8>(simd, &mut area, first),
                (LANES, 2) => self.part::<S, 2, 10>(simd, &mut area, first),
                (LANES, 3) => self.part::<S, 3, 6>(simd, &mut area, first),
                (LANES, _) => self.part::<S, 4, 4>(simd, &mut area, first),
                (8, _) => self.part::<S, 2, 6>(simd, &mut area, first),
                (4, _) => self.part::<S, 4, 2>(simd, &mut area, first),
                _ => self.part::<S, LANES, 1>(simd, &mut area, first),
            }
        }
    }

    #[inline(always)]
    fn part<S: Simd, const V: usize, const P: usize>(&self, simd: S, area: &mut Area, first: usize) {
        match self.step {
            1 => simd.vectorize(Sweep::<V, P, 1> { layer: self, area, first }),
            _ => simd.vectorize(Sweep::<V, P, 2> { layer: self, area, first }),
        }
    }
}

/// One pass of a convolution over a picture.
struct Pass<'a> {
    layer: &'a Convolution,
    input: &'a Tensor,
    output: &'a mut Tensor,
    /// Whether the output holds what the answer is added to.
    add: bool,
}

impl WithSimd for Pass<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { layer, input, output, add } = self;
        if let Some(tiled) = &layer.tiled {
            tiled.work(simd, input, output, add);
        } else {
            let (width, height) = (output.width, output.height);
            // Without a step the whole picture is one row: what comes out at its borders is thrown away.
            let one_row = (1, (height - 1) * output.pitch() + width);
            let (rows, length) = if layer.step == 1 { one_row } else { (height, width) };
            layer.sweep(simd, Area { input, output, add, rows: 0..rows, length });
        }
        output.clear_borders();
    }
}

/// Where a convolution works.
pub(super) struct Area<'a> {
    pub(super) input: &'a Tensor,
    pub(super) output: &'a mut Tensor,
    /// Whether the output holds what the answer is added to.
    pub(super) add: bool,
    /// Rows of the output.
    pub(super) rows: Range<usize>,
    /// Pixels in each row, from its start on.
    pub(super) length: usize,
}

/// The work for some of the output channels: tiles of `V` vectors x `P` pixels.
struct Sweep<'a, 'b, const V: usize, const P: usize, const STEP: usize> {
    layer: &'a Convolution,
    area: &'a mut Area<'b>,
    /// First block of output channels.
    first: usize,
}

impl<const V: usize, const P: usize, const STEP: usize> WithSimd for Sweep<'_, '_, V, P, STEP> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        for y in self.area.rows.clone() {
            let Area { input, ref output, length, .. } = *self.area;
            let back = (self.layer.kernel / 2) * (input.pitch() + 1);
            let (from, to) = (input.at(0, y * STEP) - back, output.at(0, y));
            for x in (0..length).step_by(P) {
                self.tile(simd, from + x * STEP, to + x, P.min(length - x));
            }
        }
    }
}

impl<const V: usize, const P: usize, const STEP: usize> Sweep<'_, '_, V, P, STEP> {
    /// The sums of a tile whose kernel starts at place `from` of the input; its first `count` pixels go to place `to`.
    ///
    /// In one piece, with a constant for every place in `sums`: that keeps them in the registers.
    #[inline(always)]
    #[allow(clippy::needless_range_loop, reason = "constants, not places of an iterator")]
    fn tile<S: Simd>(&mut self, simd: S, from: usize, to: usize, count: usize) {
        let Convolution { inputs, kernel, ref weights, ref bias, activation, .. } = *self.layer;
        let Area { input, ref mut output, add, .. } = *self.area;
        let per_line = LANES / S::F32_LANES;
        let bias: [S::f32s; V] = from_fn(|v| vector::<S>(&bias[self.first + v / per_line], v));
        let mut sums = [bias; P];
        let length = inputs.div_ceil(LANES) * kernel * kernel;
        let weights: [_; V] = from_fn(|v| &weights[(self.first + v / per_line) * length..][..length]);
        let mut tap = 0;
        for block in 0..inputs.div_ceil(LANES) {
            let channels = (inputs - block * LANES).min(LANES);
            for ky in 0..kernel {
                for kx in 0..kernel {
                    let start = block * input.plane() + from + ky * input.pitch() + kx;
                    let pixels = &input.lines[start..=start + (P - 1) * STEP];
                    let weights: [_; V] = from_fn(|v| &weights[v][tap]);
                    tap += 1;
                    for channel in 0..channels {
                        let weights: [S::f32s; V] = from_fn(|v| vector::<S>(&weights[v][channel], v));
                        for p in 0..P {
                            let value = simd.splat_f32s(pixels[p * STEP].0[channel]);
                            for v in 0..V {
                                sums[p][v] = simd.mul_add_e_f32s(weights[v], value, sums[p][v]);
                            }
                        }
                    }
                }
            }
        }
        let [low, high] = activation.range(simd);
        let plane = output.plane();
        for v in 0..V {
            let start = (self.first + v / per_line) * plane + to;
            let lines = &mut output.lines[start..start + count];
            for p in 0..P {
                if p < count {
                    let stored = &mut S::as_mut_simd_f32s(&mut lines[p].0).0[v % per_line];
                    let sum = if add { simd.add_f32s(sums[p][v], *stored) } else { sums[p][v] };
                    *stored = simd.min_f32s(simd.max_f32s(sum, low), high);
                }
            }
        }
    }
}

/// Vector number `v` of the lines that it counts on through.
#[inline(always)]
pub(super) fn vector<S: Simd>(line: &Line, v: usize) -> S::f32s {
    S::as_simd_f32s(&line.0).0[v % (LANES / S::F32_LANES)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn noise(count: usize) -> Vec<f32> {
        (0..count as u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 16) as f32 / 32768.0 - 1.0).collect()
    }

    fn noisy(width: usize, height: usize, channels: usize) -> Tensor {
        let values = noise(width * height * channels);
        let mut tensor = Tensor::new(width, height, channels.div_ceil(LANES));
        for (i, row) in values.chunks_exact(width).enumerate() {
            let (channel, y) = (i / height, i % height);
            for (line, &value) in tensor.row_mut(channel / LANES, y).iter_mut().zip(row) {
                line.0[channel % LANES] = value;
            }
        }
        tensor
    }

    fn at(tensor: &Tensor, channel: usize, x: usize, y: usize) -> f32 {
        tensor.row(channel / LANES, y)[x].0[channel % LANES]
    }

    /// The definition, one sum at a time.
    fn slowly(filters: &Filters, step: usize, input: &Tensor, output: usize, (x, y): (usize, usize)) -> f32 {
        let Filters { inputs, kernel, .. } = *filters;
        let mut sum = f64::from(filters.bias[output]);
        for i in 0..inputs {
            for tap in 0..kernel * kernel {
                let (u, v) = (x * step + tap % kernel, y * step + tap / kernel);
                let (u, v) = (u.wrapping_sub(kernel / 2), v.wrapping_sub(kernel / 2));
                if u < input.width && v < input.height {
                    let weight = filters.weights[(output * inputs + i) * kernel * kernel + tap];
                    sum += f64::from(weight) * f64::from(at(input, i, u, v));
                }
            }
        }
        sum as f32
    }

    /// The answer with vectors of each width that this machine has.
    fn every_width(layer: &Convolution, input: &Tensor, sum: &Tensor) -> Vec<Tensor> {
        fn through<S: Simd>(simd: S, layer: &Convolution, input: &Tensor, sum: &Tensor) -> Tensor {
            let mut output = sum.copy();
            simd.vectorize(Pass { layer, input, output: &mut output, add: true });
            output
        }
        let mut answers = vec![layer.added_to(sum.copy(), input), through(pulp::Scalar::new(), layer, input, sum)];
        #[cfg(target_arch = "x86_64")]
        {
            use pulp::x86::{V2, V3, V4};
            let fused = [
                V3::try_new().map(|simd| through(simd, layer, input, sum)),
                V4::try_new().map(|simd| through(simd, layer, input, sum)),
            ];
            if let [Some(a), Some(b)] = &fused {
                let used = a.blocks * a.plane();
                assert!(a.lines[..used] == b.lines[..used], "one order of sums gives one answer");
            }
            answers.extend(fused.into_iter().flatten());
            answers.extend(V2::try_new().map(|simd| through(simd, layer, input, sum)));
        }
        answers
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn a_convolution_is_what_its_definition_says_whatever_the_width(
            (width, height) in (1usize..24, 1usize..6), (inputs, outputs) in (1usize..40, 1usize..80),
            kernel in 1usize..=3, step in 1usize..=2,
        ) {
            let weights = noise(outputs * inputs * kernel * kernel);
            let filters = Filters { inputs, kernel, weights, bias: noise(outputs) };
            let (input, sum) = (noisy(width * step, height * step, inputs), noisy(width, height, outputs));
            let layer = Convolution::new(&filters, step, Activation::Relu6);
            for answer in every_width(&layer, &input, &sum) {
                for (channel, x, y) in (0..outputs).flat_map(|c| (0..width).flat_map(move |x| (0..height).map(move |y| (c, x, y)))) {
                    let expected = (slowly(&filters, step, &input, channel, (x, y)) + at(&sum, channel, x, y)).clamp(0.0, 6.0);
                    let found = at(&answer, channel, x, y);
                    prop_assert!((found - expected).abs() < 1e-4, "{found} for {expected} at {channel}, {x}, {y}");
                }
                prop_assert!(answer.lines[answer.at(width, 0)] == Line::ZERO, "the border stays zero");
            }
        }
    }
}
