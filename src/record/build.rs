//! From what the stages made to the record: naming and rounding.

use super::{
    Bands, Calibration, Card, Estimate, FlagRecord, Outlook, Pattern, PatternNumbers, PhotoRecord, PlantRecord,
    ScorePart, Settings, Status, Stripes,
};
use crate::base::stats::Interval;
use crate::calibrate::{Calibrated, ScaleSource, WhiteSource};
use crate::card::layout::CARD;
use crate::card::{self, Pose};
use crate::grade::{Flag, Grade, Points, Sure};
use crate::options::Options;
use crate::pattern;
use crate::pipeline::{Outcome, Plant};
use crate::tissue::class::PerTissue;

impl PhotoRecord {
    /// The record of a photo that was measured.
    pub fn graded(file: &str, stem: &str, outcome: &Outcome, options: &Options) -> Self {
        let Outcome { calibrated, plants } = outcome;
        let photo = &calibrated.photo;
        let mut doubts = photo.doubts.clone();
        doubts.extend(calibrated.doubts.iter().filter(|d| !photo.doubts.contains(d)).cloned());
        Self {
            sha256: Some(photo.sha256.clone()),
            width: Some(photo.rgb.width()),
            height: Some(photo.rgb.height()),
            taken_at: photo.taken_at.clone(),
            camera: photo.camera.clone(),
            doubts,
            calibration: Some(Calibration::new(calibrated)),
            plants: (1..).zip(plants).map(|(index, plant)| PlantRecord::new(index, plant)).collect(),
            ..Self::blank(file, stem, Status::Graded, options)
        }
    }

    /// The record of a photo that was not measured, with the reason that the grower reads.
    pub fn stopped(file: &str, stem: &str, (status, reason): (Status, String), options: &Options) -> Self {
        Self { error: Some(reason), ..Self::blank(file, stem, status, options) }
    }

    fn blank(file: &str, stem: &str, status: Status, options: &Options) -> Self {
        Self {
            schema: "variegauge.photo/1",
            file: file.into(),
            stem: stem.into(),
            sha256: None,
            width: None,
            height: None,
            taken_at: None,
            camera: None,
            status,
            error: None,
            doubts: Vec::new(),
            calibration: None,
            plants: Vec::new(),
            program: concat!("variegauge ", env!("CARGO_PKG_VERSION")),
            settings: Settings::new(options),
        }
    }
}

impl Card {
    /// `print`: real millimetres a millimetre of the layout.
    fn new(card: &card::Card, print: f64) -> Self {
        let (scale, sd) = card.px_per_mm();
        Self {
            plant: card.number.to_string(),
            kind: if *card.layout == CARD { "card" } else { "pot-label" },
            corners: card.corners().map(|corner| corner.map(|value| (value * 100.0).round() / 100.0)),
            px_per_mm: rounded(scale / print, 3),
            px_per_mm_sd: rounded(sd / print, 4),
            blur_px: card.blur_px.and_then(|px| rounded(px, 2)),
        }
    }
}

impl Calibration {
    fn new(calibrated: &Calibrated) -> Self {
        let white = &calibrated.white;
        let pose = calibrated.cards.first().and_then(|card| card.pose.as_ref());
        let print = calibrated.print_scale();
        let (tilt, distance) = (pose.map(Pose::tilt_deg), pose.map(Pose::distance_mm));
        Self {
            white: match white.source {
                WhiteSource::Card => "card",
                WhiteSource::Estimated => "estimated",
                WhiteSource::Given => "given",
            },
            white_gain: white.rgb.map(|channel| rounded(1.0 / f64::from(channel), 4)),
            white_mired_sd: rounded(white.mired_sd, 1),
            scale: match calibrated.scale() {
                Some(ScaleSource::Stated(_)) => "given",
                Some(ScaleSource::Card(_)) => "card",
                None => "none",
            },
            px_per_mm: calibrated.scale().and_then(|scale| match scale {
                ScaleSource::Stated(value) | ScaleSource::Card(value) => rounded(value, 3),
            }),
            camera_tilt_deg: tilt.and_then(|(deg, _)| rounded(deg, 1)),
            camera_tilt_sd_deg: tilt.and_then(|(_, sd)| rounded(sd, 1)),
            camera_distance_mm: distance.and_then(|(mm, _)| rounded(mm * print, 0)),
            camera_distance_sd_mm: distance.and_then(|(_, sd)| rounded(sd * print, 0)),
            exposure: calibrated.exposure.and_then(|level| rounded(level, 3)),
            cards: calibrated.cards.iter().map(|card| Card::new(card, print)).collect(),
        }
    }
}

