//! Whether a book is sound, and copies of it.

use super::{Book, Done, asked};
use crate::base::date::Date;
use crate::card::number::PlantNumber;
use crate::error::Result;
use rusqlite::Connection;
use std::fmt::Display;
use std::fs;
use std::path::Path;
use std::str::FromStr;

/// How much a book holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Plants.
    pub plants: usize,
    /// Photos.
    pub photos: usize,
    /// Readings, also of earlier gradings.
    pub readings: usize,
}

impl Book {
    /// What is wrong with the file; empty if it is sound: pages and indices (`integrity_check`), rows that refer to none
    /// (`foreign_key_check`), texts that stand for nothing, plants that came of themselves, and plants whose latest reading is not
    /// that of their last photo.
    pub fn check(&self) -> Result<Vec<String>> {
        self.read(|file| {
            let mut wrong: Vec<String> = file
                .prepare("PRAGMA integrity_check")?
                .query_map([], |row| row.get(0))?
                .filter(|line| !matches!(line, Ok(line) if line == "ok"))
                .collect::<rusqlite::Result<_>>()?;
            wrong.extend(wrong_rows(file)?);
            Ok(wrong)
        })
    }

    /// How much the book holds.
    pub fn size(&self) -> Result<Size> {
        self.read(|file| {
            let count = |table: &str| file.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0));
            Ok(Size { plants: count("plant")?, photos: count("photo")?, readings: count("reading")? })
        })
    }

    /// Writes a whole copy, also while others use the book.
    ///
    /// # Errors
    /// A file of that name is there, or it cannot be written.
    pub fn back_up(&self, to: &Path) -> Result<()> {
        self.read(|file| {
            if to.exists() {
                return asked(format!("{} exists already; name a file that does not", to.display()));
            }
            let copied = file.execute("VACUUM INTO ?1", [to.to_string_lossy()]);
            if copied.is_err() {
                // There was none; what is there now is no whole copy.
                fs::remove_file(to).ok();
            }
            copied?;
            Ok(())
        })
    }
}

/// What is asked of all rows, and gives those that are wrong with what is wrong.
const WRONG: [&str; 5] = [
    "SELECT \"table\" || ' ' || rowid || ': refers to a row of ' || parent || ' that is not there' FROM pragma_foreign_key_check",
    "SELECT number || ': came of itself' FROM plant WHERE id NOT IN (
        WITH RECURSIVE line (id) AS (
            SELECT id FROM plant WHERE mother IS NULL
            UNION ALL SELECT plant.id FROM plant JOIN line ON plant.mother = line.id
        ) SELECT id FROM line)",
    "SELECT number || ': its latest reading is not that of its last photo' FROM plant WHERE latest IS NOT
        (SELECT id FROM counted WHERE counted.plant = plant.id ORDER BY coalesce(day, '') DESC, id DESC LIMIT 1)",
    "SELECT 'reading ' || id || ': its record is no JSON' FROM reading WHERE NOT json_valid(record)",
    "SELECT 'grading ' || id || ': its record is no JSON' FROM grading WHERE NOT json_valid(record)",
];

/// Columns with days.
const DAYS: [(&str, &str); 7] = [
    ("plant", "since"),
    ("plant", "gone_on"),
    ("grading", "day"),
    ("reading", "day"),
    ("assignment", "day"),
    ("decision", "day"),
    ("recall", "day"),
];

/// Rows that the book could not be used with.
pub(super) fn wrong_rows(file: &Connection) -> Done<Vec<String>> {
    let mut wrong = Vec::new();
    for sql in WRONG {
        wrong.extend(file.prepare(sql)?.query_map([], |row| row.get(0))?.collect::<rusqlite::Result<Vec<String>>>()?);
    }
    wrong.extend(unreadable::<PlantNumber>(file, ("plant", "number"))?);
    for column in DAYS {
        wrong.extend(unreadable::<Date>(file, column)?);
    }
    Ok(wrong)
}

/// Texts of a column that are no `T`.
fn unreadable<T: FromStr<Err: Display>>(file: &Connection, (table, column): (&str, &str)) -> Done<Vec<String>> {
    let mut query = file.prepare(&format!("SELECT id, {column} FROM {table} WHERE {column} IS NOT NULL"))?;
    let told = |row: &rusqlite::Row| {
        let (id, text): (i64, String) = (row.get(0)?, row.get(1)?);
        Ok(text.parse::<T>().err().map(|error| format!("{table} {id}: `{column}`, `{text}`: {error}")))
    };
    let rows: Vec<Option<String>> = query.query_map([], told)?.collect::<rusqlite::Result<_>>()?;
    Ok(rows.into_iter().flatten().collect())
}
