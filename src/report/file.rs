//! Output files that are whole or absent.

use crate::error::{Error, Result};
use std::collections::HashSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// Ending of the temporary name.
const PARTIAL: &str = ".partial";

/// An output in the making. A file is written under a temporary name in the same folder and renamed when it is whole, so
/// that `NAME` is the old file, the new one, or absent. Dropped before [`Output::finish`], it leaves nothing, but for the
/// lines of a [`Held`].
pub struct Output {
    name: PathBuf,
    writer: BufWriter<Box<dyn Write + Send>>,
    making: Option<Making>,
}

/// What has the temporary name.
enum Making {
    /// A file with a name that nobody else has; it goes with this.
    Own(TempPath),
    Held(Held),
}

impl Output {
    /// Opens the output: now, so that a bad path fails before the work. Devices and pipes are written directly, a link
    /// is followed.
    pub fn create(path: &Path) -> Result<Self> {
        let open = || {
            let target = target(path)?;
            if is_device(&target) {
                return Ok((File::options().write(true).open(&target)?, target, None));
            }
            let (file, own) = beside(&target)?;
            Ok((file, target, Some(Making::Own(own))))
        };
        let (file, name, making) = open().map_err(|source| failed(path, source))?;
        Ok(Self { name, writer: BufWriter::new(Box::new(file)), making })
    }

    /// An output that is there already, such as the standard output.
    pub fn stream(name: &str, writer: impl Write + Send + 'static) -> Self {
        Self { name: name.into(), writer: BufWriter::new(Box::new(writer)), making: None }
    }

    /// Writes with `write` and names the output in the error.
    pub fn put(&mut self, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<()> {
        write(&mut self.writer).map_err(|source| failed(&self.name, source))
    }

    /// Makes the output whole and gives it its name.
    pub fn finish(self) -> Result<()> {
        let Self { name, mut writer, making } = self;
        let end = || {
            writer.flush()?;
            match making {
                None => Ok(()),
                Some(Making::Own(own)) => {
                    File::open(&own)?.sync_all()?;
                    Ok(own.persist(&name)?)
                }
                Some(Making::Held(held)) => held.name(),
            }
        };
        end().map_err(|source| failed(&name, source))
    }
}

/// `NAME.partial`, held against other runs until it is whole: lines that are flushed there stay if the run is killed or
/// cannot write on, so that another goes on from them. If it is empty, it goes.
pub struct Held {
    target: PathBuf,
    partial: PathBuf,
    file: File,
}

impl Held {
    /// Takes hold of it and leaves what is in it; `None` for devices and pipes, which have none.
    ///
    /// # Errors
    /// It cannot be opened, or another run has it.
    pub fn open(path: &Path) -> Result<Option<Self>> {
        let open = || {
            let target = target(path)?;
            if is_device(&target) {
                return Ok(None);
            }
            let partial = partial(&target);
            if is_device(&partial) || is_database(&partial) {
                return Err(io::Error::other(format!("{} is in the way", partial.display())));
            }
            let file = File::options().read(true).write(true).create(true).truncate(false).open(&partial)?;
            // Where the system has no locks, it goes without.
            let taken = matches!(file.try_lock(), Err(TryLockError::WouldBlock));
            if taken || !has_name(&file, &partial) {
                return Err(io::Error::other("another run is writing it"));
            }
            Ok(Some(Self { target, partial, file }))
        };
        open().map_err(|source| failed(path, source))
    }

    /// Its name.
    pub fn partial(&self) -> &Path {
        &self.partial
    }

