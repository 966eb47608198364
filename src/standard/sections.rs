//! The sections of a standard. Where each default comes from stands in `default.toml`.

use serde::{Deserialize, Serialize};

/// What was measured on the printed label cards, once for all that came from one printer and paper.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Card {
    /// Colour of the bare paper: CIELAB under D50, 2 degree observer, as print densitometers show it (ISO 13655).
    pub paper_lab: Option<[f64; 3]>,
    /// Length of the 50 mm check line, mm.
    pub check_line_mm: Option<f64>,
}

/// Widths from which bands are called by a name; narrower than standard is narrow. Parts of the pitch where no width in mm is
/// known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bands {
    /// Standard, mm.
    pub standard_from_mm: f64,
    /// Wide, mm.
    pub wide_from_mm: f64,
    /// Extra wide, mm.
    pub extra_wide_from_mm: f64,
    /// Standard, parts of the pitch.
    pub standard_from_rel: f64,
    /// Wide, parts of the pitch.
    pub wide_from_rel: f64,
    /// Extra wide, parts of the pitch.
    pub extra_wide_from_rel: f64,
}

impl Bands {
    /// Standard, wide and extra wide, mm.
    pub fn mm(&self) -> [f64; 3] {
        [self.standard_from_mm, self.wide_from_mm, self.extra_wide_from_mm]
    }

    /// The same in parts of the pitch.
    pub fn rel(&self) -> [f64; 3] {
        [self.standard_from_rel, self.wide_from_rel, self.extra_wide_from_rel]
    }
}

/// Limits of green capacity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Green {
    /// Too pale under it.
    pub floor: f64,
    /// All pale under it.
    pub all_pale_under: f64,
    /// A revert from it.
    pub revert_from: f64,
}

/// One-sided plants.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sides {
    /// Difference in green capacity of the two halves from which a plant is one-sided.
    pub apart_from: f64,
}

/// Limits of stress red, parts of the living leaf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Red {
    /// Flagged from it.
    pub watch_from: f64,
    /// No decision from it.
    pub hides_from: f64,
}

/// Limit of dead leaf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// Share of all visible leaf from which a plant is nursed.
    pub dead_from: f64,
}

/// Limit of size.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Size {
    /// Largest extent under which a plant is an offset still, mm.
    pub offset_under_mm: f64,
}

/// What a photo must tell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Photo {
    /// Widest 95 % interval of green capacity on which a decision is made.
    pub widest_range: f64,
}

/// How the score is made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Score {
    /// Most that a plant with 0 points for balance can score; rises to 100 with its points.
    pub unbalanced: f64,
    /// Weights of its parts; only ratios count.
    pub weights: Weights,
    /// Where each part begins to count and where it is full.
    pub ranges: Ranges,
}

/// Weights of the score's parts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weights {
    /// Balance of green and pale.
    pub balance: f64,
    /// Evenness around the crown.
    pub evenness: f64,
    /// Colour distance of pale and green.
    pub contrast: f64,
    /// Band width in parts of the pitch.
    pub bands: f64,
    /// No dead leaf.
    pub condition: f64,
}

/// Ends of the score's parts, rising.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ranges {
    /// Green capacity: none, full from, full to, none.
    pub balance: [f64; 4],
    /// None, full.
    pub evenness: [f64; 2],
    /// None, full.
    pub contrast: [f64; 2],
    /// None, full.
    pub bands: [f64; 2],
    /// Dead leaf: full, none.
    pub condition: [f64; 2],
}

/// What is asked of a mother.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mother {
    /// Least score.
    pub score_from: f64,
    /// Least and most green capacity.
    pub green: [f64; 2],
    /// Least evenness around the crown.
    pub evenness_from: f64,
}

/// What is asked of a plant to be sold.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sell {
    /// Least score.
    pub score_from: f64,
}

/// What decisions are called.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Names {
    /// Keep as a mother.
    pub mother: String,
    /// Sell.
    pub sell: String,
    /// Grow on.
    pub grow_on: String,
    /// Nurse.
    pub nurse: String,
    /// Gone back to green.
    pub revert: String,
    /// The photo does not tell.
    pub retake: String,
}

/// Growth beside a plain green sister.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outlook {
    /// Green capacity at which growth stops: least and most.
    pub break_even: [f64; 2],
}
