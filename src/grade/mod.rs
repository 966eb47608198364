//! Stage 6: what the nursery's standard makes of a plant's numbers: flags, score, growth outlook, decision. Knows no pixels and no
//! other stage, only [`Facts`]. Rules and their reasons: `docs/science.md`, "Grading".

mod decide;
mod flags;
mod outlook;
mod score;
mod sure;
#[cfg(test)]
mod tests;

use crate::base::stats::Interval;
use crate::standard::Standard;
pub use decide::{Advice, Decision};
pub use flags::Flag;
pub use score::{Part, Points, Score};
pub use sure::Sure;

/// What a grade is made from; fractions 0 to 1.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// Green / (green + cream + gold).
    pub capacity: Option<Interval>,
    /// Stress red of the living leaf.
    pub red: Option<Interval>,
    /// Dead leaf of all visible leaf.
    pub dead: f64,
    /// Probability that the plant is plain or only banded, by its pattern.
    pub plain: f64,
    /// Whether all of it is in the picture.
    pub whole: bool,
    /// How evenly pale tissue is spread around the crown.
    pub evenness: Option<f64>,
    /// Green capacity of the pale side and of the rest where the plant has one, otherwise of its poorer and richer half.
    pub sides: Option<[f64; 2]>,
    /// Colour distance of pale and green.
    pub contrast: Option<Interval>,
    /// Band width in parts of the pitch.
    pub duty: Option<f64>,
    /// Largest extent, mm.
    pub diameter_mm: Option<Interval>,
}

/// The grade of one plant.
#[derive(Debug, Clone, Default)]
pub struct Grade {
    /// What the grower must know.
    pub flags: Vec<Flag>,
    /// The score; `None` where the photo does not tell, so that no such plant leads a list.
    pub score: Option<Score>,
    /// Pace of growth in parts of a plain green sister's: an estimate.
    pub pace: Option<Interval>,
    /// What the standard advises.
    pub advice: Option<Advice>,
}

/// Grades one plant.
pub fn grade(facts: &Facts, standard: &Standard) -> Grade {
    let score = score::score(facts, &standard.score);
    let advice = decide::advice(facts, score.as_ref(), standard);
    Grade {
        flags: flags::flags(facts, standard),
        pace: facts.capacity.map(|green| outlook::pace(green, standard.outlook.break_even)),
        score: score.filter(|_| advice.decision != Decision::Retake),
        advice: Some(advice),
    }
}

/// A range in percent, `23 % (15-31 %)`.
fn percent(range: Interval) -> String {
    format!("{:.0} % ({:.0}-{:.0} %)", range.value * 100.0, range.low * 100.0, range.high * 100.0)
}
