//! From an earlier version of the book to this one: numbered SQL files, each run once, never edited afterwards.

use super::{Done, asked};
use rusqlite::{Connection, TransactionBehavior};
use std::path::{Path, PathBuf};

/// The steps; a book's version is how many it has had.
pub(super) const ALL: [&str; 2] = [include_str!("migrations/001_start.sql"), include_str!("migrations/002_recall.sql")];

/// What the file's header says that it is: `VGbk`.
const OURS: i32 = 0x5647_626b;

/// Refuses a file of another program.
pub(super) fn own(file: &Connection) -> Done<()> {
    // Both at one moment: another process may be making the book.
    let moment = file.unchecked_transaction()?;
    // Read as text: names of columns that are none make rusqlite panic.
    let schema = |row: &rusqlite::Row| row.get::<_, String>(0);
    let tables = moment
        .prepare("SELECT coalesce(sql, name) FROM sqlite_schema")?
        .query_map([], schema)?
        .collect::<rusqlite::Result<Vec<_>>>()?;
    let id: i32 = moment.pragma_query_value(None, "application_id", |row| row.get(0))?;
    drop(moment);
    if id == OURS || (id == 0 && tables.is_empty()) {
        return Ok(());
    }
    asked(format!(
        "{} is a database of another program; name another file with --book",
        file.path().unwrap_or_default()
    ))
}

/// Refuses a book of a newer version than `steps` lead to, before anything in it is changed.
pub(super) fn known(file: &Connection, path: &Path, steps: &[&str]) -> Done<()> {
    if version(file)? > steps.len() {
        return asked(format!("{} was written by a newer version of this program; use that version", path.display()));
    }
    Ok(())
}

/// Brings a book up to date, all steps or none; a book that is not new is copied first.
pub(super) fn migrate(file: &mut Connection, path: &Path, steps: &[&str]) -> Done<()> {
    known(file, path, steps)?;
    let had = version(file)?;
    if had == steps.len() {
        return Ok(());
    }
    let copy = copy_name(path, had);
    if had > 0 && !copy.exists() {
        file.execute("VACUUM INTO ?1", [copy.to_string_lossy()])?;
    }
    let transaction = file.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another process may have been faster.
    for step in steps.iter().skip(version(&transaction)?) {
        transaction.execute_batch(step)?;
    }
    transaction.pragma_update(None, "application_id", OURS)?;
    transaction.pragma_update(None, "user_version", steps.len() as i64)?;
    Ok(transaction.commit()?)
}

fn version(file: &Connection) -> rusqlite::Result<usize> {
    file.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// `book.sqlite` of version 1 is kept as `book.sqlite.version-1`.
fn copy_name(path: &Path, version: usize) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
    name.push(format!(".version-{version}"));
    name.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_book_moves_on_and_its_old_self_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("b.sqlite");
        let mut file = Connection::open(&path).unwrap();
        let first = "CREATE TABLE a (n INTEGER); INSERT INTO a VALUES (7);";
        assert!(migrate(&mut file, &path, &[first]).is_ok());
        let steps = [first, "ALTER TABLE a ADD COLUMN m INTEGER DEFAULT 1;"];
        assert!(migrate(&mut file, &path, &steps).is_ok());
        assert!(migrate(&mut file, &path, &steps).is_ok(), "again, nothing to do");
        let row = |file: &Connection, sql: &str| file.query_row(sql, [], |row| row.get::<_, i64>(0));
        assert_eq!(row(&file, "SELECT n + m FROM a"), Ok(8));
        let old = Connection::open(copy_name(&path, 1)).unwrap();
        assert_eq!((row(&old, "SELECT n FROM a"), row(&old, "SELECT m FROM a").is_err()), (Ok(7), true));
        assert!(migrate(&mut file, &path, &[first]).is_err(), "a newer book is not touched");
    }

    #[test]
    fn a_step_that_fails_leaves_the_book_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("b.sqlite");
        let mut file = Connection::open(&path).unwrap();
        assert!(migrate(&mut file, &path, &["CREATE TABLE a (n)", "CREATE TABLE b (n); nonsense"]).is_err());
        assert_eq!(version(&file), Ok(0));
        assert!(file.query_row("SELECT * FROM a", [], |_| Ok(())).is_err());
    }
}
