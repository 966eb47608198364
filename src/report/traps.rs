//! Tests: texts that spreadsheets, browsers and terminals could obey, in every place where a text can stand.

use super::html::batch::{Report, Seen};
use super::listing::{Format, Listing};
use super::{csv, jsonl, table::Table};
use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::options::Options;
use crate::pipeline::drawn;
use crate::record::{FlagRecord, PhotoRecord, Status};

fn texts() -> Vec<String> {
    serde_json::from_str(include_str!("../../fixtures/traps/texts.json")).unwrap()
}

/// A photo with a plant and one that failed, all of whose texts are `text`.
fn photos(text: &str) -> [PhotoRecord; 2] {
    let options = Options::default();
    let mut photo = PhotoRecord::graded(text, text, &drawn(&[&["ggcc", "gcrb"]]), &options);
    let flag = FlagRecord { code: "red", sure: None, text: text.into(), value: Some(0.4), limit: Some(0.3) };
    photo.taken_at = Some(text.into());
    photo.camera = Some(text.into());
    photo.doubts = vec![Doubt::new("x", text)];
    photo.settings.standard_hash = text.into();
    let plant = &mut photo.plants[0];
    plant.number = Some(text.into());
    plant.bands.count = Some(3);
    plant.bands.class = Some(text.into());
    plant.pattern.name = Some(text.into());
    plant.decision_name = Some(text.into());
    plant.decision_reasons = vec![text.into()];
    plant.outlook.text = Some(text.into());
    plant.flags = vec![flag];
    plant.doubts = vec![Doubt::new("y", text)];
    [photo, PhotoRecord::stopped(text, text, (Status::Failed, text.into()), &options)]
}

/// The tags of a page with the names of their attributes: what a browser builds, without the texts.
fn skeleton(page: &str) -> Vec<String> {
    let page = page.split("<style>").map(|part| part.split_once("</style>").map_or(part, |(_, rest)| rest));
    let page: String = page.collect::<Vec<_>>().join("<style>");
    let mut tags = Vec::new();
    let mut rest = page.split("<script>").next().unwrap();
    while let Some(start) = rest.find('<') {
        let (mut tag, mut quoted, mut end) = (String::new(), false, rest.len());
        for (at, letter) in rest[start..].char_indices() {
            match letter {
                '"' => quoted = !quoted,
                '>' if !quoted => {
                    end = start + at + 1;
                    break;
                }
                _ if !quoted => tag.push(letter),
                _ => {}
            }
        }
        tags.push(tag);
        rest = &rest[end..];
    }
    tags
}

fn obeyed(text: &str) -> bool {
    text.chars().any(|letter| {
        (letter.is_control() && letter != '\n')
            || matches!(letter, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    })
}

fn report(text: &str) -> String {
    let mut page = Vec::new();
    let mut report = Report::new(None).unwrap();
    for photo in photos(text) {
        report.add(photo, &Seen::default()).unwrap();
    }
    report.write(&mut page).unwrap();
    String::from_utf8(page).unwrap()
}

fn listing(text: &str, format: Format) -> Vec<u8> {
    let [photo, _] = photos(text);
    let listing = Listing::new(&Raster::filled(4, 2, [90, 120, 80]), &photo, &photo.plants[0], Some(text));
    let mut out = Vec::new();
    listing.write(format, &mut out).unwrap();
    out
}

#[test]
fn there_are_traps_and_the_test_sees_one_that_works() {
    assert!(texts().len() > 40);
    assert_eq!(skeleton("<p a=\"<b>\">x</p>"), ["<p a=", "</p"]);
    assert_ne!(skeleton("<p><b></p>"), skeleton("<p>&lt;b&gt;</p>"));
    assert!(obeyed("\u{1b}[2J") && obeyed("\u{202e}") && obeyed("\u{9b}") && !obeyed("grün\n"));
}

#[test]
fn a_report_is_built_alike_whatever_its_texts() {
    let harmless = skeleton(&report("harmless"));
    assert!(harmless.len() > 100);
    for text in texts() {
        let page = report(&text);
        assert_eq!(skeleton(&page), harmless, "{text:?}");
        assert!(!obeyed(&page), "{text:?}");
    }
}

#[test]
fn so_is_a_listing() {
    let page = |text: &str| String::from_utf8(listing(text, Format::Html)).unwrap();
    let objects = |text: &str| listing(text, Format::Pdf).windows(4).filter(|part| part == b" obj").count();
    let (harmless, count) = (skeleton(&page("harmless")), objects("harmless"));
    assert!(harmless.len() > 40 && count > 4);
    for text in texts() {
        assert_eq!(skeleton(&page(&text)), harmless, "{text:?}");
        assert!(!obeyed(&page(&text)), "{text:?}");
        assert_eq!(objects(&text), count, "{text:?}");
    }
}

#[test]
fn a_spreadsheet_finds_no_formula_and_gives_every_text_back() {
    for text in texts() {
        let mut out = Vec::new();
        csv::heading(false, &mut out).unwrap();
        for photo in photos(&text) {
            csv::rows(&photo, &mut out).unwrap();
        }
        let mut table = ::csv::Reader::from_reader(out.as_slice());
        let names = table.headers().unwrap().clone();
        let rows: Vec<_> = table.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 2);
        for cell in rows.iter().flat_map(|row| row.iter()) {
            let acts =
                cell.trim_start().starts_with(['=', '+', '-', '@']) || cell.starts_with(['\t', '\r', '\n', '\0']);
            assert!(!acts || cell.parse::<f64>().is_ok(), "{cell:?}");
        }
        for name in ["file", "plant", "decision_name", "decision_reasons", "flags_text", "pattern", "band_class"] {
            let cell = rows[0].get(names.iter().position(|column| column == name).unwrap()).unwrap();
            assert_eq!(cell.strip_prefix('\'').unwrap_or(cell), text, "{name}");
        }
    }
}

#[test]
fn a_terminal_is_sent_no_command() {
    for text in texts() {
        for width in [40, 120] {
            let photos = photos(&text);
            let table = Table::new(width, false, photos.iter().map(|photo| photo.file.as_str()));
            let lines: String = photos.iter().map(|photo| table.lines(photo)).collect();
            assert!(!obeyed(&lines), "{lines:?}");
        }
    }
}

#[test]
fn json_gives_every_text_back() {
    for text in texts() {
        let mut out = Vec::new();
        jsonl::write(&photos(&text)[0], &mut out).unwrap();
        let value: serde_json::Value = serde_json::from_slice(&out).unwrap();
        assert_eq!((&value["file"], &value["plants"][0]["decision_name"]), (&text.clone().into(), &text.into()));
    }
}
