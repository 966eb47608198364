//! The second witness of tissue beside the colour rule: a small network that sees form.

use crate::base::approximate::exp;
use crate::base::bilinear::Bilinear;
use crate::base::color::oklab::Converter;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::{nearest, shrink};
use crate::base::wide::wide;
use crate::network::{Network, input_size};
use crate::segment::Rosette;
use crate::tissue::class::{PerTissue, Tissue};

/// Longer side of a plant, with its margin, as the network sees it, pixels.
pub const LONG: usize = 896;
/// All plants of a photo together cost about this many full looks at most.
pub const FULL_LOOKS: f64 = 1.3;
/// Margin around the plant, percent of its longer side: the network was trained with surroundings.
const MARGIN: usize = 5;

/// What the network says about each pixel: probability of each class, as the share of the pixel that it covers where tissues
/// are finer than pixels; [`Tissue::Unsure`] is "no leaf". One field a class, in the order of [`Tissue::ALL`].
pub type Evidence = Bilinear<7>;

/// The likeliest class and its probability.
pub fn likeliest(shares: &PerTissue<f32>) -> (Tissue, f32) {
    let better = |best: (Tissue, f32), new: (Tissue, f32)| if new.1 > best.1 { new } else { best };
    Tissue::ALL.into_iter().zip(shares.0).fold((Tissue::Unsure, 0.0), better)
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
    let mut fields = Network::Tissue.run(planes, columns, rows);
    shares(&mut fields);
    Bilinear::new(std::array::from_fn(|class| &fields[class]), part, bounds, size)
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
    let mut planes = vec![0.0; 4 * width * height];
    let (colours, on) = planes.split_at_mut(3 * width * height);
    converter.adapted_codes(seen.as_slice(), colours);
    let bounds = rosette.bounds;
    let (columns, rows) = (nearest(part.width, width), nearest(part.height, height));
    for (on, row) in on.chunks_exact_mut(width).zip(rows) {
        let y = part.y + row;
        if !(bounds.y..bounds.bottom()).contains(&y) {
            continue;
        }
        let mask = rosette.mask.row(y - bounds.y);
        for (on, column) in on.iter_mut().zip(&columns) {
            let x = (part.x + column).checked_sub(bounds.x);
            *on = f32::from(u8::from(x.and_then(|x| mask.get(x)).is_some_and(|&m| m)));
        }
    }
    planes
}

/// Logits to probabilities (softmax).
fn shares(logits: &mut [Raster<f32>]) {
    let (w, h) = (logits[0].width(), logits[0].height());
    let (mut greatest, mut sum) = (vec![0.0f32; w], vec![0.0f32; w]);
    for y in 0..h {
        greatest.fill(f32::MIN);
        sum.fill(0.0);
        wide(|| {
            for field in &*logits {
                greatest.iter_mut().zip(field.row(y)).for_each(|(best, &logit)| *best = best.max(logit));
            }
            for field in &mut *logits {
                for ((value, greatest), sum) in field.row_mut(y).iter_mut().zip(&greatest).zip(&mut sum) {
                    *value = exp(*value - greatest);
                    *sum += *value;
                }
            }
            for field in &mut *logits {
                field.row_mut(y).iter_mut().zip(&sum).for_each(|(value, sum)| *value /= sum);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logits_become_probabilities_and_the_greatest_wins() {
        let mut fields = [0.0, 2.0, -1.0, 0.0, 0.0, 0.0, 1.0].map(|v| Raster::filled(1, 1, v));
        shares(&mut fields);
        let shares = PerTissue(fields.map(|field| field.get(0, 0)));
        assert!((shares.0.iter().sum::<f32>() - 1.0).abs() < 1e-6);
        let (class, share) = likeliest(&shares);
        assert_eq!(class, Tissue::Cream);
        let sum: f32 = [0.0f32, 2.0, -1.0, 0.0, 0.0, 0.0, 1.0].iter().map(|v| v.exp()).sum();
        assert!((share - 2f32.exp() / sum).abs() < 1e-6);
    }
}
