//! What was read of plants, and which plant a reading is of.

use super::keep::counts;
use super::plants::{id, parsed};
use super::{Book, Done, asked};
use crate::base::date::Date;
use crate::base::stats::Interval;
use crate::card::number::PlantNumber;
use crate::error::Result;
use rusqlite::{Connection, OptionalExtension, Row};

/// What was read of one plant in one photo.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reading {
    /// Its number in the book.
    pub id: i64,
    /// The plant, if it is known which.
    pub plant: Option<PlantNumber>,
    /// The photo's file when it was graded.
    pub path: String,
    /// The plant's place in the photo, from 1.
    pub place: usize,
    /// Day of the photo, if it tells one.
    pub day: Option<Date>,
    /// Whether a label card told what is white.
    pub by_card: bool,
    /// (Cream + gold) / living leaf.
    pub pale: Option<Interval>,
    /// Red / living leaf.
    pub red: Option<Interval>,
    /// Green / (green + cream + gold).
    pub capacity: Option<Interval>,
    /// Median Oklab hue of green tissue, degrees.
    pub green_hue: Option<Interval>,
    /// Largest extent, mm.
    pub diameter_mm: Option<Interval>,
    /// Share of dead leaf.
    pub dead: Option<f64>,
    /// Score by the standard.
    pub score: Option<f64>,
    /// What the standard advised: a code.
    pub decision: Option<String>,
}

/// What [`row`] reads of the table or view `reading`, beside `path`, `white` and `plant_number`; not the whole record.
pub(super) const COLUMNS: &str = "reading.id, reading.place, reading.day, reading.dead, reading.decision,
    pale_fraction, pale_fraction_low, pale_fraction_high, red_fraction, red_fraction_low, red_fraction_high,
    green_capacity, green_capacity_low, green_capacity_high, green_hue_deg, green_hue_deg_low, green_hue_deg_high,
    diameter_mm, diameter_mm_low, diameter_mm_high, score";

impl Book {
    /// The readings of a plant that count, by day; those of photos without a date first.
    ///
    /// # Errors
    /// The plant is not in the book.
    pub fn history(&self, number: &PlantNumber) -> Result<Vec<Reading>> {
        self.read(|file| {
            readings(file, "WHERE reading.plant = ?1 ORDER BY reading.day, reading.id", [id(file, number)?])
        })
    }

    /// All readings that count and have a plant, by plant and day.
    pub fn all_readings(&self) -> Result<Vec<Reading>> {
        self.read(|file| readings(file, "ORDER BY reading.plant, reading.day, reading.id", []))
    }

    /// Readings that no plant has, of the gradings that count.
    pub fn without_plant(&self) -> Result<Vec<Reading>> {
        let sql = format!(
            "SELECT {COLUMNS}, grading.white, photo.path, NULL AS plant_number FROM reading
            JOIN grading ON grading.id = reading.grading JOIN photo ON photo.id = grading.photo
            WHERE (SELECT plant FROM assignment WHERE reading = reading.id ORDER BY id DESC LIMIT 1) IS NULL
                AND grading.id = (SELECT grading FROM counting WHERE counting.photo = photo.id)
            ORDER BY reading.id"
        );
        self.read(|file| Ok(file.prepare(&sql)?.query_map([], row)?.collect::<rusqlite::Result<_>>()?))
    }

    /// Says which plant a reading is of, or that it is of none. What was said before stays in the book.
    ///
    /// # Errors
    /// There is no such reading or plant, or the photo's grading that counts is another one.
    pub fn assign(&mut self, reading: i64, plant: Option<&PlantNumber>, said: (Date, &str, &str)) -> Result<()> {
        self.write(|file| {
            let exists = file.prepare("SELECT 1 FROM reading WHERE id = ?1")?.exists([reading])?;
            if !exists {
                return asked(format!("there is no reading {reading}; `variegauge book list --unassigned` tells them"));
            }
            counts(file, reading)?;
            let sql = "SELECT plant FROM assignment WHERE reading = ?1 ORDER BY id DESC LIMIT 1";
            let before: Option<i64> = file.query_row(sql, [reading], |row| row.get(0)).optional()?.flatten();
            let now = plant.map(|plant| id(file, plant)).transpose()?;
            assign(file, reading, now, said)?;
            before.into_iter().chain(now).try_for_each(|plant| renew(file, plant))
        })
    }
}

fn readings<P: rusqlite::Params>(file: &Connection, condition: &str, of: P) -> Done<Vec<Reading>> {
    let sql = format!(
        "SELECT {COLUMNS}, reading.white, photo.path, plant.number AS plant_number FROM counted AS reading
        JOIN plant ON plant.id = reading.plant JOIN photo ON photo.id = reading.photo {condition}"
    );
    Ok(file.prepare(&sql)?.query_map(of, row)?.collect::<rusqlite::Result<_>>()?)
}

/// A reading from a row with [`COLUMNS`].
pub(super) fn row(row: &Row) -> rusqlite::Result<Reading> {
    let estimate = |name: &str| -> rusqlite::Result<Option<Interval>> {
        let [value, low, high] =
            ["", "_low", "_high"].map(|end| row.get::<_, Option<f64>>(format!("{name}{end}").as_str()));
        Ok(value?.zip(low?.zip(high?)).map(|(value, (low, high))| Interval { value, low, high }))
    };
    Ok(Reading {
        id: row.get("id")?,
        plant: parsed(row, "plant_number")?,
        path: row.get("path")?,
        place: row.get("place")?,
        day: parsed(row, "day")?,
        by_card: row.get::<_, Option<String>>("white")?.as_deref() == Some("card"),
        pale: estimate("pale_fraction")?,
        red: estimate("red_fraction")?,
        capacity: estimate("green_capacity")?,
        green_hue: estimate("green_hue_deg")?,
        diameter_mm: estimate("diameter_mm")?,
        dead: row.get("dead")?,
        score: row.get("score")?,
        decision: row.get("decision")?,
    })
}

pub(super) fn assign(
    file: &Connection,
    reading: i64,
    plant: Option<i64>,
    (on, who, why): (Date, &str, &str),
) -> Done<()> {
    let sql = "INSERT INTO assignment (reading, plant, day, who, why) VALUES (?1, ?2, ?3, ?4, ?5)";
    file.prepare_cached(sql)?.execute((reading, plant, on.to_string(), who, why))?;
    Ok(())
}

/// Finds the reading that a plant is known by again.
pub(super) fn renew(file: &Connection, plant: i64) -> Done<()> {
    let sql = "UPDATE plant SET latest =
        (SELECT id FROM counted WHERE counted.plant = ?1 ORDER BY coalesce(day, '') DESC, id DESC LIMIT 1) WHERE id = ?1";
    file.prepare_cached(sql)?.execute([plant])?;
    Ok(())
}
