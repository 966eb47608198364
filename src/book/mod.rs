//! The stock book: plants, their parentage, photos, readings and decisions in one `SQLite` file. Readings are never changed or taken
//! out; a correction is a further row. Any number of processes may use one book at once (write-ahead log, short transactions that
//! take the lock at their beginning). Dates come in as arguments.

pub mod check;
pub mod decisions;
pub mod dump;
pub mod family;
pub mod keep;
mod migrate;
pub mod plants;
pub mod readings;
pub mod table;

use crate::error::{Error, Result};
use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a writer waits for others. A write takes some milliseconds, so this is a queue of hundreds.
const PATIENCE: Duration = Duration::from_secs(20);

/// An open stock book.
pub struct Book {
    path: PathBuf,
    file: Connection,
}

/// Why something was not done.
enum Trouble {
    /// The file is at fault.
    File(rusqlite::Error),
    /// What was asked cannot be done.
    Asked(String),
}

type Done<T> = std::result::Result<T, Trouble>;

impl From<rusqlite::Error> for Trouble {
    fn from(error: rusqlite::Error) -> Self {
        Self::File(error)
    }
}

/// Refuses what was asked, with what to do.
fn asked<T>(text: impl Into<String>) -> Done<T> {
    Err(Trouble::Asked(text.into()))
}

impl Book {
    /// Opens a book that is there.
    ///
    /// # Errors
    /// There is none, or see [`Book::open_or_make`].
    pub fn open(path: &Path) -> Result<Self> {
        if path.exists() {
            return Self::open_or_make(path);
        }
        Err(Error::Entry(format!(
            "there is no stock book at {}; `variegauge book add` or `variegauge grade --book` makes it",
            path.display()
        )))
    }

    /// Opens a book, or makes a new one with the folders above it. A book of an earlier version is brought up to date, with a
    /// copy of how it was beside it.
    ///
    /// # Errors
    /// The file is busy, damaged, of a newer version of this program, or no stock book.
    pub fn open_or_make(path: &Path) -> Result<Self> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            fs::create_dir_all(folder).map_err(|source| Error::Write { path: folder.display().to_string(), source })?;
        }
        let prepare = || {
            let flags =
                OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
            let mut file = Connection::open_with_flags(path, flags)?;
            file.busy_timeout(PATIENCE)?;
            migrate::own(&file)?;
            migrate::known(&file, path, &migrate::ALL)?;
            // Rows stay whole if the program is killed, and also if the power goes.
            file.pragma_update(None, "journal_mode", "wal")?;
            file.pragma_update(None, "synchronous", "full")?;
            file.pragma_update(None, "foreign_keys", true)?;
            migrate::migrate(&mut file, path, &migrate::ALL)?;
            Ok(file)
        };
        prepare().map(|file| Self { path: path.to_owned(), file }).map_err(|trouble| told(path, trouble))
    }

    /// Where the book is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads.
    fn read<T>(&self, work: impl FnOnce(&Connection) -> Done<T>) -> Result<T> {
        work(&self.file).map_err(|trouble| told(&self.path, trouble))
    }

    /// Writes all of `work` or nothing. The lock is taken first, so that what is read before the write still holds at the write.
    fn write<T>(&mut self, work: impl FnOnce(&Connection) -> Done<T>) -> Result<T> {
        let Self { path, file } = self;
        let all = || {
            let transaction = file.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let done = work(&transaction)?;
            transaction.commit()?;
            Ok(done)
        };
        all().map_err(|trouble| told(path, trouble))
    }
}

fn told(path: &Path, trouble: Trouble) -> Error {
    match trouble {
        Trouble::Asked(text) => Error::Entry(text),
        Trouble::File(error) => Error::Book { path: path.display().to_string(), reason: reason(&error) },
    }
}

const DAMAGED: &str = "is damaged; keep the file, and go on with a backup (`variegauge book backup` makes them)";

/// What is wrong with the file and what to do.
fn reason(error: &rusqlite::Error) -> String {
    let seconds = PATIENCE.as_secs();
    let is_damaged = matches!(
        error,
        rusqlite::Error::Utf8Error(..)
            | rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::InvalidColumnType(..)
    );
    match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
            format!("is busy: another program has written to it for {seconds} seconds; try again when that has ended")
        }
        Some(ErrorCode::NotADatabase) => "is no stock book, or is damaged; name another file with --book".into(),
        Some(ErrorCode::DatabaseCorrupt) => DAMAGED.into(),
        None if is_damaged => DAMAGED.into(),
        Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => {
            "cannot be opened; check that you may write to the file and its folder".into()
        }
        Some(ErrorCode::DiskFull) => "cannot be written: the disk is full".into(),
        _ => format!("fails: {error}"),
    }
}
