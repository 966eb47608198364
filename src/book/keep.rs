//! What was read of a photo on its way into the book.

use super::plants::{Plant, find, insert};
use super::readings::{assign, renew};
use super::{Book, Done, asked};
use crate::base::date::Date;
use crate::error::Result;
use crate::record::{Estimate, PhotoRecord, PlantRecord, Status};
use crate::tissue::class::Tissue;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, params_from_iter};
use std::collections::{BTreeSet, HashSet};

/// What became of a photo in the book.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// It is new, or new with this program and these settings.
    Added {
        /// Plants that came new into the book, by their cards.
        plants: usize,
    },
    /// It was in the book already with this program and these settings: no reading was added. Where another grading of the photo
    /// counted, this one counts again.
    Unchanged,
}

/// Who assigns a reading by the card in the photo.
const BY_CARD: &str = "card";

/// Measures with their intervals: columns of the table.
const ESTIMATES: [&str; 8] = [
    "green_fraction",
    "pale_fraction",
    "red_fraction",
    "green_capacity",
    "green_hue_deg",
    "diameter_mm",
    "band_width_mm",
    "score",
];

impl Book {
    /// SHA-256 of the photos that [`Book::keep`] has nothing to do with: refused by this program with these settings, or graded
    /// so that this grading counts.
    pub fn photos_with(&self, program: &str, settings_hash: &str) -> Result<HashSet<String>> {
        let sql = "SELECT sha256 FROM photo JOIN grading ON grading.photo = photo.id WHERE program = ?1 AND settings_hash = ?2
            AND (status = 'refused' OR grading.id = (SELECT grading FROM counting WHERE counting.photo = photo.id))";
        self.read(|file| {
            let mut query = file.prepare(sql)?;
            let rows = query.query_map([program, settings_hash], |row| row.get(0))?;
            Ok(rows.collect::<rusqlite::Result<_>>()?)
        })
    }

    /// Keeps what was read of a photo, all of it or nothing. Plants whose cards are in the photo come into the book if they are
    /// not there. Who assigned readings of an earlier grading by hand is followed where the plant has the same place in the photo.
    ///
    /// # Errors
    /// The photo failed: there is nothing to keep.
    pub fn keep(&mut self, photo: &PhotoRecord, on: Date) -> Result<Kept> {
        self.write(|file| {
            let (Some(sha256), Status::Graded | Status::Refused) = (&photo.sha256, photo.status) else {
                return asked(format!("{}: a photo that failed is not kept", photo.file));
            };
            let photo_id = photo_id(file, photo, sha256)?;
            let earlier = assigned(file, photo_id)?;
            let had = "SELECT id FROM grading WHERE photo = ?1 AND program = ?2 AND settings_hash = ?3";
            let key = (photo_id, photo.program, &photo.settings.hash);
            if let Some(had) = file.prepare_cached(had)?.query_row(key, |row| row.get(0)).optional()? {
                recall(file, (had, photo_id), &earlier, on)?;
                return Ok(Kept::Unchanged);
            }
            let mut touched: BTreeSet<i64> = earlier.iter().filter_map(|earlier| earlier.plant).collect();
            let grading = grading(file, photo_id, photo, on)?;
            let mut plants = 0;
            for plant in &photo.plants {
                let reading = reading(file, grading, plant, photo)?;
                if let Some(Owner { plant, who, new }) = owner(file, plant, &earlier)? {
                    assign(file, reading, plant, (on, who, ""))?;
                    touched.extend(plant);
                    plants += usize::from(new);
                }
            }
            touched.into_iter().try_for_each(|plant| renew(file, plant))?;
            Ok(Kept::Added { plants })
        })
    }
}

