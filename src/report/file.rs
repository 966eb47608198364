//! Output files that are whole or absent.

use crate::error::{Error, Result};
use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};

/// Ending of the temporary name.
const PARTIAL: &str = ".partial";

/// An output in the making. A file is written as `NAME.partial` in the same folder and renamed when it is whole, so that
/// `NAME` is the old file, the new one, or absent; if the program is killed, `NAME.partial` holds what was flushed.
/// Dropped before [`Output::finish`], it leaves nothing.
pub struct Output {
    name: PathBuf,
    writer: BufWriter<Box<dyn Write + Send>>,
    partial: Option<PathBuf>,
}

impl Output {
    /// Opens the output: now, so that a bad path fails before the work. Devices and pipes are written directly, a link
    /// is followed.
    pub fn create(path: &Path) -> Result<Self> {
        let open = || {
            let target = if path.is_symlink() { fs::canonicalize(path)? } else { path.to_owned() };
            if target.is_dir() {
                return Err(io::Error::from(io::ErrorKind::IsADirectory));
            }
            if is_database(&target) {
                return Err(io::Error::other("it is a stock book or another database; choose another name"));
            }
            if target.exists() && !target.is_file() {
                return Ok((File::options().write(true).open(&target)?, target, None));
            }
            let partial = partial(&target);
            Ok((File::create(&partial)?, target, Some(partial)))
        };
        let (file, name, partial) = open().map_err(|source| failed(path, source))?;
        Ok(Self { name, writer: BufWriter::new(Box::new(file)), partial })
    }

    /// An output that is there already, such as the standard output.
    pub fn stream(name: &str, writer: impl Write + Send + 'static) -> Self {
        Self { name: name.into(), writer: BufWriter::new(Box::new(writer)), partial: None }
    }

    /// Writes with `write` and names the output in the error.
    pub fn put(&mut self, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<()> {
        write(&mut self.writer).map_err(|source| failed(&self.name, source))
    }

    /// Makes the output whole and gives it its name.
    pub fn finish(mut self) -> Result<()> {
        let mut end = || {
            self.writer.flush()?;
            let Some(partial) = &self.partial else { return Ok(()) };
            File::open(partial)?.sync_all()?;
            fs::rename(partial, &self.name)
        };
        end().map_err(|source| failed(&self.name, source))?;
        self.partial = None;
        Ok(())
    }
}

/// Whether a file is a database of `SQLite` ("Database File Format", 1.3, on its site: the first 16 bytes): nothing writes over one.
fn is_database(path: &Path) -> bool {
    let mut start = [0; 16];
    path.is_file()
        && File::open(path).and_then(|mut file| file.read_exact(&mut start)).is_ok()
        && start == *b"SQLite format 3\0"
}

impl Drop for Output {
    fn drop(&mut self) {
        if let Some(partial) = &self.partial {
            let _ = fs::remove_file(partial);
        }
    }
}

/// Writes a whole file at once.
pub fn write(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<()> {
    let mut output = Output::create(path)?;
    output.put(write)?;
    output.finish()
}

/// Makes a folder for outputs and tries whether files can be made in it, so that a bad one fails before the work.
pub fn make_folder(path: &Path) -> Result<()> {
    let probe = path.join(format!(".variegauge{PARTIAL}"));
    let make = || {
        fs::create_dir_all(path)?;
        File::create(&probe)?;
        fs::remove_file(&probe)
    };
    make().map_err(|source| failed(path, source))
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

#[cfg(not(unix))]
fn identity(path: &Path) -> Option<Identity> {
    fs::canonicalize(path).ok()
}

/// The temporary name of an output: what is flushed is there while the output is in the making, and stays if the program is killed.
pub fn partial(path: &Path) -> PathBuf {
    let mut name = path.to_owned().into_os_string();
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
            let file = File::create(output.partial.as_ref().unwrap()).unwrap();
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