impl PlantRecord {
    fn new(index: usize, plant: &Plant) -> Self {
        let Plant { rosette, label, measures, grade, .. } = plant;
        let bounds = rosette.bounds;
        let Grade { flags, score, pace, advice } = grade;
        let total = Estimate::rounded(score.as_ref().map(|score| score.total), 1);
        Self {
            index,
            number: label.number.as_ref().map(ToString::to_string),
            bounds: [bounds.x, bounds.y, bounds.width, bounds.height],
            centre: (rosette.mask.centre())
                .map(|(_, [x, y])| [x + bounds.x as f64, y + bounds.y as f64].map(|v| (v * 10.0).round() / 10.0)),
            pixels: measures.pixels,
            diameter_px: rounded(measures.diameter_px, 1),
            px_per_mm: Estimate::rounded(measures.px_per_mm, 3),
            diameter_mm: measures.diameter_mm.and_then(|mm| rounded(mm.value, 2)),
            diameter_mm_low: measures.diameter_mm.and_then(|mm| rounded(mm.low, 2)),
            diameter_mm_high: measures.diameter_mm.and_then(|mm| rounded(mm.high, 2)),
            confidence: rounded(rosette.confidence, 4),
            tissue: PerTissue(measures.tissue.0.map(|share| rounded(share, 4))),
            green_fraction: Estimate::fraction(measures.green_fraction),
            pale_fraction: Estimate::fraction(measures.pale_fraction),
            red_fraction: Estimate::fraction(measures.red_fraction),
            green_capacity: Estimate::fraction(measures.green_capacity),
            bands: Bands::new(&plant.bands),
            stripes: Stripes::new(&plant.pattern.stripes, measures.px_per_mm),
            pattern: Pattern::new(&plant.pattern),
            contrast: Estimate::rounded(plant.contrast, 3),
            green_hue_deg: Estimate::rounded(plant.green_hue, 1),
            score: total.value,
            score_low: total.low,
            score_high: total.high,
            score_parts: score.iter().flat_map(|s| &s.parts).map(|p| (p.part.name(), ScorePart::new(p))).collect(),
            decision: advice.as_ref().map(|advice| advice.decision.code()),
            decision_name: advice.as_ref().map(|advice| advice.name.clone()),
            decision_reasons: advice.iter().flat_map(|advice| advice.reasons.clone()).collect(),
            outlook: Outlook::new(*pace),
            flags: flags.iter().map(FlagRecord::new).collect(),
            doubts: rosette.doubts.clone(),
        }
    }
}

impl Stripes {
    fn new(stripes: &pattern::stripes::Stripes, scale: Option<Interval>) -> Self {
        let mm = |px: Option<Interval>| Estimate::rounded(px.zip(scale).map(|(px, scale)| px.over(scale)), 2);
        Self {
            count: stripes.count,
            width_mm: mm(stripes.width_px),
            spacing_mm: mm(stripes.spacing_px),
            fineness: stripes.lines.and_then(|lines| rounded(lines, 2)),
            share: stripes.share.and_then(|share| rounded(share, 3)),
        }
    }
}

impl Pattern {
    fn new(pattern: &pattern::Pattern) -> Self {
        let told = |place: usize| pattern.names.get(place).filter(|_| pattern.name.is_some());
        let name = |place: usize| told(place).map(|(name, _)| name.text().to_owned());
        let confidence = |place: usize| told(place).and_then(|(_, share)| rounded(*share, 3));
        let numbers = &pattern.numbers;
        let leaf = |of: fn(&pattern::name::LeafNumbers) -> f64| numbers.leaf.as_ref().and_then(|l| rounded(of(l), 3));
        Self {
            name: name(0),
            tone: pattern.tone.map(|tone| tone.text().into()),
            confidence: confidence(0),
            second: name(1),
            second_confidence: confidence(1),
            evenness: pattern.evenness.and_then(|e| rounded(e.leaves, 3)),
            evenness_around: pattern.evenness.and_then(|e| rounded(e.around, 3)),
            weak_half_green: pattern.halves.and_then(|h| rounded(h.weak, 3)),
            strong_half_green: pattern.halves.and_then(|h| rounded(h.strong, 3)),
            weak_half_deg: pattern.halves.and_then(|h| rounded(h.weak_deg, 0)),
            pale_side_share: pattern.pale_side.and_then(|s| rounded(s.share, 3)),
            pale_side_deg: pattern.pale_side.and_then(|s| rounded(s.deg, 0)),
            pale_side_green: pattern.pale_side.and_then(|s| rounded(s.weak, 3)),
            other_side_green: pattern.pale_side.and_then(|s| rounded(s.strong, 3)),
            numbers: PatternNumbers {
                level: rounded(numbers.level, 3),
                one_sided: rounded(numbers.one_sided, 3),
                contrast: leaf(|l| l.contrast),
                along: leaf(|l| l.along),
                lines: leaf(|l| l.lines),
                middle: leaf(|l| l.middle),
                green_added: rounded(numbers.evidence.added[0], 3),
                blue_added: rounded(numbers.evidence.added[1], 3),
                agreed: rounded(numbers.evidence.agreed, 3),
                base: rounded(numbers.evidence.base, 3),
                read: rounded(numbers.evidence.read, 3),
            },
        }
    }
}

