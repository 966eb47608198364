//! The stock book to files and back.

use super::args::What;
use super::many;
use crate::cli::card::list::{separator, text};
use crate::cli::place::Place;
use crate::cli::say;
use csv::StringRecord;
use std::collections::HashMap;
use std::fs;
use std::path::Path;
use std::str::FromStr;
use variegauge::book::Book;
use variegauge::book::plants::{Gone, Plant};
use variegauge::error::{Error, Result};
use variegauge::report::file;
use variegauge::report::stock;

/// What a file is by its ending.
enum Kind {
    Table,
    Whole,
}

fn kind(path: &Path) -> Result<Kind> {
    match path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).as_deref() {
        Some("csv") => Ok(Kind::Table),
        Some("json") => Ok(Kind::Whole),
        _ => Err(Error::Entry(format!(
            "{}: the name must end in .csv (a table) or .json (a whole book)",
            path.display()
        ))),
    }
}

pub(super) fn export(book: &Book, path: &Path, what: What, force: bool) -> Result<()> {
    let kind = kind(path)?;
    if !force && path.exists() {
        return Err(Error::Entry(format!("{} exists already; overwrite it with --force", path.display())));
    }
    match (kind, what) {
        (Kind::Whole, _) => {
            let dump = book.dump()?;
            file::write(path, |out| Ok(serde_json::to_writer(out, &dump)?))?;
        }
        (Kind::Table, What::Plants) => {
            let plants = book.list(true)?;
            file::write(path, |out| stock::plants_csv(&plants, out))?;
        }
        (Kind::Table, What::Readings) => {
            let readings = book.all_readings()?;
            file::write(path, |out| stock::readings_csv(&readings, out))?;
        }
    }
    say::line(&say::safe(&format!("wrote {}", path.display())));
    Ok(())
}

pub(super) fn import(place: &Place, path: &Path) -> Result<()> {
    let kind = kind(path)?;
    let bytes = fs::read(path).map_err(Error::Read)?;
    let wrong = |reason: String| Error::Entry(format!("{}: {reason}", path.display()));
    match kind {
        Kind::Whole => {
            let dump = serde_json::from_slice(&bytes).map_err(|error| wrong(format!("is no JSON: {error}")))?;
            let plants = place.open_or_make()?.load(&dump)?;
            say::line(&format!("{} and all that is known of them came in", many(plants, "plant")));
        }
        Kind::Table => {
            let plants = plants(&bytes).map_err(wrong)?;
            let came = place.open_or_make()?.add_missing(&plants);
            let came = came.map_err(|error| if let Error::Entry(reason) = error { wrong(reason) } else { error })?;
            let differ =
                if came.differ > 0 { format!(", {} differ, left as they are", came.differ) } else { String::new() };
            say::line(&format!("{} added, {} unchanged{differ}", many(came.added, "plant"), came.same));
        }
    }
    Ok(())
}

/// Plants of a table with a column `plant` and any of `name`, `mother`, `since`, `notes`, `gone_on`, `gone_how`,
/// with their lines.
fn plants(bytes: &[u8]) -> std::result::Result<Vec<(u64, Plant)>, String> {
    let text = text(bytes)?;
    let mut table = csv::ReaderBuilder::new().delimiter(separator(text)).from_reader(text.as_bytes());
    let headings: Vec<String> = table
        .headers()
        .map_err(|error| error.to_string())?
        .iter()
        .map(|heading| heading.trim().to_lowercase())
        .collect();
    if !headings.iter().any(|heading| heading == "plant") {
        return Err("the first line names no column `plant`".into());
    }
    let mut plants = Vec::new();
    let mut lines = HashMap::new();
    for row in table.records() {
        let row = row.map_err(|error| error.to_string())?;
        let line = row.position().map_or(0, csv::Position::line);
        let plant = plant(&headings, &row).map_err(|error| format!("line {line}: {error}"))?;
        if let Some(first) = lines.insert(plant.number.as_str().to_ascii_uppercase(), line) {
            return Err(format!("line {line}: {} is in line {first} already", plant.number));
        }
        plants.push((line, plant));
    }
    Ok(plants)
}

fn plant(headings: &[String], row: &StringRecord) -> std::result::Result<Plant, String> {
    let cell = |name: &str| {
        let place = headings.iter().position(|heading| heading == name);
        let cell = place.and_then(|place| row.get(place)).unwrap_or_default().trim();
        // What keeps spreadsheets from taking a text for a formula.
        cell.strip_prefix('\'').unwrap_or(cell)
    };
    let how = Gone::ALL.into_iter().find(|how| how.name() == cell("gone_how"));
    let gone = match (read(cell("gone_on"), "gone_on")?, how) {
        (Some(day), Some(how)) => Some((day, how)),
        (None, None) if cell("gone_how").is_empty() => None,
        _ => return Err("`gone_on` needs a day and `gone_how` sold, died or given; or neither".into()),
    };
    Ok(Plant {
        number: read(cell("plant"), "plant")?.ok_or("no plant number")?,
        name: cell("name").into(),
        mother: read(cell("mother"), "mother")?,
        since: read(cell("since"), "since")?,
        notes: cell("notes").into(),
        gone,
    })
}

/// A cell as what it stands for; empty is unknown.
fn read<T: FromStr<Err: std::fmt::Display>>(cell: &str, column: &str) -> std::result::Result<Option<T>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    cell.parse().map(Some).map_err(|error| format!("`{column}`, `{cell}`: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_read_whatever_their_order() {
        let text =
            "since;Plant;mother;gone_on;gone_how;name\n2025-04-12;ZB-1;;;;'=Zebra\n;ZB-2;ZB-1;2026-01-02;sold;\n";
        let plants = plants(text.as_bytes()).unwrap();
        let plants: Vec<Plant> = plants.into_iter().map(|(_, plant)| plant).collect();
        assert_eq!((plants[0].name.as_str(), plants[0].since.unwrap().to_string().as_str()), ("=Zebra", "2025-04-12"));
        assert_eq!(plants[1].mother.as_ref().unwrap().as_str(), "ZB-1");
        assert_eq!(plants[1].gone.unwrap().1, Gone::Sold);
    }

    #[test]
    fn a_bad_cell_is_named_with_its_line() {
        for (text, word) in [
            ("number\n1\n", "`plant`"),
            ("plant,since\nA,1.2.2026\n", "line 2: `since`, `1.2.2026`: a date"),
            ("plant,gone_on\nA,2026-01-01\n", "line 2: `gone_on`"),
            ("plant,gone_on,gone_how\nA,2026-01-01,eaten\n", "line 2: `gone_on`"),
            ("plant,name\n,x\n", "line 2: no plant number"),
            ("plant\nA\nB\na\n", "line 4: a is in line 2 already"),
        ] {
            let error = plants(text.as_bytes()).unwrap_err();
            assert!(error.contains(word), "{text:?}: {error}");
        }
    }
}
