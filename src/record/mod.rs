//! All that is known of one photo and its plants, flat, rounded and named as the outside sees it: schema
//! `variegauge.photo/1`. Each key is explained in `docs/output.md`. Keys that no stage measures yet are null.

mod bands;
mod build;
pub mod seen;
mod settings;
mod shares;

use crate::base::doubt::Doubt;
use crate::base::word::{self, Word};
use crate::error::Error;
use crate::tissue::class::PerTissue;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use settings::standard_hash;

/// What became of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Measured.
    Graded,
    /// The photo is sound but cannot be measured.
    Refused,
    /// It could not be read, or the program failed on it.
    Failed,
}

/// One photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoRecord {
    /// `variegauge.photo/1`.
    #[serde(deserialize_with = "word::read")]
    pub schema: Word,
    /// The photo's file, as the user named it.
    pub file: String,
    /// What the names of this photo's masks and overlay begin with.
    pub stem: String,
    /// SHA-256 of the file, lower-case hex.
    pub sha256: Option<String>,
    /// Columns of the upright photo.
    pub width: Option<usize>,
    /// Rows of the upright photo.
    pub height: Option<usize>,
    /// Capture time, ISO 8601; with zone only if the photo states it.
    pub taken_at: Option<String>,
    /// Camera make and model.
    pub camera: Option<String>,
    /// What became of it.
    pub status: Status,
    /// Why it was not graded.
    pub error: Option<String>,
    /// Caveats of the whole photo.
    pub doubts: Vec<Doubt>,
    /// Colour and scale.
    pub calibration: Option<Calibration>,
    /// Its plants.
    pub plants: Vec<PlantRecord>,
    /// Program and version.
    #[serde(deserialize_with = "word::read")]
    pub program: Word,
    /// The options of the run.
    pub settings: Settings,
}

/// Colour and scale of a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// `card`, `estimated` or `given`.
    #[serde(deserialize_with = "word::read")]
    pub white: Word,
    /// What linear red, green and blue are multiplied with to make white neutral; green is 1.
    pub white_gain: [Option<f64>; 3],
    /// Standard uncertainty of the white point along daylight, mired.
    pub white_mired_sd: Option<f64>,
    /// `card`, `given` or `none`.
    #[serde(deserialize_with = "word::read")]
    pub scale: Word,
    /// Pixels a millimetre: along the largest card, or as stated.
    pub px_per_mm: Option<f64>,
    /// Camera against the vertical of the card, degrees.
    pub camera_tilt_deg: Option<f64>,
    /// Its standard uncertainty.
    pub camera_tilt_sd_deg: Option<f64>,
    /// Camera to card, mm.
    pub camera_distance_mm: Option<f64>,
    /// Its standard uncertainty.
    pub camera_distance_sd_mm: Option<f64>,
    /// Linear light of a perfect white surface beside the card, 1 = where the camera clips.
    pub exposure: Option<f64>,
    /// Label cards found.
    pub cards: Vec<Card>,
}

/// A label card in the photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Card {
    /// Plant number on it.
    pub plant: String,
    /// `card` or `pot-label`.
    #[serde(deserialize_with = "word::read")]
    pub kind: Word,
    /// Corners in the upright photo, pixels: top left, top right, bottom right, bottom left.
    pub corners: [[f64; 2]; 4],
    /// Pixels a millimetre, mean of the four sides.
    pub px_per_mm: Option<f64>,
    /// Its standard uncertainty.
    pub px_per_mm_sd: Option<f64>,
    /// Standard deviation of the blur across its edges, pixels.
    pub blur_px: Option<f64>,
}

