//! A folder into which photos come.

use super::support::{Bench, Run, rows};
use super::{batch, plain, plant};
use std::fs::{self, File};
use std::io::Write;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A watch that ends with its test.
struct Watch(Option<Child>);

impl Drop for Watch {
    fn drop(&mut self) {
        if let Some(mut child) = self.0.take() {
            let _ = child.kill();
        }
    }
}

fn start(bench: &Bench, more: &[&str]) -> Watch {
    fs::create_dir_all(bench.path("in")).unwrap();
    let args = [&["watch", "in", "--every", "0.2"], more].concat();
    Watch(Some(bench.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()))
}

fn pause(ms: u64) {
    std::thread::sleep(Duration::from_millis(ms));
}

fn end(mut watch: Watch) -> Run {
    let child = watch.0.take().unwrap();
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    let run = Run::from(child.wait_with_output().unwrap());
    assert_eq!(run.code, 0, "{}", run.stderr);
    run
}

/// Files of the rows, once there are so many.
fn files(bench: &Bench, name: &str, count: usize) -> Vec<String> {
    let begin = Instant::now();
    loop {
        let text = fs::read_to_string(bench.path(name)).unwrap_or_default();
        let files: Vec<String> = rows(&text).into_iter().map(|row| row["file"].clone()).collect();
        if files.len() >= count || begin.elapsed() > Duration::from_mins(1) {
            return files;
        }
        pause(100);
    }
}

#[test]
fn a_photo_that_comes_in_two_pieces_is_graded_once_and_whole() {
    let bench = Bench::new();
    let child = start(&bench, &["--csv", "a.csv", "--jsonl", "a.jsonl"]);
    let bytes = fs::read(plant()).unwrap();
    let mut file = File::create({
        fs::create_dir_all(bench.path("in/sub")).unwrap();
        bench.path("in/sub/a.jpg")
    })
    .unwrap();
    file.write_all(&bytes[..bytes.len() / 2]).unwrap();
    // Long enough that it is taken for whole.
    pause(1500);
    file.write_all(&bytes[bytes.len() / 2..]).unwrap();
    drop(file);
    for name in [".syncthing.b.jpg.tmp", "b.jpg.part", ".hidden.jpg"] {
        bench.put(&format!("in/{name}"), &bytes);
    }
    assert_eq!(files(&bench, "a.csv", 1), ["in/sub/a.jpg"]);
    pause(1000);
    let run = end(child);
    assert_eq!(files(&bench, "a.csv", 1), ["in/sub/a.jpg"]);
    assert_eq!(bench.text("a.jsonl").lines().count(), 1);
    assert_eq!(rows(&bench.text("a.csv"))[0]["status"], "graded");
    assert_eq!(run.stderr.matches("cut off").count(), 1, "{}", run.stderr);
    assert!(run.stdout.contains("ZB-5142"), "{}", run.stdout);
    assert!(run.stderr.contains("1 graded (1 plant)"), "{}", run.stderr);
}

#[test]
fn a_watch_that_is_started_again_takes_what_came_meanwhile_and_nothing_twice() {
    let bench = batch(2, 200);
    let args = ["--csv", "a.csv", "--jsonl", "a.jsonl", "--book", "b.sqlite", "--quiet"];
    let child = start(&bench, &args);
    assert_eq!(files(&bench, "a.csv", 3).len(), 3);
    end(child);
    bench.put("in/new.jpg", plain(50, 200));
    let child = start(&bench, &args);
    assert_eq!(files(&bench, "a.csv", 4).last().unwrap(), "in/new.jpg");
    pause(800);
    let run = end(child);
    assert_eq!(files(&bench, "a.csv", 4).len(), 4);
    assert_eq!(bench.text("a.jsonl").lines().count(), 4);
    assert_eq!(run.stdout, "");
    assert_eq!(run.stderr.matches("text.jpg").count(), 1, "{}", run.stderr);
}

#[test]
fn new_only_leaves_out_what_is_there() {
    let bench = batch(2, 200);
    let child = start(&bench, &["--csv", "a.csv", "--new-only"]);
    pause(1000);
    bench.put("in/new.jpg", plain(50, 200));
    assert_eq!(files(&bench, "a.csv", 1), ["in/new.jpg"]);
    end(child);
}

#[test]
fn what_cannot_be_watched_is_told() {
    let bench = batch(1, 200);
    bench.put("other.csv", "plant,notes\r\n");
    for (args, code) in [
        (&["none"][..], 3),
        (&["in", "--csv", "-"], 2),
        (&["in", "--at", "1,2"], 2),
        (&["in", "--every", "0"], 2),
        (&["in", "--csv", "other.csv"], 4),
        (&["in", "--csv", "no/such/a.csv"], 4),
    ] {
        let run = bench.run(&[&["watch"], args].concat());
        assert_eq!(run.code, code, "{args:?}: {}", run.stderr);
    }
}

