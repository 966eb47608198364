//! Stage 5: bands across the leaves: how wide, how far apart.
//!
//! Profiles run across each band at many places, in linear light. A band's edge is where the light is half way between the
//! plateau of the band and the leaf beside it (`profile`); blur is undone by a table (`edge`). Neighbours on one line give
//! the pitch and link the bands of a `leaf`; walks `along` bands tell whether they are unbroken. `guard` tells bands from glare
//! and texture. What is seen of a plant is foreshortened on most leaves; `plant` tells the true lengths from all bands.

mod along;
pub mod class;
mod edge;
mod field;
mod guard;
mod leaf;
mod plant;
mod profile;
mod why;

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::base::stats::{self, Interval};
use crate::options::BandLimits;
use crate::segment::Rosette;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;
use class::BandClass;
use field::Field;
use guard::Verdict;
pub use leaf::Leaf;
use plant::Seen;
use profile::Look;
pub use profile::{Crossing, Neighbour};

/// About this many places are measured on a plant: 10 to 30 a band. Round number; the weights in [`plant`] belong to it.
const PLACES: usize = 1200;

/// One band, as seen.
#[derive(Debug, Clone)]
pub struct Band {
    /// Its number among the plant's bands.
    pub number: usize,
    /// Its middle, pixels in the plant's bounds.
    pub at: [f64; 2],
    /// Unit vector across it, either sense.
    pub across: [f64; 2],
    /// Width across it, freed from blur, pixels; foreshortened where the leaf is turned away.
    pub width_px: f64,
    /// Length along it, pixels.
    pub length_px: f64,
    /// How far its centre line departs from a straight one (root mean square), parts of its width; `None` where it was measured
    /// at too few places.
    pub waviness: Option<f64>,
    /// Places where it was measured.
    pub crossings: usize,
}

/// Two neighbouring bands of a leaf, as seen.
#[derive(Debug, Clone)]
pub struct Pair {
    /// Their numbers.
    pub bands: (usize, usize),
    /// Centre to centre, pixels; foreshortened like the width.
    pub pitch_px: f64,
    /// Mean width of both, pixels.
    pub width_px: f64,
    /// Lines that crossed both.
    pub crossings: usize,
}

/// What is known of the view at the plant.
#[derive(Debug, Clone, Copy, Default)]
pub struct View {
    /// Pixels a millimetre at the leaves' middle height, if the scale is known.
    pub px_per_mm: Option<Interval>,
    /// Camera against the vertical, degrees, if a label card tells it.
    pub tilt_deg: Option<f64>,
}

/// Bands of one plant. Lengths are along the leaf, as if each leaf faced the camera.
#[derive(Debug, Clone, Default)]
pub struct Bands {
    /// Bands measured, in the order of their numbers.
    pub bands: Vec<Band>,
    /// Pairs of neighbours measured.
    pub pairs: Vec<Pair>,
    /// The same bands by leaf.
    pub leaves: Vec<Leaf>,
    /// The places where bands were measured, for a person to check: lines across each band with its edges.
    pub crossings: Vec<Crossing>,
    /// Width, pixels at the leaves' middle height.
    pub width_px: Option<f64>,
    /// Centre to centre distance, pixels.
    pub pitch_px: Option<f64>,
    /// Width over pitch, free of scale.
    pub duty: Option<f64>,
    /// Width, mm, with its 95 % interval.
    pub width_mm: Option<Interval>,
    /// How single bands spread around the width: the ones that 1 in 10 and 9 in 10 keep under, parts of the width. Includes the
    /// error of measuring one band.
    pub spread: Option<[f64; 2]>,
    /// Centre to centre distance, mm, with its 95 % interval.
    pub pitch_mm: Option<Interval>,
    /// Class of the width, or of the duty where the width in mm is not known.
    pub class: Option<BandClass>,
    /// Median waviness of the bands, see [`Band::waviness`].
    pub waviness: Option<f64>,
    /// Length of bands over that of bands and the gaps between pieces of one row: 1 for unbroken bands.
    pub continuity: Option<f64>,
    /// Share of band in all leaf that can be read.
    pub cover: Option<f64>,
    /// Median of length over width: small for rows of separate tubercles.
    pub length_over_width: Option<f64>,
    /// Why something is not told.
    pub doubts: Vec<Doubt>,
}

