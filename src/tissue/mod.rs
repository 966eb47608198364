//! Stage 4: what each leaf pixel is. Colour judges green, cream, gold and red ([`rule`]), form tells raised bands from
//! cream ([`form`]); a network that sees form is the second witness ([`witness`]). What the two do not agree on, and
//! what cannot be read, is unsure and counted as such.

pub mod class;
pub mod form;
pub mod leaf;
pub mod rule;
pub mod samples;
pub mod witness;

use crate::base::raster::{Raster, Rect};
use crate::base::resample::nearest;
use crate::base::wide::wide;
use crate::calibrate::Calibrated;
use crate::segment::Rosette;
use class::{PerTissue, Tissue};
use form::Bands;
use leaf::{Leaf, Unreadable};
use samples::{Samples, samples};
use witness::Evidence;
pub use witness::closeness;

/// Longer side of the grid on which tissue is judged, pixels: bands of 1 % of the plant stay 8 pixels wide.
/// Round number: other grids were not compared.
const GRID: usize = 800;
/// Probability from which the network settles what the other witness leaves open.
const LIKELY: f32 = 0.6;
/// Probability from which the network settles a matter of form against the other witness.
const SURE: f32 = 0.8;

/// The tissue of one plant.
#[derive(Debug, Clone)]
pub struct TissueMap {
    /// Where it lies in the upright photo.
    pub bounds: Rect,
    /// Class of each pixel; `None` outside the plant; the size of `bounds`.
    pub tissue: Raster<Option<Tissue>>,
    /// Share of the plant that is clipped or glare.
    pub clipped: f64,
    /// Share of the plant in shadow too deep to read.
    pub shadow: f64,
}

impl TissueMap {
    /// Pixels of each class.
    pub fn counts(&self) -> PerTissue<usize> {
        let mut counts = PerTissue::default();
        // Each class by itself, in whole vectors that a byte can count.
        wide(|| {
            for part in self.tissue.as_slice().chunks(192) {
                for class in Tissue::ALL {
                    counts[class] += usize::from(part.iter().map(|&c| u8::from(c == Some(class))).sum::<u8>());
                }
            }
        });
        counts
    }
}

/// Classes of the plant's pixels, and what other plausible whites and thresholds would make of them. `closeness` is
/// [`closeness`] of all plants of the photo.
pub fn read(calibrated: &Calibrated, rosette: &Rosette, closeness: f64) -> (TissueMap, Samples) {
    let picture = &calibrated.photo.rgb;
    let converter = calibrated.converter();
    let leaf = Leaf::look(picture, rosette, GRID);
    let bands = form::bands(&leaf, &leaf.planes(&converter), calibrated.exposure);
    let evidence = witness::ask(picture, rosette, closeness, &converter, (leaf.mask.width(), leaf.mask.height()));
    let tissue = judge_leaf(&leaf, &bands, &evidence);
    let share = |why: Unreadable| {
        let (w, h) = (leaf.mask.width(), leaf.mask.height());
        let hit = (0..w * h).filter(|i| leaf.mask.as_slice()[*i] && leaf.unreadable(i % w, i / w) == Some(why)).count();
        hit as f64 / leaf.mask.as_slice().iter().filter(|&&m| m).count().max(1) as f64
    };
    let map = TissueMap {
        bounds: rosette.bounds,
        tissue: full_size(&tissue, rosette),
        clipped: share(Unreadable::Clipped),
        shadow: share(Unreadable::Shadow),
    };
    (map, samples(calibrated, &leaf, &bands, &evidence, &tissue))
}

fn judge_leaf(leaf: &Leaf, bands: &Bands, evidence: &Evidence) -> Raster<Option<Tissue>> {
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let class = |i: usize| {
        leaf.mask.as_slice()[i].then(|| match leaf.unreadable(i % w, i / w) {
            Some(_) => Tissue::Unsure,
            None => settle(bands.class(i), evidence.likeliest(i)),
        })
    };
    Raster::from_vec(w, h, (0..w * h).map(class).collect())
}

