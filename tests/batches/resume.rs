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
fn pictures_under_a_name_that_another_photo_had_are_made_anew() {
    let bench = batch(0, 200);
    let plant = fs::read(super::plant()).unwrap();
    bench.put("in/a.jpg", super::numbered(&plant, 1));
    let args = [&RESUMED[..], &["--overlay", "seen"]].concat();
    bench.run(&args);
    for name in ["a", "IMG_3_plant"] {
        bench.put(&format!("seen/{name}.overlay.jpg"), "of another");
    }
    for (from, to) in [("in/a.jpg", "b"), ("in/IMG_3_plant.jpg", "in/a.jpg"), ("b", "in/IMG_3_plant.jpg")] {
        fs::rename(bench.path(from), bench.path(to)).unwrap();
    }
    bench.run(&args);
    for name in ["a", "IMG_3_plant"] {
        assert_ne!(fs::read(bench.path(&format!("seen/{name}.overlay.jpg"))).unwrap(), b"of another", "{name}");
    }
    let bands = bench.path("seen/a.1.bands.jpg");
    fs::remove_file(&bands).unwrap();
    assert!(bench.run(&args).stderr.contains("1 of them in an earlier run"));
    assert!(bands.exists());
}

#[test]
fn a_photo_that_comes_back_under_its_name_gets_its_picture_back() {
    let bench = batch(0, 200);
    let plant = fs::read(super::plant()).unwrap();
    let args = ["grade", "in/IMG_3_plant.jpg", "--jsonl", "a.jsonl", "--resume", "--overlay", "seen"];
    for number in [1, 2] {
        bench.put("in/IMG_3_plant.jpg", super::numbered(&plant, number));
        assert_eq!(bench.run(&args).code, 0);
    }
    bench.put("seen/IMG_3_plant.overlay.jpg", "of the other");
    bench.put("in/IMG_3_plant.jpg", super::numbered(&plant, 1));
    bench.run(&args);
    assert_ne!(fs::read(bench.path("seen/IMG_3_plant.overlay.jpg")).unwrap(), b"of the other");
}

#[test]
fn photos_of_two_folders_with_one_name_both_stay() {
    let bench = Bench::new();
    for (folder, number) in [("d1", 1), ("d2", 2), ("d1", 1)] {
        bench.put(&format!("{folder}/IMG_1.jpg"), super::plain(number, 200));
        let mut command = bench.command(&["grade", ".", "--jsonl", "../all.jsonl", "--resume"]);
        command.current_dir(bench.path(folder)).output().unwrap();
    }
    assert_eq!(bench.text("all.jsonl").lines().count(), 2);
}

#[test]
fn a_last_line_without_its_end_empty_lines_and_a_mark_of_byte_order_lose_nothing() {
    let bench = batch(3, 200);
    bench.run(&UNDISTURBED);
    let whole = bench.text("whole.jsonl");
    for text in [whole.trim_end().to_owned(), format!("\u{feff}{whole}\n\n")] {
        bench.put("a.jsonl", text);
        let run = bench.run(&["grade", "in/IMG_0.jpg", "--jsonl", "a.jsonl", "--resume"]);
        assert!(run.stderr.contains("1 of them in an earlier run"), "{}", run.stderr);
        assert_eq!(bench.text("a.jsonl").lines().count(), 5);
    }
}

#[test]
fn two_runs_do_not_write_one_file() {
    let bench = batch(1, 200);
    bench.put("a.jsonl.partial", "");
    let other = fs::File::options().write(true).open(bench.path("a.jsonl.partial")).unwrap();
    other.lock().unwrap();
    let before = bench.files();
    for resume in [&[][..], &["--resume"]] {
        let run = bench.run(&[&["grade", "in", "--jsonl", "a.jsonl"], resume].concat());
        assert_eq!(run.code, 4, "{}", run.stderr);
        assert!(run.stderr.contains("cannot write a.jsonl: another run is writing it"), "{}", run.stderr);
    }
    assert_eq!(bench.files(), before);
    drop(other);
    assert_eq!(bench.run(&["grade", "in", "--jsonl", "a.jsonl"]).code, 1);
}

#[test]
fn what_a_killed_run_left_is_not_lost_without_resume() {
    let bench = batch(2, 200);
    bench.run(&UNDISTURBED);
    bench.put("a.jsonl.partial", bench.text("whole.jsonl"));
    let before = bench.files();
    let run = bench.run(&["grade", "in", "--jsonl", "a.jsonl"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert!(run.stderr.contains("left 4 photos in a.jsonl.partial; go on with --resume"), "{}", run.stderr);
    assert_eq!(bench.files(), before);
}

#[cfg(unix)]
#[test]
fn a_killed_run_goes_on_through_a_link_too() {
    let bench = batch(3, 200);
    bench.run(&UNDISTURBED);
    bench.put("on the share/real.jsonl", "");
    bench.put("on the share/real.jsonl.partial", bench.text("whole.jsonl"));
    std::os::unix::fs::symlink("on the share/real.jsonl", bench.path("a.jsonl")).unwrap();
    let run = bench.run(&RESUMED);
    assert!(run.stderr.contains("; 4 of them in an earlier run"), "{}", run.stderr);
    same(&bench);
    assert!(bench.path("a.jsonl").is_symlink() && !bench.path("on the share/real.jsonl.partial").exists());
}

#[test]
fn what_cannot_be_resumed_is_told_before_the_work() {
    let bench = batch(1, 200);
    bench.put("notes.jsonl", "my notes\n");
    bench.put("one.jsonl", "my notes");
    bench.put("beside.jsonl.partial", "my notes");
    bench.put("book.jsonl.partial", b"SQLite format 3\0 and more");
    let before = bench.files();
    for (args, code, word) in [
        (&["--resume"][..], 2, "--jsonl"),
        (&["--resume", "--jsonl", "-"], 2, "FILE of --jsonl"),
        (&["--resume", "--jsonl", "a.jsonl", "--report", "a.html"], 2, "not with --report"),
        (&["--resume", "--jsonl", "a.jsonl", "--explain", "e.csv"], 2, "not with --report"),
        (&["--resume", "--jsonl", "notes.jsonl"], 4, "cannot go on from notes.jsonl: its line 1 is not of a photo"),
        (&["--resume", "--jsonl", "one.jsonl"], 4, "its line 1 is not of a photo"),
        (&["--resume", "--jsonl", "beside.jsonl"], 4, "cannot go on from beside.jsonl.partial: its line 1"),
        (&["--jsonl", "beside.jsonl"], 4, "cannot go on from beside.jsonl.partial: its line 1"),
        (&["--jsonl", "book.jsonl"], 4, "book.jsonl.partial is in the way"),
        (&["--resume", "--jsonl", "in/IMG_0.jpg.jsonl/x"], 4, "cannot write"),
    ] {
        let run = bench.run(&[&["grade", "in"], args].concat());
        assert_eq!(run.code, code, "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(word), "{args:?}: {}", run.stderr);
    }
    assert_eq!(bench.files(), before);
}
