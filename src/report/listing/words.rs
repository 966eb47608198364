//! What a listing says, in the words of a buyer. What is not known is said to be so, with the reason.

use crate::record::{Calibration, Estimate, PhotoRecord, PlantRecord};
use crate::report::palette;
use crate::report::text::{percent, share};
use crate::tissue::class::Tissue;

/// Why there are no millimetres.
const NO_SCALE: &str = "not known: no label card or other scale in the photo";

/// Name and number.
pub(super) fn title(plant: &PlantRecord, name: Option<&str>) -> String {
    let parts: Vec<&str> = [name, plant.number.as_deref()].into_iter().flatten().collect();
    if parts.is_empty() { "Plant without a number".into() } else { parts.join(", ") }
}

/// All that is told, in its order.
pub(super) fn facts(photo: &PhotoRecord, plant: &PlantRecord) -> Vec<(&'static str, String)> {
    vec![
        ("number", plant.number.clone().unwrap_or_else(|| "none: no label card of its own in the photo".into())),
        ("rosette diameter", diameter(plant)),
        ("band width", band_width(plant)),
        ("band pitch, centre to centre", band_pitch(plant)),
        ("pattern", pattern(plant)),
        ("tissue, shares of all visible leaf", tissue(plant)),
        ("green part of the living leaf", percent(&plant.green_fraction)),
        ("score, by the seller's standard", score(plant)),
        ("date of the photo", date(photo)),
        ("how measured", how(photo)),
    ]
}

/// Doubts that are not a buyer's: the lines tell of a missing scale, and a number that other photos have too tells their names.
const NOT_TOLD: [&str; 2] = ["no-scale", "number-twice"];

/// What a buyer must know beside the numbers: flags, then what limits them.
pub(super) fn limits(photo: &PhotoRecord, plant: &PlantRecord) -> Vec<String> {
    let flags = plant.flags.iter().map(|flag| flag.text.as_str());
    let doubts = plant.doubts.iter().chain(&photo.doubts).filter(|doubt| !NOT_TOLD.contains(&doubt.code));
    flags.chain(doubts.map(|doubt| doubt.text.as_str())).map(String::from).collect()
}

fn diameter(plant: &PlantRecord) -> String {
    let (Some(mm), Some(low), Some(high)) = (plant.diameter_mm, plant.diameter_mm_low, plant.diameter_mm_high) else {
        return NO_SCALE.into();
    };
    format!("{mm:.0} mm at its widest (95 % range {low:.0}-{high:.0})")
}

fn band_width(plant: &PlantRecord) -> String {
    let bands = &plant.bands;
    let Some(count) = bands.count else { return "no bands were measured".into() };
    let class = bands.class.as_ref().map_or_else(String::new, |class| format!("; called {class}"));
    match (mean(&bands.width_mm.mean), bands.width_mm.p10.zip(bands.width_mm.p90)) {
        (Some(mean), Some((low, high))) => format!("{mean}; 8 of 10 bands {low:.1}-{high:.1} mm; n = {count}{class}"),
        (Some(mean), None) => format!("{mean}; n = {count}{class}"),
        (None, _) => {
            let part = bands.width_rel.map(|part| format!("; {} of the distance from band to band", share(part)));
            format!("in mm {}{}; n = {count}{class}", without(plant), part.unwrap_or_default())
        }
    }
}

fn band_pitch(plant: &PlantRecord) -> String {
    match (mean(&plant.bands.pitch_mm), plant.bands.count) {
        (Some(mean), Some(count)) => format!("{mean}; n = {count} bands"),
        (None, Some(_)) => format!("in mm {}", without(plant)),
        (_, None) => "no bands were measured".into(),
    }
}

/// Why bands have no millimetres.
fn without(plant: &PlantRecord) -> &'static str {
    if plant.diameter_mm.is_none() { NO_SCALE } else { "not known: the bands cannot be measured well enough" }
}

/// `mean 1.21 mm (95 % range 1.02-1.44)`.
fn mean(estimate: &Estimate) -> Option<String> {
    let (value, low, high) = (estimate.value?, estimate.low?, estimate.high?);
    Some(format!("mean {value:.2} mm (95 % range {low:.2}-{high:.2})"))
}

fn pattern(plant: &PlantRecord) -> String {
    let pattern = &plant.pattern;
    let Some(name) = pattern.name.as_deref() else { return "not sure enough to be named".into() };
    let words = match name {
        "plain" => "green leaves without stripes or bands",
        "banded only" => "green leaves with white bands, no variegation",
        "striate" => "a few broad pale stripes along the leaf",
        "finely striate" => "many fine pale lines along the leaf",
        "sectorial" => "one side of the plant is pale",
        "mediovariegated" => "leaves pale in the middle, green at the margins",
        "marginate" => "leaves green in the middle, pale at the margins",
        "splashed" => "irregular pale patches",
        "all-pale" => "pale all over",
        other => other,
    };
    let tone = match pattern.tone.as_deref() {
        Some("albo") => "; the pale is cream to white",
        Some("aureo") => "; the pale is gold to yellow",
        _ => "",
    };
    let sure = pattern.confidence.map(|sure| format!("; {} likely", share(sure)));
    format!("{name}: {words}{tone}{}", sure.unwrap_or_default())
}

