//! CSV: one row a plant, and one for a photo without plants. RFC 4180; the columns are explained in `docs/output.md`.

use crate::base::doubt::Doubt;
use crate::grade::Part;
use crate::options::Options;
use crate::record::{Calibration, Estimate, PhotoRecord, PlantRecord, Status};
use crate::tissue::class::Tissue;
use std::io::{Error, Result, Write};

/// Writes the names of the columns. `excel` puts the byte order mark first that Excel needs to read UTF-8.
pub fn heading(excel: bool, out: &mut dyn Write) -> Result<()> {
    let nothing = PhotoRecord::stopped("", "", (Status::Failed, String::new()), &Options::default());
    columns(&row(&nothing, None), excel, out)
}

/// Writes the rows of a photo.
pub fn rows(photo: &PhotoRecord, out: &mut dyn Write) -> Result<()> {
    let plants = photo.plants.iter().map(Some).chain(photo.plants.is_empty().then_some(None));
    lines(plants.map(|plant| row(photo, plant)), out)
}

/// Writes rows under the names of the columns of `heading`.
pub(super) fn written(heading: &Row, rows: impl Iterator<Item = Row>, excel: bool, out: &mut dyn Write) -> Result<()> {
    columns(heading, excel, out)?;
    lines(rows, out)
}

/// Writes the names of the columns of `heading`.
pub(super) fn columns(heading: &Row, excel: bool, out: &mut dyn Write) -> Result<()> {
    if excel {
        out.write_all("\u{feff}".as_bytes())?;
    }
    let mut table = table(out);
    table.write_record(heading.0.iter().map(|(name, _)| name)).map_err(plain)?;
    table.flush()
}

/// Writes rows without the names of their columns.
pub(super) fn lines(rows: impl Iterator<Item = Row>, out: &mut dyn Write) -> Result<()> {
    let mut table = table(out);
    for row in rows {
        table.write_record(row.0.iter().map(|(_, cell)| cell)).map_err(plain)?;
    }
    table.flush()
}

fn table(out: &mut dyn Write) -> csv::Writer<&mut dyn Write> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(out)
}

/// The error of the output itself, as its kind tells what happened.
fn plain(error: csv::Error) -> Error {
    let text = error.to_string();
    if let csv::ErrorKind::Io(error) = error.into_kind() { error } else { Error::other(text) }
}

/// Cells with the names of their columns, which are the same for every row.
#[derive(Default)]
pub(super) struct Row(Vec<(String, String)>);

impl Row {
    pub(super) fn text(&mut self, column: &str, text: Option<&str>) {
        self.0.push((column.into(), text.map(inert).unwrap_or_default()));
    }

    pub(super) fn count(&mut self, column: &str, count: Option<usize>) {
        self.0.push((column.into(), count.map(|n| n.to_string()).unwrap_or_default()));
    }

    pub(super) fn number(&mut self, column: &str, value: Option<f64>, decimals: usize) {
        self.0.push((column.into(), value.map(|v| format!("{v:.decimals$}")).unwrap_or_default()));
    }

    fn estimate(&mut self, column: &str, estimate: Option<Estimate>, decimals: usize) {
        let Estimate { value, low, high } = estimate.unwrap_or_default();
        self.number(column, value, decimals);
        self.number(&format!("{column}_low"), low, decimals);
        self.number(&format!("{column}_high"), high, decimals);
    }
}

