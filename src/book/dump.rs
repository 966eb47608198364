//! The whole book as JSON, and back into an empty book.

use super::check::wrong_rows;
use super::{Book, Done, asked};
use crate::error::Result;
use rusqlite::types::{Value as Cell, ValueRef};
use rusqlite::{Connection, ErrorCode, params_from_iter};
use serde_json::{Map, Value, json};

/// What a file says that it is.
const SCHEMA: &str = "variegauge.book/1";

/// Tables, each after those it refers to, but for a plant's mother and latest reading.
const TABLES: [&str; 7] = ["plant", "photo", "grading", "reading", "assignment", "decision", "recall"];

impl Book {
    /// All rows of all tables: `{"schema": ..., "plant": [{"id": 1, ...}, ...], "photo": ...}`.
    pub fn dump(&self) -> Result<Value> {
        self.read(|file| {
            let mut all = Map::from_iter([("schema".to_owned(), json!(SCHEMA))]);
            for table in TABLES {
                all.insert(table.into(), Value::Array(rows(file, table)?));
            }
            Ok(Value::Object(all))
        })
    }

    /// Fills an empty book with a dump; gives the number of plants.
    ///
    /// # Errors
    /// The book is not empty, or the dump is not that of a sound one.
    pub fn load(&mut self, dump: &Value) -> Result<usize> {
        self.write(|file| {
            if dump["schema"] != SCHEMA {
                return asked(format!("the file is no stock book of the schema {SCHEMA}"));
            }
            let empty: bool = file.query_row(
                "SELECT NOT EXISTS (SELECT 1 FROM plant) AND NOT EXISTS (SELECT 1 FROM photo)",
                [],
                |row| row.get(0),
            )?;
            if !empty {
                return asked("a whole book goes into an empty one only; name a new file with --book");
            }
            // Rows may refer to later ones until all are in.
            file.pragma_update(None, "defer_foreign_keys", true)?;
            for table in TABLES {
                let names = columns(file, table)?;
                // Books of before have no recalls.
                let none = (table == "recall" && dump[table].is_null()).then_some(&[][..]);
                let Some(rows) = dump[table].as_array().map(Vec::as_slice).or(none) else {
                    return asked(format!("the file has no list `{table}`"));
                };
                rows.iter().try_for_each(|row| put(file, table, &names, row))?;
            }
            if let Some(wrong) = wrong_rows(file)?.first() {
                return asked(format!("the file is no sound book: {wrong}"));
            }
            Ok(file.query_row("SELECT count(*) FROM plant", [], |row| row.get(0))?)
        })
    }
}

fn columns(file: &Connection, table: &str) -> rusqlite::Result<Vec<String>> {
    let query = file.prepare(&format!("SELECT * FROM {table} LIMIT 0"))?;
    Ok(query.column_names().into_iter().map(str::to_owned).collect())
}

fn rows(file: &Connection, table: &str) -> rusqlite::Result<Vec<Value>> {
    let names = columns(file, table)?;
    let mut query = file.prepare(&format!("SELECT * FROM {table} ORDER BY id"))?;
    let row = |row: &rusqlite::Row| {
        let cell = |(place, name): (usize, &String)| {
            Ok((
                name.clone(),
                match row.get_ref(place)? {
                    ValueRef::Null | ValueRef::Blob(_) => Value::Null,
                    ValueRef::Integer(number) => json!(number),
                    ValueRef::Real(number) => json!(number),
                    ValueRef::Text(text) => json!(String::from_utf8_lossy(text)),
                },
            ))
        };
        names.iter().enumerate().map(cell).collect::<rusqlite::Result<Map<_, _>>>().map(Value::Object)
    };
    query.query_map([], row)?.collect()
}

fn put(file: &Connection, table: &str, names: &[String], row: &Value) -> Done<()> {
    let cell = |name: &String| match &row[name.as_str()] {
        Value::String(text) => Cell::Text(text.clone()),
        Value::Number(number) if number.is_i64() => Cell::Integer(number.as_i64().unwrap_or_default()),
        Value::Number(number) => number.as_f64().map_or(Cell::Null, Cell::Real),
        Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => Cell::Null,
    };
    if let Some(name) =
        names.iter().find(|name| matches!(row[name.as_str()], Value::Bool(_) | Value::Array(_) | Value::Object(_)))
    {
        return asked(format!("a row of `{table}` is not right: `{name}` is neither text nor number"));
    }
    let sql = format!("INSERT INTO {table} ({}) VALUES (?{})", names.join(", "), ", ?".repeat(names.len() - 1));
    match file.prepare_cached(&sql)?.execute(params_from_iter(names.iter().map(cell))) {
        Ok(_) => Ok(()),
        Err(rusqlite::Error::SqliteFailure(error, Some(text)))
            if matches!(error.code, ErrorCode::ConstraintViolation | ErrorCode::TypeMismatch) =>
        {
            asked(format!("a row of `{table}` is not right: {text}"))
        }
        Err(error) => Err(error.into()),
    }
}
