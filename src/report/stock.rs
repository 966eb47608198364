//! What the stock book tells: tables on the terminal and for spreadsheets.

use super::csv::{Row, written};
use super::text::shown;
use crate::base::stats::Interval;
use crate::book::decisions::Decision;
use crate::book::plants::{Known, Plant};
use crate::book::readings::Reading;
use std::io::{Result, Write};
use unicode_width::UnicodeWidthStr;

/// Rows of cells as lines of columns as wide as need be.
pub fn columns(rows: &[Vec<String>]) -> String {
    let width =
        |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.width()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..rows.iter().map(Vec::len).max().unwrap_or(0)).map(width).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(&widths).map(|(cell, width)| cell.clone() + &" ".repeat(width - cell.width()));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

/// Plants, one a line.
pub fn list(plants: &[Known]) -> String {
    let heading =
        ["plant", "name", "mother", "since", "last photo", "green capacity", "red", "size", "advised", "decided"];
    let rows = plants.iter().map(|known| {
        let Known { plant, latest, decided } = known;
        let of = |tell: fn(&Reading) -> String| latest.as_ref().map_or("-".into(), tell);
        let gone = plant.gone.map(|(day, how)| format!("{} {day}", how.name()));
        vec![
            plant.number.to_string(),
            shown(&plant.name),
            or_dash(plant.mother.as_ref()),
            or_dash(plant.since),
            of(|reading| or_dash(reading.day)),
            of(|reading| percent(reading.capacity)),
            of(|reading| percent(reading.red)),
            of(|reading| size(reading.diameter_mm)),
            of(|reading| or_dash(reading.decision.as_ref())),
            gone.or_else(|| decided.as_ref().map(|said| said.word.clone())).unwrap_or_else(|| "-".into()),
        ]
    });
    columns(&std::iter::once(heading.map(String::from).to_vec()).chain(rows).collect::<Vec<_>>())
}

/// All of one plant.
pub fn show(known: &Known, history: &[Reading], decisions: &[Decision]) -> String {
    let Plant { number, name, mother, since, notes, gone } = &known.plant;
    let mut text = format!("{number} {}", shown(name)).trim_end().to_owned() + "\n";
    let mut line = |what: &str, said: Option<String>| {
        if let Some(said) = said.filter(|said| !said.is_empty()) {
            text.extend([what, ": ", &shown(&said), "\n"]);
        }
    };
    line("mother", mother.as_ref().map(ToString::to_string));
    line("since", since.map(|day| day.to_string()));
    line("gone", gone.map(|(day, how)| format!("{day}, {}", how.name())));
    line("notes", Some(notes.clone()));
    for Decision { word, on, who, why } in decisions {
        line("decided", Some(format!("{on} {word} by {who}{}{why}", if why.is_empty() { "" } else { ": " })));
    }
    text + &readings(history)
}

/// Readings that no plant has.
pub fn unassigned(of: &[Reading]) -> String {
    readings(of)
}

fn readings(of: &[Reading]) -> String {
    let heading = ["reading", "day", "green capacity", "red", "green hue", "size", "advised", "photo"];
    let row = |reading: &Reading| {
        vec![
            reading.id.to_string(),
            or_dash(reading.day),
            percent(reading.capacity),
            percent(reading.red),
            degrees(reading.green_hue),
            size(reading.diameter_mm),
            or_dash(reading.decision.as_ref()),
            format!("{} plant {}", shown(&reading.path), reading.place),
        ]
    };
    columns(&std::iter::once(heading.map(String::from).to_vec()).chain(of.iter().map(row)).collect::<Vec<_>>())
}

fn or_dash(value: Option<impl ToString>) -> String {
    value.map_or("-".into(), |value| value.to_string())
}

/// A share with its 95 % range.
pub fn percent(share: Option<Interval>) -> String {
    share.map_or("-".into(), |Interval { value, low, high }| {
        format!("{:.0} % ({:.0}-{:.0})", value * 100.0, low * 100.0, high * 100.0)
    })
}

/// A hue with its 95 % range.
pub fn degrees(hue: Option<Interval>) -> String {
    hue.map_or("-".into(), |Interval { value, low, high }| format!("{value:.0} deg ({low:.0}-{high:.0})"))
}