/// One plant.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PlantRecord {
    /// 1.. in the photo; the value in the plants mask.
    pub index: usize,
    /// Plant number from its card.
    #[serde(rename = "plant")]
    pub number: Option<String>,
    /// x, y, width, height in the upright photo, pixels.
    #[serde(rename = "box")]
    pub bounds: [usize; 4],
    /// Centroid of the outline in the upright photo, pixels.
    pub centre: Option<[f64; 2]>,
    /// Leaf pixels.
    pub pixels: usize,
    /// Largest extent, pixels.
    pub diameter_px: Option<f64>,
    /// Pixels a millimetre at the leaves' middle height.
    pub px_per_mm: Estimate,
    /// Largest extent, mm.
    pub diameter_mm: Option<f64>,
    /// Lower end of its 95 % interval (the scale's alone).
    pub diameter_mm_low: Option<f64>,
    /// Upper end.
    pub diameter_mm_high: Option<f64>,
    /// Agreement on the outline, 0..1.
    pub confidence: Option<f64>,
    /// Share of each tissue of all visible leaf.
    #[serde(with = "shares")]
    pub tissue: PerTissue<Option<f64>>,
    /// Green / living leaf.
    pub green_fraction: Estimate,
    /// (Cream + gold) / living leaf.
    pub pale_fraction: Estimate,
    /// Red / living leaf.
    pub red_fraction: Estimate,
    /// Green / (green + cream + gold).
    pub green_capacity: Estimate,
    /// Bands across the leaves.
    pub bands: Bands,
    /// Stripes along the leaves.
    pub stripes: Stripes,
    /// Variegation pattern.
    pub pattern: Pattern,
    /// Oklab distance of pale and green tissue, parts of the pale tissue's lightness.
    pub contrast: Estimate,
    /// Median Oklab hue of green tissue, degrees.
    pub green_hue_deg: Estimate,
    /// Score by the standard, 0..100.
    pub score: Option<f64>,
    /// Lower end of its 95 % interval.
    pub score_low: Option<f64>,
    /// Upper end.
    pub score_high: Option<f64>,
    /// What the score is made of.
    #[serde(deserialize_with = "word::read_keys")]
    pub score_parts: BTreeMap<Word, ScorePart>,
    /// Decision by the standard: a code.
    #[serde(deserialize_with = "word::read_option")]
    pub decision: Option<Word>,
    /// What the standard calls it.
    pub decision_name: Option<String>,
    /// Why.
    pub decision_reasons: Vec<String>,
    /// Expected growth.
    pub outlook: Outlook,
    /// What the standard warns of.
    pub flags: Vec<FlagRecord>,
    /// Caveats of this plant.
    pub doubts: Vec<Doubt>,
}

/// A value with its 95 % interval; all three or none.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: Option<f64>,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// Bands across the leaves.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Bands {
    /// How many were measured.
    pub count: Option<usize>,
    /// Width along the leaf, mm.
    pub width_mm: Spread,
    /// Centre to centre distance of neighbours, mm.
    pub pitch_mm: Estimate,
    /// Width in parts of the pitch: free of scale.
    pub width_rel: Option<f64>,
    /// Trade class of the width.
    pub class: Option<String>,
    /// What the class is by: `width`, or `duty` where no width in mm is known.
    #[serde(deserialize_with = "word::read_option")]
    pub class_by: Option<Word>,
    /// How far the bands' centre lines depart from straight ones, parts of their width.
    pub waviness: Option<f64>,
    /// Length of bands over that of bands and the gaps in their rows.
    pub continuity: Option<f64>,
    /// Share of band in all leaf that can be read.
    pub cover: Option<f64>,
    /// What was seen leaf by leaf, for `--explain`.
    #[serde(skip)]
    pub leaves: Vec<BandLeaf>,
}

/// The bands of one leaf, as seen.
#[derive(Debug, Clone, PartialEq)]
pub struct BandLeaf {
    /// Its number on the plant, from 1.
    pub number: usize,
    /// Bands measured on it.
    pub bands: usize,
    /// Median width, pixels.
    pub width_px: Option<f64>,
    /// Median length, pixels.
    pub length_px: Option<f64>,
    /// Median pitch, pixels.
    pub pitch_px: Option<f64>,
    /// Median of width over pitch.
    pub width_rel: Option<f64>,
    /// Median waviness.
    pub waviness: Option<f64>,
    /// Its pitch over the plant's: 1 where it faces the camera, less where it is turned away.
    pub facing: Option<f64>,
    /// What it counts for: `width and pitch`, `width`, `pitch` or `nothing`.
    pub counts_for: &'static str,
    /// Why not for all.
    pub reason: String,
}

/// A mean with its 95 % interval, and how far single values spread.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Spread {
    /// The mean and its interval.
    #[serde(flatten)]
    pub mean: Estimate,
    /// One in ten is narrower.
    pub p10: Option<f64>,
    /// One in ten is wider.
    pub p90: Option<f64>,
}

/// Stripes along the leaves.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Stripes {
    /// How many were measured.
    pub count: Option<usize>,
    /// Width across the leaf, mm.
    pub width_mm: Estimate,
    /// Centre to centre distance of neighbours, mm.
    pub spacing_mm: Estimate,
    /// Pale lines in a leaf's width.
    pub fineness: Option<f64>,
    /// Pale part of a leaf's width.
    pub share: Option<f64>,
}