/// Lets a grading count again if another one of its photo does. What a person said of the other's readings is followed.
fn recall(file: &Connection, (grading, photo): (i64, i64), earlier: &[Assigned], on: Date) -> Done<()> {
    let sql = "INSERT INTO recall (grading, newest, day) SELECT ?1, (SELECT max(id) FROM grading WHERE photo = ?2), ?3
        FROM counting JOIN grading ON grading.id = ?1
        WHERE counting.photo = ?2 AND counting.grading <> ?1 AND status = 'graded'";
    if file.prepare_cached(sql)?.execute((grading, photo, on.to_string()))? == 0 {
        return Ok(());
    }
    let again = assigned(file, photo)?;
    for Assigned { reading, plant, bounds, .. } in &again {
        if let Some(said) = earlier.iter().find(|said| said.tells(*bounds) && said.plant != *plant) {
            assign(file, *reading, said.plant, (on, &said.who, ""))?;
        }
    }
    let touched: BTreeSet<i64> = earlier.iter().chain(&again).filter_map(|assigned| assigned.plant).collect();
    touched.into_iter().try_for_each(|plant| renew(file, plant))
}

/// Whose reading it is.
struct Owner<'a> {
    plant: Option<i64>,
    who: &'a str,
    /// Whether the plant came into the book just now.
    new: bool,
}

/// By what a person said of an earlier grading, or by the card; `None` if nothing tells.
fn owner<'a>(file: &Connection, plant: &PlantRecord, earlier: &'a [Assigned]) -> Done<Option<Owner<'a>>> {
    if let Some(Assigned { plant, who, .. }) = earlier.iter().find(|earlier| earlier.tells(plant.bounds)) {
        return Ok(Some(Owner { plant: *plant, who, new: false }));
    }
    let Some(number) = plant.number.as_ref().and_then(|number| number.parse().ok()) else { return Ok(None) };
    let known = find(file, &number)?;
    let plant = known.map_or_else(|| insert(file, &Plant::new(number)), Ok)?;
    Ok(Some(Owner { plant: Some(plant), who: BY_CARD, new: known.is_none() }))
}

/// The photo's row; one that is met under another name keeps the first.
fn photo_id(file: &Connection, photo: &PhotoRecord, sha256: &str) -> rusqlite::Result<i64> {
    let mut query = file.prepare_cached("SELECT id FROM photo WHERE sha256 = ?1")?;
    if let Some(id) = query.query_row([sha256], |row| row.get(0)).optional()? {
        return Ok(id);
    }
    let sql = "INSERT INTO photo (sha256, path, taken_at) VALUES (?1, ?2, ?3)";
    file.prepare_cached(sql)?.execute((sha256, &photo.file, &photo.taken_at))?;
    Ok(file.last_insert_rowid())
}

fn grading(file: &Connection, photo_id: i64, photo: &PhotoRecord, on: Date) -> rusqlite::Result<i64> {
    let whole = PhotoRecord { plants: Vec::new(), ..photo.clone() };
    let sql =
        "INSERT INTO grading (photo, day, program, standard_hash, settings_hash, status, reason, white, scale, record)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
    let calibration = photo.calibration.as_ref();
    file.prepare_cached(sql)?.execute((
        photo_id,
        on.to_string(),
        photo.program,
        &photo.settings.standard_hash,
        &photo.settings.hash,
        photo.status.name(),
        &photo.error,
        calibration.map(|calibration| calibration.white),
        calibration.map(|calibration| calibration.scale),
        json(&whole)?,
    ))?;
    Ok(file.last_insert_rowid())
}

fn reading(file: &Connection, grading: i64, plant: &PlantRecord, photo: &PhotoRecord) -> rusqlite::Result<i64> {
    let day = photo.taken_at.as_deref().and_then(Date::of_time).map(|day| day.to_string());
    let text = |text: Option<String>| text.map_or(Value::Null, Value::Text);
    let number = |value: Option<f64>| value.map_or(Value::Null, Value::Real);
    let mut columns = vec![
        ("grading".to_owned(), Value::Integer(grading)),
        ("place".into(), Value::Integer(plant.index as i64)),
        ("card".into(), text(plant.number.clone())),
        ("day".into(), text(day)),
        ("dead".into(), number(plant.tissue[Tissue::Dead])),
        ("pattern".into(), text(plant.pattern.name.clone())),
        ("decision".into(), text(plant.decision.map(str::to_owned))),
        ("record".into(), Value::Text(json(plant)?)),
    ];
    for (name, Estimate { value, low, high }) in ESTIMATES.into_iter().zip(estimates(plant)) {
        let ends = [("", value), ("_low", low), ("_high", high)];
        columns.extend(ends.map(|(end, value)| (format!("{name}{end}"), number(value))));
    }
    let names: Vec<&str> = columns.iter().map(|(name, _)| name.as_str()).collect();
    let sql = format!("INSERT INTO reading ({}) VALUES (?{})", names.join(", "), ", ?".repeat(names.len() - 1));
    file.prepare_cached(&sql)?.execute(params_from_iter(columns.into_iter().map(|(_, value)| value)))?;
    Ok(file.last_insert_rowid())
}

