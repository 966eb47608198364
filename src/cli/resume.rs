//! What an earlier run left in its JSON lines.

use serde::Deserialize;
use std::collections::{HashMap, HashSet};
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use variegauge::error::{Error, Result};
use variegauge::options::Options;
use variegauge::record::{PhotoRecord, Status};
use variegauge::report::file::{self, Held, Output, failed};
use variegauge::report::text::{counted, shown};

/// How each line begins.
const START: &[u8] = b"{\"schema\":";

/// Which program and settings a reading is of.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Way {
    pub(super) program: String,
    pub(super) settings: String,
}

/// A line of the file.
pub(super) struct Line {
    text: String,
    head: Head,
}

/// What tells a line from others.
#[derive(Deserialize)]
struct Head {
    file: String,
    sha256: Option<String>,
    status: Status,
    program: String,
    settings: Settings,
}

#[derive(Deserialize)]
struct Settings {
    hash: String,
}

/// Photos of earlier runs.
#[derive(Default)]
pub(super) struct Earlier {
    lines: Vec<Line>,
    /// Lines of photos that need no work, by their SHA-256.
    known: HashMap<String, usize>,
    /// Names that several photos had: whose pictures are under them is not told.
    shared: HashSet<String>,
}

/// Photos of which this run tells, by their SHA-256 and names.
#[derive(Default)]
pub(super) struct Met(HashSet<String>);

impl Met {
    /// Notes a photo.
    pub(super) fn note(&mut self, record: &PhotoRecord) {
        self.0.extend([Some(&record.file), record.sha256.as_ref()].into_iter().flatten().cloned());
    }

    /// Whether the line is of such a photo. Another photo may have had the same name in another folder, so a name counts only
    /// if it is a full one, or if the line holds no reading.
    fn has(&self, line: &Line) -> bool {
        let Head { file, sha256, status, .. } = &line.head;
        let named = sha256.is_none() || *status == Status::Failed || Path::new(file).is_absolute();
        named && self.0.contains(file) || sha256.as_ref().is_some_and(|sha256| self.0.contains(sha256))
    }
}

impl Way {
    /// That of this program with these options.
    pub(super) fn of(options: &Options) -> Self {
        let nothing = PhotoRecord::stopped("", "", (Status::Failed, String::new()), options);
        Self { program: nothing.program.into(), settings: nothing.settings.hash }
    }
}

impl Line {
    /// SHA-256 of the photo, if the line is of this way and the photo was not one that failed.
    pub(super) fn done(&self, way: &Way) -> Option<&str> {
        let Head { sha256, status, program, settings, .. } = &self.head;
        let done = *status != Status::Failed && *program == way.program && settings.hash == way.settings;
        sha256.as_deref().filter(|_| done)
    }
}

impl Earlier {
    /// Reads `FILE`, and brings what a run that did not end well left beside it into `FILE`, as the new run begins the file
    /// beside it anew.
    fn open(path: &Path, left: Vec<Line>, options: &Options) -> Result<Self> {
        let way = Way::of(options);
        let mut lines = parsed(path, &content(path)?)?;
        if !left.is_empty() {
            lines.extend(left);
            file::write(path, |out| write(lines.iter(), out))?;
        }
        let done = |(at, line): (usize, &Line)| line.done(&way).map(|sha256| (sha256.to_owned(), at));
        let known = lines.iter().enumerate().filter_map(done).collect();
        let shared = shared(&lines);
        Ok(Self { lines, known, shared })
    }

    /// Whether there is nothing to take over.
    pub(super) fn is_empty(&self) -> bool {
        self.known.is_empty()
    }

    /// The record of a photo that is known, under the names that it had.
    pub(super) fn record(&self, sha256: &str) -> Option<PhotoRecord> {
        let line = &self.lines[*self.known.get(sha256)?];
        serde_json::from_str(&line.text).ok()
    }

    /// Whether no other photo had this one's name.
    pub(super) fn is_sole(&self, record: &PhotoRecord) -> bool {
        !self.shared.contains(&record.file)
    }

    /// Writes the lines of photos of which this run did not tell, so that none is lost.
    pub(super) fn write_rest(&self, met: &Met, out: &mut dyn Write) -> io::Result<()> {
        write(self.lines.iter().filter(|line| !met.has(line)), out)
    }
}

