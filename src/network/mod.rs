//! The networks whose weights are part of the program, and the engine that runs them: convolutions written for these two,
//! on the thread that asks. `docs/outline-model/README.md` says how they are made.

mod blocks;
mod convolution;
mod depthwise;
mod outline;
mod tensor;
mod tiles;
mod tissue;
mod weights;

use crate::base::raster::Raster;
use crate::network::outline::Outline;
use crate::network::tissue::Tissue;
use std::sync::LazyLock;

static OUTLINE: LazyLock<Outline> = LazyLock::new(|| Outline::new(include_bytes!("models/outline.safetensors")));
static TISSUE: LazyLock<Tissue> = LazyLock::new(|| Tissue::new(include_bytes!("models/tissue.safetensors")));

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
        assert_eq!(planes.len(), self.channels() * width * height, "a plane a channel");
        match self {
            Self::Outline => OUTLINE.of(planes, width, height),
            Self::Tissue => TISSUE.of(planes, width, height),
        }
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

    /// The same picture as in `docs/outline-model/reference.py`.
    fn asked(network: Network, width: usize, height: usize) -> Vec<f32> {
        let code = |i: u32| (i.wrapping_mul(2_654_435_761) >> 8) % 256;
        let planes = (0..(network.channels() * width * height) as u32).map(|i| code(i) as f32 / 255.0).collect();
        network.run(planes, width, height).into_iter().flat_map(Raster::into_vec).collect()
    }

    #[test]
    fn answers_are_those_of_another_engine() {
        let outline = include_bytes!("../../fixtures/network/outline_96x64.f32");
        let tissue = include_bytes!("../../fixtures/network/tissue_96x64.f32");
        for (network, file) in [(Network::Outline, &outline[..]), (Network::Tissue, &tissue[..])] {
            let expected: Vec<_> = file.as_chunks().0.iter().map(|&four| f32::from_le_bytes(four)).collect();
            let answer = asked(network, 96, 64);
            assert_eq!(answer.len(), expected.len());
            let far = answer.iter().zip(&expected).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
            assert!(far < 1e-4, "{network:?}: {far}");
        }
    }

    #[test]
    fn answers_do_not_depend_on_what_ran_before_or_beside() {
        let first = asked(Network::Tissue, 64, 96);
        let _used_memory = (asked(Network::Outline, 128, 96), asked(Network::Tissue, 96, 128));
        assert_eq!(asked(Network::Tissue, 64, 96), first);
        std::thread::scope(|scope| {
            let beside: Vec<_> = (0..3).map(|_| scope.spawn(|| asked(Network::Tissue, 64, 96))).collect();
            for answer in beside {
                assert_eq!(answer.join().unwrap(), first);
            }
        });
    }

    #[test]
    fn input_sides_are_whole_strides() {
        assert_eq!(input_size(4000, 3000, 512), (512, 384));
        assert_eq!(input_size(9000, 10, 512), (512, 32));
    }
}
