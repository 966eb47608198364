//! Plants and their parentage.

use super::family::set_mother;
use super::readings::{COLUMNS, Reading};
use super::{Book, Done, Trouble, asked, decisions, readings};
use crate::base::date::Date;
use crate::card::number::PlantNumber;
use crate::error::Result;
use rusqlite::types::Type;
use rusqlite::{Connection, OptionalExtension, Row, named_params};
use std::collections::HashMap;
use std::str::FromStr;

/// A plant of the book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plant {
    /// Its number.
    pub number: PlantNumber,
    /// Its name; empty if it has none.
    pub name: String,
    /// The plant it was parted from.
    pub mother: Option<PlantNumber>,
    /// When it was acquired or parted.
    pub since: Option<Date>,
    /// Free text.
    pub notes: String,
    /// When and how it went.
    pub gone: Option<(Date, Gone)>,
}

/// What became of the rows of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Came {
    /// Plants that are new.
    pub added: usize,
    /// Plants that were in the book and of which the table says nothing else.
    pub same: usize,
    /// Plants that were in the book and of which the table says something else: they stay as they are.
    pub differ: usize,
}

/// How a plant went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gone {
    /// Sold.
    Sold,
    /// Died.
    Died,
    /// Given away.
    Given,
}

/// A plant with what is known of it now.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// The plant.
    pub plant: Plant,
    /// The reading of its last photo.
    pub latest: Option<Reading>,
    /// What a person decided last.
    pub decided: Option<decisions::Decision>,
}

impl Gone {
    /// All ways.
    pub const ALL: [Self; 3] = [Self::Sold, Self::Died, Self::Given];

    /// As a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Sold => "sold",
            Self::Died => "died",
            Self::Given => "given",
        }
    }
}

impl Plant {
    /// A plant of which only the number is known.
    pub fn new(number: PlantNumber) -> Self {
        Self { number, name: String::new(), mother: None, since: None, notes: String::new(), gone: None }
    }
}

/// Plants with their latest readings and last decisions; columns of readings go before it, conditions and order follow.
pub(super) const KNOWN: &str = "
    plant.number, plant.name, mother.number AS mother_number, plant.since, plant.notes, plant.gone_on, plant.gone_how,
        grading.white, photo.path, plant.number AS plant_number,
        said.decision AS said, said.day AS said_on, said.who, said.why
    FROM plant
    LEFT JOIN plant AS mother ON mother.id = plant.mother
    LEFT JOIN reading ON reading.id = plant.latest
    LEFT JOIN grading ON grading.id = reading.grading
    LEFT JOIN photo ON photo.id = grading.photo
    LEFT JOIN decision AS said ON said.id = (SELECT max(id) FROM decision WHERE decision.plant = plant.id)";

impl Book {
    /// Adds plants, all or none. A mother may be among them, before her offsets.
    ///
    /// # Errors
    /// A number is taken, or a mother is not in the book.
    pub fn add(&mut self, plants: &[Plant]) -> Result<()> {
        self.write(|file| plants.iter().try_for_each(|plant| insert(file, plant).map(|_| ())))
    }

    /// Adds the plants of a table's lines that are not in the book, all or none, whatever their order. Those that are there stay as
    /// they are.
    ///
    /// # Errors
    /// A mother is neither in the book nor in the table, or came of her offset; the line is named.
    pub fn add_missing(&mut self, lines: &[(u64, Plant)]) -> Result<Came> {
        self.write(|file| {
            let known: HashMap<String, Plant> =
                known(file, "", "")?.into_iter().map(|known| (key(&known.plant.number), known.plant)).collect();
            let mut came = Came::default();
            let mut new = Vec::new();
            for (line, plant) in lines {
                match known.get(&key(&plant.number)) {
                    Some(known) if agrees(plant, known) => came.same += 1,
                    Some(_) => came.differ += 1,
                    None => {
                        let id = at(*line, insert(file, &Plant { mother: None, ..plant.clone() }))?;
                        new.push((*line, id, plant));
                    }
                }
            }
            came.added = new.len();
            for (line, id, plant) in new {
                if let Some(mother) = &plant.mother {
                    at(line, set_mother(file, (id, &plant.number), mother))?;
                }
            }
            Ok(came)
        })
    }

    /// Plants in the order of their numbers; those that are gone only `with_gone`.
    pub fn list(&self, with_gone: bool) -> Result<Vec<Known>> {
        let condition = if with_gone { "" } else { "WHERE plant.gone_on IS NULL" };
        self.read(|file| known(file, condition, ""))
    }

    /// Plants with `text` in number, name or notes, whatever its case.
    pub fn search(&self, text: &str) -> Result<Vec<Known>> {
        let text = text.to_lowercase();
        let has = |Known { plant, .. }: &Known| {
            [plant.number.as_str(), &plant.name, &plant.notes].iter().any(|words| words.to_lowercase().contains(&text))
        };
        // `lower` of SQLite knows the letters of ASCII only.
        Ok(self.list(true)?.into_iter().filter(has).collect())
    }

    /// One plant.
    ///
    /// # Errors
    /// It is not in the book.
    pub fn show(&self, number: &PlantNumber) -> Result<Known> {
        self.read(|file| match known(file, "WHERE plant.number = :text", number.as_str())?.pop() {
            Some(known) => Ok(known),
            None => missing(number),
        })
    }