/// Measures the bands of one plant in the full photo.
pub fn read(
    picture: &Raster<[u8; 3]>,
    rosette: &Rosette,
    tissue: &TissueMap,
    view: View,
    limits: &BandLimits,
) -> Bands {
    let Some(field) = Field::of(&tissue.tissue) else { return Bands::default() };
    let sigma = rosette.blur_px.unwrap_or(0.0);
    let look = Look { picture, bounds: tissue.bounds, tissue: &tissue.tissue, field: &field, sigma };
    let crossings: Vec<Crossing> = field.places(PLACES).filter_map(|at| look.crossing(at)).collect();
    let (bands, pairs) = plant::gathered(&crossings);
    let leaves = leaf::grouped(&bands, &pairs);
    let doubts = match guard::verdict(&crossings, &bands, &leaves, sigma) {
        Verdict::Nothing => return Bands::default(),
        Verdict::Unsure => vec![why::unsure()],
        Verdict::Bands => Vec::new(),
    };
    let seen = Seen::of(&bands, &pairs);
    let measured = Bands { bands, pairs, leaves, crossings, doubts, ..Bands::default() };
    match (seen, view.tilt_deg) {
        (None, _) => {
            let doubt = why::few(measured.bands.len());
            measured.doubted(doubt)
        }
        (_, Some(tilt)) if tilt > why::STEEPEST_DEG => measured.doubted(why::tilted(tilt)),
        (Some(seen), _) => Bands { cover: cover(tissue), ..measured.told(&seen, view, sigma).classed(limits) },
    }
}

/// Share of band in all leaf that can be read.
fn cover(tissue: &TissueMap) -> Option<f64> {
    let counts = tissue.counts();
    let read = counts.0.iter().sum::<usize>() - counts[Tissue::Unsure];
    (read > 0).then(|| counts[Tissue::Band] as f64 / read as f64)
}

impl Bands {
    fn doubted(mut self, doubt: Doubt) -> Self {
        self.doubts.push(doubt);
        self
    }

    fn told(mut self, seen: &Seen, view: View, sigma: f64) -> Self {
        let (pitch, width) = (seen.pitch(view.tilt_deg), seen.width(view.tilt_deg));
        let pairs = self.pairs.len();
        let mm =
            |px: f64, error: plant::Error| view.px_per_mm.map(|scale| plant::length_mm(px, error.sd(pairs), scale));
        let length_over_width = plant::median(self.crossings.iter().map(|c| c.length / c.width).collect());
        let mut wavy: Vec<f64> = self.bands.iter().filter_map(|band| band.waviness).collect();
        let doubt = why::unfit(width, sigma, length_over_width);
        let told = doubt.is_none().then_some(width);
        self.doubts.extend(doubt);
        for leaf in &mut self.leaves {
            leaf.facing = leaf.pitch_px.map(|seen| seen / pitch);
        }
        Self {
            pitch_px: Some(pitch),
            pitch_mm: mm(pitch, plant::PITCH_ERROR),
            width_px: told,
            width_mm: told.and_then(|width| mm(width, plant::WIDTH_ERROR)),
            duty: told.map(|width| width / pitch),
            spread: told.map(|_| plant::spread(&self.pairs)),
            length_over_width: Some(length_over_width),
            waviness: told.and_then(|_| stats::quantile(&mut wavy, 0.5)),
            continuity: Some(plant::continuity(&self.crossings)),
            ..self
        }
    }

    /// By the width in mm if it is known, otherwise by the duty.
    fn classed(mut self, limits: &BandLimits) -> Self {
        let by_width = self.width_mm.map(|width| BandClass::of(width.value, limits.mm()));
        self.class = by_width.or_else(|| self.duty.map(|duty| BandClass::of(duty, limits.rel())));
        self
    }
}

#[cfg(test)]
mod tests;
