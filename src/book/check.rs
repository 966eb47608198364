//! Whether a book is sound, and copies of it.

use super::{Book, asked};
use crate::error::Result;
use std::path::Path;

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
    /// (`foreign_key_check`), and plants whose latest reading is not that of their last photo.
    pub fn check(&self) -> Result<Vec<String>> {
        self.read(|file| {
            let mut wrong: Vec<String> = file
                .prepare("PRAGMA integrity_check")?
                .query_map([], |row| row.get(0))?
                .filter(|line| !matches!(line, Ok(line) if line == "ok"))
                .collect::<rusqlite::Result<_>>()?;
            let lost = |row: &rusqlite::Row| {
                Ok(format!("{} {}: refers to a row of {} that is not there", row.get::<_, String>(0)?, row.get::<_, i64>(1)?, row.get::<_, String>(2)?))
            };
            wrong.extend(
                file.prepare("PRAGMA foreign_key_check")?.query_map([], lost)?.collect::<rusqlite::Result<Vec<_>>>()?,
            );
            let sql = "SELECT number FROM plant WHERE latest IS NOT
                (SELECT id FROM counted WHERE counted.plant = plant.id ORDER BY coalesce(day, '') DESC, id DESC LIMIT 1)";
            let stale = |row: &rusqlite::Row| Ok(format!("{}: its latest reading is not that of its last photo", row.get::<_, String>(0)?));
            wrong.extend(file.prepare(sql)?.query_map([], stale)?.collect::<rusqlite::Result<Vec<_>>>()?);
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
            file.execute("VACUUM INTO ?1", [to.to_string_lossy()])?;
            Ok(())
        })
    }
}
