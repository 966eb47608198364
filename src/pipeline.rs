//! The order of the stages; nothing else knows it.

use crate::bands::{self, Bands, View};
use crate::base::raster::Raster;
use crate::base::stats::Interval;
use crate::calibrate::{self, Calibrated, WhiteChoice, calibrate, estimate_white};
use crate::card::Card;
use crate::error::{Error, Result};
use crate::grade::{self, Facts, Grade};
use crate::label::{Label, labels};
use crate::measure::contrast::contrast;
use crate::measure::hue::green_hue;
use crate::measure::{Measures, measure, quality};
use crate::options::{Options, White};
use crate::pattern::{self, Pattern};
use crate::photo;
use crate::segment::{self, Rosette};
use crate::standard::Standard;
use crate::tissue::class::Tissue;
use crate::tissue::{self, TissueMap};
use std::path::Path;

/// All that became of one photo.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The photo and its calibration.
    pub calibrated: Calibrated,
    /// Its plants, largest first.
    pub plants: Vec<Plant>,
}

/// One plant with all that was measured on it.
#[derive(Debug, Clone)]
pub struct Plant {
    /// Its outline.
    pub rosette: Rosette,
    /// Its label card.
    pub label: Label,
    /// Its tissue.
    pub tissue: TissueMap,
    /// Its stripes and pattern.
    pub pattern: Pattern,
    /// Its numbers.
    pub measures: Measures,
    /// Its bands.
    pub bands: Bands,
    /// Colour distance of its pale and green tissue.
    pub contrast: Option<Interval>,
    /// Median Oklab hue of its green tissue, degrees.
    pub green_hue: Option<Interval>,
    /// Its grade.
    pub grade: Grade,
}

/// Takes a photo through all stages.
///
/// # Errors
/// The photo cannot be read, or it is refused: black and white, no sure plant, cut off, too small, too dark, clipped,
/// blurred, or of colours that cannot be judged.
pub fn run(path: &Path, options: &Options) -> Result<Outcome> {
    let photo = photo::read(path)?;
    if let Some(reason) = quality::colourless(&photo.rgb) {
        return Err(Error::Refused(reason));
    }
    let calibrated = calibrate(photo, &calibration(options));
    let rosettes = segment::rosettes(&calibrated, options.plants, options.hint.as_ref())?;
    let calibrated = estimate_white(calibrated, |x, y| rosettes.iter().any(|rosette| rosette.covers(x, y)));
    let closeness = tissue::closeness(&rosettes);
    let labels = labels(&calibrated, &rosettes);
    let plants: Vec<Plant> = rosettes
        .into_iter()
        .zip(labels)
        .map(|(rosette, label)| plant(&calibrated, rosette, label, closeness, &options.standard))
        .collect();
    match plants.iter().map(|p| quality::unfit(&p.tissue, &p.rosette, &p.measures)).collect::<Option<Vec<_>>>() {
        Some(reasons) if !reasons.is_empty() => Err(Error::Refused(reasons[0].clone())),
        _ => Ok(Outcome { calibrated, plants }),
    }
}

/// Bytes that [`run`] takes for a photo at its peak, guessed from the size in its header. Measured as the most memory of the
/// process: 139 MB for 3 megapixels, 200 for 12, 352 for 48 (JPEG); at 48 megapixels 438 if progressive and turned, 604 with 16
/// bits a channel, the most of all that was tried.
pub fn need(path: &Path) -> u64 {
    const BASE: u64 = 130_000_000;
    const PER_PIXEL: u64 = 10;
    BASE + PER_PIXEL * photo::pixels(path).unwrap_or(0)
}

fn calibration(options: &Options) -> calibrate::Options {
    let white = match options.white {
        None => WhiteChoice::Auto,
        Some(White::Codes(code)) => WhiteChoice::Given { code: code.map(|c| c.round() as u8) },
        Some(White::Spot(spot)) => WhiteChoice::Spot(spot),
    };
    calibrate::Options { white, scale: options.scale, card_below: options.card_below, print: options.standard.card }
}

/// Camera against the vertical, degrees, as a card tells it.
fn tilt_deg(card: &Card) -> Option<f64> {
    card.pose.as_ref().map(|pose| pose.tilt_deg().0)
}

fn plant(calibrated: &Calibrated, mut rosette: Rosette, label: Label, closeness: f64, standard: &Standard) -> Plant {
    let (tissue, samples) = tissue::read(calibrated, &rosette, closeness);
    let pattern = pattern::read(&calibrated.photo.rgb, &tissue, &samples, calibrated.white.rgb, rosette.blur_px);
    let measures = measure(&tissue, &samples, |place, diameter| calibrated.px_per_mm_at(label.card, place, diameter));
    rosette.doubts.extend(quality::doubts(&tissue, &rosette, &measures));
    let view = View { px_per_mm: measures.px_per_mm, tilt_deg: calibrated.cards.first().and_then(tilt_deg) };
    let bands = bands::read(&calibrated.photo.rgb, &rosette, &tissue, view, &standard.bands);
    rosette.doubts.extend(bands.doubts.iter().cloned());
    let contrast = contrast(calibrated, &tissue);
    let whole = !rosette.doubts.iter().any(|doubt| doubt.code == "cut-off");
    let green_hue = green_hue(calibrated, &tissue);
    let grade = grade::grade(&facts(&measures, &pattern, &bands, (contrast, whole)), standard);
    rosette.doubts.extend(pattern.doubts.iter().cloned());
    rosette.doubts.extend(label.doubts.iter().cloned());
    Plant { rosette, label, tissue, pattern, measures, bands, contrast, green_hue, grade }
}