/// Names under which several contents were met.
fn shared(lines: &[Line]) -> HashSet<String> {
    let mut first = HashMap::new();
    let heads = lines.iter().map(|line| &line.head);
    let other = heads.filter(|head| *first.entry(&head.file).or_insert(&head.sha256) != &head.sha256);
    other.map(|head| head.file.clone()).collect()
}

/// The last line of each photo with its way, in the order of the file.
fn write<'a>(lines: impl DoubleEndedIterator<Item = &'a Line>, out: &mut dyn Write) -> io::Result<()> {
    let mut seen = HashSet::new();
    let key = |line: &Line| {
        let Head { file, sha256, program, settings, .. } = &line.head;
        (file.clone(), sha256.clone(), program.clone(), settings.hash.clone())
    };
    let last: Vec<&Line> = lines.rev().filter(|line| seen.insert(key(line))).collect();
    last.into_iter().rev().try_for_each(|line| writeln!(out, "{}", line.text))
}

/// Takes hold of the JSON lines of a run, and of what earlier ones left if this one is to go on from there with its options.
///
/// # Errors
/// Another run has them, earlier lines would be lost, or the files hold something else.
pub(super) fn begin(path: &Path, resume: Option<&Options>) -> Result<(Earlier, Output)> {
    let Some(held) = Held::open(path)? else { return Ok((Earlier::default(), Output::create(path)?)) };
    let bytes = held.content().map_err(|source| unlike(held.partial(), source))?;
    let left = left(held.partial(), &bytes)?;
    let earlier = match resume {
        Some(options) => Earlier::open(path, left, options)?,
        None if left.is_empty() => Earlier::default(),
        None => {
            let (photos, partial) = (counted(left.len(), "photo"), held.partial().display());
            let text = format!("an earlier run left {photos} in {partial}; go on with --resume, or delete that file");
            return Err(failed(path, io::Error::other(text)));
        }
    };
    Ok((earlier, held.begin()?))
}

/// The lines that a run left which did not end well. What follows the last line end is taken if it is whole.
fn left(partial: &Path, bytes: &[u8]) -> Result<Vec<Line>> {
    let (lines, torn) = bytes.split_at(whole(bytes));
    let mut lines = parsed(partial, lines)?;
    match parsed(partial, torn) {
        Ok(last) => lines.extend(last),
        Err(error) if lines.is_empty() && !torn.iter().zip(START).all(|(a, b)| a == b) => return Err(error),
        Err(_) => {}
    }
    Ok(lines)
}

/// What is in a file; nothing, if there is none, or a device.
fn content(path: &Path) -> Result<Vec<u8>> {
    match fs::metadata(path) {
        Ok(kind) if kind.is_file() => fs::read(path).map_err(|source| unlike(path, source)),
        Ok(_) => Ok(Vec::new()),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(unlike(path, error)),
    }
}

/// Lines, without empty ones and a byte order mark.
pub(super) fn parsed(path: &Path, bytes: &[u8]) -> Result<Vec<Line>> {
    let line = |(line, number): (&[u8], usize)| {
        let text = str::from_utf8(line).ok().map(str::trim);
        if text == Some("") {
            return None;
        }
        let whole = text.and_then(|text| Some(Line { text: text.into(), head: serde_json::from_str(text).ok()? }));
        Some(whole.ok_or_else(|| {
            let text = format!("its line {number} is not of a photo; name the file of an earlier run");
            unlike(path, io::Error::other(text))
        }))
    };
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    bytes.split(|&byte| byte == b'\n').zip(1..).filter_map(line).collect()
}

/// The error of a file that is not one to be completed.
pub(super) fn unlike(path: &Path, source: io::Error) -> Error {
    Error::Earlier { path: shown(&path.to_string_lossy()), source }
}