fn row(photo: &PhotoRecord, plant: Option<&PlantRecord>) -> Row {
    let mut row = Row::default();
    row.text("file", Some(&photo.file));
    row.text("status", Some(photo.status.name()));
    row.text("reason", photo.error.as_deref());
    row.text("taken_at", photo.taken_at.as_deref());
    row.count("plant_index", plant.map(|p| p.index));
    row.text("plant", plant.and_then(|p| p.number.as_deref()));
    measured(&mut row, plant);
    named(&mut row, plant);
    let doubts = || photo.doubts.iter().chain(plant.map(|p| p.doubts.as_slice()).unwrap_or_default());
    row.text("doubts", Some(&joined(doubts().map(|d| d.code), " ")));
    row.text("doubts_text", Some(&joined(doubts().map(|Doubt { text, .. }| text.as_str()), " | ")));
    calibration(&mut row, photo.calibration.as_ref());
    row.count("photo_width_px", photo.width);
    row.count("photo_height_px", photo.height);
    row.text("camera", photo.camera.as_deref());
    row.text("stem", Some(&photo.stem));
    row.text("sha256", photo.sha256.as_deref());
    row.text("program", Some(photo.program));
    row.text("standard_hash", Some(&photo.settings.standard_hash));
    row.text("settings_hash", Some(&photo.settings.hash));
    row
}

fn measured(row: &mut Row, plant: Option<&PlantRecord>) {
    row.estimate("green_fraction", plant.map(|p| p.green_fraction), 4);
    row.estimate("pale_fraction", plant.map(|p| p.pale_fraction), 4);
    row.estimate("red_fraction", plant.map(|p| p.red_fraction), 4);
    row.estimate("green_capacity", plant.map(|p| p.green_capacity), 4);
    for tissue in Tissue::ALL {
        row.number(&format!("{}_share", tissue.name()), plant.and_then(|p| p.tissue[tissue]), 4);
    }
    row.number("diameter_mm", plant.and_then(|p| p.diameter_mm), 2);
    row.number("diameter_mm_low", plant.and_then(|p| p.diameter_mm_low), 2);
    row.number("diameter_mm_high", plant.and_then(|p| p.diameter_mm_high), 2);
    row.number("diameter_px", plant.and_then(|p| p.diameter_px), 1);
    row.count("leaf_px", plant.map(|p| p.pixels));
    for (axis, column) in ["box_x_px", "box_y_px", "box_width_px", "box_height_px"].into_iter().enumerate() {
        row.count(column, plant.map(|p| p.bounds[axis]));
    }
    row.number("outline_confidence", plant.and_then(|p| p.confidence), 4);
    row.count("band_count", plant.and_then(|p| p.bands.count));
    row.estimate("band_width_mm", plant.map(|p| p.bands.width_mm.mean), 2);
    row.number("band_width_p10_mm", plant.and_then(|p| p.bands.width_mm.p10), 2);
    row.number("band_width_p90_mm", plant.and_then(|p| p.bands.width_mm.p90), 2);
    row.estimate("band_pitch_mm", plant.map(|p| p.bands.pitch_mm), 2);
    row.number("band_width_rel", plant.and_then(|p| p.bands.width_rel), 4);
    row.number("band_waviness", plant.and_then(|p| p.bands.waviness), 3);
    row.number("band_continuity", plant.and_then(|p| p.bands.continuity), 3);
    row.number("band_cover", plant.and_then(|p| p.bands.cover), 4);
    row.count("stripe_count", plant.and_then(|p| p.stripes.count));
    row.estimate("stripe_width_mm", plant.map(|p| p.stripes.width_mm), 2);
    row.estimate("stripe_spacing_mm", plant.map(|p| p.stripes.spacing_mm), 2);
    row.number("stripe_fineness", plant.and_then(|p| p.stripes.fineness), 2);
    row.number("stripe_share", plant.and_then(|p| p.stripes.share), 3);
}

