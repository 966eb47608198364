//! Where the stock book is, and which day it is.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::{SystemTime, UNIX_EPOCH};
use variegauge::base::date::Date;
use variegauge::book::Book;
use variegauge::error::{Error, Result};

/// Its name in the usual folder.
const NAME: &str = "variegauge/book.sqlite";

/// Which stock book is meant.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) enum Place {
    /// The usual one of this user.
    #[default]
    Usual,
    /// A file.
    File(PathBuf),
}

impl FromStr for Place {
    type Err = String;

    /// Names that `SQLite` would take for a book in memory, which is lost at the end, are none.
    fn from_str(text: &str) -> std::result::Result<Self, String> {
        match text {
            "default" => Ok(Self::Usual),
            "" => Err("no name; is a variable empty?".into()),
            memory if memory == ":memory:" || memory.starts_with("file:") => Err("name a file".into()),
            path => Ok(Self::File(path.into())),
        }
    }
}

impl Place {
    /// Opens the book that is there.
    pub(super) fn open(&self) -> Result<Book> {
        Book::open(&self.path()?)
    }

    /// Opens the book, or makes it.
    pub(super) fn open_or_make(&self) -> Result<Book> {
        Book::open_or_make(&self.path()?)
    }

    fn path(&self) -> Result<PathBuf> {
        match self {
            Self::File(path) => Ok(path.clone()),
            Self::Usual => usual().ok_or_else(|| {
                Error::Entry("this user has no folder for data; name the stock book with --book FILE".into())
            }),
        }
    }
}

/// By the platform's conventions: `XDG_DATA_HOME` (XDG Base Directory Specification 0.8: only if absolute) or `~/.local/share`;
/// `~/Library/Application Support`; `%APPDATA%`. Three lines, so no crate for it.
fn usual() -> Option<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|value| Path::new(value).is_absolute()).map(PathBuf::from);
    let home = || std::env::home_dir().filter(|home| home.as_os_str() != OsStr::new(""));
    let data = if cfg!(windows) {
        set("APPDATA")
    } else if cfg!(target_os = "macos") {
        home().map(|home| home.join("Library/Application Support"))
    } else {
        set("XDG_DATA_HOME").or_else(|| home().map(|home| home.join(".local/share")))
    };
    data.map(|data| data.join(NAME))
}

/// The day, by the clock of Greenwich; commands take another with `--on`.
#[allow(clippy::disallowed_methods, reason = "this is the one place that reads the clock")]
pub(super) fn today() -> Date {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    Date::from_days((seconds / 86_400) as i32)
}
