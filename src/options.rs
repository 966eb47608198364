//! What the user asks for, apart from photos and output files. Imports nothing but `base`, so that each stage may read
//! its own part.

use crate::base::raster::Rect;
use std::fmt;

/// The options of a run; they travel with each record, so that a measurement can be made again.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// How many plants a photo holds. Default: the program decides.
    pub plants: Plants,
    /// Where the plant is. Default: the program looks for it.
    pub hint: Option<Hint>,
    /// What is white in the photo. Default: estimated from the picture.
    pub white: Option<White>,
    /// How long a millimetre is at the plant. Default: a label card says it, or no length in mm is given.
    pub scale: Option<Scale>,
    /// How far the label cards lie under the middle of the leaves' height, mm. Default: level with the soil.
    pub card_below: Option<f64>,
    /// What was measured on the printed label cards. Default: nothing.
    pub print: CardPrint,
    /// Widths from which bands are called standard, wide and extra wide. Default: see [`BandLimits`].
    pub bands: BandLimits,
}

/// Widths from which bands are called by a name; narrower than standard is narrow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandLimits {
    /// Standard from this width, mm. Default 0.8: common practice, no source; the next two likewise.
    pub standard_from_mm: f64,
    /// Wide, mm. Default 1.2.
    pub wide_from_mm: f64,
    /// Extra wide, mm. Default 2.0.
    pub extra_wide_from_mm: f64,
    /// Where no width in mm is known: standard from this width in parts of the pitch. Default 0.3: about as many of 527 rendered
    /// plants are narrower as are by mm; the next two likewise.
    pub standard_from_rel: f64,
    /// Wide, parts of the pitch. Default 0.4.
    pub wide_from_rel: f64,
    /// Extra wide, parts of the pitch: more band than leaf. Default 0.5.
    pub extra_wide_from_rel: f64,
}

impl BandLimits {
    /// Standard, wide and extra wide, mm.
    pub fn mm(&self) -> [f64; 3] {
        [self.standard_from_mm, self.wide_from_mm, self.extra_wide_from_mm]
    }

    /// The same in parts of the pitch.
    pub fn rel(&self) -> [f64; 3] {
        [self.standard_from_rel, self.wide_from_rel, self.extra_wide_from_rel]
    }
}

impl Default for BandLimits {
    fn default() -> Self {
        Self {
            standard_from_mm: 0.8,
            wide_from_mm: 1.2,
            extra_wide_from_mm: 2.0,
            standard_from_rel: 0.3,
            wide_from_rel: 0.4,
            extra_wide_from_rel: 0.5,
        }
    }
}

/// What was measured on the printed label cards, once for all that came from one printer and paper.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CardPrint {
    /// Colour of the bare paper: CIELAB under D50, 2 degree observer, as print densitometers show it (ISO 13655).
    pub paper_lab: Option<[f64; 3]>,
    /// Length of the 50 mm check line, mm.
    pub check_line_mm: Option<f64>,
}

/// How many plants a photo holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Plants {
    /// Decided from the picture.
    #[default]
    Auto,
    /// The main plant only: sharp, central, large.
    One,
    /// Every plant.
    Many,
}

/// Where the plant is, in pixels of the upright photo.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Hint {
    /// A point on the plant.
    At {
        /// Column.
        x: usize,
        /// Row.
        y: usize,
    },
    /// A box around the plant.
    Box(Rect),
    /// Painted points.
    Strokes(Vec<Stroke>),
}

/// A painted point, in pixels of the upright photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stroke {
    /// Column.
    pub x: usize,
    /// Row.
    pub y: usize,
    /// Whether it lies on the plant.
    pub plant: bool,
}

/// Something white or grey, as stated by the user.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum White {
    /// Its 8-bit codes (0..=255) in the photo; the ratio counts, not the brightness.
    Codes([f64; 3]),
    /// Where it lies in the upright photo.
    Spot(Rect),
}

/// How long a millimetre is, as stated by the user.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Pixels a millimetre at the plant.
    PxPerMm(f64),
    /// A length between two points of the upright photo at the plant's height: a ruler, a pot's rim.
    Known {
        /// One end, pixels.
        from: [f64; 2],
        /// The other end, pixels.
        to: [f64; 2],
        /// Their distance, mm.
        mm: f64,
    },
}

impl Plants {
    /// As a word for records.
    pub fn name(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::One => "one",
            Self::Many => "many",
        }
    }
}

impl fmt::Display for Hint {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::At { x, y } => write!(f, "at {x},{y}"),
            Self::Box(r) => write!(f, "box {},{},{},{}", r.x, r.y, r.width, r.height),
            Self::Strokes(points) => write!(f, "{} painted points", points.len()),
        }
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::PxPerMm(value) => write!(f, "{value} px a mm"),
            Self::Known { from: [a, b], to: [c, d], mm } => write!(f, "{a},{b} to {c},{d} is {mm} mm"),
        }
    }
}

impl fmt::Display for White {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Codes([r, g, b]) => write!(f, "codes {r},{g},{b}"),
            Self::Spot(r) => write!(f, "spot {},{},{},{}", r.x, r.y, r.width, r.height),
        }
    }
}
