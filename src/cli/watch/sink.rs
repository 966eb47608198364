//! A file to which rows are added.

use super::super::resume::{self, Way};
use super::super::say;
use super::content::{self, Content, occupied};
use std::collections::HashSet;
use std::fs::{self, File, Metadata, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use variegauge::error::Result;
use variegauge::options::Options;
use variegauge::record::PhotoRecord;
use variegauge::report::file::failed;
use variegauge::report::{csv, jsonl};

/// A table or JSON lines in the making; what was in the file stays.
pub(super) struct Sink {
    path: PathBuf,
    form: Form,
    way: Way,
    file: File,
    /// The file as it was left.
    left: State,
    /// SHA-256 of the photos in it, by this program with these settings.
    known: HashSet<String>,
}

/// What the rows look like.
#[derive(Debug, Clone, Copy)]
pub(super) enum Form {
    Csv,
    Jsonl,
}

/// What tells that another program has put another file in its place, or written to it: device and number (on Unix), and length.
type State = (u64, u64, u64);

impl Form {
    fn content(self, path: &Path, bytes: &[u8], way: &Way) -> Result<Content> {
        match self {
            Self::Csv => content::csv(path, bytes, way),
            Self::Jsonl => content::jsonl(path, bytes, way),
        }
    }

    fn rows(self, record: &PhotoRecord) -> io::Result<Vec<u8>> {
        let mut rows = Vec::new();
        match self {
            Self::Csv => csv::rows(record, &mut rows),
            Self::Jsonl => jsonl::write(record, &mut rows),
        }?;
        Ok(rows)
    }
}

impl Sink {
    /// Opens a file, or makes it, and writes its heading if it is empty.
    ///
    /// # Errors
    /// It holds something else, and is left alone; or another run is writing it.
    pub(super) fn open(path: &Path, form: Form, options: &Options) -> Result<Self> {
        let way = Way::of(options);
        let (file, known) = opened(path, form, &way)?;
        let left = state_of(path, &file)?;
        Ok(Self { path: path.to_owned(), form, way, file, left, known })
    }

    /// Whether the photo is in it.
    pub(super) fn has(&self, sha256: &str) -> bool {
        self.known.contains(sha256)
    }

    /// Adds a photo that is not in it.
    pub(super) fn take(&mut self, record: &PhotoRecord) -> Result<()> {
        self.look_again()?;
        if record.sha256.as_ref().is_some_and(|sha256| !self.known.insert(sha256.clone())) {
            return Ok(());
        }
        let add = |rows: Vec<u8>| add(&mut self.file, &rows);
        self.form.rows(record).and_then(add).map_err(|source| failed(&self.path, source))?;
        self.left = state_of(&self.path, &self.file)?;
        Ok(())
    }

    /// Opens the file anew if it is no longer what this program left, as when a spreadsheet has saved it.
    fn look_again(&mut self) -> Result<()> {
        if fs::metadata(&self.path).is_ok_and(|about| state(&about) == self.left) {
            return Ok(());
        }
        say::warning(&say::safe(&format!(
            "{}: another program has changed, replaced or removed it; rows go on in what is there now",
            self.path.display()
        )));
        let _ = self.file.unlock();
        (self.file, self.known) = opened(&self.path, self.form, &self.way)?;
        self.left = state_of(&self.path, &self.file)?;
        Ok(())
    }
}

/// The file, ready for the next row, and the photos in it.
fn opened(path: &Path, form: Form, way: &Way) -> Result<(File, HashSet<String>)> {
    let fail = |source| failed(path, source);
    if fs::metadata(path).is_ok_and(|kind| !kind.is_file()) {
        return Err(occupied(path, "rows can be added to files only; name one"));
    }
    let mut file = File::options().read(true).write(true).create(true).truncate(false).open(path).map_err(fail)?;
    // Other systems keep readers from a locked file too. Where there are no locks, all goes as without.
    if cfg!(unix) && matches!(file.try_lock(), Err(TryLockError::WouldBlock)) {
        return Err(occupied(path, "another run is writing it; end that one, or name another file"));
    }
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes).map_err(|source| resume::unlike(path, source))?;
    let Content { known, stays, before } = form.content(path, &bytes, way)?;
    if stays < bytes.len() {
        say::warning(&say::safe(&format!("{}: its last row was half written and is taken off", path.display())));
        file.set_len(stays as u64).map_err(fail)?;
    }
    add(&mut file, &before).map_err(fail)?;
    Ok((file, known))
}

/// All bytes or none.
fn add(file: &mut File, bytes: &[u8]) -> io::Result<()> {
    let end = file.seek(SeekFrom::End(0))?;
    file.write_all(bytes).inspect_err(|_| {
        let _ = file.set_len(end);
    })
}

fn state_of(path: &Path, file: &File) -> Result<State> {
    file.metadata().map(|about| state(&about)).map_err(|source| failed(path, source))
}

