//! The outline network: plain early layers, the deep encoder's later blocks, a plain decoder; as `Outline` in
//! `docs/outline-model/networks.py`.

use crate::base::raster::Raster;
use crate::network::blocks::{Block, Inverted};
use crate::network::convolution::{Activation, Convolution};
use crate::network::tensor::Tensor;
use crate::network::weights::Weights;

pub(super) struct Outline {
    to_half: Convolution,
    to_quarter: Block,
    to_eighth: ([Block; 2], Convolution),
    to_sixteenth: Vec<Inverted>,
    to_thirty_second: Vec<Inverted>,
    /// From an eighth, a sixteenth and a thirty-second of the size to the decoder.
    lateral: [Convolution; 3],
    /// Behind the doubling to an eighth, to a sixteenth.
    up: [Convolution; 2],
    /// The decoder at a quarter: from the coarser answer, from the early layers, both together.
    quarter: [Convolution; 3],
    /// At half the size: from the coarser answer, from the early layers.
    half: [Convolution; 2],
    plant: [Convolution; 2],
    centre: [Convolution; 2],
}

impl Outline {
    pub(super) fn new(file: &[u8]) -> Self {
        let weights = Weights::built_in(file);
        let linear = |name: &str| weights.linear(name, 1);
        let deep = |i| {
            let step = if [5, 11].contains(&i) { 2 } else { 1 };
            Inverted::new(&weights, &format!("_blocks.{i}"), step, ![5, 8, 11, 15].contains(&i))
        };
        let block = |name: &str, step| Block::new(&weights, &format!("early.{name}"), step);
        Self {
            to_half: weights.first_layer("early.to_half"),
            to_quarter: block("to_quarter", 2),
            to_eighth: ([block("to_eighth.0", 2), block("to_eighth.1", 1)], linear("early.to_eighth.2")),
            to_sixteenth: (5..=10).map(deep).collect(),
            to_thirty_second: (11..=15).map(deep).collect(),
            lateral: ["lat.0", "lat.1", "lat.2"].map(linear),
            up: ["up.0", "up.1"].map(|name| weights.layer(name, 1)),
            quarter: [linear("d4"), linear("l4"), weights.layer("up4", 1)],
            half: [linear("d2"), weights.convolution("l2", Activation::Relu)],
            plant: [weights.layer("plant.0", 1), linear("plant.1")],
            centre: [weights.layer("centre.0", 1), linear("centre.1")],
        }
    }

    pub(super) fn of(&self, planes: Vec<f32>, width: usize, height: usize) -> Vec<Raster<f32>> {
        let picture = Tensor::folded(&planes, width, height, |value| (value - 0.498) / 0.502);
        drop(planes);
        let half = self.to_half.of(&picture);
        drop(picture);
        let quarter = self.to_quarter.of(&half);
        let y = self.up[0].of(&self.to_decoder(&quarter));
        let y = self.quarter[1].added_to(self.quarter[0].of(&y).doubled(), &quarter);
        let y = self.quarter[2].of(&y);
        let fine = self.half[1].added_to(self.half[0].of(&y).doubled(), &half);
        drop(half);
        let fields = |layers: &[Convolution; 2], x: &Tensor, count| layers[1].of(&layers[0].of(x)).fields(count);
        [fields(&self.plant, &fine, 1), fields(&self.centre, &y, 3)].concat()
    }

    /// The deep encoder, and the decoder down to an eighth of the size.
    fn to_decoder(&self, quarter: &Tensor) -> Tensor {
        let (blocks, last) = &self.to_eighth;
        let eighth = last.of(&blocks[1].of(&blocks[0].of(quarter)));
        let deeper = |blocks: &[Inverted], x: &Tensor| {
            let first = blocks[0].of(x);
            blocks[1..].iter().fold(first, |y, block| block.of(&y))
        };
        let sixteenth = deeper(&self.to_sixteenth, &eighth);
        let deepest = deeper(&self.to_thirty_second, &sixteenth);
        let y = self.lateral[1].added_to(self.lateral[2].of(&deepest).doubled(), &sixteenth);
        self.lateral[0].added_to(self.up[1].of(&y).doubled(), &eighth)
    }
}
