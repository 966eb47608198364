//! Inputs are never changed.

use super::batch;
use super::support::Bench;
use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::time::SystemTime;

/// Bytes, time and read-only flag (with the mode, where there is one) of every input.
fn inputs(bench: &Bench) -> BTreeMap<PathBuf, (Vec<u8>, SystemTime, fs::Permissions)> {
    let files = bench.files().into_iter().filter(|(path, _)| path.starts_with(bench.path("in")));
    let about = |path: &PathBuf| fs::metadata(path).unwrap();
    files
        .map(|(path, bytes)| (path.clone(), (bytes, about(&path).modified().unwrap(), about(&path).permissions())))
        .collect()
}

#[test]
fn no_command_changes_a_photo() {
    let bench = batch(2, 200);
    bench.put("in/nursery.toml", "[card]\ncheck_line_mm = 49.5\n");
    let before = inputs(&bench);
    assert_eq!(before.len(), 5);
    let all = "grade in --csv a.csv --jsonl a.jsonl --explain e.csv --report a.html --overlay seen --masks masks --book b.sqlite \
        --standard in/nursery.toml";
    for (line, code) in [
        (all, 1),
        ("grade in --csv a.csv --jsonl a.jsonl --resume", 1),
        ("grade in --masks in/sub --overlay in/sub", 1),
        ("listing in/IMG_3_plant.jpg -o l.html -o l.pdf -o l.png", 0),
        ("book list --book b.sqlite", 0),
        ("standard --check in/nursery.toml", 0),
    ] {
        let run = bench.run(&line.split_whitespace().collect::<Vec<_>>());
        assert_eq!(run.code, code, "{line}: {}", run.stderr);
        let after = inputs(&bench);
        assert!(before.iter().all(|(path, input)| after.get(path) == Some(input)), "{line}");
    }
}

#[test]
fn no_output_takes_the_place_of_a_photo() {
    let bench = batch(1, 200);
    #[cfg(unix)]
    {
        fs::hard_link(bench.path("in/IMG_0.jpg"), bench.path("hard.csv")).unwrap();
        std::os::unix::fs::symlink("in/IMG_0.jpg", bench.path("soft.csv")).unwrap();
        std::os::unix::fs::symlink("in/IMG_0.jpg", bench.path("a.csv.partial")).unwrap();
    }
    let before = inputs(&bench);
    for (option, name) in [
        ("--csv", "hard.csv"),
        ("--csv", "soft.csv"),
        ("--csv", "a.csv"),
        ("--jsonl", "hard.csv"),
        ("--report", "soft.csv"),
        ("--explain", "hard.csv"),
        ("--book", "hard.csv"),
    ] {
        for line in [&["grade", "in", option, name][..], &["watch", "in", option, name, "--every", "0.1"]] {
            let (watch, both) = (line[0] == "watch", ["--csv", "--jsonl", "--book"].contains(&option));
            if watch && !both {
                continue;
            }
            let run = bench.run(line);
            assert!([4, 5].contains(&run.code), "{line:?}: {} {}", run.code, run.stderr);
            assert_eq!(inputs(&bench), before, "{line:?}");
        }
    }
}
