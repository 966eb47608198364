//! What was seen of the bands, leaf by leaf, as CSV for a person to check; the columns are explained in `docs/output.md`.

use super::csv::{self, Row};
use crate::record::{BandLeaf, PhotoRecord, PlantRecord};
use std::io::{Result, Write};

/// Writes the names of the columns, for Excel or not.
pub fn heading(excel: bool, out: &mut dyn Write) -> Result<()> {
    csv::columns(&row(None), excel, out)
}

/// Writes the rows of a photo: one a leaf on which bands were measured.
pub fn rows(photo: &PhotoRecord, out: &mut dyn Write) -> Result<()> {
    let leaves = photo.plants.iter().flat_map(|plant| plant.bands.leaves.iter().map(move |leaf| (plant, leaf)));
    csv::lines(leaves.map(|(plant, leaf)| row(Some((photo, plant, leaf)))), out)
}

fn row(seen: Option<(&PhotoRecord, &PlantRecord, &BandLeaf)>) -> Row {
    let (plant, leaf) = (seen.map(|s| s.1), seen.map(|s| s.2));
    let mut row = Row::default();
    row.text("file", seen.map(|s| s.0.file.as_str()));
    row.count("plant_index", plant.map(|p| p.index));
    row.text("plant", plant.and_then(|p| p.number.as_deref()));
    row.count("leaf", leaf.map(|l| l.number));
    row.count("bands", leaf.map(|l| l.bands));
    row.number("width_seen_px", leaf.and_then(|l| l.width_px), 2);
    row.number("length_seen_px", leaf.and_then(|l| l.length_px), 1);
    row.number("pitch_seen_px", leaf.and_then(|l| l.pitch_px), 2);
    row.number("width_rel", leaf.and_then(|l| l.width_rel), 3);
    row.number("waviness", leaf.and_then(|l| l.waviness), 3);
    row.number("facing", leaf.and_then(|l| l.facing), 3);
    row.number("plant_px_per_mm", plant.and_then(|p| p.px_per_mm.value), 3);
    row.text("counts_for", leaf.map(|l| l.counts_for));
    row.text("reason", leaf.map(|l| l.reason.as_str()));
    row
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::options::Options;
    use crate::pipeline::drawn;

    fn leaf(number: usize, pitch_px: Option<f64>) -> BandLeaf {
        BandLeaf {
            number,
            bands: 3,
            width_px: Some(8.25),
            length_px: Some(31.0),
            pitch_px,
            width_rel: None,
            waviness: Some(0.07),
            facing: None,
            counts_for: "width",
            reason: "=single".into(),
        }
    }

    fn written() -> String {
        let mut record = PhotoRecord::graded("-a.jpg", "a", &drawn(&[&["gg"], &["gc"]]), &Options::default());
        record.plants[1].bands.leaves = vec![leaf(1, Some(20.5)), leaf(2, None)];
        let mut out = Vec::new();
        heading(false, &mut out).unwrap();
        rows(&record, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn one_row_a_leaf_and_no_cell_acts() {
        let text = written();
        let mut lines = text.split_terminator("\r\n").skip(1);
        let first = "'-a.jpg,2,,1,3,8.25,31.0,20.50,,0.070,,,width,'=single";
        assert_eq!(lines.next(), Some(first));
        assert_eq!(lines.next(), Some(first.replace(",1,3,", ",2,3,").replace("20.50", "").as_str()));
        assert_eq!(lines.next(), None);
    }

    #[test]
    fn every_column_is_explained() {
        let text = written();
        let told = include_str!("../../docs/output.md").split("## Leaf by leaf").nth(1).unwrap();
        for column in text.lines().next().unwrap().split(',') {
            assert!(told.contains(&format!("`{column}`")), "{column}");
        }
    }
}
