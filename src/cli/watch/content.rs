//! What is in a file to which rows are to be added.

use super::super::resume::{self, Way};
use csv::ByteRecord;
use serde::de::IgnoredAny;
use std::collections::HashSet;
use std::io;
use std::path::Path;
use variegauge::error::{Error, Result};
use variegauge::report;

/// With what a file of `SQLite` begins ("Database File Format", 1.3, on its site).
const DATABASE: &[u8] = b"SQLite format 3\0";

/// The byte order mark that spreadsheets put first.
const MARK: &[u8] = b"\xef\xbb\xbf";

/// With what a line of JSON of this program begins.
const LINE: &[u8] = b"{\"schema\":\"variegauge.";

/// A file that is ours.
#[derive(Debug)]
pub(super) struct Content {
    /// SHA-256 of the photos in it, by this program with these settings.
    pub(super) known: HashSet<String>,
    /// How many of its bytes stay: all but a last line that a killed program left half written.
    pub(super) stays: usize,
    /// What is to stand before the next row: the heading, or the end of the last line.
    pub(super) before: Vec<u8>,
}

/// Reads a table; its lines may end as other programs end them.
///
/// # Errors
/// It is not one of this version.
pub(super) fn csv(path: &Path, bytes: &[u8], way: &Way) -> Result<Content> {
    no_database(path, bytes)?;
    let heading = heading();
    let mark = if bytes.starts_with(MARK) { MARK.len() } else { 0 };
    let text = &bytes[mark..];
    if heading.starts_with(text) {
        return Ok(Content { known: HashSet::new(), stays: mark, before: heading });
    }
    let (columns, mut rows) = (rows(&heading), rows(text));
    if rows.first() != columns.first() {
        return Err(occupied(path, "it has other columns than this version writes; name another file"));
    }
    let (columns, count) = (rows.remove(0), bytes.len());
    let Some(last) = rows.last() else {
        return Ok(Content { known: HashSet::new(), stays: count, before: line_end(text) });
    };
    let start = last.position().map_or(0, |position| usize::try_from(position.byte()).unwrap_or(usize::MAX));
    let raw = &text[start..];
    let raw = &raw[raw.iter().take_while(|byte| b"\r\n".contains(byte)).count()..];
    // A quotation mark that is not closed takes the end of the line into its cell.
    let is_open = raw.split(|&byte| byte == b'"').count() % 2 == 0;
    let is_whole = text.ends_with(b"\n")
        || last.len() == columns.len() && last.iter().next_back().is_some_and(|hash| hash.len() == way.settings.len());
    if is_whole && !is_open {
        return Ok(Content { known: done(&columns, &rows, way), stays: count, before: line_end(text) });
    }
    if is_open && raw.contains(&b'\n') {
        return Err(occupied(path, "a quotation mark near its end is not closed; mend that row, or name another file"));
    }
    let stays = count - raw.len();
    rows.pop();
    Ok(Content { known: done(&columns, &rows, way), stays, before: line_end(&bytes[..stays]) })
}

/// Reads JSON lines.
///
/// # Errors
/// They are not of photos.
pub(super) fn jsonl(path: &Path, bytes: &[u8], way: &Way) -> Result<Content> {
    no_database(path, bytes)?;
    let (whole, last) = bytes.split_at(resume::whole(bytes));
    let (lines, stays) = match resume::parsed(path, bytes) {
        Err(_) if is_torn(last) => (resume::parsed(path, whole)?, whole),
        lines => (lines?, bytes),
    };
    let known = lines.iter().filter_map(|line| line.done(way).map(str::to_owned)).collect();
    Ok(Content { known, stays: stays.len(), before: line_end(stays) })
}

/// The error of a file to which no rows can be added.
pub(super) fn occupied(path: &Path, text: &str) -> Error {
    resume::unlike(path, io::Error::other(text))
}

fn no_database(path: &Path, bytes: &[u8]) -> Result<()> {
    if bytes.starts_with(DATABASE) {
        return Err(occupied(path, "it is a stock book or another database; name another file"));
    }
    Ok(())
}

/// The end of the last line, where it is missing.
fn line_end(bytes: &[u8]) -> Vec<u8> {
    if bytes.is_empty() || bytes.ends_with(b"\n") { Vec::new() } else { b"\n".into() }
}

/// Whether this is the beginning of a line of JSON, as a killed program leaves it.
fn is_torn(last: &[u8]) -> bool {
    let torn = serde_json::from_slice::<IgnoredAny>(last).is_err_and(|error| error.is_eof());
    torn && last.iter().zip(LINE).all(|(byte, ours)| byte == ours)
}

fn heading() -> Vec<u8> {
    let mut heading = Vec::new();
    report::csv::heading(false, &mut heading).expect("there is room in memory");
    heading
}

fn rows(table: &[u8]) -> Vec<ByteRecord> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(table);
    reader.byte_records().filter_map(std::result::Result::ok).collect()
}

/// SHA-256 of the photos in a table that were read this way.
fn done(columns: &ByteRecord, rows: &[ByteRecord], way: &Way) -> HashSet<String> {
    let place = |name: &str| columns.iter().position(|column| column == name.as_bytes()).unwrap_or(usize::MAX);
    let [sha256, program, settings, status] = ["sha256", "program", "settings_hash", "status"].map(place);
    let is = |row: &ByteRecord, at: usize, text: &str| row.get(at).unwrap_or_default() == text.as_bytes();
    let done = rows.iter().filter(|row| is(row, program, &way.program) && is(row, settings, &way.settings));
    let done = done.filter(|row| !is(row, status, "failed")).filter_map(|row| row.get(sha256));
    done.map(|sha256| String::from_utf8_lossy(sha256).into_owned()).collect()
}
