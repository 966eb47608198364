//! From the arguments to the photos.

use std::collections::HashSet;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use variegauge::error::Error;
use variegauge::photo::format::sniff;
use variegauge::report::names;
use walkdir::{DirEntry, WalkDir};

/// Endings of files that are tried as photos, also of kinds that are refused with an explanation.
const ENDINGS: [&str; 15] =
    ["jpg", "jpeg", "jpe", "jfif", "jif", "png", "webp", "tif", "tiff", "heic", "heif", "hif", "avif", "jxl", "dng"];

/// Endings of the names under which other programs, and this one, keep files that are not whole yet.
const UNFINISHED: [&str; 6] = ["tmp", "temp", "part", "partial", "crdownload", "download"];

/// What the arguments hold.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// In the order of the arguments; inside a folder, as people count (`IMG_2` before `IMG_10`).
    pub(super) sources: Vec<Source>,
    /// Files in folders that are no photos, the program's own outputs among them.
    pub(super) foreign: usize,
    /// Links in folders; they are not followed.
    pub(super) links: usize,
}

/// One file to be graded.
#[derive(Debug)]
pub(super) struct Source {
    /// As the user would name it.
    pub(super) path: PathBuf,
    /// Why it cannot even be tried.
    pub(super) trouble: Option<Error>,
}

impl Source {
    fn new(path: &Path, trouble: Option<io::Error>) -> Self {
        Self { path: path.to_owned(), trouble: trouble.map(Error::Read) }
    }
}

/// Whether the file's name says that it is a photo.
pub(super) fn has_photo_ending(path: &Path) -> bool {
    let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    ENDINGS.contains(&ending.as_str())
}

/// Finds the photos. A file is taken as given; a folder is searched, without hidden files (whose names begin with a
/// dot) and without following links. A file that is met twice is taken once.
pub(super) fn photos(arguments: &[PathBuf], recursive: bool) -> Found {
    let mut found = Found::default();
    for argument in arguments {
        match fs::metadata(argument) {
            Ok(kind) if kind.is_dir() => walk(argument, recursive, &mut found),
            Ok(kind) if kind.is_file() => found.sources.push(Source::new(argument, None)),
            Ok(_) => found.sources.push(Source::new(argument, Some(not_a_file()))),
            Err(error) => found.sources.push(Source::new(argument, Some(error))),
        }
    }
    let mut met = HashSet::new();
    found.sources.retain(|source| met.insert(fs::canonicalize(&source.path).unwrap_or_else(|_| source.path.clone())));
    found
}

fn walk(folder: &Path, recursive: bool, found: &mut Found) {
    let depth = if recursive { usize::MAX } else { 1 };
    let seen = |entry: &DirEntry| entry.depth() == 0 || !entry.file_name().as_encoded_bytes().starts_with(b".");
    let entries = WalkDir::new(folder).max_depth(depth).sort_by_key(|entry| natural(entry.file_name()));
    for entry in entries.into_iter().filter_entry(seen) {
        match entry {
            Ok(entry) if entry.depth() == 0 || entry.file_type().is_dir() => {}
            Ok(entry) if entry.file_type().is_symlink() => found.links += 1,
            Ok(entry) => file(entry.path(), entry.file_type().is_file(), found),
            Err(error) => {
                let path = error.path().unwrap_or(folder).to_owned();
                found.sources.push(Source::new(&path, Some(error.into())));
            }
        }
    }
}

fn file(path: &Path, regular: bool, found: &mut Found) {
    let path = path.strip_prefix(".").unwrap_or(path);
    let named = has_photo_ending(path);
    if names::is_ours(path) || is_unfinished(path) || !(named || regular && begins_as_photo(path)) {
        found.foreign += 1;
    } else {
        found.sources.push(Source::new(path, (!regular).then(not_a_file)));
    }
}

fn is_unfinished(path: &Path) -> bool {
    let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    UNFINISHED.contains(&ending.as_str())
}

fn not_a_file() -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, "it is a device or a pipe, not a file")
}

/// Whether the content begins as a photo of a kind that we read, whatever the name.
fn begins_as_photo(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(16).read_to_end(&mut head));
    read.is_ok() && sniff(&head).is_ok()
}

/// Sorts names as people count: digits by their number, letters without their case, the exact name last.
fn natural(name: &OsStr) -> (Vec<(bool, usize, String)>, OsString) {
    let text: Vec<char> = name.to_string_lossy().chars().collect();
    let part = |part: &[char]| {
        let part: String = part.iter().collect();
        if part.starts_with(|c: char| c.is_ascii_digit()) {
            let digits = part.trim_start_matches('0');
            (false, digits.len(), digits.to_owned())
        } else {
            (true, 0, part.to_lowercase())
        }
    };
    (text.chunk_by(|a, b| a.is_ascii_digit() == b.is_ascii_digit()).map(part).collect(), name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(found: &Found, root: &Path) -> Vec<String> {
        found.sources.iter().map(|s| s.path.strip_prefix(root).unwrap().to_string_lossy().into_owned()).collect()
    }

    #[test]
    fn names_sort_as_people_count() {
        let mut names = ["IMG_10", "IMG_2", "img_1", "IMG_02", "a", "B", "9"].map(OsStr::new);
        names.sort_by_key(|name| natural(name));
        assert_eq!(names, ["9", "a", "B", "img_1", "IMG_02", "IMG_2", "IMG_10"].map(OsStr::new));
    }

    #[test]
    fn a_folder_gives_its_photos_once_and_counts_the_rest() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        fs::create_dir_all(root.join("sub/.thumbs")).unwrap();
        let files = [
            "IMG_10.JPG",
            "IMG_2.jpg",
            "phone.heic",
            "notes.txt",
            ".hidden.jpg",
            "sub/.thumbs/a.jpg",
            "sub/a.png",
            "IMG_2.overlay.jpg",
            "IMG_2.tissue.png",
            "IMG_3.jpg.part",
        ];
        for name in files {
            fs::write(root.join(name), "x").unwrap();
        }
        for name in ["no ending", "IMG_3.jpg.part"] {
            fs::write(root.join(name), b"\xff\xd8\xff\xe0 a JPEG begins so").unwrap();
        }
        let found = photos(&[root.to_owned(), root.join("IMG_2.jpg")], true);
        assert_eq!(names(&found, root), ["IMG_2.jpg", "IMG_10.JPG", "no ending", "phone.heic", "sub/a.png"]);
        assert_eq!((found.foreign, found.links), (4, 0));
        assert_eq!(names(&photos(&[root.to_owned()], false), root).len(), 4);
    }

    #[cfg(unix)]
    #[test]
    fn links_loops_and_pipes_are_harmless() {
        use std::os::unix::{fs::symlink, net::UnixListener};
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        fs::write(root.join("a.jpg"), "x").unwrap();
        symlink(".", root.join("loop")).unwrap();
        symlink("a.jpg", root.join("link.jpg")).unwrap();
        symlink("self.jpg", root.join("self.jpg")).unwrap();
        let _socket = UnixListener::bind(root.join("socket.jpg")).unwrap();
        let found = photos(&[root.to_owned(), root.join("missing.jpg")], true);
        assert_eq!(names(&found, root), ["a.jpg", "socket.jpg", "missing.jpg"]);
        assert_eq!(found.links, 3);
        let troubles: Vec<bool> = found.sources.iter().map(|s| s.trouble.is_some()).collect();
        assert_eq!(troubles, [false, true, true]);
    }
}
