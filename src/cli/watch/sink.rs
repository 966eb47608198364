//! A file to which rows are added.

use super::super::resume::{self, Way};
use std::collections::HashSet;
use std::fs::File;
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
    file: File,
    /// SHA-256 of the photos in it, by this program with these settings.
    known: HashSet<String>,
    rows: fn(&PhotoRecord, &mut dyn Write) -> io::Result<()>,
}

impl Sink {
    /// Opens JSON lines.
    pub(super) fn jsonl(path: &Path, options: &Options) -> Result<Self> {
        let way = Way::of(options);
        let known = resume::read(path)?.iter().filter_map(|line| line.done(&way).map(str::to_owned)).collect();
        let sink = Self { path: path.to_owned(), file: opened(path)?, known, rows: jsonl::write };
        sink.cut(b"\n")?;
        Ok(sink)
    }

    /// Opens a table and writes its heading if it is empty.
    ///
    /// # Errors
    /// It has other columns.
    pub(super) fn csv(path: &Path, options: &Options) -> Result<Self> {
        let mut sink = Self { path: path.to_owned(), file: opened(path)?, known: HashSet::new(), rows: csv::rows };
        let text = sink.cut(b"\r\n")?;
        let mut heading = Vec::new();
        let written = csv::heading(false, &mut heading);
        written.map_err(|source| failed(path, source))?;
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&text);
        if text.is_empty() {
            sink.add(&heading)?;
        } else if text.starts_with(&heading) {
            sink.known = done(text, &Way::of(options));
        } else {
            let text = "it has other columns than this version writes; name another file";
            return Err(failed(path, io::Error::other(text)));
        }
        Ok(sink)
    }

    /// Whether the photo is in it.
    pub(super) fn has(&self, sha256: &str) -> bool {
        self.known.contains(sha256)
    }

    /// Adds a photo that is not in it.
    pub(super) fn take(&mut self, record: &PhotoRecord) -> Result<()> {
        if record.sha256.as_ref().is_some_and(|sha256| !self.known.insert(sha256.clone())) {
            return Ok(());
        }
        let mut rows = Vec::new();
        (self.rows)(record, &mut rows).map_err(|source| failed(&self.path, source))?;
        self.add(&rows)
    }

    /// All bytes or none.
    fn add(&mut self, bytes: &[u8]) -> Result<()> {
        let mut add = || {
            let end = self.file.seek(SeekFrom::End(0))?;
            self.file.write_all(bytes).inspect_err(|_| {
                let _ = self.file.set_len(end);
            })
        };
        add().map_err(|source| failed(&self.path, source))
    }

    /// Cuts off a last line that a killed program left half written; gives the rest.
    fn cut(&self, end: &[u8]) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut cut = || {
            (&self.file).read_to_end(&mut bytes)?;
            let whole = bytes.windows(end.len()).rposition(|part| part == end).map_or(0, |at| at + end.len());
            if whole < bytes.len() {
                self.file.set_len(whole as u64)?;
                bytes.truncate(whole);
            }
            Ok(())
        };
        cut().map_err(|source| failed(&self.path, source))?;
        Ok(bytes)
    }
}

fn opened(path: &Path) -> Result<File> {
    File::options()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(path)
        .map_err(|source| failed(path, source))
}

/// SHA-256 of the photos in a table that were read this way.
fn done(table: &[u8], way: &Way) -> HashSet<String> {
    let mut table = ::csv::Reader::from_reader(table);
    let names = table.headers().cloned().unwrap_or_default();
    let place = |name: &str| names.iter().position(|column| column == name).unwrap_or(usize::MAX);
    let [sha256, program, settings, status] = ["sha256", "program", "settings_hash", "status"].map(place);
    let cell = |row: &::csv::StringRecord, at: usize| row.get(at).unwrap_or_default().to_owned();
    let rows = table.records().filter_map(std::result::Result::ok);
    let done = rows.filter(|row| cell(row, program) == way.program && cell(row, settings) == way.settings);
    done.filter(|row| cell(row, status) != "failed").map(|row| cell(&row, sha256)).collect()
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

    type Open = fn(&Path, &Options) -> Result<Sink>;

    #[test]
    fn rows_are_added_once_over_several_runs_and_a_torn_one_goes() {
        let folder = tempfile::tempdir().unwrap();
        for (name, open) in [("a.csv", Sink::csv as Open), ("a.jsonl", Sink::jsonl)] {
            let path = folder.path().join(name);
            let run = |photos: &[&str]| {
                let mut sink = open(&path, &Options::default()).unwrap();
                for sha256 in photos {
                    sink.take(&record(sha256)).unwrap();
                }
                fs::read(&path).unwrap()
            };
            let first = run(&["aa", "bb", "aa"]);
            assert_eq!(run(&["bb"]), first);
            let torn = [&first[..], b"a.jpg,ref"].concat();
            fs::write(&path, torn).unwrap();
            let second = run(&["cc"]);
            assert!(second.starts_with(&first) && second.len() > first.len());
            assert!(!second.windows(9).any(|part| part == b"a.jpg,ref"));
            assert_eq!(run(&["aa", "bb", "cc"]), second);
        }
    }

    #[test]
    fn files_of_something_else_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        for (name, open) in [("a.csv", Sink::csv as Open), ("a.jsonl", Sink::jsonl)] {
            let path = folder.path().join(name);
            fs::write(&path, "plant,notes\r\n1,good\r\n").unwrap();
            let error = open(&path, &Options::default()).err().unwrap().to_string();
            assert!(error.contains("name"), "{error}");
            assert_eq!(fs::read(&path).unwrap(), b"plant,notes\r\n1,good\r\n");
        }
    }
}