fn tissue(plant: &PlantRecord) -> String {
    let shares = Tissue::ALL.into_iter().filter_map(|tissue| {
        let part = plant.tissue[tissue].filter(|part| *part >= 0.005)?;
        Some(format!("{} {}", palette::title(tissue), share(part)))
    });
    shares.collect::<Vec<_>>().join(", ")
}

fn score(plant: &PlantRecord) -> String {
    match (plant.score, plant.score_low, plant.score_high) {
        (Some(score), Some(low), Some(high)) => {
            format!("{score:.0} of 100 (95 % range {low:.0}-{high:.0}), an estimate")
        }
        _ => "not known: green and pale leaf cannot be told".into(),
    }
}

/// The day alone: the hour is nobody's business.
fn date(photo: &PhotoRecord) -> String {
    let day = photo.taken_at.as_deref().and_then(|taken| taken.split('T').next());
    day.unwrap_or("not known: the photo does not tell").into()
}

fn how(photo: &PhotoRecord) -> String {
    let [white, scale] = photo.calibration.as_ref().map_or(["estimated from the photo", "none"], told);
    let (program, standard) = (photo.program, &photo.settings.standard_hash);
    format!("one photo, with {program}, standard {standard}; colour of the light: {white}; scale: {scale}")
}

fn told(calibration: &Calibration) -> [&'static str; 2] {
    let white = match calibration.white {
        "card" => "from the label card",
        "given" => "as the seller states it",
        _ => "estimated from the photo",
    };
    let scale = match calibration.scale {
        "card" => "from the label card",
        "given" => "as the seller states it",
        _ => "none",
    };
    [white, scale]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::doubt::Doubt;
    use crate::options::Options;
    use crate::pattern::name::Name;
    use crate::pipeline::drawn;
    use crate::record::{Bands, Pattern, Spread};

    fn photo() -> PhotoRecord {
        PhotoRecord::graded("p.jpg", "p", &drawn(&[&["g"]]), &Options::default())
    }

    fn fact(plant: &PlantRecord, name: &str) -> String {
        facts(&photo(), plant).into_iter().find(|(fact, _)| fact.starts_with(name)).unwrap().1
    }

    #[test]
    fn lengths_are_mean_range_and_n() {
        let mean = Estimate { value: Some(1.213), low: Some(1.02), high: Some(1.44) };
        let width_mm = Spread { mean, p10: Some(0.84), p90: Some(1.66) };
        let bands = Bands { count: Some(34), width_mm, pitch_mm: mean, class: Some("wide".into()), ..Bands::default() };
        let plant = PlantRecord { bands, diameter_mm: Some(61.0), ..PlantRecord::default() };
        let width = "mean 1.21 mm (95 % range 1.02-1.44); 8 of 10 bands 0.8-1.7 mm; n = 34; called wide";
        assert_eq!(fact(&plant, "band width"), width);
        assert_eq!(fact(&plant, "band pitch"), "mean 1.21 mm (95 % range 1.02-1.44); n = 34 bands");
    }

    #[test]
    fn nothing_that_is_not_known_is_left_blank() {
        let plant = PlantRecord::default();
        for name in ["number", "rosette", "band width", "band pitch", "pattern", "score"] {
            let text = fact(&plant, name);
            assert!(text.contains("no") && text.len() > 10, "{name}: {text}");
        }
        let bands = Bands { count: Some(3), width_rel: Some(0.41), ..Bands::default() };
        let plant = PlantRecord { bands, ..plant };
        let text = fact(&plant, "band width");
        assert!(text.contains(NO_SCALE) && text.contains("41 % of the distance"), "{text}");
    }

    #[test]
    fn every_pattern_has_its_words() {
        for name in Name::ALL.map(Name::text) {
            let pattern = Pattern { name: Some(name.into()), ..Pattern::default() };
            let text = fact(&PlantRecord { pattern, ..PlantRecord::default() }, "pattern");
            assert_ne!(text, format!("{name}: {name}"));
        }
    }

    #[test]
    fn the_hour_and_other_photos_names_are_not_told() {
        let plant =
            PlantRecord { doubts: vec![Doubt::new("number-twice", "stands in home/x.jpg")], ..Default::default() };
        assert!(limits(&photo(), &plant).is_empty());
        assert_eq!(fact(&plant, "date"), "2026-01-31");
    }
}
