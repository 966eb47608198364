//! The stock book to files and back.

use super::args::What;
use super::many;
use crate::cli::place::Place;
use crate::cli::say;
use std::fs;
use std::path::Path;
use variegauge::book::Book;
use variegauge::book::table;
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
            let plants = table::plants(&bytes).map_err(wrong)?;
            let came = place.open_or_make()?.add_missing(&plants);
            let came = came.map_err(|error| if let Error::Entry(reason) = error { wrong(reason) } else { error })?;
            let differ =
                if came.differ > 0 { format!(", {} differ, left as they are", came.differ) } else { String::new() };
            say::line(&format!("{} added, {} unchanged{differ}", many(came.added, "plant"), came.same));
        }
    }
    Ok(())
}