impl Estimate {
    fn fraction(interval: Option<Interval>) -> Self {
        Self::rounded(interval, 4)
    }

    pub(super) fn rounded(interval: Option<Interval>, decimals: i32) -> Self {
        interval.map_or_else(Self::default, |i| Self {
            value: rounded(i.value, decimals),
            low: rounded(i.low, decimals),
            high: rounded(i.high, decimals),
        })
    }
}

impl ScorePart {
    fn new(part: &Points) -> Self {
        let points = Estimate::rounded(part.points, 1);
        Self {
            number: part.number.and_then(|number| rounded(number, 4)),
            points: points.value,
            points_low: points.low,
            points_high: points.high,
            weight: rounded(part.weight, 4),
        }
    }
}

impl Outlook {
    fn new(pace: Option<Interval>) -> Self {
        let text = pace.map(|pace| {
            let [low, high] = [pace.low, pace.high].map(|end| end * 100.0);
            format!("estimate: grows at {low:.0}-{high:.0} % of the pace of a plain green sister")
        });
        Self { pace: Estimate::rounded(pace, 3), text }
    }
}

impl FlagRecord {
    fn new(flag: &Flag) -> Self {
        Self {
            code: flag.code,
            sure: flag.sure.map(Sure::name),
            text: flag.text.clone(),
            value: rounded(flag.value, 4),
            limit: rounded(flag.limit, 4),
        }
    }
}

