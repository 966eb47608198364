//! Outputs that cannot be written: one line, exit code 4, nothing left behind.

use super::batch;
use super::support::Run;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

/// Runs the command under a limit on the size of the files that it writes, in blocks of 512 or 1024 bytes.
fn limited(bench: &super::support::Bench, args: &[&str]) -> Run {
    let program = assert_cmd::cargo::cargo_bin!("variegauge");
    let mut command = Command::new("sh");
    command.args(["-c", "ulimit -f 4 && exec \"$0\" \"$@\""]).arg(program).args(args).current_dir(bench.path(""));
    Run::from(command.output().unwrap())
}

#[test]
fn lines_stay_where_there_is_no_room_for_more() {
    let bench = batch(30, 200);
    bench.run(&["grade", "in", "--jsonl", "whole.jsonl"]);
    let run = limited(&bench, &["grade", "in", "--jsonl", "a.jsonl", "--quiet"]);
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
fn a_file_without_room_is_one_line_and_leaves_nothing() {
    let bench = batch(30, 200);
    for (option, name) in [("--csv", "a.csv"), ("--report", "a.html"), ("--overlay", "seen")] {
        bench.put("old/keep", "");
        let before = bench.files();
        let run = limited(&bench, &["grade", "in", option, name, "--quiet"]);
        assert_eq!(run.code, 4, "{option}: {}", run.stderr);
        assert_eq!(run.stderr.matches("error: cannot write ").count(), 1, "{option}: {}", run.stderr);
        assert!(!run.stderr.contains("panicked"), "{}", run.stderr);
        assert_eq!(bench.files(), before, "{option}");
    }
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
