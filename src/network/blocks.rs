//! The parts that both networks are made of; named as in `docs/outline-model/networks.py`.

use crate::network::convolution::{Activation, Convolution};
use crate::network::depthwise::Depthwise;
use crate::network::tensor::Tensor;
use crate::network::weights::Weights;

/// Plain residual block: two convolutions of 3 x 3 beside the way straight through.
pub(super) struct Block {
    a: Convolution,
    b: Convolution,
    /// In the way straight through, where the size or the channels change.
    d: Option<Convolution>,
}

impl Block {
    pub(super) fn new(weights: &Weights, name: &str, step: usize) -> Self {
        let d = format!("{name}.d.0");
        Self {
            a: weights.layer(&format!("{name}.a"), step),
            b: weights.convolution(&format!("{name}.b.0"), Activation::Relu),
            d: weights.has(&d).then(|| weights.linear(&d, step)),
        }
    }

    pub(super) fn of(&self, x: &Tensor) -> Tensor {
        let y = self.a.of(x);
        let straight = self.d.as_ref().map_or_else(|| x.copy(), |d| d.of(x));
        self.b.added_to(straight, &y)
    }
}

/// Block of the deep encoder: to more channels, each channel by itself, to few channels.
pub(super) struct Inverted {
    expand: Convolution,
    depthwise: Depthwise,
    project: Convolution,
    /// Whether the way straight through is added.
    residual: bool,
}

impl Inverted {
    pub(super) fn new(weights: &Weights, name: &str, step: usize, residual: bool) -> Self {
        Self {
            expand: weights.convolution(&format!("{name}._expand_conv"), Activation::Relu6),
            depthwise: weights.depthwise(&format!("{name}._depthwise_conv"), step),
            project: weights.linear(&format!("{name}._project_conv"), 1),
            residual,
        }
    }

    pub(super) fn of(&self, x: &Tensor) -> Tensor {
        let y = self.depthwise.of(&self.expand.of(x));
        if self.residual { self.project.added_to(x.copy(), &y) } else { self.project.of(&y) }
    }
}