/// What a grade is made from.
fn facts(measures: &Measures, pattern: &Pattern, bands: &Bands, (contrast, whole): (Option<Interval>, bool)) -> Facts {
    let capacity = measures.green_capacity;
    let pale_side = pattern.pale_side.map(|side| [side.weak, side.strong]);
    let halves = pattern.halves.map(|halves| [halves.weak, halves.strong]);
    Facts {
        capacity,
        red: measures.red_fraction,
        dead: measures.tissue[Tissue::Dead],
        plain: pattern.names.iter().filter(|(name, _)| !name.variegated()).map(|(_, share)| share).sum(),
        whole,
        evenness: pattern.evenness.map(|evenness| evenness.around),
        sides: pale_side.or(halves),
        contrast,
        duty: bands.duty,
        diameter_mm: measures.diameter_mm,
    }
}

impl Outcome {
    /// The plants' indices (1.. in the order of `plants`) in the photo's full size, 0 elsewhere: the plants mask. A pixel
    /// that two plants claim belongs to the first, in this mask and in the tissue mask alike. Plants after the 255th do
    /// not fit 8 bits and are left out.
    pub fn plants_mask(&self) -> Raster<u8> {
        self.mask(|index, _| index)
    }

    /// [`crate::tissue::class::Tissue::code`] of each leaf pixel in the photo's full size, 0 elsewhere: the tissue mask.
    pub fn tissue_mask(&self) -> Raster<u8> {
        self.mask(|_, code| code)
    }

    /// Paints each plant's pixels with `value(index, tissue code)`.
    fn mask(&self, value: impl Fn(u8, u8) -> u8) -> Raster<u8> {
        let rgb = &self.calibrated.photo.rgb;
        let mut mask = Raster::filled(rgb.width(), rgb.height(), 0);
        for (index, plant) in (1..=u8::MAX).zip(&self.plants) {
            let TissueMap { bounds, tissue, .. } = &plant.tissue;
            for y in 0..bounds.height {
                let row = &mut mask.row_mut(bounds.y + y)[bounds.x..bounds.right()];
                for (pixel, class) in row.iter_mut().zip(tissue.row(y)) {
                    if let (0, Some(class)) = (*pixel, class) {
                        *pixel = value(index, class.code());
                    }
                }
            }
        }
        mask
    }
}

/// An outcome drawn by hand: one text picture a plant, all of one size; `.` is background and the other letters are
/// the initials of the tissues, `o` for gold. For the tests of what comes after the pipeline.
#[cfg(test)]
pub(crate) fn drawn(pictures: &[&[&str]]) -> Outcome {
    use crate::calibrate::{White, WhiteSource};
    use crate::tissue::class::PerTissue;
    let (width, height) = (pictures[0][0].len(), pictures[0].len());
    let bounds = crate::base::raster::Rect { x: 0, y: 0, width, height };
    let plants = pictures.iter().map(|rows| {
        let letters = rows.concat().into_bytes();
        let class = |letter| Tissue::ALL.into_iter().zip(*b"gcorbdu").find(|(_, l)| *l == letter).map(|(t, _)| t);
        let tissue = Raster::from_vec(width, height, letters).map(class);
        let pixels = tissue.as_slice().iter().flatten().count();
        let share = |t| tissue.as_slice().iter().filter(|p| **p == Some(t)).count() as f64 / pixels as f64;
        let near = |value: f64| Some(Interval { value, low: (value - 0.04).max(0.0), high: (value + 0.04).min(1.0) });
        let measures = Measures {
            pixels,
            diameter_px: width as f64,
            px_per_mm: None,
            diameter_mm: None,
            tissue: PerTissue(Tissue::ALL.map(share)),
            green_fraction: near(share(Tissue::Green)),
            pale_fraction: near(share(Tissue::Cream) + share(Tissue::Gold)),
            red_fraction: near(share(Tissue::Red)),
            green_capacity: None,
        };
        let rosette =
            Rosette { bounds, mask: tissue.map(|t| t.is_some()), confidence: 0.9, blur_px: None, doubts: Vec::new() };
        let tile = PerTissue(Tissue::ALL.map(|t| share(t) * pixels as f64));
        let tissue = TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 };
        let samples = tissue::samples::Samples { tiles: vec![tile], disputed: 0.0, readings: Vec::new() };
        Plant {
            rosette,
            label: Label::default(),
            pattern: pattern::read(&Raster::filled(width, height, [90, 120, 80]), &tissue, &samples, [1.0; 3], None),
            tissue,
            measures,
            bands: Bands::default(),
            contrast: None,
            green_hue: None,
            grade: Grade::default(),
        }
    });
    let photo = photo::Photo {
        taken_at: Some("2026-01-31T09:15:00".into()),
        sha256: "00ff".into(),
        ..photo::Photo::of(Raster::filled(width, height, [90, 120, 80]), photo::Primaries::Srgb)
    };
    let white = White { source: WhiteSource::Estimated, rgb: [0.8, 1.0, 1.25], mired_sd: 12.34, duv_sd: 0.002 };
    let plants = plants.collect();
    Outcome { calibrated: Calibrated::new(photo, white), plants }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pixel_of_two_plants_belongs_to_the_first_in_both_masks() {
        let outcome = drawn(&[&["gg..", "ru.."], &[".cc.", ".cd."]]);
        assert_eq!(outcome.plants_mask().as_slice(), [1, 1, 2, 0, 1, 1, 2, 0]);
        assert_eq!(outcome.tissue_mask().as_slice(), [1, 1, 2, 0, 4, 7, 6, 0]);
    }
}