fn named(row: &mut Row, plant: Option<&PlantRecord>) {
    row.text("band_class", plant.and_then(|p| p.bands.class.as_deref()));
    row.text("band_class_by", plant.and_then(|p| p.bands.class_by));
    row.text("pattern", plant.and_then(|p| p.pattern.name.as_deref()));
    row.text("pattern_tone", plant.and_then(|p| p.pattern.tone.as_deref()));
    row.number("pattern_confidence", plant.and_then(|p| p.pattern.confidence), 4);
    row.text("pattern_second", plant.and_then(|p| p.pattern.second.as_deref()));
    row.number("pattern_evenness", plant.and_then(|p| p.pattern.evenness), 3);
    row.number("pattern_evenness_around", plant.and_then(|p| p.pattern.evenness_around), 3);
    row.number("weak_half_green", plant.and_then(|p| p.pattern.weak_half_green), 3);
    row.number("strong_half_green", plant.and_then(|p| p.pattern.strong_half_green), 3);
    row.number("weak_half_deg", plant.and_then(|p| p.pattern.weak_half_deg), 0);
    row.number("pale_side_share", plant.and_then(|p| p.pattern.pale_side_share), 3);
    row.number("pale_side_deg", plant.and_then(|p| p.pattern.pale_side_deg), 0);
    row.number("pale_side_green", plant.and_then(|p| p.pattern.pale_side_green), 3);
    row.number("other_side_green", plant.and_then(|p| p.pattern.other_side_green), 3);
    graded(row, plant);
}

fn graded(row: &mut Row, plant: Option<&PlantRecord>) {
    row.estimate("contrast", plant.map(|p| p.contrast), 3);
    row.estimate("green_hue_deg", plant.map(|p| p.green_hue_deg), 1);
    row.number("score", plant.and_then(|p| p.score), 1);
    row.number("score_low", plant.and_then(|p| p.score_low), 1);
    row.number("score_high", plant.and_then(|p| p.score_high), 1);
    for part in Part::ALL.map(Part::name) {
        row.number(&format!("score_{part}"), plant.and_then(|p| p.score_parts.get(part)?.points), 1);
    }
    row.text("decision", plant.and_then(|p| p.decision));
    row.text("decision_name", plant.and_then(|p| p.decision_name.as_deref()));
    let reasons = plant.map(|p| p.decision_reasons.as_slice()).unwrap_or_default();
    row.text("decision_reasons", Some(&joined(reasons.iter().map(String::as_str), " | ")));
    row.estimate("outlook_pace", plant.map(|p| p.outlook.pace), 3);
    let flags = plant.map(|p| p.flags.as_slice()).unwrap_or_default();
    row.text("flags", Some(&joined(flags.iter().map(|f| f.code), " ")));
    row.text("flags_text", Some(&joined(flags.iter().map(|f| f.text.as_str()), " | ")));
}

fn calibration(row: &mut Row, calibration: Option<&Calibration>) {
    row.text("white_source", calibration.map(|c| c.white));
    row.number("white_mired_sd", calibration.and_then(|c| c.white_mired_sd), 1);
    row.text("scale_source", calibration.map(|c| c.scale));
    row.number("px_per_mm", calibration.and_then(|c| c.px_per_mm), 3);
}

fn joined<'a>(texts: impl Iterator<Item = &'a str>, between: &str) -> String {
    texts.collect::<Vec<_>>().join(between)
}

