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
use samples::Samples;
pub use witness::closeness;
use witness::{Evidence, likeliest};

/// Longer side of the grid on which tissue is judged, pixels: bands of 1 % of the plant stay 8 pixels wide. On 640, bands' pitch
/// on rendered scenes was off by up to 0.007 more, shares of tissue by 0.003.
const GRID: f64 = 800.0;
/// Where many plants share a photo it is as much coarser as the network's look at them is, but never more than this.
const COARSEST: f64 = 0.5;
/// Tiles across the plant: blocks larger than a leaf is wide, so that tiles are nearly independent.
const TILES: usize = 10;
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
    let leaf = Leaf::look(picture, rosette, (GRID * closeness.max(COARSEST)) as usize);
    // First, because it needs the most memory.
    let mut evidence = witness::ask(picture, rosette, closeness, &converter, (leaf.mask.width(), leaf.mask.height()));
    let bands = form::bands(&leaf, leaf.planes(&converter), calibrated.exposure);
    let Judged { tissue, unreadable, tiles, disputed } = judge(&leaf, &bands, &mut evidence);
    let pixels = leaf.mask.as_slice().iter().filter(|&&m| m).count().max(1) as f64;
    let [clipped, shadow] =
        [Unreadable::Clipped, Unreadable::Shadow].map(|why| unreadable[why as usize] as f64 / pixels);
    let map = TissueMap { bounds: rosette.bounds, tissue: full_size(&tissue, rosette), clipped, shadow };
    (map, Samples { tiles, disputed, readings: samples::readings(calibrated, &bands, &tissue) })
}

/// A plant judged by both witnesses.
struct Judged {
    tissue: Raster<Option<Tissue>>,
    /// Pixels that cannot be read, by [`Unreadable`].
    unreadable: [usize; 2],
    /// See [`Samples`].
    tiles: Vec<PerTissue<f64>>,
    disputed: f64,
}

fn judge(leaf: &Leaf, bands: &Bands, evidence: &mut Evidence) -> Judged {
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let side = w.max(h).div_ceil(TILES).max(1);
    let across = w.div_ceil(side);
    let mut tiles = vec![PerTissue::default(); across * h.div_ceil(side)];
    let mut tissue = Raster::filled(w, h, None);
    let (mut unreadable, mut disputed) = ([0; 2], 0.0);
    for y in 0..h {
        let seen = bands.class.row(y).iter().zip(evidence.row(y));
        let pixels = leaf.mask.row(y).iter().zip(leaf.codes.row(y)).zip(seen).zip(tissue.row_mut(y));
        for (x, (((_, &code), (&colour, &shares)), tissue)) in
            pixels.enumerate().filter(|(_, (((inside, _), _), _))| **inside)
        {
            let tile = &mut tiles[y / side * across + x / side];
            if let Some(why) = Leaf::unreadable(code) {
                unreadable[why as usize] += 1;
                tile[Tissue::Unsure] += 1.0;
                *tissue = Some(Tissue::Unsure);
                continue;
            }
            let shares = PerTissue(shares);
            *tissue = Some(settle(colour, likeliest(&shares)));
            let (parts, dispute) = shared_out(colour, shares);
            tile.add(&parts);
            disputed += f64::from(dispute);
        }
    }
    tiles.retain(|tile| tile.0.iter().any(|&n| n > 0.0));
    Judged { tissue, unreadable, tiles, disputed }
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
fn shared_out(colour: Option<Tissue>, mut shares: PerTissue<f32>) -> (PerTissue<f32>, f32) {
    let Some(colour) = colour else {
        return (shares, 1.0 - likeliest(&shares).1);
    };
    let agreed = shares[colour];
    let whole = agreed >= SURE;
    shares.0.iter_mut().for_each(|s| *s *= if whole { 0.0 } else { 0.5 });
    shares[colour] += if whole { 1.0 } else { 0.5 };
    (shares, 0.5 * (1.0 - agreed))
}

fn full_size(tissue: &Raster<Option<Tissue>>, rosette: &Rosette) -> Raster<Option<Tissue>> {
    let (w, h) = (rosette.bounds.width, rosette.bounds.height);
    let (columns, rows) = (nearest(tissue.width(), w), nearest(tissue.height(), h));
    let mut out = Raster::filled(w, h, None);
    let mut line = vec![None; w];
    let mut of = usize::MAX;
    for (y, row) in rows.into_iter().enumerate() {
        if row != of {
            let source = tissue.row(row);
            line.iter_mut().zip(&columns).for_each(|(class, &x)| *class = source[x].or(Some(Tissue::Unsure)));
            of = row;
        }
        for ((out, &class), &inside) in out.row_mut(y).iter_mut().zip(&line).zip(rosette.mask.row(y)) {
            *out = if inside { class } else { None };
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
        assert!((shares[Tissue::Gold] - 0.875).abs() < 1e-6 && (shares[Tissue::Green] - 0.125).abs() < 1e-6);
        assert!((disputed - 0.125).abs() < 1e-6);
        assert!((shared_out(None, seen).0.0.iter().sum::<f32>() - 1.0).abs() < 1e-6);
        (seen[Tissue::Green], seen[Tissue::Gold]) = (0.15, 0.85);
        assert!((shared_out(Some(Tissue::Gold), seen).0[Tissue::Gold] - 1.0).abs() < 1e-6, "of one mind");
        let (_, other) = shared_out(Some(Tissue::Red), seen);
        assert!((other - 0.5).abs() < 1e-6, "each says what the other does not");
    }
}
