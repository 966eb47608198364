//! The second witness of tissue beside the colour rule: a small network that sees form.

use crate::base::color::oklab::Converter;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::{bilinear_part, nearest, shrink};
use crate::network::{Network, input_size};
use crate::segment::Rosette;
use crate::tissue::class::{PerTissue, Tissue};

/// Longer side of a plant, with its margin, as the network sees it, pixels.
const LONG: usize = 896;
/// All plants of a photo together cost about this many full looks at most.
const FULL_LOOKS: f64 = 1.3;
/// Margin around the plant, percent of its longer side: the network was trained with surroundings.
const MARGIN: usize = 5;

/// What the network says about each pixel.
pub struct Evidence {
    /// One field a class, in the order of [`Tissue::ALL`].
    shares: Vec<Raster<f32>>,
}

impl Evidence {
    /// Probability of each class at pixel number `i`, as the share of the pixel that it covers where tissues are finer
    /// than pixels; [`Tissue::Unsure`] is "no leaf".
    pub fn shares(&self, i: usize) -> PerTissue<f32> {
        PerTissue(std::array::from_fn(|class| self.shares[class].as_slice()[i]))
    }

    /// The likeliest class of pixel number `i` and its probability.
    pub fn likeliest(&self, i: usize) -> (Tissue, f32) {
        let shares = self.shares(i).0;
        let better = |best: (Tissue, f32), new: (Tissue, f32)| if new.1 > best.1 { new } else { best };
        Tissue::ALL.into_iter().zip(shares).fold((Tissue::Unsure, 0.0), better)
    }
}

/// How much less closely than at their best the plants of a photo are looked at, 0..1, so that all of them together keep
/// within the cost.
pub fn closeness(rosettes: &[Rosette]) -> f64 {
    let wanted: usize = rosettes.iter().map(|r| best_side(r.bounds).pow(2)).sum();
    (FULL_LOOKS * (LONG * LONG) as f64 / wanted.max(1) as f64).sqrt().min(1.0)
}

/// Longer side of the network's input for a plant: small plants are not blown up.
fn best_side(bounds: Rect) -> usize {
    LONG.min(bounds.width.max(bounds.height) * 13 / 10)
}

/// Asks the network about one plant; the answer is on a grid of `size` (width, height) over the plant's bounds.
pub fn ask(
    picture: &Raster<[u8; 3]>,
    rosette: &Rosette,
    closeness: f64,
    converter: &Converter,
    size: (usize, usize),
) -> Evidence {
    let bounds = rosette.bounds;
    let part = bounds.grown(bounds.width.max(bounds.height) * MARGIN / 100 + 1, picture.bounds());
    let (columns, rows) = input_size(part.width, part.height, (best_side(bounds) as f64 * closeness) as usize);
    let planes = planes(picture, rosette, converter, part, (columns, rows));
    let logits = Network::Tissue.run(planes, columns, rows);
    let inside = |field: &Raster<f32>| bilinear_part(field, part, bounds, size);
    Evidence { shares: shares(&logits).iter().map(inside).collect() }
}

/// Red, green and blue under white light, and the mask.
fn planes(
    picture: &Raster<[u8; 3]>,
    rosette: &Rosette,
    converter: &Converter,
    part: Rect,
    (width, height): (usize, usize),
) -> Vec<f32> {
    let seen = shrink(picture, part, width, height);
    let plane = width * height;
    let mut planes = vec![0.0; 4 * plane];
    for (i, &code) in seen.as_slice().iter().enumerate() {
        for (k, value) in converter.adapted_code(code).into_iter().enumerate() {
            planes[k * plane + i] = value;
        }
    }
    let (columns, rows) = (nearest(part.width, width), nearest(part.height, height));
    for (y, &row) in rows.iter().enumerate() {
        for (x, &column) in columns.iter().enumerate() {
            let (u, v) = (part.x + column, part.y + row);
            let on = rosette.bounds.contains(u, v) && rosette.mask.get(u - rosette.bounds.x, v - rosette.bounds.y);
            planes[3 * plane + y * width + x] = f32::from(u8::from(on));
        }
    }
    planes
}

/// Logits to probabilities (softmax).
fn shares(logits: &[Raster<f32>]) -> Vec<Raster<f32>> {
    let mut shares = logits.to_vec();
    for i in 0..logits[0].as_slice().len() {
        let greatest = logits.iter().map(|l| l.as_slice()[i]).fold(f32::MIN, f32::max);
        let mut sum = 0.0;
        for share in &mut shares {
            let part = (share.as_slice()[i] - greatest).exp();
            share.as_mut_slice()[i] = part;
            sum += part;
        }
        for share in &mut shares {
            share.as_mut_slice()[i] /= sum;
        }
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logits_become_probabilities_and_the_greatest_wins() {
        let logits: Vec<_> = [0.0, 2.0, -1.0, 0.0, 0.0, 0.0, 1.0].map(|v| Raster::filled(1, 1, v)).into();
        let evidence = Evidence { shares: shares(&logits) };
        assert!((evidence.shares(0).0.iter().sum::<f32>() - 1.0).abs() < 1e-6);
        let (class, share) = evidence.likeliest(0);
        assert_eq!(class, Tissue::Cream);
        let sum: f32 = [0.0f32, 2.0, -1.0, 0.0, 0.0, 0.0, 1.0].iter().map(|v| v.exp()).sum();
        assert!((share - 2f32.exp() / sum).abs() < 1e-6);
    }
}