#[test]
fn no_output_destroys_what_is_no_table_of_ours() {
    let bench = batch(0, 200);
    assert_eq!(bench.run(&["grade", "in", "--book", "a.book", "--quiet"]).code, 1);
    bench.put("lf.csv", "plant,notes\n1,good\n");
    bench.put("notes", "my notes");
    let before = bench.files();
    for (option, name) in
        ["--csv", "--jsonl"].into_iter().flat_map(|option| ["a.book", "lf.csv", "notes"].map(|name| (option, name)))
    {
        let run = bench.run(&["watch", "in", option, name]);
        assert_eq!(run.code, 4, "{option} {name}: {}", run.stderr);
        assert!(run.stderr.starts_with(&format!("error: cannot go on from {name}: ")), "{}", run.stderr);
    }
    assert_eq!(bench.files(), before);
}

#[test]
fn one_file_for_two_outputs_or_two_runs_is_refused() {
    let bench = batch(0, 200);
    for args in [["--csv", "a", "--jsonl", "a"], ["--csv", "b", "--book", "in/../b"], ["--jsonl", "c", "--book", "c"]] {
        let run = bench.run(&[&["watch", "in"], &args[..]].concat());
        assert_eq!(run.code, 2, "{args:?}: {}", run.stderr);
    }
    let child = start(&bench, &["--csv", "a.csv"]);
    assert_eq!(files(&bench, "a.csv", 1), ["in/IMG_3_plant.jpg"]);
    let run = bench.run(&["watch", "in", "--csv", "a.csv"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert!(run.stderr.contains("cannot go on from a.csv: another run is writing it"), "{}", run.stderr);
    end(child);
}

#[test]
fn rows_go_into_the_table_that_a_spreadsheet_saved() {
    let bench = batch(0, 200);
    let child = start(&bench, &["--csv", "a.csv"]);
    assert_eq!(files(&bench, "a.csv", 1), ["in/IMG_3_plant.jpg"]);
    bench.put("saved.csv", bench.text("a.csv").replace("\r\n", "\n"));
    fs::rename(bench.path("saved.csv"), bench.path("a.csv")).unwrap();
    bench.put("in/new.jpg", plain(1, 200));
    assert_eq!(files(&bench, "a.csv", 2), ["in/IMG_3_plant.jpg", "in/new.jpg"]);
    assert_eq!(end(child).stderr.matches("warning: a.csv: another program").count(), 1);
}

#[test]
fn photos_of_a_folder_that_was_away_are_graded_when_it_is_back() {
    let bench = batch(8, 2000);
    let child = start(&bench, &["--csv", "a.csv", "--jobs", "1"]);
    assert!(!files(&bench, "a.csv", 1).is_empty());
    fs::rename(bench.path("in"), bench.path("away")).unwrap();
    pause(1500);
    fs::rename(bench.path("away"), bench.path("in")).unwrap();
    assert_eq!(files(&bench, "a.csv", 9).len(), 9);
    let run = end(child);
    for told in ["in: the folder is gone", "in: the folder is back"] {
        assert_eq!(run.stderr.matches(told).count(), 1, "{}", run.stderr);
    }
}

#[test]
fn what_comes_during_a_backlog_does_not_wait_for_its_end() {
    let bench = batch(30, 1500);
    let child = start(&bench, &["--csv", "a.csv", "--jobs", "1"]);
    assert!(!files(&bench, "a.csv", 1).is_empty());
    bench.put("in/new.jpg", plain(50, 200));
    let names = files(&bench, "a.csv", 32);
    let place = names.iter().position(|name| name == "in/new.jpg").unwrap();
    assert!(place < 25, "{names:?}");
    end(child);
}

#[test]
fn a_photo_that_may_be_read_later_is_tried_again() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new();
    bench.put("in/a.jpg", plain(1, 200));
    let allow = |mode| fs::set_permissions(bench.path("in/a.jpg"), fs::Permissions::from_mode(mode)).unwrap();
    allow(0o000);
    if File::open(bench.path("in/a.jpg")).is_ok() {
        // The superuser reads everything.
        return;
    }
    let child = start(&bench, &["--csv", "a.csv"]);
    pause(1500);
    allow(0o600);
    assert_eq!(files(&bench, "a.csv", 1), ["in/a.jpg"]);
    assert_eq!(end(child).stderr.matches("cannot be read").count(), 1);
}