    /// What is in it.
    pub fn content(&self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        (&self.file).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// Empties it and begins the output.
    pub fn begin(self) -> Result<Output> {
        let writer = || {
            self.file.set_len(0)?;
            (&self.file).rewind()?;
            self.file.try_clone()
        };
        let file = writer().map_err(|source| failed(&self.target, source))?;
        Ok(Output {
            name: self.target.clone(),
            writer: BufWriter::new(Box::new(file)),
            making: Some(Making::Held(self)),
        })
    }

    /// Gives it its name.
    fn name(self) -> io::Result<()> {
        if !has_name(&self.file, &self.partial) {
            return Err(io::Error::other(format!("{} was taken away or replaced", self.partial.display())));
        }
        self.file.sync_all()?;
        fs::rename(&self.partial, &self.target)
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        if self.file.metadata().is_ok_and(|kind| kind.len() == 0) && has_name(&self.file, &self.partial) {
            let _ = fs::remove_file(&self.partial);
        }
    }
}

/// The file that an output is to be, through a link.
fn target(path: &Path) -> io::Result<PathBuf> {
    let target = if path.is_symlink() { fs::canonicalize(path)? } else { path.to_owned() };
    if target.is_dir() {
        return Err(io::Error::from(io::ErrorKind::IsADirectory));
    }
    if is_database(&target) {
        return Err(io::Error::other("it is a stock book or another database; choose another name"));
    }
    Ok(target)
}

fn is_device(path: &Path) -> bool {
    path.exists() && !path.is_file()
}

/// A new file in the same folder: `NAME`, six letters that no other file has there, and the temporary ending.
fn beside(target: &Path) -> io::Result<(File, TempPath)> {
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut prefix = target.file_name().unwrap_or_default().to_owned();
    prefix.push(".");
    let make = |path: &Path| File::options().write(true).create_new(true).open(path);
    Ok(tempfile::Builder::new().prefix(&prefix).suffix(PARTIAL).make_in(folder, make)?.into_parts())
}

/// Whether a file is a database of `SQLite` ("Database File Format", 1.3, on its site: the first 16 bytes): nothing writes over one.
fn is_database(path: &Path) -> bool {
    let mut start = [0; 16];
    path.is_file()
        && File::open(path).and_then(|mut file| file.read_exact(&mut start)).is_ok()
        && start == *b"SQLite format 3\0"
}

/// Writes a whole file at once.
pub fn write(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<()> {
    let mut output = Output::create(path)?;
    output.put(write)?;
    output.finish()
}

/// Makes a folder for outputs and tries whether files can be made in it, so that a bad one fails before the work.
pub fn make_folder(path: &Path) -> Result<()> {
    let make = || fs::create_dir_all(path).and_then(|()| beside(&path.join(".variegauge")));
    make().map(drop).map_err(|source| failed(path, source))
}

/// The photos to be graded, known by any of their names: also through links.
pub struct Inputs(HashSet<Identity>);

impl Inputs {
    /// Looks each input up; nothing is opened, as opening a pipe would wait for ever.
    pub fn new<'a>(photos: impl Iterator<Item = &'a Path>) -> Self {
        Self(photos.filter_map(identity).collect())
    }

    /// Refuses an output that is one of the inputs, or whose temporary file would be.
    pub fn keep(&self, output: &Path) -> Result<()> {
        let is_photo = |path: &Path| identity(path).is_some_and(|id| self.0.contains(&id));
        if is_photo(output) || is_photo(&partial(output)) {
            return Err(failed(output, io::Error::other("it is one of the files to be read")));
        }
        Ok(())
    }
}

/// What tells a file from others: device and number.
#[cfg(unix)]
type Identity = (u64, u64);

/// What tells a file from others: its full path (hard links are not seen on this system).
#[cfg(not(unix))]
type Identity = PathBuf;

#[cfg(unix)]
fn identity(path: &Path) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    fs::metadata(path).map(|m| (m.dev(), m.ino())).ok()
}

/// Whether an open file has this name still.
#[cfg(unix)]
fn has_name(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    file.metadata().is_ok_and(|m| identity(path) == Some((m.dev(), m.ino())))
}

/// Whether an open file has this name still; whether another has it now is not seen on this system.
#[cfg(not(unix))]
fn has_name(_: &File, path: &Path) -> bool {
    path.exists()
}

#[cfg(not(unix))]
fn identity(path: &Path) -> Option<Identity> {
    fs::canonicalize(path).ok()
}

/// The temporary name of JSON lines, beside the file that they are to be, through a link.
pub fn partial(path: &Path) -> PathBuf {
    let mut name = target(path).unwrap_or_else(|_| path.to_owned()).into_os_string();
    name.push(PARTIAL);
    name.into()
}

/// The error of an output at `path`.
pub fn failed(path: &Path, source: io::Error) -> Error {
    Error::Write { path: super::text::shown(&path.to_string_lossy()), source }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn no_output_writes_over_a_database() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("book.sqlite");
        fs::write(&path, b"SQLite format 3\0 and more").unwrap();
        let error = write(&path, |out| out.write_all(b"x")).unwrap_err().to_string();
        assert!(error.contains("stock book"), "{error}");
        assert_eq!(fs::read(&path).unwrap(), b"SQLite format 3\0 and more");
    }