    /// Notes that plants are gone, all or none.
    ///
    /// # Errors
    /// One is not in the book, is gone already, or came later.
    pub fn move_out(&mut self, numbers: &[PlantNumber], on: Date, how: Gone) -> Result<()> {
        self.write(|file| {
            for number in numbers {
                let id = id(file, number)?;
                let sql = "UPDATE plant SET gone_on = ?2, gone_how = ?3 WHERE id = ?1 AND gone_on IS NULL";
                if file.execute(sql, (id, on.to_string(), how.name()))? == 0 {
                    return asked(format!("{number} is gone already; `variegauge book show {number}` tells when"));
                }
                days_in_order(file, (id, number))?;
            }
            Ok(())
        })
    }
}

/// A number as it is compared.
fn key(number: &PlantNumber) -> String {
    number.as_str().to_ascii_uppercase()
}

/// Whether a plant of a table says nothing else than the book; what it leaves empty is nothing said.
fn agrees(said: &Plant, known: &Plant) -> bool {
    let text = |said: &str, known: &str| said.is_empty() || said == known;
    text(&said.name, &known.name)
        && text(&said.notes, &known.notes)
        && (said.mother.is_none() || said.mother.as_ref().map(key) == known.mother.as_ref().map(key))
        && (said.since.is_none() || said.since == known.since)
        && (said.gone.is_none() || said.gone == known.gone)
}

/// Names the line of a table that cannot be done.
fn at<T>(line: u64, done: Done<T>) -> Done<T> {
    done.map_err(|trouble| match trouble {
        Trouble::Asked(text) => Trouble::Asked(format!("line {line}: {text}")),
        Trouble::File(error) => Trouble::File(error),
    })
}

pub(super) fn known(file: &Connection, condition: &str, text: &str) -> Done<Vec<Known>> {
    let mut query = file.prepare(&format!("SELECT {COLUMNS}, {KNOWN} {condition} ORDER BY plant.number"))?;
    // A condition without `:text` takes no parameter.
    let rows = if condition.contains(":text") {
        query.query_map(named_params! {":text": text}, known_row)?.collect::<rusqlite::Result<Vec<_>>>()
    } else {
        query.query_map([], known_row)?.collect()
    };
    Ok(rows?)
}

pub(super) fn known_row(row: &Row) -> rusqlite::Result<Known> {
    let gone_on: Option<Date> = parsed(row, "gone_on")?;
    let gone_how: Option<String> = row.get("gone_how")?;
    let how = Gone::ALL.into_iter().find(|how| Some(how.name()) == gone_how.as_deref());
    let plant = Plant {
        number: parsed(row, "number")?.ok_or(rusqlite::Error::InvalidQuery)?,
        name: row.get("name")?,
        mother: parsed(row, "mother_number")?,
        since: parsed(row, "since")?,
        notes: row.get("notes")?,
        gone: gone_on.zip(how),
    };
    let latest = row.get::<_, Option<i64>>("id")?.map(|_| readings::row(row)).transpose()?;
    Ok(Known { plant, latest, decided: decisions::row(row)? })
}

/// A text of the book as what it stands for.
pub(super) fn parsed<T: FromStr>(row: &Row, column: &str) -> rusqlite::Result<Option<T>>
where
    T::Err: std::error::Error + Send + Sync + 'static,
{
    let text: Option<String> = row.get(column)?;
    let parse = |text: String| {
        text.parse().map_err(|error| rusqlite::Error::FromSqlConversionFailure(0, Type::Text, Box::new(error)))
    };
    text.map(parse).transpose()
}

pub(super) fn missing<T>(number: &PlantNumber) -> Done<T> {
    asked(format!("{number} is not in the book; `variegauge book list` tells what is, `book add {number}` adds it"))
}

pub(super) fn find(file: &Connection, number: &PlantNumber) -> rusqlite::Result<Option<i64>> {
    file.prepare_cached("SELECT id FROM plant WHERE number = ?1")?
        .query_row([number.as_str()], |row| row.get(0))
        .optional()
}

pub(super) fn id(file: &Connection, number: &PlantNumber) -> Done<i64> {
    match find(file, number)? {
        Some(id) => Ok(id),
        None => missing(number),
    }
}

pub(super) fn insert(file: &Connection, plant: &Plant) -> Done<i64> {
    let Plant { number, name, mother, since, notes, gone } = plant;
    if find(file, number)?.is_some() {
        return asked(format!("the number {number} is taken; `variegauge book show {number}` tells by what"));
    }
    let mother = mother.as_ref().map(|mother| id(file, mother)).transpose()?;
    let day = |date: Date| date.to_string();
    let sql =
        "INSERT INTO plant (number, name, mother, since, notes, gone_on, gone_how) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    let (gone_on, gone_how) = (gone.map(|(date, _)| day(date)), gone.map(|(_, how)| how.name()));
    file.prepare_cached(sql)?.execute((number.as_str(), name, mother, since.map(day), notes, gone_on, gone_how))?;
    let id = file.last_insert_rowid();
    days_in_order(file, (id, number))?;
    Ok(id)
}

/// Refuses a plant that went before it came.
pub(super) fn days_in_order(file: &Connection, (id, number): (i64, &PlantNumber)) -> Done<()> {
    let mut query = file.prepare_cached("SELECT since, gone_on FROM plant WHERE id = ?1 AND since > gone_on")?;
    match query.query_row([id], |row| Ok((row.get(0)?, row.get(1)?))).optional()? {
        Some::<(String, String)>((since, gone)) => asked(format!("{number} cannot go on {gone}: it came on {since}")),
        None => Ok(()),
    }
}
