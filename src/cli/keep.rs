//! Readings on their way into the stock book.

use super::place::{Place, today};
use super::say;
use std::collections::HashSet;
use variegauge::base::date::Date;
use variegauge::book::Book;
use variegauge::book::keep::Kept;
use variegauge::error::Result;
use variegauge::options::Options;
use variegauge::record::{PhotoRecord, Status};

/// A stock book that takes readings.
pub(super) struct Keeper {
    book: Book,
    on: Date,
    known: HashSet<String>,
    kept: usize,
    had: usize,
    plants: usize,
    /// Whether something could not be kept.
    pub(super) broken: bool,
}

impl Keeper {
    /// Opens the book and looks up what it has of this program and these options.
    pub(super) fn open(place: &Place, options: &Options) -> Result<Self> {
        let book = place.open_or_make()?;
        let PhotoRecord { program, settings, .. } =
            PhotoRecord::stopped("", "", (Status::Failed, String::new()), options);
        let known = book.photos_with(program, &settings.hash)?;
        Ok(Self { book, on: today(), known, kept: 0, had: 0, plants: 0, broken: false })
    }

    /// SHA-256 of the photos that need no work.
    pub(super) fn known(&self) -> HashSet<String> {
        self.known.clone()
    }

    /// Keeps a photo's readings; a photo that failed has none.
    pub(super) fn keep(&mut self, photo: &PhotoRecord) {
        if photo.status == Status::Failed {
            return;
        }
        match self.book.keep(photo, self.on) {
            Ok(Kept::Added { plants }) => (self.kept, self.plants) = (self.kept + 1, self.plants + plants),
            Ok(Kept::Unchanged) => self.had += 1,
            Err(error) => {
                say::error(&say::safe(&format!("{}: not kept: {error}", photo.file)));
                self.broken = true;
            }
        }
    }

    /// What came of it, in words.
    pub(super) fn told(&self) -> String {
        let Self { book, kept, had, plants, .. } = self;
        let had = if *had > 0 { format!(", {had} were there") } else { String::new() };
        let plants = if *plants > 0 { format!(", {plants} plants new by their cards") } else { String::new() };
        say::safe(&format!("stock book {}: {kept} photos added{had}{plants}", book.path().display()))
    }
}
