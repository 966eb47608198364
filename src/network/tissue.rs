//! The tissue network: plain convolutions, as `Tissue` in `docs/outline-model/networks.py`.

use crate::base::raster::Raster;
use crate::network::blocks::Block;
use crate::network::convolution::{Activation, Convolution};
use crate::network::tensor::Tensor;
use crate::network::weights::Weights;

/// Classes that it answers for.
const ANSWERS: usize = 7;

pub(super) struct Tissue {
    stem: Convolution,
    /// Each halves the size.
    stages: Vec<Vec<Block>>,
    context: Convolution,
    /// From each stage to the decoder.
    lateral: Vec<Convolution>,
    /// Behind each doubling, the finest first.
    up: Vec<Convolution>,
    from_quarter: Convolution,
    from_half: Convolution,
    head: [Convolution; 2],
}

impl Tissue {
    pub(super) fn new(file: &[u8]) -> Self {
        let weights = Weights::built_in(file);
        let block = |stage, i| Block::new(&weights, &format!("st.{stage}.{i}"), if i == 0 { 2 } else { 1 });
        Self {
            stem: weights.first_layer("stem"),
            stages: [1, 2, 2, 2].iter().enumerate().map(|(s, &n)| (0..n).map(|i| block(s, i)).collect()).collect(),
            context: weights.linear("ctx", 1),
            lateral: (0..4).map(|stage| weights.linear(&format!("lat.{stage}"), 1)).collect(),
            up: (0..3).map(|stage| weights.layer(&format!("up.{stage}"), 1)).collect(),
            from_quarter: weights.linear("d2", 1),
            from_half: weights.convolution("l2", Activation::Relu),
            head: [weights.layer("h.0", 1), weights.linear("h.1", 1)],
        }
    }

    pub(super) fn of(&self, planes: Vec<f32>, width: usize, height: usize) -> Vec<Raster<f32>> {
        let picture = Tensor::folded(&planes, width, height, |value| (value - 0.5) * 2.0);
        drop(planes);
        let half = self.stem.of(&picture);
        drop(picture);
        let mut features: Vec<Tensor> = Vec::new();
        for stage in &self.stages {
            let first = stage[0].of(features.last().unwrap_or(&half));
            features.push(stage[1..].iter().fold(first, |y, block| block.of(&y)));
        }
        let mut y = features.pop().expect("there are stages");
        y.add_everywhere(&self.context.of(&y.mean()));
        y = self.lateral[3].of(&y);
        for stage in (0..3).rev() {
            let seen = features.pop().expect("as many as stages");
            y = self.up[stage].of(&self.lateral[stage].added_to(y.doubled(), &seen));
        }
        y = self.from_half.added_to(self.from_quarter.of(&y).doubled(), &half);
        drop(half);
        y = self.head[0].of(&y);
        self.head[1].of(&y).fields(ANSWERS)
    }
}
