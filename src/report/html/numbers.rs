//! The numbers of a plant, each with its 95 % range, under the names that the pages use.

use crate::record::{Estimate, PlantRecord};
use crate::report::text::{length, percent, share};

/// A number of a plant.
pub(super) struct Number {
    /// What it is called.
    pub(super) name: &'static str,
    /// As it is read, with its range; `-` if unknown.
    pub(super) text: String,
    /// For sorting.
    pub(super) value: Option<f64>,
}

impl Number {
    fn new(name: &'static str, estimate: Estimate, text: impl Fn(&Estimate) -> String) -> Self {
        Self { name, text: text(&estimate), value: estimate.value }
    }
}

/// Numbers that the table and each plant show.
pub(super) fn numbers(plant: &PlantRecord) -> [Number; 8] {
    [
        Number::new("score", score(plant), points),
        Number::new("green capacity", plant.green_capacity, percent),
        Number::new("green", plant.green_fraction, percent),
        Number::new("pale", plant.pale_fraction, percent),
        Number::new("stress red", plant.red_fraction, percent),
        Number::new("diameter", diameter(plant), across),
        Number::new("band width", plant.bands.width_mm.mean, length),
        Number::new("band pitch", plant.bands.pitch_mm, length),
    ]
}

fn score(plant: &PlantRecord) -> Estimate {
    Estimate { value: plant.score, low: plant.score_low, high: plant.score_high }
}

fn diameter(plant: &PlantRecord) -> Estimate {
    Estimate { value: plant.diameter_mm, low: plant.diameter_mm_low, high: plant.diameter_mm_high }
}

/// Points of 0 to 100 with their range, `84 (78-90)`.
pub(super) fn points(estimate: &Estimate) -> String {
    let Some(value) = estimate.value else { return "-".into() };
    let range = estimate.low.zip(estimate.high).map(|(low, high)| format!(" ({low:.0}-{high:.0})"));
    format!("{value:.0}{}", range.unwrap_or_default())
}

/// A diameter with its range, `61.3 mm (60.0-62.0)`.
fn across(estimate: &Estimate) -> String {
    let Some(value) = estimate.value else { return "-".into() };
    let range = estimate.low.zip(estimate.high).map(|(low, high)| format!(" ({low:.1}-{high:.1})"));
    format!("{value:.1} mm{}", range.unwrap_or_default())
}

/// A flag's number and limit.
pub(super) fn limit((value, limit): (Option<f64>, Option<f64>)) -> String {
    let told = |value: Option<f64>| value.map_or_else(|| "-".into(), share);
    format!("measured {}, limit {}", told(value), told(limit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_with_their_range() {
        let estimate = Estimate { value: Some(61.34), low: Some(59.96), high: Some(62.0) };
        assert_eq!(across(&estimate), "61.3 mm (60.0-62.0)");
        assert_eq!(points(&estimate), "61 (60-62)");
        assert_eq!([across(&Estimate::default()), points(&Estimate::default())], ["-", "-"]);
        assert_eq!(limit((Some(0.06), Some(0.2))), "measured 6 %, limit 20 %");
    }
}
