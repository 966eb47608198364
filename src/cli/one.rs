//! One photo of a batch, from its file to its record.

use super::find::Source;
use super::guard::guarded;
use super::outputs::Pictures;
use super::say;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::Path;
use variegauge::base::hex::hex;
use variegauge::error::Error;
use variegauge::options::Options;
use variegauge::photo::limits::MAX_FILE_BYTES;
use variegauge::pipeline;
use variegauge::record::{PhotoRecord, Status};
use variegauge::report::html::batch::Seen;
use variegauge::report::text::counted;

/// What became of one photo, once its pictures are written and its pixels are gone.
pub(super) struct Done {
    pub(super) record: PhotoRecord,
    /// What the report shows beside it.
    pub(super) seen: Seen,
    /// A picture that could not be written.
    pub(super) trouble: Option<Error>,
    /// Whether an earlier run did it.
    pub(super) before: bool,
    /// Whether the file could not be read, as a later time it may be.
    pub(super) unread: bool,
}

/// How many photos ended how.
#[derive(Default)]
pub(super) struct Count {
    pub(super) graded: usize,
    pub(super) refused: usize,
    pub(super) failed: usize,
    plants: usize,
    pub(super) unchanged: usize,
    before: usize,
}

impl Done {
    /// A photo whose record says it all.
    pub(super) fn of(record: PhotoRecord, remedy: Option<&'static str>) -> Self {
        Self { record, seen: Seen { remedy, ..Seen::default() }, trouble: None, before: false, unread: false }
    }

    /// A photo that an earlier run did, under the names that it has now.
    pub(super) fn before(record: PhotoRecord, (file, stem): (&str, &str)) -> Self {
        let record = PhotoRecord { file: file.into(), stem: stem.into(), ..record };
        Self { before: true, ..Self::of(record, None) }
    }
}

/// Grades one photo and writes its pictures, if some are asked for; whatever happens, there is a record.
pub(super) fn photo(
    source: &Source,
    (file, stem): (&str, &str),
    options: &Options,
    pictures: Option<&Pictures>,
) -> Done {
    let stopped = |status, reason| PhotoRecord::stopped(file, stem, (status, reason), options);
    let attempt = || {
        if let Some(error) = &source.trouble {
            return Done::of(stopped(Status::Failed, error.to_string()), say::remedy(error));
        }
        let outcome = match pipeline::run(&source.path, options) {
            Ok(outcome) => outcome,
            Err(error) => {
                let record = stopped(Status::of(&error), error.to_string());
                let record = PhotoRecord { sha256: hash(&source.path), ..record };
                let unread = matches!(error, Error::Read(_));
                return Done { unread, ..Done::of(record, say::remedy(&error)) };
            }
        };
        let record = PhotoRecord::graded(file, stem, &outcome, options);
        let Some(pictures) = pictures else { return Done::of(record, None) };
        let trouble = pictures.write(&outcome, &record).err();
        let seen = Seen { remedy: None, thumbnails: pictures.thumbnails(&outcome) };
        Done { seen, trouble, ..Done::of(record, None) }
    };
    guarded(attempt).unwrap_or_else(|panic| {
        let record = stopped(Status::Failed, format!("an error in the program: {panic}"));
        Done::of(record, Some("please report this, with the photo if you can"))
    })
}

/// SHA-256 of a photo, so that it can be known again.
pub(super) fn hash(path: &Path) -> Option<String> {
    let small = fs::metadata(path).is_ok_and(|kind| kind.is_file() && kind.len() <= MAX_FILE_BYTES);
    let bytes = if small { fs::read(path).ok() } else { None };
    bytes.map(|bytes| hex(&Sha256::digest(bytes)))
}

impl Count {
    pub(super) fn add(&mut self, done: &Done) {
        self.plants += done.record.plants.len();
        self.before += usize::from(done.before);
        match done.record.status {
            Status::Graded => self.graded += 1,
            Status::Refused => self.refused += 1,
            Status::Failed => self.failed += 1,
        }
    }

    /// How many photos there were.
    pub(super) fn all(&self) -> usize {
        self.graded + self.refused + self.failed + self.unchanged
    }

    pub(super) fn told(&self) -> String {
        let Self { graded, refused, failed, plants, unchanged, before } = self;
        let photos = counted(self.all(), "photo");
        let some = |n: usize, what: &str| if n > 0 { format!("{n} {what}") } else { String::new() };
        let (unchanged, before) = (some(*unchanged, "unchanged, "), some(*before, "of them in an earlier run"));
        let plants = counted(*plants, "plant");
        let between = if before.is_empty() { "" } else { "; " };
        format!("{photos}: {unchanged}{graded} graded ({plants}), {refused} refused, {failed} failed{between}{before}")
    }
}
