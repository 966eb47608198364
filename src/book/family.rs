//! Who came of whom: dividing, descent, and what is changed of a plant.

use super::plants::{KNOWN, Known, Plant, days_in_order, id, insert, known, known_row, missing};
use super::readings::COLUMNS;
use super::{Book, Done, asked};
use crate::base::date::Date;
use crate::card::number::PlantNumber;
use crate::error::Result;
use rusqlite::Connection;

/// What changes of a plant.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Change {
    /// Its name.
    pub name: Option<String>,
    /// The plant it was parted from.
    pub mother: Option<PlantNumber>,
    /// When it was acquired or parted.
    pub since: Option<Date>,
    /// Free text.
    pub notes: Option<String>,
}

impl Book {
    /// Parts offsets from their mother: they become plants of the book, with her name if `named` gives none.
    ///
    /// # Errors
    /// The mother is not in the book or is gone, or a number is taken.
    pub fn divide(
        &mut self,
        mother: &PlantNumber,
        offsets: &[PlantNumber],
        on: Date,
        named: Option<&str>,
    ) -> Result<Vec<Plant>> {
        self.write(|file| {
            let Some(known) = known(file, "WHERE plant.number = :text", mother.as_str())?.pop() else {
                return missing(mother);
            };
            if let Some((day, how)) = known.plant.gone.filter(|(day, _)| *day < on) {
                return asked(format!(
                    "{mother} went on {day} ({}), so nothing was parted from it on {on}",
                    how.name()
                ));
            }
            let name = named.map_or(known.plant.name, str::to_owned);
            let offset = |number: &PlantNumber| Plant {
                name: name.clone(),
                mother: Some(mother.clone()),
                since: Some(on),
                ..Plant::new(number.clone())
            };
            let plants: Vec<Plant> = offsets.iter().map(offset).collect();
            plants.iter().try_for_each(|plant| insert(file, plant).map(|_| ()))?;
            Ok(plants)
        })
    }

    /// Changes what is known of a plant; what is `None` stays.
    ///
    /// # Errors
    /// The plant or its mother is not in the book, the mother came of it, or it went before it came.
    pub fn change(&mut self, number: &PlantNumber, change: &Change) -> Result<()> {
        let Change { name, mother, since, notes } = change;
        self.write(|file| {
            let id = id(file, number)?;
            if let Some(mother) = mother {
                set_mother(file, (id, number), mother)?;
            }
            let sql =
                "UPDATE plant SET name = coalesce(?2, name), since = coalesce(?3, since), notes = coalesce(?4, notes)
                WHERE id = ?1";
            file.execute(sql, (id, name, since.map(|day| day.to_string()), notes))?;
            days_in_order(file, (id, number))
        })
    }

    /// A plant and all that came of it, each after its mother, with how many generations it is away.
    ///
    /// # Errors
    /// It is not in the book.
    pub fn descendants(&self, number: &PlantNumber) -> Result<Vec<(usize, Known)>> {
        self.read(|file| {
            let sql = "WITH RECURSIVE tree (id, depth, way) AS (
                    SELECT id, 0, number FROM plant WHERE id = ?1
                    UNION ALL
                    SELECT plant.id, depth + 1, way || char(31) || plant.number FROM plant JOIN tree ON plant.mother = tree.id
                    WHERE depth < 100
                ) SELECT id, depth FROM tree ORDER BY way";
            let root = id(file, number)?;
            let mut query = file.prepare(sql)?;
            let rows: Vec<(i64, usize)> =
                query.query_map([root], |row| Ok((row.get(0)?, row.get(1)?)))?.collect::<rusqlite::Result<_>>()?;
            let mut one = file.prepare(&format!("SELECT {COLUMNS}, {KNOWN} WHERE plant.id = ?1"))?;
            rows.into_iter().map(|(id, depth)| Ok((depth, one.query_row([id], known_row)?))).collect()
        })
    }
}

/// Says of which mother a plant of the book came.
pub(super) fn set_mother(file: &Connection, (plant, number): (i64, &PlantNumber), mother: &PlantNumber) -> Done<()> {
    let mother = id(file, mother)?;
    if is_ancestor(file, plant, mother) {
        return asked(format!("a plant cannot come of itself: that mother is {number} or came of it"));
    }
    file.prepare_cached("UPDATE plant SET mother = ?2 WHERE id = ?1")?.execute([plant, mother])?;
    Ok(())
}

/// Whether `ancestor` is `plant` or one that it came of.
fn is_ancestor(file: &Connection, ancestor: i64, plant: i64) -> bool {
    let sql = "WITH RECURSIVE line (id) AS (
            SELECT ?1 UNION SELECT mother FROM plant JOIN line ON plant.id = line.id WHERE mother IS NOT NULL
        ) SELECT 1 FROM line WHERE id = ?2";
    file.prepare_cached(sql).and_then(|mut query| query.exists([plant, ancestor])).unwrap_or(true)
}