/// A size with its 95 % range.
pub fn size(mm: Option<Interval>) -> String {
    mm.map_or("-".into(), |Interval { value, low, high }| format!("{value:.0} mm ({low:.0}-{high:.0})"))
}

/// Plants as CSV; `variegauge book import` reads it back.
pub fn plants_csv(plants: &[Known], out: &mut dyn Write) -> Result<()> {
    let rows = plants.iter().map(|known| plant_row(Some(known)));
    written(&plant_row(None), rows, false, out)
}

fn plant_row(known: Option<&Known>) -> Row {
    let plant = known.map(|known| &known.plant);
    let text = |of: fn(&Plant) -> Option<String>| plant.and_then(of);
    let mut row = Row::default();
    row.text("plant", text(|p| Some(p.number.to_string())).as_deref());
    row.text("name", text(|p| Some(p.name.clone())).as_deref());
    row.text("mother", text(|p| p.mother.as_ref().map(ToString::to_string)).as_deref());
    row.text("since", text(|p| p.since.map(|day| day.to_string())).as_deref());
    row.text("notes", text(|p| Some(p.notes.clone())).as_deref());
    row.text("gone_on", text(|p| p.gone.map(|(day, _)| day.to_string())).as_deref());
    row.text("gone_how", text(|p| p.gone.map(|(_, how)| how.name().into())).as_deref());
    let latest = known.and_then(|known| known.latest.as_ref());
    row.text("last_photo", latest.and_then(|reading| reading.day).map(|day| day.to_string()).as_deref());
    interval(&mut row, "green_capacity", latest.and_then(|reading| reading.capacity), 4);
    interval(&mut row, "red_fraction", latest.and_then(|reading| reading.red), 4);
    interval(&mut row, "diameter_mm", latest.and_then(|reading| reading.diameter_mm), 2);
    row.text("advised", latest.and_then(|reading| reading.decision.as_deref()));
    let decided = known.and_then(|known| known.decided.as_ref());
    row.text("decided", decided.map(|said| said.word.as_str()));
    row.text("decided_on", decided.map(|said| said.on.to_string()).as_deref());
    row.text("decided_by", decided.map(|said| said.who.as_str()));
    row.text("decided_why", decided.map(|said| said.why.as_str()));
    row
}

/// Readings that count, as CSV.
pub fn readings_csv(readings: &[Reading], out: &mut dyn Write) -> Result<()> {
    let rows = readings.iter().map(|reading| reading_row(Some(reading)));
    written(&reading_row(None), rows, false, out)
}

fn reading_row(reading: Option<&Reading>) -> Row {
    let mut row = Row::default();
    row.text("plant", reading.and_then(|r| r.plant.as_ref()).map(ToString::to_string).as_deref());
    row.text("day", reading.and_then(|r| r.day).map(|day| day.to_string()).as_deref());
    row.count("reading", reading.map(|r| r.id as usize));
    row.text("photo", reading.map(|r| r.path.as_str()));
    row.count("plant_index", reading.map(|r| r.place));
    interval(&mut row, "pale_fraction", reading.and_then(|r| r.pale), 4);
    interval(&mut row, "red_fraction", reading.and_then(|r| r.red), 4);
    interval(&mut row, "green_capacity", reading.and_then(|r| r.capacity), 4);
    interval(&mut row, "green_hue_deg", reading.and_then(|r| r.green_hue), 1);
    interval(&mut row, "diameter_mm", reading.and_then(|r| r.diameter_mm), 2);
    row.number("dead_share", reading.and_then(|r| r.dead), 4);
    row.number("score", reading.and_then(|r| r.score), 1);
    row.text("advised", reading.and_then(|r| r.decision.as_deref()));
    row
}

/// Three columns.
pub(super) fn interval(row: &mut Row, column: &str, interval: Option<Interval>, decimals: usize) {
    row.number(column, interval.map(|i| i.value), decimals);
    row.number(&format!("{column}_low"), interval.map(|i| i.low), decimals);
    row.number(&format!("{column}_high"), interval.map(|i| i.high), decimals);
}
