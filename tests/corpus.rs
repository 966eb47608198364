//! Every file of the corpus through the built command: an answer or one clear line, never a crash or a hang, and no
//! damaged photo graded. `fixtures/hostile` is always run; `VARIEGAUGE_CORPUS=DIR` adds a folder with an `index.csv` of
//! the same columns (`file`, `expected`).

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use rayon::prelude::*;

/// A file that takes longer is a hang.
const SLOWEST: Duration = Duration::from_secs(10);

/// Files whose index expects more of them than is right here, with the reason.
const EXCEPTIONS: [(&str, &str); 1] =
    [("exif/hopper_bad_exif.jpg", "its picture data are damaged too: viewers show broken stripes")];

struct Corpus {
    folder: PathBuf,
    /// Name and expectation: `decodes`, `error` or `either`.
    files: Vec<(String, String)>,
}

fn corpora() -> Vec<Corpus> {
    let given = std::env::var_os("VARIEGAUGE_CORPUS").map(PathBuf::from);
    let folders = [PathBuf::from("fixtures/hostile")].into_iter().chain(given);
    folders
        .map(|folder| {
            let mut index = csv::Reader::from_path(folder.join("index.csv")).unwrap();
            let rows = index.deserialize().map(|row: csv::Result<BTreeMap<String, String>>| row.unwrap());
            let files = rows.map(|mut row| (row.remove("file").unwrap(), row.remove("expected").unwrap())).collect();
            Corpus { folder, files }
        })
        .collect()
}

/// What the command said of one file.
#[derive(Debug, PartialEq, Clone)]
struct Said {
    status: String,
    error: String,
}

/// Runs the command on files of a folder: what it said of each, by name, and what it wrote to the terminal.
fn grade(folder: &Path, files: &[String]) -> (BTreeMap<String, Said>, String) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("variegauge"));
    command.args(["grade", "--jsonl", "-", "--quiet", "--"]).args(files).current_dir(folder);
    let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let (mut out, mut err) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let reader = std::thread::spawn(move || {
        let mut text = String::new();
        out.read_to_string(&mut text).unwrap();
        text
    });
    let errors = std::thread::spawn(move || {
        let mut text = String::new();
        err.read_to_string(&mut text).unwrap();
        text
    });
    let limit = SLOWEST * u32::try_from(files.len()).unwrap();
    let start = Instant::now();
    let status = loop {
        match child.try_wait().unwrap() {
            Some(status) => break status,
            None if start.elapsed() > limit => {
                child.kill().unwrap();
                panic!("{files:?} took longer than {limit:?}");
            }
            None => std::thread::sleep(Duration::from_millis(5)),
        }
    };
    let (lines, stderr) = (reader.join().unwrap(), errors.join().unwrap());
    // A signal leaves no code, a panic 101.
    assert!(matches!(status.code(), Some(0 | 1)), "{files:?}: {status}, {stderr}");
    assert!(!stderr.contains("panicked"), "{files:?}: {stderr}");
    (lines.lines().map(said).collect(), stderr)
}

fn said(line: &str) -> (String, Said) {
    let record: serde_json::Value = serde_json::from_str(line).unwrap();
    let text = |key: &str| record[key].as_str().unwrap_or_default().to_owned();
    let (status, plants) = (text("status"), record["plants"].as_array().unwrap().len());
    assert!(status == "graded" || plants == 0, "measurements of a photo that was not graded: {line}");
    (text("file"), Said { status, error: text("error") })
}

/// One process a file: what its index expects, and one line that names the file and the reason.
fn check(folder: &Path, file: &str, expected: &str) -> Said {
    let (mut said, stderr) = grade(folder, &[file.to_owned()]);
    let said = said.remove(file).unwrap_or_else(|| panic!("{file}: no record"));
    if said.status != "graded" {
        let lines: Vec<&str> = stderr.lines().filter(|line| line.starts_with("error: ")).collect();
        assert_eq!(lines.len(), 1, "{file}: {stderr}");
        assert!(lines[0].starts_with(&format!("error: {file}: ")) && lines[0].ends_with(&said.error), "{stderr}");
        assert!(said.error.chars().count() <= 200, "{file}: {stderr}");
    }
    assert!(stderr.lines().all(|line| line.starts_with("error: ") || line.starts_with("hint: ")), "{file}: {stderr}");
    let as_expected = match expected {
        "error" => said.status == "failed",
        // Refused for what is on the picture, or of a kind that is not read, but not as damaged.
        "decodes" => said.status != "failed" || said.error.contains("not read"),
        _ => true,
    };
    let excepted = EXCEPTIONS.iter().any(|(name, _)| *name == file);
    assert!(as_expected != excepted, "{file}: {expected} is expected, but {said:?}");
    said
}

#[test]
fn every_file_gives_an_answer_or_one_clear_line() {
    for Corpus { folder, files } in corpora() {
        let alone: Vec<Said> = files.par_iter().map(|(file, expected)| check(&folder, file, expected)).collect();
        let mut counts = BTreeMap::new();
        for ((_, expected), said) in files.iter().zip(&alone) {
            *counts.entry((expected.as_str(), said.status.as_str())).or_insert(0) += 1;
        }
        println!("{}: {} files, {counts:?}", folder.display(), files.len());
        // Many files a process, every fourth for the sake of time: each as if it were alone.
        let alone: BTreeMap<&str, &Said> = files.iter().map(|(file, _)| file.as_str()).zip(&alone).collect();
        let names: Vec<String> = files.iter().step_by(4).map(|(file, _)| file.clone()).collect();
        names.par_chunks(40).for_each(|names| {
            let (together, _) = grade(&folder, names);
            assert_eq!(together.len(), names.len());
            for (file, said) in together {
                assert_eq!(&said, alone[file.as_str()], "{file}");
            }
        });
    }
}

/// Small files that ask for much: refused from their header, at once.
#[test]
fn bombs_are_refused_at_once() {
    for Corpus { folder, files } in corpora() {
        for (file, expected) in files.iter().filter(|(file, _)| file.starts_with("bombs")) {
            let bytes = std::fs::read(folder.join(file)).unwrap();
            let start = Instant::now();
            let result = variegauge::photo::decode(&bytes);
            let took = start.elapsed();
            if expected == "error" {
                assert!(result.is_err() && took.as_millis() < 500, "{file}: {took:?}");
            }
            assert!(took < SLOWEST, "{file}: {took:?}");
        }
    }
}
