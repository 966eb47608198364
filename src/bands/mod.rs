//! Stage 5: bands across the leaves: how wide, how far apart.
//!
//! Profiles run across each band at many places, in linear light. A band's edge is where the light is half way between the
//! plateau of the band and the leaf beside it (`profile`); blur is undone by a table (`edge`). Neighbours on one line give
//! the pitch. What is seen of a plant is foreshortened on most leaves; `plant` tells the true lengths from all bands.

mod edge;
mod field;
mod plant;
mod profile;

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::base::stats::Interval;
use crate::options::BandLimits;
use crate::segment::Rosette;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;
use field::Field;
use plant::Seen;
use profile::Look;
pub use profile::{Crossing, Neighbour};

/// About this many places are measured on a plant: 10 to 30 a band. Round number; the weights in [`plant`] belong to it.
const PLACES: usize = 1200;

/// Share of band tissue in the leaf under which a plant counts as one without bands: no doubt then. Half of the least of 105
/// rendered banded plants; glare and bloom on plants without bands are called band too.
const HARDLY_ANY: f64 = 0.05;
/// Narrowest width that is stated, pixels: there a tenth of a band is under half a pixel.
const NARROWEST_PX: f64 = 4.0;
/// Steepest view that is measured, degrees from the vertical: the plants of the fit were seen at up to 60.
const STEEPEST_DEG: f64 = 60.0;
/// Length over width under which a plant's median band is a row of separate tubercles. Of rendered plants with unbroken bands
/// 1 in 50 is under it, of those with separate tubercles 3 in 4.
const UNBROKEN: f64 = 2.4;

/// One band, as seen.
#[derive(Debug, Clone)]
pub struct Band {
    /// Its number among the plant's bands.
    pub number: usize,
    /// Its middle, pixels in the plant's bounds.
    pub at: [f64; 2],
    /// Width across it, freed from blur, pixels; foreshortened where the leaf is turned away.
    pub width_px: f64,
    /// Length along it, pixels.
    pub length_px: f64,
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
    /// Class of the width.
    pub class: Option<BandClass>,
    /// Median of length over width: small for rows of separate tubercles.
    pub length_over_width: Option<f64>,
    /// Why something is not told.
    pub doubts: Vec<Doubt>,
}

/// Trade classes of width.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandClass {
    /// Narrower than standard.
    Narrow,
    /// As on most plants.
    Standard,
    /// Wider.
    Wide,
    /// Much wider.
    ExtraWide,
}

impl BandClass {
    /// The class of a width in mm.
    pub fn of(width_mm: f64, limits: &BandLimits) -> Self {
        match width_mm {
            w if w >= limits.extra_wide_from_mm => Self::ExtraWide,
            w if w >= limits.wide_from_mm => Self::Wide,
            w if w >= limits.standard_from_mm => Self::Standard,
            _ => Self::Narrow,
        }
    }

    /// As words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Narrow => "narrow",
            Self::Standard => "standard",
            Self::Wide => "wide",
            Self::ExtraWide => "extra wide",
        }
    }
}

/// Measures the bands of one plant in the full photo.
pub fn read(
    picture: &Raster<[u8; 3]>,
    rosette: &Rosette,
    tissue: &TissueMap,
    view: View,
    limits: &BandLimits,
) -> Bands {
    let counts = tissue.counts();
    if (counts[Tissue::Band] as f64) < HARDLY_ANY * counts.0.iter().sum::<usize>() as f64 {
        return Bands::default();
    }
    let Some(field) = Field::of(&tissue.tissue) else { return Bands::default().doubted(few(0)) };
    let sigma = rosette.blur_px.unwrap_or(0.0);
    let look = Look { picture, bounds: tissue.bounds, tissue: &tissue.tissue, field: &field, sigma };
    let crossings: Vec<Crossing> = field.places(PLACES).filter_map(|at| look.crossing(at)).collect();
    let (bands, pairs) = plant::gathered(&crossings, &field);
    let seen = Seen::of(&bands, &pairs);
    let measured = Bands { bands, pairs, crossings, ..Bands::default() };
    match (seen, view.tilt_deg.filter(|&tilt| tilt > STEEPEST_DEG)) {
        (None, _) => {
            let doubt = few(measured.bands.len());
            measured.doubted(doubt)
        }
        (_, Some(tilt)) => measured.doubted(tilted(tilt)),
        (Some(seen), None) => measured.told(&seen, view, sigma).classed(limits),
    }
}

impl Bands {
    fn doubted(mut self, doubt: Doubt) -> Self {
        self.doubts.push(doubt);
        self
    }

    fn told(self, seen: &Seen, view: View, sigma: f64) -> Self {
        let (pitch, width) = (seen.pitch(view.tilt_deg), seen.width(view.tilt_deg));
        let mm = |px: f64, sd| view.px_per_mm.map(|scale| plant::length_mm(px, sd, scale));
        let length_over_width = plant::median(self.bands.iter().map(|b| b.length_px / b.width_px).collect());
        let doubt = unfit(width, sigma, length_over_width);
        let told = doubt.is_none().then_some(width);
        Self {
            pitch_px: Some(pitch),
            pitch_mm: mm(pitch, plant::PITCH_SD),
            width_px: told,
            width_mm: told.and_then(|width| mm(width, plant::WIDTH_SD)),
            duty: told.map(|width| width / pitch),
            spread: told.map(|_| plant::spread(&self.pairs)),
            length_over_width: Some(length_over_width),
            doubts: doubt.into_iter().collect(),
            ..self
        }
    }

    fn classed(mut self, limits: &BandLimits) -> Self {
        self.class = self.width_mm.map(|width| BandClass::of(width.value, limits));
        self
    }
}

/// Why the width of a plant's bands is not told.
fn unfit(width: f64, sigma: f64, length_over_width: f64) -> Option<Doubt> {
    if length_over_width < UNBROKEN {
        let text = "the bands are rows of separate tubercles: no band width is given";
        return Some(Doubt::new("bands-separate", text));
    }
    if width < edge::LEAST_SIGMAS * sigma {
        let text = format!(
            "bands of {width:.1} pixels are too blurred (standard deviation {sigma:.1} pixels) for their width; focus on the leaves"
        );
        return Some(Doubt::new("bands-blurred", text));
    }
    (width < NARROWEST_PX).then(|| {
        let text =
            format!("bands of {width:.1} pixels are too small for their width; fill more of the frame with the plant");
        Doubt::new("bands-small", text)
    })
}

fn few(bands: usize) -> Doubt {
    let text = format!("only {bands} bands are clear enough to be measured: too few for the plant's band width");
    Doubt::new("bands-few", text)
}

fn tilted(tilt: f64) -> Doubt {
    let text =
        format!("seen from {tilt:.0} degrees off the vertical, too tilted for band widths; photograph it from above");
    Doubt::new("bands-tilted", text)
}

#[cfg(test)]
mod tests;