/// A text cell that no spreadsheet takes for a formula: a `'` goes before it if its first sign other than a blank is one
/// of `= + - @`, or if it begins with tab, line end or NUL (OWASP ASVS 5.0, 1.2.10). A cell that begins with `'` gets
/// one more, so that "take one leading `'` away" always gives the text back.
fn inert(text: &str) -> String {
    let acts = text.trim_start().starts_with(['=', '+', '-', '@', '\0']);
    let acts = acts || text.starts_with(['\t', '\r', '\n', '\0', '\'']);
    if acts { format!("'{text}") } else { text.into() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grade::Flag;
    use crate::pipeline::drawn;
    use proptest::prelude::*;

    fn written(records: &[PhotoRecord], excel: bool) -> String {
        let mut out = Vec::new();
        heading(excel, &mut out).unwrap();
        for photo in records {
            rows(photo, &mut out).unwrap();
        }
        String::from_utf8(out).unwrap()
    }

    fn failed(file: &str, reason: &str) -> PhotoRecord {
        PhotoRecord::stopped(file, "s", (Status::Failed, reason.into()), &Options::default())
    }

    /// Cells by column name, one map a row.
    fn read(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
        csv::Reader::from_reader(text.as_bytes()).deserialize().map(|row| row.unwrap()).collect()
    }

    #[test]
    fn one_row_a_plant_and_one_for_a_photo_without() {
        let mut outcome = drawn(&[&["gggc.."], &["....rr"]]);
        outcome.plants[0].measures.diameter_mm = Some(crate::base::stats::Interval { value: 4.0, low: 3.9, high: 4.1 });
        outcome.plants[1].grade.flags =
            ["a", "b"].map(|code| Flag { code, sure: None, text: format!("is {code}"), value: 0.0, limit: 0.0 }).into();
        outcome.calibrated.doubts = vec![Doubt::new("no-scale", "no card")];
        let records =
            [PhotoRecord::graded("a.jpg", "a", &outcome, &Options::default()), failed("b.jpg", "cut off, \"half\"")];
        let rows = read(&written(&records, false));
        let column = |name: &str| rows.iter().map(|row| row[name].clone()).collect::<Vec<_>>();
        assert_eq!(column("file"), ["a.jpg", "a.jpg", "b.jpg"]);
        assert_eq!(column("status"), ["graded", "graded", "failed"]);
        assert_eq!(column("reason"), ["", "", "cut off, \"half\""]);
        assert_eq!(column("plant_index"), ["1", "2", ""]);
        assert_eq!(column("green_fraction"), ["0.7500", "0.0000", ""]);
        assert_eq!(column("green_fraction_high"), ["0.7900", "0.0400", ""]);
        assert_eq!(column("red_share"), ["0.0000", "1.0000", ""]);
        assert_eq!(column("diameter_mm"), ["4.00", "", ""]);
        assert_eq!(column("band_width_mm"), ["", "", ""]);
        assert_eq!(column("flags"), ["", "a b", ""]);
        assert_eq!(column("flags_text"), ["", "is a | is b", ""]);
        assert_eq!(column("doubts"), ["no-scale", "no-scale", ""]);
        assert_eq!(column("taken_at"), ["2026-01-31T09:15:00", "2026-01-31T09:15:00", ""]);
    }

    #[test]
    fn lines_end_as_rfc_4180_asks_and_headers_are_snake_case() {
        let text = written(&[failed("a", "b")], false);
        assert_eq!(text.matches("\r\n").count(), 2);
        assert_eq!(text.matches('\n').count(), 2);
        let header = text.lines().next().unwrap();
        assert!(header.split(',').all(|h| h.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')));
        assert!(written(&[], true).starts_with("\u{feff}file,status"));
    }

    #[test]
    fn every_column_is_explained() {
        let text = written(&[], false);
        for column in text.trim_end().split(',') {
            let explained = include_str!("../../docs/output.md").lines().any(|line| {
                let cell = line.strip_prefix("| ").and_then(|line| line.split(" | ").next()).unwrap_or_default();
                cell.contains(&format!("`{column}`"))
            });
            assert!(explained, "{column}");
        }
    }

    #[test]
    fn formulas_in_names_are_inert() {
        for name in ["=1+1.jpg", "=cmd|'!A1.jpg", "@SUM(1)", "+1", "-rf.jpg", "\tTAB", " =1", "\n=1", "'=1"] {
            let rows = read(&written(&[failed(name, name)], false));
            assert_eq!(rows[0]["file"], format!("'{name}"));
            assert_eq!(rows[0]["reason"], format!("'{name}"));
        }
        assert_eq!(read(&written(&[failed("a=1.jpg", "")], false))[0]["file"], "a=1.jpg");
    }

    proptest! {
        #[test]
        fn any_text_comes_back_and_never_acts(name in "[=+@\\-'\"\\s,;a\\PC]{0,12}") {
            let rows = read(&written(&[failed(&name, "r")], false));
            let cell = &rows[0]["file"];
            prop_assert_eq!(cell.strip_prefix('\'').unwrap_or(cell), &name);
            prop_assert!(!cell.trim_start().starts_with(['=', '+', '-', '@']));
            prop_assert!(!cell.starts_with(['\t', '\r', '\n']));
        }
    }
}