/// What two witnesses make of a pixel: colour with the form of bands (`None`: left open), and the network with its
/// probability. Where they agree the pixel is sure. Where the first leaves it open the network may settle it. Where they
/// differ in a living colour the pixel is unsure; where they differ in form (band or not, leaf or not) the network settles
/// it if it is sure, and dead against red or gold already where it is likely.
fn settle(colour: Option<Tissue>, (seen, share): (Tissue, f32)) -> Tissue {
    match (colour, seen) {
        (Some(colour), seen) if colour == seen => colour,
        (None | Some(Tissue::Red | Tissue::Gold), Tissue::Dead) if share >= LIKELY => Tissue::Dead,
        (None, seen) if share >= LIKELY => seen,
        (Some(Tissue::Band), seen) | (Some(_), seen @ Tissue::Band) if share >= SURE => seen,
        _ => Tissue::Unsure,
    }
}

/// A pixel shared out among the classes: whole where both witnesses are of one mind, otherwise the mean of what they say,
/// the network's word where the other leaves it open. Stripes finer than a pixel so count with their shares, not with
/// the class that outshines the other. Beside the shares, how much of the pixel is disputed, 0..1.
fn shared_out(colour: Option<Tissue>, seen: PerTissue<f32>) -> (PerTissue<f64>, f64) {
    let mut shares = PerTissue(seen.0.map(f64::from));
    let Some(colour) = colour else {
        return (shares, 1.0 - shares.0.into_iter().fold(0.0, f64::max));
    };
    let disputed = 0.5 * (1.0 - shares[colour]);
    let whole = shares[colour] >= f64::from(SURE);
    shares.0.iter_mut().for_each(|s| *s *= if whole { 0.0 } else { 0.5 });
    shares[colour] += if whole { 1.0 } else { 0.5 };
    (shares, disputed)
}

fn full_size(tissue: &Raster<Option<Tissue>>, rosette: &Rosette) -> Raster<Option<Tissue>> {
    let (w, h) = (rosette.bounds.width, rosette.bounds.height);
    let (columns, rows) = (nearest(tissue.width(), w), nearest(tissue.height(), h));
    let mut out = Raster::filled(w, h, None);
    for (y, &row) in rows.iter().enumerate() {
        for (x, &column) in columns.iter().enumerate() {
            if rosette.mask.get(x, y) {
                out.set(x, y, tissue.get(column, row).or(Some(Tissue::Unsure)));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_witnesses_settle_a_pixel() {
        use Tissue::{Band, Dead, Gold, Green, Red, Unsure};
        assert_eq!(settle(Some(Green), (Green, 0.3)), Green, "they agree");
        assert_eq!(settle(None, (Gold, 0.7)), Gold, "colour leaves it open");
        assert_eq!(settle(None, (Gold, 0.5)), Unsure, "nobody knows");
        assert_eq!(settle(Some(Green), (Gold, 0.99)), Unsure, "living colours are for colour to judge");
        assert_eq!(settle(Some(Green), (Band, 0.9)), Band, "form is for the network");
        assert_eq!(settle(Some(Band), (Green, 0.7)), Unsure, "unless it is not sure");
        assert_eq!(settle(Some(Red), (Dead, 0.7)), Dead, "brown is dead or red");
        assert_eq!(settle(Some(Green), (Dead, 0.99)), Unsure, "green is not dead");
    }

    #[test]
    fn a_pixel_is_shared_out_whole() {
        let mut seen = PerTissue::default();
        (seen[Tissue::Green], seen[Tissue::Gold]) = (0.25, 0.75);
        let (shares, disputed) = shared_out(Some(Tissue::Gold), seen);
        assert!((shares[Tissue::Gold] - 0.875).abs() < 1e-9 && (shares[Tissue::Green] - 0.125).abs() < 1e-9);
        assert!((disputed - 0.125).abs() < 1e-9);
        assert!((shared_out(None, seen).0.0.iter().sum::<f64>() - 1.0).abs() < 1e-9);
        (seen[Tissue::Green], seen[Tissue::Gold]) = (0.15, 0.85);
        assert!((shared_out(Some(Tissue::Gold), seen).0[Tissue::Gold] - 1.0).abs() < 1e-9, "of one mind");
        let (_, other) = shared_out(Some(Tissue::Red), seen);
        assert!((other - 0.5).abs() < 1e-9, "each says what the other does not");
    }
}