/// Bytes of the lines that end.
pub(super) fn whole(bytes: &[u8]) -> usize {
    bytes.iter().rposition(|&byte| byte == b'\n').map_or(0, |end| end + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use variegauge::report::file::partial;

    fn line(file: &str, sha256: &str, status: Status) -> String {
        let record = PhotoRecord::stopped(file, "x", (status, "why".into()), &Options::default());
        serde_json::to_string(&PhotoRecord { sha256: Some(sha256.into()), ..record }).unwrap() + "\n"
    }

    #[test]
    fn what_two_runs_left_is_brought_together_and_nothing_is_lost() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        let (a, b, c) = (
            line("a.jpg", "aa", Status::Refused),
            line("b.jpg", "bb", Status::Failed),
            line("c.jpg", "cc", Status::Graded),
        );
        fs::write(&path, format!("{a}{b}")).unwrap();
        fs::write(partial(&path), format!("{a}{c}{}", &a[..a.len() / 2])).unwrap();
        let earlier = begin(&path, Some(&Options::default())).unwrap().0;
        assert_eq!(fs::read_to_string(&path).unwrap(), format!("{b}{a}{c}"));
        let known = earlier.record("aa").unwrap();
        assert_eq!((known.file.as_str(), known.error.as_deref()), ("a.jpg", Some("why")));
        let has = |sha256| earlier.record(sha256).is_some();
        assert!(has("cc") && !has("bb") && !has("dd"));
        let (mut met, mut rest) = (Met::default(), Vec::new());
        met.note(&known);
        earlier.write_rest(&met, &mut rest).unwrap();
        assert_eq!(String::from_utf8(rest).unwrap(), format!("{b}{c}"));
        let other = Options { scale: Some(variegauge::options::Scale::PxPerMm(9.0)), ..Options::default() };
        assert!(begin(&path, Some(&other)).unwrap().0.is_empty(), "other settings, other readings");
    }

    #[test]
    fn a_name_tells_a_photo_only_where_no_other_may_have_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        let full = folder.path().join("b.jpg").to_string_lossy().into_owned();
        let old = [("a.jpg", Status::Graded), ("a.jpg", Status::Failed), (full.as_str(), Status::Graded)];
        let old = [0, 1, 2].map(|at| line(old[at].0, &format!("old {at}"), old[at].1));
        fs::write(&path, old.concat()).unwrap();
        let earlier = begin(&path, Some(&Options::default())).unwrap().0;
        let (mut met, mut rest) = (Met::default(), Vec::new());
        for file in ["a.jpg", &full] {
            met.note(&serde_json::from_str(&line(file, "new", Status::Graded)).unwrap());
        }
        earlier.write_rest(&met, &mut rest).unwrap();
        assert_eq!(String::from_utf8(rest).unwrap(), old[0]);
    }

    #[test]
    fn a_last_line_without_its_end_counts_if_it_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        let (a, b) = (line("a.jpg", "aa", Status::Graded), line("b.jpg", "bb", Status::Graded));
        let known = |file: &str, left: &str| {
            fs::write(&path, file).unwrap();
            fs::write(partial(&path), left).unwrap();
            begin(&path, Some(&Options::default())).map(|(earlier, _)| earlier.known.len())
        };
        assert_eq!(known(&format!("\u{feff}\r\n{a}\n{}", b.trim_end()), "").unwrap(), 2);
        assert_eq!(known("", &format!("{a}{}", b.trim_end())).unwrap(), 2);
        assert_eq!(known("", &format!("{a}{}", &b[..40])).unwrap(), 1);
        assert_eq!(known("", &b[..40]).unwrap(), 0);
        for (file, left) in [(&b[..40], ""), ("", "my notes"), ("", "my notes\n"), ("notes", &b[..])] {
            assert!(known(file, left).is_err(), "{file} {left}");
            assert_eq!(fs::read_to_string(&path).unwrap(), file);
            assert_eq!(fs::read_to_string(partial(&path)).unwrap_or_default(), left);
        }
    }

    #[test]
    fn a_file_of_something_else_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        assert!(begin(&path, Some(&Options::default())).unwrap().0.is_empty());
        assert!(!path.exists());
        for text in ["some notes\n", "{\"a\": 1}\n", "\u{0}\n"] {
            fs::write(&path, text).unwrap();
            let error = begin(&path, Some(&Options::default())).err().unwrap().to_string();
            assert!(error.contains("line 1") && error.contains("a.jsonl"), "{error}");
            assert_eq!(fs::read_to_string(&path).unwrap(), text);
        }
    }
}