/// Variegation pattern.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Pattern {
    /// Botanical name.
    pub name: Option<String>,
    /// `albo`, `aureo` or `none`.
    pub tone: Option<String>,
    /// 0..1.
    pub confidence: Option<f64>,
    /// The next likely name.
    pub second: Option<String>,
    /// Its confidence.
    pub second_confidence: Option<f64>,
    /// How evenly pale tissue is spread over the leaves, 0..1.
    pub evenness: Option<f64>,
    /// How evenly it is spread around the crown, 0..1.
    pub evenness_around: Option<f64>,
    /// Green capacity of the poorer half of the plant, 0..1.
    pub weak_half_green: Option<f64>,
    /// The same of the other half.
    pub strong_half_green: Option<f64>,
    /// Where the poorer half lies: degrees from the right, counter-clockwise in the upright photo.
    pub weak_half_deg: Option<f64>,
    /// Share of the leaf on the pale side of a sectorial plant, 0..1.
    pub pale_side_share: Option<f64>,
    /// Where that side lies, as `weak_half_deg`.
    pub pale_side_deg: Option<f64>,
    /// Green capacity of a sectorial plant's pale side.
    pub pale_side_green: Option<f64>,
    /// The same of the rest.
    pub other_side_green: Option<f64>,
    /// What the name is told from.
    pub numbers: PatternNumbers,
}

/// What a pattern's name is told from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PatternNumbers {
    /// Red light of the base tissue beside the bands'.
    pub level: Option<f64>,
    /// Variance of pale against green that one side explains.
    pub one_sided: Option<f64>,
    /// Contrast across the leaf of what runs along it.
    pub contrast: Option<f64>,
    /// Part of what is seen across the leaf that runs along it.
    pub along: Option<f64>,
    /// Pale lines in a leaf's width, resolved or not.
    pub lines: Option<f64>,
    /// 1 pale middle, -1 pale margins.
    pub middle: Option<f64>,
    /// Green and blue light that brighter places have more, beside the red.
    pub green_added: Option<f64>,
    /// See `green_added`.
    pub blue_added: Option<f64>,
    /// Pale part of the leaf on which both witnesses of tissue agree.
    pub agreed: Option<f64>,
    /// Green, cream and gold leaf on which they agree, in all leaf.
    pub base: Option<f64>,
    /// The same in itself and the unsure leaf.
    pub read: Option<f64>,
}

/// One part of a score; all but the weight are null where it was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ScorePart {
    /// The number it is made from.
    pub number: Option<f64>,
    /// 0..100.
    pub points: Option<f64>,
    /// Lower end of the 95 % interval of the points.
    pub points_low: Option<f64>,
    /// Upper end.
    pub points_high: Option<f64>,
    /// Share of the score, 0..1.
    pub weight: Option<f64>,
}

/// Expected growth: an estimate.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Outlook {
    /// Pace in parts of a plain green sister's.
    pub pace: Estimate,
    /// The same in words.
    pub text: Option<String>,
}

/// Something that the standard warns of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlagRecord {
    /// For programs.
    #[serde(deserialize_with = "word::read")]
    pub code: Word,
    /// `certain`, `likely` or `borderline`, where the number has an interval.
    #[serde(deserialize_with = "word::read_option")]
    pub sure: Option<Word>,
    /// For people.
    pub text: String,
    /// The measured number.
    pub value: Option<f64>,
    /// The standard's limit.
    pub limit: Option<f64>,
}

/// The options of the run, as words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// `auto`, `one` or `many`.
    #[serde(deserialize_with = "word::read")]
    pub plants: Word,
    /// Where the user says the plant is.
    pub hint: Option<String>,
    /// What the user says is white.
    pub white: Option<String>,
    /// Scale stated by the user, pixels a millimetre.
    pub px_per_mm: Option<f64>,
    /// Length stated by the user.
    pub known_length: Option<String>,
    /// How far the cards lie under the leaves' middle, as stated by the user, mm.
    pub card_below_mm: Option<f64>,
    /// Colour of the cards' paper by the standard, CIELAB under D50.
    pub card_paper_lab: Option<[f64; 3]>,
    /// Length of the cards' check line by the standard, mm.
    pub card_check_line_mm: Option<f64>,
    /// Widths from which bands are standard, wide and extra wide, mm.
    pub band_limits_mm: [f64; 3],
    /// The same in parts of the pitch.
    pub band_limits_rel: [f64; 3],
    /// First 16 hex digits of the SHA-256 of the standard's values.
    pub standard_hash: String,
    /// First 16 hex digits of the SHA-256 of the above: equal settings have equal hashes.
    pub hash: String,
}

impl PlantRecord {
    /// How the plant is named in a photo: its place, and its number if a card tells it.
    pub fn title(&self) -> String {
        self.number.as_ref().map_or_else(|| self.index.to_string(), |number| format!("{} {number}", self.index))
    }
}

impl Status {
    /// The status of a photo that stopped with `error`.
    pub fn of(error: &Error) -> Self {
        if matches!(error, Error::Refused(_)) { Self::Refused } else { Self::Failed }
    }

    /// As a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Graded => "graded",
            Self::Refused => "refused",
            Self::Failed => "failed",
        }
    }
}
