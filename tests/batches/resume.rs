//! `--resume`: what is done is not done again, and the files are those of a run that nothing disturbed.

use super::batch;
use super::support::Bench;
use std::fs;

const UNDISTURBED: [&str; 6] = ["grade", "in", "--csv", "whole.csv", "--jsonl", "whole.jsonl"];
const RESUMED: [&str; 7] = ["grade", "in", "--csv", "a.csv", "--jsonl", "a.jsonl", "--resume"];

fn same(bench: &Bench) {
    assert_eq!(bench.text("a.csv"), bench.text("whole.csv"));
    assert_eq!(bench.text("a.jsonl"), bench.text("whole.jsonl"));
    assert!(!bench.path("a.jsonl.partial").exists());
}

#[test]
fn a_run_that_was_killed_goes_on_from_its_lines() {
    let bench = batch(6, 200);
    bench.run(&UNDISTURBED);
    let whole = bench.text("whole.jsonl");
    let lines: Vec<&str> = whole.split_inclusive('\n').collect();
    assert_eq!(lines.len(), 8);
    for (done, torn) in [(0, 40), (3, 0), (5, 1), (7, 300)] {
        let left = lines[..done].concat() + &lines[done][..torn];
        bench.put("a.jsonl.partial", left);
        let run = bench.run(&RESUMED);
        // The file that is no photo failed, and is tried again.
        assert_eq!(run.code, 1);
        let before = if done == 0 { String::new() } else { format!("; {done} of them in an earlier run") };
        let told = format!("8 photos: 1 graded (1 plant), 6 refused, 1 failed{before}\n");
        assert!(run.stderr.contains(&told), "{told}{}", run.stderr);
        same(&bench);
        fs::remove_file(bench.path("a.jsonl")).unwrap();
    }
}

#[test]
fn what_was_done_is_not_done_again_under_any_name_nor_with_other_settings() {
    let bench = batch(3, 200);
    assert_eq!(bench.run(&RESUMED).code, 1, "without a file it is a run like any other");
    fs::rename(bench.path("in/IMG_3_plant.jpg"), bench.path("in/moved.jpg")).unwrap();
    let run = bench.run(&RESUMED);
    assert!(run.stderr.contains("; 4 of them in an earlier run"), "{}", run.stderr);
    bench.run(&UNDISTURBED);
    same(&bench);
    let run = bench.run(&[&RESUMED[..], &["--px-per-mm", "9"]].concat());
    assert!(!run.stderr.contains("earlier"), "{}", run.stderr);
}

#[test]
fn lines_of_other_photos_stay() {
    let bench = batch(3, 200);
    bench.run(&RESUMED);
    bench.put("in2/other.jpg", super::plain(77, 200));
    let run = bench.run(&["grade", "in2", "--jsonl", "a.jsonl", "--resume"]);
    assert!(run.stderr.contains("1 photo: "), "{}", run.stderr);
    let text = bench.text("a.jsonl");
    assert_eq!(text.lines().count(), 6);
    assert!(text.contains("in2/other.jpg") && text.contains("in/IMG_3_plant.jpg"));
}

#[test]
fn missing_pictures_are_made() {
    let bench = batch(0, 200);
    bench.run(&RESUMED);
    let args = [&RESUMED[..], &["--overlay", "seen"]].concat();
    assert!(!bench.run(&args).stderr.contains("earlier"));
    assert!(bench.path("seen/IMG_3_plant.overlay.jpg").exists());
    assert!(bench.run(&args).stderr.contains("1 of them in an earlier run"));
}

#[test]
fn what_cannot_be_resumed_is_told_before_the_work() {
    let bench = batch(1, 200);
    bench.put("notes.jsonl", "my notes\n");
    let before = bench.files();
    for (args, code, word) in [
        (&["--resume"][..], 2, "--jsonl"),
        (&["--resume", "--jsonl", "-"], 2, "FILE of --jsonl"),
        (&["--resume", "--jsonl", "a.jsonl", "--report", "a.html"], 2, "not with --report"),
        (&["--resume", "--jsonl", "a.jsonl", "--explain", "e.csv"], 2, "not with --report"),
        (&["--resume", "--jsonl", "notes.jsonl"], 4, "its line 1 is not of a photo"),
        (&["--resume", "--jsonl", "in/IMG_0.jpg.jsonl/x"], 4, "cannot write"),
    ] {
        let run = bench.run(&[&["grade", "in"], args].concat());
        assert_eq!(run.code, code, "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(word), "{args:?}: {}", run.stderr);
    }
    assert_eq!(bench.files(), before);
}