/// In the order of [`ESTIMATES`].
fn estimates(plant: &PlantRecord) -> [Estimate; ESTIMATES.len()] {
    [
        plant.green_fraction,
        plant.pale_fraction,
        plant.red_fraction,
        plant.green_capacity,
        plant.green_hue_deg,
        Estimate { value: plant.diameter_mm, low: plant.diameter_mm_low, high: plant.diameter_mm_high },
        plant.bands.width_mm.mean,
        Estimate { value: plant.score, low: plant.score_low, high: plant.score_high },
    ]
}

fn json(value: &impl serde::Serialize) -> rusqlite::Result<String> {
    serde_json::to_string(value).map_err(|error| rusqlite::Error::ToSqlConversionFailure(Box::new(error)))
}

/// Which plant a reading of the same photo is of, who said so, and where in the photo that is.
struct Assigned {
    reading: i64,
    plant: Option<i64>,
    who: String,
    bounds: [usize; 4],
    by_hand: bool,
}

impl Assigned {
    /// Whether a box is that of the same plant: it shares more than half of the area that both cover.
    fn same_place(&self, [x, y, width, height]: [usize; 4]) -> bool {
        let [left, top, across, down] = self.bounds;
        let shared =
            |a: usize, length: usize, b: usize, other: usize| (a + length).min(b + other).saturating_sub(a.max(b));
        let both = shared(x, width, left, across) * shared(y, height, top, down);
        2 * both > width * height + across * down - both
    }

    /// Whether a person said of which plant a reading with this box is.
    fn tells(&self, bounds: [usize; 4]) -> bool {
        self.by_hand && self.same_place(bounds)
    }
}

/// Refuses a reading of a grading that does not count, with the one to take.
pub(super) fn counts(file: &Connection, reading: i64) -> Done<()> {
    let sql = "SELECT photo, json_extract(reading.record, '$.box[0]'), json_extract(reading.record, '$.box[1]'),
            json_extract(reading.record, '$.box[2]'), json_extract(reading.record, '$.box[3]')
        FROM reading JOIN grading ON grading.id = reading.grading
        WHERE reading.id = ?1 AND grading.id <> (SELECT grading FROM counting WHERE counting.photo = grading.photo)";
    let old =
        file.query_row(sql, [reading], |row| Ok((row.get(0)?, [row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?])));
    let Some((photo, bounds)) = old.optional()? else { return Ok(()) };
    let now = assigned(file, photo)?.into_iter().find(|now| now.same_place(bounds));
    let instead = now.map_or("no reading took its place".into(), |now| format!("say it of reading {}", now.reading));
    asked(format!("the photo of reading {reading} was graded again, so that one does not count; {instead}"))
}

/// The readings of a photo's grading that counts, as they are assigned; those of which nobody said anything have no plant.
fn assigned(file: &Connection, photo: i64) -> Done<Vec<Assigned>> {
    let sql = "SELECT plant, who, json_extract(record, '$.box[0]'), json_extract(record, '$.box[1]'),
            json_extract(record, '$.box[2]'), json_extract(record, '$.box[3]'), reading.id
        FROM reading LEFT JOIN assignment ON assignment.id = (SELECT max(id) FROM assignment WHERE reading = reading.id)
        WHERE grading = (SELECT grading FROM counting WHERE photo = ?1)";
    let mut query = file.prepare_cached(sql)?;
    let rows = query.query_map([photo], |row| {
        let who: Option<String> = row.get(1)?;
        let bounds = [row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?];
        let by_hand = who.as_deref().is_some_and(|who| who != BY_CARD);
        Ok(Assigned { reading: row.get(6)?, plant: row.get(0)?, by_hand, who: who.unwrap_or_default(), bounds })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}