    #[test]
    fn the_old_file_stays_until_the_new_one_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        fs::write(&path, "old").unwrap();
        let mut output = Output::create(&path).unwrap();
        output.put(|w| w.write_all(b"new")).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"old");
        output.finish().unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    /// A file on a disk that is full after so many writes.
    struct Filling {
        file: File,
        left: usize,
    }

    impl Write for Filling {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.left = self.left.checked_sub(1).ok_or(io::ErrorKind::StorageFull)?;
            self.file.write(bytes)
        }

        fn flush(&mut self) -> io::Result<()> {
            self.file.flush()
        }
    }

    #[test]
    fn whichever_write_fails_the_old_file_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let rows: Vec<String> = (0..40).map(|row| format!("{row},{}\n", "x".repeat(row))).collect();
        let attempt = |left| {
            fs::write(&path, "old").unwrap();
            let mut output = Output::create(&path)?;
            let Some(Making::Own(own)) = &output.making else { panic!("a file has a name of its own") };
            let file = File::create(own).unwrap();
            output.writer = BufWriter::with_capacity(64, Box::new(Filling { file, left }));
            rows.iter().try_for_each(|row| output.put(|out| out.write_all(row.as_bytes())))?;
            output.finish()
        };
        let mut failed = 0;
        while let Err(error) = attempt(failed) {
            assert!(matches!(&error, Error::Write { source, .. } if source.kind() == io::ErrorKind::StorageFull));
            assert_eq!(
                (fs::read_to_string(&path).unwrap(), names(folder.path())),
                ("old".into(), vec!["a.csv".into()])
            );
            failed += 1;
        }
        assert_eq!((fs::read_to_string(&path).unwrap(), names(folder.path())), (rows.concat(), vec!["a.csv".into()]));
        assert!(failed > 10, "{failed} writes failed");
    }

    #[test]
    fn a_dropped_output_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        drop(Output::create(&folder.path().join("a.csv")).unwrap());
        assert!(names(folder.path()).is_empty());
    }

    #[test]
    fn a_file_under_the_temporary_name_stays() {
        let folder = tempfile::tempdir().unwrap();
        let (path, other) = (folder.path().join("a.csv"), folder.path().join("a.csv.partial"));
        fs::write(&other, "notes").unwrap();
        write(&path, |out| out.write_all(b"x")).unwrap();
        assert_eq!((fs::read(&path).unwrap(), fs::read(&other).unwrap()), (b"x".to_vec(), b"notes".to_vec()));
    }

    #[test]
    fn held_lines_are_held_once_and_stay_unless_there_are_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jsonl");
        let held = Held::open(&path).unwrap().unwrap();
        assert!(Held::open(&path).err().unwrap().to_string().contains("another run is writing it"));
        drop(held.begin().unwrap());
        assert!(names(folder.path()).is_empty());
        let mut output = Held::open(&path).unwrap().unwrap().begin().unwrap();
        output.put(|out| out.write_all(b"line\n")).unwrap();
        drop(output);
        assert_eq!(names(folder.path()), ["a.jsonl.partial"]);
        let held = Held::open(&path).unwrap().unwrap();
        assert_eq!(held.content().unwrap(), b"line\n");
        held.begin().unwrap().finish().unwrap();
        assert_eq!(names(folder.path()), ["a.jsonl"]);
    }

    #[test]
    fn bad_paths_fail_at_once_with_their_name() {
        let folder = tempfile::tempdir().unwrap();
        for bad in [folder.path().to_owned(), folder.path().join("no/such/a.csv")] {
            let error = Output::create(&bad).err().unwrap().to_string();
            assert!(error.starts_with(&format!("cannot write {}", bad.display())), "{error}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_full_device_is_an_error() {
        let full = Path::new("/dev/full");
        if full.exists() {
            let error = write(full, |w| w.write_all(b"x")).unwrap_err();
            assert!(matches!(error, Error::Write { ref source, .. } if source.kind() == io::ErrorKind::StorageFull));
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_photo_is_known_by_any_of_its_names() {
        let folder = tempfile::tempdir().unwrap();
        let [photo, hard, soft, other] = ["p.jpg", "hard", "soft", "other"].map(|n| folder.path().join(n));
        fs::write(&photo, "p").unwrap();
        fs::hard_link(&photo, &hard).unwrap();
        std::os::unix::fs::symlink(&photo, &soft).unwrap();
        fs::write(&other, "p").unwrap();
        let inputs = Inputs::new([photo.as_path(), Path::new("missing")].into_iter());
        for name in [&photo, &hard, &soft] {
            assert!(inputs.keep(name).is_err(), "{}", name.display());
        }
        assert!(inputs.keep(&other).is_ok());
        assert!(inputs.keep(Path::new("missing too")).is_ok());
    }
}
