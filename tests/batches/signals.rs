//! Ctrl-C and kill at any moment.

use super::batch;
use super::support::{Bench, Run, rows};
use std::fs;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const ARGS: [&str; 9] = ["grade", "in", "--csv", "a.csv", "--jsonl", "a.jsonl", "--jobs", "2", "--resume"];

fn start(bench: &Bench, args: &[&str]) -> Child {
    bench.command(args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

fn signal(child: &Child, name: &str) {
    let status = Command::new("kill").args([name, &child.id().to_string()]).status().unwrap();
    assert!(status.success());
}

fn pause(ms: u64) {
    std::thread::sleep(Duration::from_millis(ms));
}

/// Moments spread over a run: multiples of the golden ratio, no two alike.
fn moment(n: u8) -> u64 {
    (f64::from(n) * 0.618).fract().mul_add(1200.0, 80.0) as u64
}

#[test]
fn the_first_ctrl_c_keeps_what_is_done_and_resume_makes_it_whole() {
    let bench = batch(10, 200);
    bench.run(&["grade", "in", "--csv", "whole.csv", "--jsonl", "whole.jsonl"]);
    let mut cut = 0;
    for n in 1..=5 {
        let name = if n % 2 == 0 { "-INT" } else { "-TERM" };
        let child = start(&bench, &ARGS);
        pause(moment(n));
        signal(&child, name);
        let begin = Instant::now();
        let run = Run::from(child.wait_with_output().unwrap());
        assert!(begin.elapsed() < Duration::from_secs(10), "only the photos in work are finished");
        let done = if bench.path("a.csv").exists() { rows(&bench.text("a.csv")).len() } else { 0 };
        if run.code == 130 {
            cut += 1;
            let told = format!("interrupted: {done} of 12 photos are done");
            assert!(run.stderr.contains(&told) && run.stderr.contains("the same command goes on"), "{}", run.stderr);
            assert!(bench.text("whole.csv").starts_with(&bench.text("a.csv")));
        } else {
            assert_eq!((run.code, done), (1, 12), "{}", run.stderr);
        }
        let again = bench.run(&ARGS);
        assert_eq!(again.code, 1, "{}", again.stderr);
        // The last file of all is the one that failed, which is tried again.
        let before = format!("; {} of them in an earlier run", done.min(11));
        assert!(done == 0 || again.stderr.contains(&before), "{before}: {}", again.stderr);
        assert_eq!(bench.text("a.csv"), bench.text("whole.csv"));
        assert_eq!(bench.text("a.jsonl"), bench.text("whole.jsonl"));
        fs::remove_file(bench.path("a.jsonl")).unwrap();
        fs::remove_file(bench.path("a.csv")).unwrap();
    }
    assert!(cut >= 2, "no run was cut off, so nothing was tested");
}

#[test]
fn the_second_ctrl_c_ends_at_once_and_no_name_has_half_a_file() {
    let bench = batch(20, 200);
    bench.put("a.csv", "old");
    let child = start(&bench, &["grade", "in", "--csv", "a.csv", "--jobs", "2"]);
    pause(400);
    signal(&child, "-INT");
    pause(5);
    signal(&child, "-INT");
    let begin = Instant::now();
    let run = Run::from(child.wait_with_output().unwrap());
    assert!(begin.elapsed() < Duration::from_millis(300), "{:?}", begin.elapsed());
    assert_eq!(run.code, 130);
    assert_eq!(bench.text("a.csv"), "old");
}

#[test]
fn after_a_kill_each_output_is_old_or_new_and_resume_loses_nothing() {
    let bench = batch(10, 200);
    bench.run(&["grade", "in", "--csv", "whole.csv", "--jsonl", "whole.jsonl"]);
    for n in 1..=5 {
        bench.put("a.csv", "old");
        let mut child = start(&bench, &ARGS);
        pause(moment(n));
        let _ = child.kill();
        child.wait().unwrap();
        let csv = bench.text("a.csv");
        assert!(csv == "old" || csv == bench.text("whole.csv"), "{csv}");
        let again = bench.run(&ARGS);
        assert_eq!(again.code, 1, "{}", again.stderr);
        assert_eq!(bench.text("a.csv"), bench.text("whole.csv"));
        assert_eq!(bench.text("a.jsonl"), bench.text("whole.jsonl"));
        fs::remove_file(bench.path("a.jsonl")).unwrap();
    }
}

#[test]
fn ctrl_c_without_lines_says_what_would_help() {
    let bench = batch(60, 1000);
    let child = start(&bench, &["grade", "in", "--jobs", "1"]);
    pause(300);
    signal(&child, "-INT");
    let run = Run::from(child.wait_with_output().unwrap());
    assert_eq!(run.code, 130, "{}", run.stderr);
    assert!(
        run.stderr.contains("once more stops at once") && run.stderr.contains("with --jsonl FILE"),
        "{}",
        run.stderr
    );
}