/// `value` with `decimals` digits after the point, so that texts are stable; `None` if it is no number. Minus zero
/// becomes zero.
pub(super) fn rounded(value: f64, decimals: i32) -> Option<f64> {
    let unit = 10f64.powi(decimals);
    value.is_finite().then(|| (value * unit).round() / unit + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::doubt::Doubt;
    use crate::error::Error;
    use crate::pipeline::drawn;
    use serde_json::json;

    fn outcome() -> Outcome {
        let mut outcome = drawn(&[&["gggc", "grb."]]);
        outcome.calibrated.photo.doubts.push(Doubt::new("no-date", "the photo has no date"));
        outcome.calibrated.doubts = outcome.calibrated.photo.doubts.clone();
        outcome.calibrated.doubts.push(Doubt::new("no-scale", "no label card"));
        outcome.plants[0].grade.flags.push(Flag {
            code: "x",
            sure: Some(Sure::Likely),
            text: "y".into(),
            value: 0.123_456,
            limit: f64::NAN,
        });
        outcome
    }

    #[test]
    fn json_has_every_key_of_the_contract_and_null_for_the_unknown() {
        let record = PhotoRecord::graded("in/a.jpg", "a", &outcome(), &Options::default());
        let value = serde_json::to_value(&record).unwrap();
        let none = json!({"value": null, "low": null, "high": null});
        let plant = json!({
            "index": 1, "plant": null, "box": [0, 0, 4, 2], "centre": [1.3, 0.4], "pixels": 7,
            "diameter_px": 4.0, "px_per_mm": none, "diameter_mm": null, "diameter_mm_low": null, "diameter_mm_high": null, "confidence": 0.9,
            "tissue": {"green": 0.5714, "cream": 0.1429, "gold": 0.0, "red": 0.1429, "band": 0.1429, "dead": 0.0, "unsure": 0.0},
            "green_fraction": {"value": 0.5714, "low": 0.5314, "high": 0.6114},
            "pale_fraction": {"value": 0.1429, "low": 0.1029, "high": 0.1829},
            "red_fraction": {"value": 0.1429, "low": 0.1029, "high": 0.1829},
            "green_capacity": none,
            "bands": {"count": null, "width_mm": {"value": null, "low": null, "high": null, "p10": null, "p90": null},
                "pitch_mm": none, "width_rel": null, "class": null, "class_by": null, "waviness": null, "continuity": null,
                "cover": null},
            "stripes": {"count": null, "width_mm": none, "spacing_mm": none, "fineness": null, "share": null},
            "pattern": value["plants"][0]["pattern"],
            "contrast": none, "green_hue_deg": none, "score": null, "score_low": null, "score_high": null, "score_parts": {}, "decision": null,
            "decision_name": null, "decision_reasons": [], "outlook": {"pace": none, "text": null},
            "flags": [{"code": "x", "sure": "likely", "text": "y", "value": 0.1235, "limit": null}], "doubts": []
        });
        let expected = json!({
            "schema": "variegauge.photo/1", "file": "in/a.jpg", "stem": "a", "sha256": "00ff", "width": 4, "height": 2,
            "taken_at": "2026-01-31T09:15:00", "camera": null, "status": "graded", "error": null,
            "doubts": [{"code": "no-date", "text": "the photo has no date"}, {"code": "no-scale", "text": "no label card"}],
            "calibration": {"white": "estimated", "white_gain": [1.25, 1.0, 0.8], "white_mired_sd": 12.3, "scale": "none",
                "px_per_mm": null, "camera_tilt_deg": null, "camera_tilt_sd_deg": null, "camera_distance_mm": null,
                "camera_distance_sd_mm": null, "exposure": null, "cards": []},
            "plants": [plant], "program": value["program"], "settings": value["settings"]
        });
        assert_eq!(value, expected);
        let keys = |value: &serde_json::Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
        let pattern = &value["plants"][0]["pattern"];
        let told = "confidence evenness evenness_around name numbers other_side_green pale_side_deg pale_side_green pale_side_share second \
                    second_confidence strong_half_green tone weak_half_deg weak_half_green";
        assert_eq!(keys(pattern), told);
        assert_eq!(
            keys(&pattern["numbers"]),
            "agreed along base blue_added contrast green_added level lines middle one_sided read"
        );
        assert_eq!((&pattern["tone"], &pattern["numbers"]["lines"]), (&json!("albo"), &json!(null)));
    }

    /// Paths of all values that hold no others, as `plants[].box[]`.
    fn leaves(value: &serde_json::Value, path: &str, found: &mut Vec<String>) {
        if let Some(map) = value.as_object().filter(|map| !map.is_empty()) {
            map.iter().for_each(|(key, value)| leaves(value, &format!("{path}.{key}"), found));
        } else if let Some(values) = value.as_array().filter(|values| !values.is_empty()) {
            for value in values {
                leaves(value, &format!("{path}[]"), found);
            }
        } else {
            found.push(path.trim_start_matches('.').into());
        }
    }

    #[test]
    fn every_key_is_explained() {
        let record = PhotoRecord::graded("in/a.jpg", "a", &outcome(), &Options::default());
        let mut found = Vec::new();
        leaves(&serde_json::to_value(&record).unwrap(), "", &mut found);
        assert!(found.contains(&"plants[].bands.width_mm.p10".to_owned()), "{found:?}");
        let text = include_str!("../../docs/output.md");
        let named = |path: &str| text.contains(&format!("`{path}`"));
        // `tissue.green` and `flags[].code` are told where `tissue` and `flags` are.
        let parent = |path: &str| path.rsplit_once('.').is_some_and(|(parent, _)| named(parent.trim_end_matches("[]")));
        for path in found {
            let path = path.trim_end_matches("[]");
            let told = named(path) || (parent(path) && path.rsplit_once('.').is_some_and(|(up, _)| up != "plants[]"));
            assert!(told, "{path}");
        }
    }

    #[test]
    fn a_photo_without_measurement_keeps_its_reason() {
        let status = |error: Error| (Status::of(&error), error.to_string());
        let refused = status(Error::Refused("too dark".into()));
        let record = PhotoRecord::stopped("b.jpg", "b", refused, &Options::default());
        let value = serde_json::to_value(&record).unwrap();
        assert_eq!((&value["status"], &value["error"]), (&json!("refused"), &json!("too dark")));
        assert_eq!((&value["calibration"], &value["plants"]), (&json!(null), &json!([])));
        assert_eq!(Status::of(&Error::Damaged(String::new())), Status::Failed);
    }

    #[test]
    fn rounding_gives_no_minus_zero_and_no_nan() {
        assert_eq!(rounded(-0.000_01, 4).map(f64::is_sign_negative), Some(false));
        assert_eq!(rounded(f64::INFINITY, 2), None);
    }
}
