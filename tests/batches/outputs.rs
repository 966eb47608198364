//! Outputs that cannot be written: one line, exit code 4, nothing left behind.

use super::support::{Bench, Run};
use super::{batch, plant};
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

/// Runs the command under a limit on the size of the files that it writes, in blocks of 512 or 1024 bytes.
fn limited(bench: &Bench, blocks: u32, args: &[&str]) -> Run {
    let program = assert_cmd::cargo::cargo_bin!("variegauge");
    let mut command = Command::new("sh");
    command.args(["-c", &format!("ulimit -f {blocks} && exec \"$0\" \"$@\"")]).arg(program).args(args);
    Run::from(command.current_dir(bench.path("")).output().unwrap())
}

/// Files too small for what is written, up to the first that is not: the old one stays until the new one is whole.
#[track_caller]
fn grow(bench: &Bench, name: &str, args: &[&str]) {
    bench.put(name, "old");
    let before = bench.files();
    let sizes = (0..).map(|step| if step == 0 { 0 } else { 1 << (step - 1) });
    let mut failed = 0;
    for blocks in sizes {
        let run = limited(bench, blocks, args);
        assert!(!run.stderr.contains("panicked"), "{}", run.stderr);
        if run.code != 4 {
            assert!(run.code < 2, "{args:?}: {}", run.stderr);
            break;
        }
        assert_eq!(run.stderr.matches("error: cannot write ").count(), 1, "{args:?}: {}", run.stderr);
        assert_eq!(bench.files(), before, "{args:?}");
        failed += 1;
    }
    let size = bench.files()[&bench.path(name)].len();
    assert!(failed > 1 && size > 512 << (failed - 2), "{size} bytes after {failed} failures");
    assert_eq!(bench.files().len(), before.len(), "nothing else is there");
}

#[test]
fn lines_stay_where_there_is_no_room_for_more() {
    let bench = batch(30, 200);
    bench.run(&["grade", "in", "--jsonl", "whole.jsonl"]);
    let run = limited(&bench, 4, &["grade", "in", "--jsonl", "a.jsonl", "--quiet"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert!(
        run.stderr.contains("what is done is in a.jsonl.partial; the same command with --resume"),
        "{}",
        run.stderr
    );
    let done = bench.text("a.jsonl.partial").matches('\n').count();
    assert!(done > 0);
    let run = bench.run(&["grade", "in", "--jsonl", "a.jsonl", "--resume"]);
    assert!(run.stderr.contains(&format!("; {done} of them in an earlier run")), "{}", run.stderr);
    assert_eq!(bench.text("a.jsonl"), bench.text("whole.jsonl"));
}

#[test]
fn what_has_the_old_temporary_name_of_a_table_stays() {
    let bench = batch(1, 200);
    bench.put("a.csv.partial", b"SQLite format 3\0 and more");
    assert_eq!(bench.run(&["grade", "in", "--csv", "a.csv"]).code, 1);
    assert_eq!(bench.text("a.csv.partial"), "SQLite format 3\0 and more");
}

#[test]
fn a_file_without_room_is_one_line_and_leaves_the_old_one() {
    let bench = Bench::new();
    (0..60).for_each(|number| bench.put(&format!("in/{number}.jpg"), "no photo"));
    for (option, name) in [("--csv", "a.csv"), ("--report", "a.html")] {
        grow(&bench, name, &["grade", "in", option, name, "--quiet"]);
    }
}

#[test]
fn a_picture_without_room_leaves_nothing() {
    let bench = batch(3, 200);
    bench.put("seen/keep", "");
    let before = bench.files();
    let run = limited(&bench, 4, &["grade", "in", "--overlay", "seen", "--quiet"]);
    assert_eq!((run.code, run.stderr.matches("error: cannot write ").count()), (4, 1), "{}", run.stderr);
    assert!(!run.stderr.contains("panicked") && bench.files() == before, "{}", run.stderr);
}

#[test]
fn other_commands_outlive_a_limit_too() {
    let bench = Bench::new();
    grow(&bench, "card.pdf", &["card", "7", "-o", "card.pdf", "--force"]);
    let plant = plant();
    grow(&bench, "7.png", &["listing", plant.to_str().unwrap(), "-o", "7.png", "--force"]);
    assert_eq!(limited(&bench, 1, &["man", "pages"]).code, 4);
}

#[test]
fn devices_that_are_full_are_told_once() {
    let bench = batch(10, 200);
    for option in ["--csv", "--jsonl", "--explain", "--report"] {
        let run = bench.run(&["grade", "in", option, "/dev/full", "--quiet"]);
        assert_eq!(run.code, 4, "{option}: {}", run.stderr);
        assert_eq!(run.stderr.matches("cannot write /dev/full").count(), 1, "{option}: {}", run.stderr);
    }
}

#[test]
fn a_reader_that_has_seen_enough_ends_the_work_without_a_word() {
    let bench = batch(80, 1000);
    for args in [&["grade", "in"][..], &["grade", "in", "--csv", "-"], &["grade", "in", "--jsonl", "-"]] {
        let mut command = bench.command(&[args, &["--jobs", "1"]].concat());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut first = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
        assert!(!first.is_empty());
        let run = Run::from(child.wait_with_output().unwrap());
        assert!(!run.stderr.contains("panicked") && !run.stderr.contains("cannot write"), "{}", run.stderr);
        assert!(run.code < 4, "{}", run.code);
        assert!(!run.stderr.contains("once more"), "nobody asked: {}", run.stderr);
        let told = run.stderr.lines().find(|line| line.contains(" graded (")).unwrap();
        assert!(!told.starts_with("82 photos"), "nobody reads the rest: {told}");
    }
}
