//! The two outline networks. Their weights are part of the program; `docs/outline-model/README.md` says where they come from.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::{bilinear, shrink};
use rten::{Model, RunOptions, ThreadPool};
use rten_tensor::NdTensor;
use rten_tensor::{AsView, Layout};
use std::sync::{Arc, OnceLock};

/// Sides of a network's input are multiples of this.
const STRIDE: usize = 32;

/// One of the two witnesses: they differ in depth, in training pictures and in how they were trained.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Witness {
    /// Encoder down to stride 32; strongest on plants unlike those it was trained on.
    Deep,
    /// Encoder down to stride 16; saw label cards, trays and rooms in training.
    Light,
}

impl Witness {
    fn model(self) -> &'static Model {
        static DEEP: OnceLock<Model> = OnceLock::new();
        static LIGHT: OnceLock<Model> = OnceLock::new();
        let (cell, bytes): (_, &[u8]) = match self {
            Self::Deep => (&DEEP, include_bytes!("models/deep.onnx")),
            Self::Light => (&LIGHT, include_bytes!("models/light.onnx")),
        };
        cell.get_or_init(|| Model::load_static_slice(bytes).expect("the built-in weights load (tested)"))
    }
}

/// Evidence that each pixel of `rect` is plant, as a logit (0 = even odds, > 0 plant), at `size` (width, height).
/// The network looks at the part with a longer side of `long` pixels, rounded to whole strides.
///
/// # Panics
/// If `rect` is empty or reaches outside the picture.
pub fn plant_logit(
    witness: Witness,
    picture: &Raster<[u8; 3]>,
    rect: Rect,
    long: usize,
    size: (usize, usize),
) -> Raster<f32> {
    let (width, height) = input_size(rect, long);
    let seen = shrink(picture, rect, width, height);
    let mut input = NdTensor::<f32, 4>::zeros([1, 3, height, width]);
    let plane = width * height;
    let values = input.data_mut().expect("a new tensor is contiguous");
    for (i, code) in seen.as_slice().iter().enumerate() {
        for (channel, &value) in code.iter().enumerate() {
            values[channel * plane + i] = f32::from(value) / 255.0;
        }
    }
    let output = run(witness, input);
    let [_, _, rows, columns] = output.shape();
    bilinear(&Raster::from_vec(columns, rows, output.to_vec()), size.0, size.1)
}

/// Runs a network on a thread of its own: a task of the batch that waited inside the runtime's pool would take up the
/// next photo meanwhile, and with it more memory (or, at the first load of the weights, wait for itself).
fn run(witness: Witness, input: NdTensor<f32, 4>) -> NdTensor<f32, 4> {
    let work = move || {
        let model = witness.model();
        let options = RunOptions::default().with_thread_pool(Some(one_thread()));
        let plant = model.node_id("plant").expect("the built-in networks name their output (tested)");
        let output = model
            .run(vec![(model.input_ids()[0], input.into())], &[plant], Some(options))
            .expect("the built-in networks take any size in whole strides (tested)");
        let output = output.into_iter().next().expect("one output was asked for");
        output.try_into().expect("it is 1 x 1 x h x w floats")
    };
    std::thread::scope(|s| s.spawn(work).join()).expect("the network ends (tested)")
}

/// One thread a run: photos are what runs in parallel, and one order of sums gives one answer.
fn one_thread() -> Arc<ThreadPool> {
    static POOL: OnceLock<Arc<ThreadPool>> = OnceLock::new();
    POOL.get_or_init(|| Arc::new(ThreadPool::with_num_threads(1))).clone()
}

fn input_size(rect: Rect, long: usize) -> (usize, usize) {
    let scale = long as f64 / rect.width.max(rect.height) as f64;
    let side = |v: usize| ((v as f64 * scale / STRIDE as f64).round() as usize).max(1) * STRIDE;
    (side(rect.width), side(rect.height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_witnesses_load_and_answer_any_shape() {
        let picture = Raster::filled(300, 120, [120, 130, 90]);
        for witness in [Witness::Deep, Witness::Light] {
            let logit = plant_logit(witness, &picture, picture.bounds(), 128, (30, 12));
            assert_eq!((logit.width(), logit.height()), (30, 12));
            assert!(logit.as_slice().iter().all(|v| v.is_finite()));
        }
    }

    #[test]
    fn input_sides_are_whole_strides() {
        assert_eq!(input_size(Rect { x: 0, y: 0, width: 4000, height: 3000 }, 512), (512, 384));
        assert_eq!(input_size(Rect { x: 0, y: 0, width: 9000, height: 10 }, 512), (512, 32));
    }
}
