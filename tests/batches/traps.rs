//! A folder of file-system traps, after `shared/corpus`'s list: the run ends, each file is told once, nothing outside is read.

use super::support::{Bench, grey_jpeg, rows};
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// Names that are graded as they are.
const NAMES: [&str; 32] = [
    "plain.jpg",
    "with space.jpg",
    "-rf.jpg",
    "--help.jpg",
    "=1+1.jpg",
    "=cmd|'!A1.jpg",
    "@SUM(1).jpg",
    "+1.jpg",
    "\tTAB.jpg",
    "quote\",comma.jpg",
    "semi;colon.jpg",
    "new\nline.jpg",
    "car\rriage.jpg",
    "esc\u{1b}[2J.jpg",
    "<img src=x onerror=alert(1)>.jpg",
    "'\"><script>alert(1)<\\script>.jpg",
    "amp&lt;.jpg",
    "javascript:alert(1).jpg",
    "a%2e%2e%2fb.jpg",
    "%00.jpg",
    "back\\slash.jpg",
    "grün 植物 🌱.jpg",
    "caf\u{e9}.jpg",
    "cafe\u{301}.jpg",
    "rtl\u{202e}gpj.exe.jpg",
    "CON.jpg",
    "trail. .jpg",
    "UPPER.JPG",
    "mixed.JpEg",
    "sub/plain.jpg",
    "Case.jpg",
    "case.jpg",
];

fn traps() -> Bench {
    let bench = Bench::new();
    let photo = grey_jpeg();
    for name in NAMES {
        bench.put(&format!("in/{name}"), &photo);
    }
    bench.put(&format!("in/{}.jpg", "x".repeat(251)), &photo);
    bench.put(&format!("in/deep/{}/leaf.jpg", ["d"; 40].join("/")), &photo);
    fs::write(bench.path("in").join(OsStr::from_bytes(b"not-utf8-\xff\xfe.jpg")), &photo).unwrap();
    for (name, text) in [
        ("empty.jpg", ""),
        ("text.jpg", "hello\n"),
        ("Thumbs.db", "x"),
        ("._plain.jpg", "\0\u{5}"),
        (".hidden.jpg", "x"),
    ] {
        bench.put(&format!("in/{name}"), text);
    }
    bench.put("outside/secret.jpg", &photo);
    for (to, name) in [
        ("plain.jpg", "link_to_file.jpg"),
        ("../outside/secret.jpg", "link_outside.jpg"),
        ("../outside", "link_dir_outside"),
        (".", "loop"),
        ("loop_self.jpg", "loop_self.jpg"),
        ("nowhere.jpg", "dangling.jpg"),
        ("/dev/zero", "devzero.jpg"),
    ] {
        symlink(to, bench.path("in").join(name)).unwrap();
    }
    assert!(Command::new("mkfifo").arg(bench.path("in/fifo.jpg")).status().unwrap().success());
    fs::create_dir(bench.path("in/dir.jpg")).unwrap();
    fs::hard_link(bench.path("in/plain.jpg"), bench.path("in/hardlink.jpg")).unwrap();
    bench.put("in/unreadable.jpg", &photo);
    bench.put("in/locked_dir/a.jpg", &photo);
    lock(&bench.path("in/unreadable.jpg"), 0);
    lock(&bench.path("in/locked_dir"), 0);
    bench
}

fn lock(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

#[test]
fn the_run_ends_and_tells_of_each_file_once() {
    let bench = traps();
    // Some users may read everything.
    let root = fs::read(bench.path("in/unreadable.jpg")).is_ok();
    let begin = Instant::now();
    let run = |csv: &str| bench.run(&["grade", "in", "--csv", csv]);
    let first = run("a.csv");
    assert!(begin.elapsed() < Duration::from_secs(10));
    assert_eq!(first.code, 1, "{}", first.stderr);
    run("b.csv");
    assert_eq!(bench.text("a.csv"), bench.text("b.csv"), "the order is the same");
    let rows = rows(&bench.text("a.csv"));
    let mut told: Vec<&str> = rows.iter().map(|row| row["file"].as_str()).collect();
    told.sort_unstable();
    told.dedup();
    assert_eq!(told.len(), rows.len(), "each once");
    // The names, the longest, the deepest, the one that is not UTF-8, empty, text, pipe, hard link, unreadable, locked folder.
    assert_eq!(rows.len(), NAMES.len() + 9, "{told:?}");
    let row = |name: &str| rows.iter().find(|row| row["file"].ends_with(name)).unwrap_or_else(|| panic!("{name}"));
    assert!(NAMES.iter().all(|name| row(name)["status"] == "refused"), "{rows:?}");
    for (name, reason) in [("fifo.jpg", "not a file"), ("empty.jpg", "empty"), ("text.jpg", "a text")] {
        assert_eq!(row(name)["status"], "failed");
        assert!(row(name)["reason"].contains(reason), "{name}: {}", row(name)["reason"]);
    }
    if !root {
        assert_eq!([&row("unreadable.jpg")["status"], &row("locked_dir")["status"]], ["failed"; 2]);
    }
    assert!(told.iter().all(|name| !name.contains("secret") && !name.contains("link_") && !name.contains("loop")));
    assert!(first.stderr.contains("7 links not followed") && first.stderr.contains("1 other file"), "{}", first.stderr);
    assert!(!first.stderr.contains("panicked"), "{}", first.stderr);
    lock(&bench.path("in/locked_dir"), 0o700);
}

#[test]
fn links_given_by_name_and_devices_end_soon() {
    let bench = traps();
    let begin = Instant::now();
    let names = ["in/fifo.jpg", "in/devzero.jpg", "in/loop_self.jpg", "in/dangling.jpg", "in/plain.jpg"];
    let run = bench.run(&[&["grade", "--csv", "a.csv"][..], &names].concat());
    assert!(begin.elapsed() < Duration::from_secs(2));
    assert_eq!(run.code, 1, "{}", run.stderr);
    let rows = rows(&bench.text("a.csv"));
    assert_eq!(rows.iter().filter(|row| row["status"] == "failed").count(), 4);
    lock(&bench.path("in/locked_dir"), 0o700);
}