fn state(about: &Metadata) -> State {
    #[cfg(unix)]
    let (device, number) = {
        use std::os::unix::fs::MetadataExt;
        (about.dev(), about.ino())
    };
    #[cfg(not(unix))]
    let (device, number) = (0, 0);
    (device, number, about.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use variegauge::record::Status;

    fn record(sha256: &str) -> PhotoRecord {
        let record = PhotoRecord::stopped("a,\r\n.jpg", "a", (Status::Refused, "why".into()), &Options::default());
        PhotoRecord { sha256: Some(sha256.into()), ..record }
    }

    const FORMS: [(&str, Form); 2] = [("a.csv", Form::Csv), ("a.jsonl", Form::Jsonl)];

    fn open(path: &Path, form: Form) -> Result<Sink> {
        Sink::open(path, form, &Options::default())
    }

    #[test]
    fn rows_are_added_once_over_several_runs_and_a_torn_one_goes() {
        let folder = tempfile::tempdir().unwrap();
        for (name, form) in FORMS {
            let path = folder.path().join(name);
            let run = |photos: &[&str]| {
                let mut sink = open(&path, form).unwrap();
                for sha256 in photos {
                    sink.take(&record(sha256)).unwrap();
                }
                fs::read(&path).unwrap()
            };
            let first = run(&["aa", "bb", "aa"]);
            assert_eq!(run(&["bb"]), first);
            let added = run(&["cc"]).split_off(first.len());
            for half in [1, 3, added.len() / 2, added.len() - 3] {
                fs::write(&path, [&first, &added[..half]].concat()).unwrap();
                assert_eq!(run(&["cc"]), [&first[..], &added].concat(), "{name}: {half}");
            }
        }
    }

    #[test]
    fn files_of_something_else_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let texts = [
            "plant,notes\r\n1,good\r\n",
            "plant,notes\n1,good\n",
            "notes",
            "{\"a\": 1}",
            "{\"a",
            "SQLite format 3\0 more",
        ];
        for ((name, form), text) in FORMS.into_iter().flat_map(|form| texts.map(|text| (form, text))) {
            let path = folder.path().join(name);
            fs::write(&path, text).unwrap();
            let error = open(&path, form).err().unwrap().to_string();
            assert!(error.contains("name") && !error.contains("cannot write"), "{error}");
            assert_eq!(fs::read_to_string(&path).unwrap(), text);
        }
    }

    #[test]
    fn a_file_that_another_program_saved_goes_on() {
        let folder = tempfile::tempdir().unwrap();
        for (name, form) in FORMS {
            let path = folder.path().join(name);
            open(&path, form).and_then(|mut sink| sink.take(&record("aa"))).unwrap();
            let text = fs::read_to_string(&path).unwrap();
            let saved = [
                text.replace("\"a,\r\n.jpg\"", "b").replace("\r\n", "\n"),
                text.trim_end().to_owned(),
                format!("\u{feff}{text}"),
                format!("{text}\n\n"),
            ];
            for saved in saved {
                fs::write(&path, &saved).unwrap();
                let mut sink = open(&path, form).unwrap();
                assert!(sink.has("aa"), "{saved:?}");
                sink.take(&record("bb")).unwrap();
                drop(sink);
                assert!(fs::read_to_string(&path).unwrap().starts_with(&saved));
                let sink = open(&path, form).unwrap();
                assert!(sink.has("aa") && sink.has("bb"), "{saved:?}");
            }
        }
    }

    #[test]
    fn a_half_written_heading_is_completed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        drop(open(&path, Form::Csv).unwrap());
        let heading = fs::read(&path).unwrap();
        for half in [0, 3, heading.len() - 1] {
            fs::write(&path, &heading[..half]).unwrap();
            drop(open(&path, Form::Csv).unwrap());
            assert_eq!(fs::read(&path).unwrap(), heading, "{half}");
        }
    }

    #[test]
    fn rows_follow_a_file_that_is_replaced_or_removed_and_nothing_goes_into_another() {
        let folder = tempfile::tempdir().unwrap();
        for (name, form) in FORMS {
            let path = folder.path().join(name);
            let mut sink = open(&path, form).unwrap();
            sink.take(&record("aa")).unwrap();
            let first = fs::read(&path).unwrap();
            fs::write(folder.path().join("new"), &first).unwrap();
            fs::rename(folder.path().join("new"), &path).unwrap();
            sink.take(&record("bb")).unwrap();
            sink.take(&record("aa")).unwrap();
            let second = fs::read(&path).unwrap();
            assert!(second.starts_with(&first) && second.len() > first.len());
            fs::remove_file(&path).unwrap();
            sink.take(&record("aa")).unwrap();
            assert_eq!(fs::read(&path).unwrap(), first);
            fs::write(&path, "my notes").unwrap();
            assert!(sink.take(&record("cc")).is_err());
            assert_eq!(fs::read(&path).unwrap(), b"my notes");
        }
    }

    #[cfg(unix)]
    #[test]
    fn one_run_at_a_time_writes_a_file() {
        let folder = tempfile::tempdir().unwrap();
        for (name, form) in FORMS {
            let path = folder.path().join(name);
            let sink = open(&path, form).unwrap();
            let error = open(&path, form).err().unwrap().to_string();
            assert!(error.contains("another run is writing it"), "{error}");
            drop(sink);
            assert!(open(&path, form).is_ok());
        }
    }
}
