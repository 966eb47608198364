//! The file of a network's weights: `safetensors`, each layer under its name in `docs/outline-model/networks.py`.

use crate::network::convolution::{Activation, Convolution};
use crate::network::depthwise::Depthwise;
use crate::network::tensor::{LANES, Line};
use safetensors::SafeTensors;
use std::array::from_fn;

/// What a convolution multiplies with and adds.
pub(super) struct Filters {
    /// Input channels.
    pub(super) inputs: usize,
    /// Side of the kernel, pixels.
    pub(super) kernel: usize,
    /// For each output channel, input channel, row and column.
    pub(super) weights: Vec<f32>,
    /// For each output channel.
    pub(super) bias: Vec<f32>,
}

impl Filters {
    /// Output channels.
    pub(super) fn outputs(&self) -> usize {
        self.bias.len()
    }

    /// Weights of the block of output channels from `output` on, for an input channel and a place of the kernel; zeros where
    /// there are no such channels.
    pub(super) fn line(&self, output: usize, input: usize, tap: usize) -> Line {
        let taps = self.kernel * self.kernel;
        Line(from_fn(|lane| {
            let there = input < self.inputs && output + lane < self.outputs();
            if there { self.weights[((output + lane) * self.inputs + input) * taps + tap] } else { 0.0 }
        }))
    }

    /// The bias in blocks.
    pub(super) fn bias_lines(&self) -> Vec<Line> {
        let block = |bias: &[f32]| Line(from_fn(|lane| bias.get(lane).copied().unwrap_or(0.0)));
        self.bias.chunks(LANES).map(block).collect()
    }

    /// A 3 x 3 kernel of step 2 as one of 2 x 2 for the folded picture ([`Tensor::folded`]): its first row and column fall
    /// on the pixel before.
    ///
    /// [`Tensor::folded`]: crate::network::tensor::Tensor::folded
    fn folded(&self) -> Self {
        assert_eq!(self.kernel, 3, "only 3 x 3 kernels are folded");
        let mut weights = vec![0.0; self.outputs() * self.inputs * 16];
        for (i, filter) in self.weights.chunks_exact(9).enumerate() {
            for (tap, &weight) in filter.iter().enumerate() {
                let (y, x) = (tap / 3 + 1, tap % 3 + 1);
                let channel = (i * 2 + y % 2) * 2 + x % 2;
                weights[channel * 4 + (y / 2) * 2 + x / 2] = weight;
            }
        }
        Self { inputs: 4 * self.inputs, kernel: 2, weights, bias: self.bias.clone() }
    }
}

/// A network's weights, as its file holds them.
pub(super) struct Weights<'a>(SafeTensors<'a>);

impl<'a> Weights<'a> {
    /// Of one of the built-in files.
    pub(super) fn built_in(file: &'a [u8]) -> Self {
        Self(SafeTensors::deserialize(file).expect("the built-in files are whole (tested)"))
    }

    /// `Layer`: a convolution and `Relu`.
    pub(super) fn layer(&self, name: &str, step: usize) -> Convolution {
        Convolution::new(&self.filters(&format!("{name}.0")), step, Activation::Relu)
    }

    /// The first layer of a network, of step 2, for the folded picture.
    pub(super) fn first_layer(&self, name: &str) -> Convolution {
        Convolution::new(&self.filters(&format!("{name}.0")).folded(), 1, Activation::Relu)
    }

    /// A convolution of step 1.
    pub(super) fn convolution(&self, name: &str, activation: Activation) -> Convolution {
        Convolution::new(&self.filters(name), 1, activation)
    }

    /// A convolution of step `step` that nothing follows.
    pub(super) fn linear(&self, name: &str, step: usize) -> Convolution {
        Convolution::new(&self.filters(name), step, Activation::Linear)
    }

    /// A convolution of each channel by itself.
    pub(super) fn depthwise(&self, name: &str, step: usize) -> Depthwise {
        Depthwise::new(&self.filters(name), step, Activation::Relu6)
    }

    /// Whether the file knows a layer.
    pub(super) fn has(&self, name: &str) -> bool {
        self.0.tensor(&format!("{name}.weight")).is_ok()
    }

    /// Weights are steps of 8 bit, with one scale an output channel.
    fn filters(&self, name: &str) -> Filters {
        let part =
            |part| self.0.tensor(&format!("{name}.{part}")).expect("the built-in files have all layers (tested)");
        let floats =
            |bytes: &[u8]| bytes.as_chunks().0.iter().map(|&four| f32::from_le_bytes(four)).collect::<Vec<_>>();
        let (steps, scale, bias) = (part("weight"), floats(part("scale").data()), floats(part("bias").data()));
        let (inputs, kernel) = (steps.shape()[1], steps.shape()[2]);
        let filters = steps.data().chunks_exact(inputs * kernel * kernel).zip(scale);
        let weights = filters.flat_map(|(filter, scale)| filter.iter().map(move |&step| f32::from(step as i8) * scale));
        Filters { inputs, kernel, weights: weights.collect(), bias }
    }
}
