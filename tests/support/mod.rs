//! What the tests of the built command share.

#![allow(dead_code, reason = "no test file needs all of it")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

/// A temporary folder with the command run in it.
pub(crate) struct Bench {
    folder: TempDir,
}

/// What a run gave.
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file, with the folders above it.
    pub(crate) fn put(&self, name: &str, bytes: impl AsRef<[u8]>) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    pub(crate) fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap()
    }

    /// Runs the command in the folder, without a terminal.
    pub(crate) fn run(&self, args: &[&str]) -> Run {
        let output = self.command(args).output().unwrap();
        Run::from(output)
    }

    /// The command, to be run in the folder.
    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("variegauge"));
        command.args(args).current_dir(self.folder.path());
        command
    }

    /// Bytes of every file in the folder, by name.
    pub(crate) fn files(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        fn walk(folder: &Path, files: &mut BTreeMap<PathBuf, Vec<u8>>) {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    walk(&path, files);
                } else {
                    files.insert(path.clone(), fs::read(&path).unwrap());
                }
            }
        }
        let mut files = BTreeMap::new();
        walk(self.folder.path(), &mut files);
        files
    }
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).unwrap();
        Self { code: output.status.code().unwrap(), stdout: text(output.stdout), stderr: text(output.stderr) }
    }
}

/// Rows of a CSV text, by column name.
pub(crate) fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(|row| row.unwrap()).collect()
}

/// A grey picture without any plant, as JPEG.
pub(crate) fn grey_jpeg() -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let picture = image::RgbImage::from_pixel(320, 240, image::Rgb([128, 128, 128]));
    picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}
