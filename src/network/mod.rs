//! The networks whose weights are part of the program, and the runtime that runs them on one thread.
//! `docs/outline-model/README.md` says how they are made.

use crate::base::raster::Raster;
use rten::{Model, RunOptions, ThreadPool};
use rten_tensor::{AsView, Layout, NdTensor};
use std::sync::{Arc, OnceLock};

/// Sides of a network's input are multiples of this.
pub const STRIDE: usize = 32;
/// Pixels of the input that one unit of the way to a crown stands for.
pub const REACH: f32 = 64.0;

/// One of the two networks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Network {
    /// Red, green, blue -> logit of plant, at half the size; logit of a crown and the way to one's own crown (right, down; in
    /// units of [`REACH`] pixels of the input), at a quarter.
    Outline,
    /// White-adapted red, green, blue and the plant's mask -> logits of green, cream, gold, red, band, dead, no leaf, at half
    /// the size.
    Tissue,
}

impl Network {
    fn model(self) -> &'static Model {
        static OUTLINE: OnceLock<Model> = OnceLock::new();
        static TISSUE: OnceLock<Model> = OnceLock::new();
        let (cell, bytes): (_, &[u8]) = match self {
            Self::Outline => (&OUTLINE, include_bytes!("models/outline.onnx")),
            Self::Tissue => (&TISSUE, include_bytes!("models/tissue.onnx")),
        };
        cell.get_or_init(|| Model::load_static_slice(bytes).expect("the built-in weights load (tested)"))
    }

    /// Channels of its input.
    fn channels(self) -> usize {
        match self {
            Self::Outline => 3,
            Self::Tissue => 4,
        }
    }

    /// What the network says about a picture of `width` x `height` (whole strides), given as one plane a channel, all
    /// values 0..1: one field an output channel, in the order that the variants name.
    ///
    /// # Panics
    /// If the planes do not hold the network's channels, or a side is no multiple of [`STRIDE`].
    pub fn run(self, planes: Vec<f32>, width: usize, height: usize) -> Vec<Raster<f32>> {
        assert!(width.is_multiple_of(STRIDE) && height.is_multiple_of(STRIDE), "{width} x {height} in strides");
        let input = NdTensor::from_data([1, self.channels(), height, width], planes);
        let fields = |output: NdTensor<f32, 4>| {
            let [_, _, rows, columns] = output.shape();
            let values = output.to_vec();
            values.chunks(rows * columns).map(|f| Raster::from_vec(columns, rows, f.to_vec())).collect::<Vec<_>>()
        };
        self.on_own_thread(input).into_iter().flat_map(fields).collect()
    }

    /// On a thread of its own: a caller's task that waited inside the runtime's pool would take up another one meanwhile, and
    /// with it more memory (or, at the first load of the weights, wait for itself). Each run has its own
    /// pool of one thread: photos are what runs in parallel, and one order of sums gives one answer.
    fn on_own_thread(self, input: NdTensor<f32, 4>) -> Vec<NdTensor<f32, 4>> {
        let work = move || {
            let model = self.model();
            let alone = Arc::new(ThreadPool::with_num_threads(1));
            let options = RunOptions::default().with_thread_pool(Some(alone));
            let outputs = model
                .run(vec![(model.input_ids()[0], input.into())], model.output_ids(), Some(options))
                .expect("the built-in networks take any size in whole strides (tested)");
            let floats = |output: rten::Value| output.try_into().expect("outputs are 1 x channels x h x w floats");
            outputs.into_iter().map(floats).collect()
        };
        std::thread::scope(|s| s.spawn(work).join()).expect("the network ends (tested)")
    }
}

/// The size in whole strides, its longer side about `long`, in which a part of `width` x `height` pixels is looked at.
pub fn input_size(width: usize, height: usize, long: usize) -> (usize, usize) {
    let scale = long as f64 / width.max(height) as f64;
    let side = |v: usize| ((v as f64 * scale / STRIDE as f64).round() as usize).max(1) * STRIDE;
    (side(width), side(height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_networks_load_and_answer_any_shape() {
        for (network, parts) in [(Network::Outline, &[2, 4, 4, 4][..]), (Network::Tissue, &[2; 7])] {
            for (w, h) in [(32, 32), (32, 512), (896, 32), (416, 96)] {
                let answer = network.run(vec![0.5; network.channels() * w * h], w, h);
                let sizes: Vec<_> = answer.iter().map(|f| (f.width(), f.height())).collect();
                assert_eq!(sizes, parts.iter().map(|part| (w / part, h / part)).collect::<Vec<_>>());
                assert!(answer.iter().all(|f| f.as_slice().iter().all(|v| v.is_finite())));
            }
        }
    }

    #[test]
    fn input_sides_are_whole_strides() {
        assert_eq!(input_size(4000, 3000, 512), (512, 384));
        assert_eq!(input_size(9000, 10, 512), (512, 32));
    }
}
