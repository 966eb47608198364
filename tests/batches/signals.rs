//! Ctrl-C and kill at any moment.

use super::support::{Bench, Run, grey_jpeg, rows};
use super::{batch, numbered, plant};
use std::fs;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

const ARGS: [&str; 9] = ["grade", "in", "--csv", "a.csv", "--jsonl", "a.jsonl", "--jobs", "2", "--resume"];

fn start(bench: &Bench, args: &[&str]) -> Child {
    bench.command(args).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
}

fn signal(child: &Child, name: &str) {
    let status = Command::new("kill").args([name, &child.id().to_string()]).status().unwrap();
    assert!(status.success());
}

fn pause(ms: u64) {
    thread::sleep(Duration::from_millis(ms));
}

/// A batch of many photos that are refused soon and three that take their time, and how long it takes undisturbed.
fn undisturbed() -> (Bench, Duration) {
    let bench = batch(0, 200);
    let plant = fs::read(plant()).unwrap();
    for number in 0..200 {
        let name = if number % 100 == 50 { "plant" } else { "grey" };
        let photo = if name == "plant" { plant.clone() } else { grey_jpeg() };
        bench.put(&format!("in/IMG_{number}_{name}.jpg"), numbered(&photo, number));
    }
    let begin = Instant::now();
    bench.run(&["grade", "in", "--csv", "whole.csv", "--jsonl", "whole.jsonl", "--jobs", "2"]);
    (bench, begin.elapsed())
}

/// Moments spread over a run, no two alike: multiples of the golden ratio. More on demand.
fn moments(whole: Duration) -> impl Iterator<Item = Duration> {
    let count = std::env::var_os("VARIEGAUGE_MOMENTS").map_or(5, |count| count.to_string_lossy().parse().unwrap());
    (1..=count).map(move |n| whole.mul_f64((f64::from(n) * 0.618).fract()))
}

/// Goes on with the run, which then is whole.
fn resumed(bench: &Bench, done: usize) {
    let again = bench.run(&ARGS);
    assert_eq!(again.code, 1, "{}", again.stderr);
    // The last file of all is the one that failed, which is tried again.
    let before = format!("; {} of them in an earlier run", done.min(201));
    assert!(done == 0 || again.stderr.contains(&before), "{before}: {}", again.stderr);
    assert_eq!(bench.text("a.csv"), bench.text("whole.csv"));
    assert_eq!(bench.text("a.jsonl"), bench.text("whole.jsonl"));
    fs::remove_file(bench.path("a.jsonl")).unwrap();
    fs::remove_file(bench.path("a.csv")).unwrap();
}

#[test]
fn the_first_ctrl_c_keeps_what_is_done_and_resume_makes_it_whole() {
    let (bench, whole) = undisturbed();
    let mut cut = 0;
    for (moment, name) in moments(whole).zip(["-INT", "-TERM"].into_iter().cycle()) {
        let mut child = start(&bench, &ARGS);
        thread::sleep(moment);
        signal(&child, name);
        let begin = Instant::now();
        let status = child.wait().unwrap();
        let waited = begin.elapsed();
        assert!(waited < Duration::from_secs(10), "only the photos in work are finished: {waited:?}");
        if status.code().is_none() {
            assert!(moment < Duration::from_millis(50), "before the program could listen only");
            continue;
        }
        let run = Run::from(child.wait_with_output().unwrap());
        let done = rows(&bench.text("a.csv")).len();
        if run.code == 130 {
            cut += 1;
            let told = format!("interrupted: {done} of 202 photos are done");
            assert!(run.stderr.contains(&told) && run.stderr.contains("the same command goes on"), "{}", run.stderr);
            assert!(bench.text("whole.csv").starts_with(&bench.text("a.csv")));
        } else {
            assert_eq!((run.code, done), (1, 202), "{}", run.stderr);
        }
        println!("{moment:?}: {done} done, ended after {waited:?}");
        resumed(&bench, done);
    }
    assert!(cut >= 2, "no run was cut off, so nothing was tested");
}

#[test]
fn the_second_ctrl_c_ends_at_once_and_no_name_has_half_a_file() {
    // Photos that take long enough for the second signal to find them in work.
    let bench = batch(8, 3000);
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
    let (bench, whole) = undisturbed();
    for moment in moments(whole) {
        bench.put("a.csv", "old");
        let mut child = start(&bench, &ARGS);
        thread::sleep(moment);
        let _ = child.kill();
        child.wait().unwrap();
        let csv = bench.text("a.csv");
        assert!(csv == "old" || csv == bench.text("whole.csv"), "{csv}");
        let lines = |name| fs::read_to_string(bench.path(name)).unwrap_or_default().matches('\n').count();
        let done = lines("a.jsonl").max(lines("a.jsonl.partial"));
        println!("{moment:?}: {done} done");
        resumed(&bench, done);
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
    assert!(run.stderr.contains("with --jsonl FILE"), "{}", run.stderr);
}
