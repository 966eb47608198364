//! What people decided, beside what the standard advises.

use super::plants::{id, parsed};
use super::{Book, asked};
use crate::base::date::Date;
use crate::card::number::PlantNumber;
use crate::error::Result;
use rusqlite::Row;

/// Words that a decision may have: those of the standard, and one that takes a person's word back.
pub const WORDS: [&str; 6] = ["mother", "sell", "grow-on", "nurse", "revert", AS_MEASURED];

/// Takes a person's word back: the standard's advice stands again.
pub const AS_MEASURED: &str = "as-measured";

/// What a person decided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    /// One of [`WORDS`].
    pub word: String,
    /// When.
    pub on: Date,
    /// Who, in their own words.
    pub who: String,
    /// Why.
    pub why: String,
}

impl Book {
    /// Notes what a person decided on a plant. What was decided before, and the standard's advice, stay in the book.
    ///
    /// # Errors
    /// The plant is not in the book, or the word is none of [`WORDS`].
    pub fn decide(&mut self, number: &PlantNumber, decision: &Decision) -> Result<()> {
        let Decision { word, on, who, why } = decision;
        self.write(|file| {
            if !WORDS.contains(&word.as_str()) {
                return asked(format!("`{word}` is no decision; write one of {}", WORDS.join(", ")));
            }
            let sql = "INSERT INTO decision (plant, decision, day, who, why) VALUES (?1, ?2, ?3, ?4, ?5)";
            file.execute(sql, (id(file, number)?, word, on.to_string(), who, why))?;
            Ok(())
        })
    }

    /// All that was decided on a plant, in order.
    ///
    /// # Errors
    /// The plant is not in the book.
    pub fn decisions(&self, number: &PlantNumber) -> Result<Vec<Decision>> {
        self.read(|file| {
            let sql = "SELECT decision AS said, day AS said_on, who, why FROM decision WHERE plant = ?1 ORDER BY id";
            let rows: rusqlite::Result<Vec<_>> = file.prepare(sql)?.query_map([id(file, number)?], row)?.collect();
            Ok(rows?.into_iter().flatten().collect())
        })
    }
}

/// The decision of a row, if there is one.
pub(super) fn row(row: &Row) -> rusqlite::Result<Option<Decision>> {
    let Some((word, on)) = row.get::<_, Option<String>>("said")?.zip(parsed(row, "said_on")?) else { return Ok(None) };
    Ok(Some(Decision { word, on, who: row.get("who")?, why: row.get("why")? }))
}
