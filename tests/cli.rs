//! The built command in a temporary folder: exit codes, messages, rows for every photo.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use support::{Bench, grey_jpeg, rows};

/// A folder of photos that cannot be measured, each for its own reason.
fn bad_photos() -> Bench {
    let bench = Bench::new();
    let jpeg = grey_jpeg();
    bench.put("in/empty.jpg", "");
    bench.put("in/IMG_10.jpg", "hello\n");
    bench.put("in/IMG_2.jpg", &jpeg[..jpeg.len() / 2]);
    bench.put("in/no_plant.png", &jpeg);
    bench.put("in/notes.txt", "not a photo");
    bench
}

#[test]
fn help_leads_with_examples_and_says_that_photos_are_only_read() {
    let bench = Bench::new();
    for args in [&["--help"][..], &["grade", "--help"]] {
        let run = bench.run(args);
        assert_eq!((run.code, run.stderr.as_str()), (0, ""));
        let place = |text: &str| run.stdout.find(text).unwrap_or_else(|| panic!("{text} is missing:\n{}", run.stdout));
        assert!(place("only read") < place("Examples:"));
        assert!(place("Examples:") < place("Usage:"));
        assert!(place("Usage:") < place("megapixels"));
    }
}

#[test]
fn without_a_command_there_is_short_help() {
    let run = Bench::new().run(&[]);
    assert_eq!(run.code, 2);
    assert!(run.stderr.contains("Examples:") && run.stderr.lines().count() < 36, "{}", run.stderr);
}

#[test]
fn wrong_usage_ends_with_2_and_a_word_on_what_is_wrong() {
    let bench = Bench::new();
    bench.put("a.jpg", "");
    bench.put("b.jpg", "");
    for (args, word) in [
        (&["graed"][..], "grade"),
        (&["grade"], "PATH"),
        (&["grade", "a.jpg", "--ovrlay", "x"], "--overlay"),
        (&["grade", "a.jpg", "--white", "12"], "R,G,B"),
        (&["grade", "a.jpg", "--px-per-mm", "12mm"], "without a unit"),
        (&["grade", "a.jpg", "--one", "--many"], "cannot be used with"),
        (&["grade", "--csv", "a.jpg", "b.jpg"], "name of a photo"),
        (&["grade", "a.jpg", "--csv", "x", "--jsonl", "./x"], "one place"),
        (&["grade", "a.jpg", "--csv", "-", "--explain", "-"], "one place"),
        (&["grade", "a.jpg", "b.jpg", "--at", "1,2"], "one photo"),
        (&["grade", "a.jpg", "--stroke", "none.txt"], "none.txt"),
        (&["grade", "a.jpg", "--resume"], "--jsonl <FILE>"),
        (&["grade", "a.jpg", "--resume", "--jsonl", "-"], "name one instead of `-`"),
        (&["grade", "a.jpg", "--resume", "--jsonl", "x", "--report", "y"], "not with --report"),
        (&["grade", "a.jpg", "--memory", "0"], "e.g. 2G or 500M"),
        (&["grade", "a.jpg", "--memory", "2X"], "e.g. 2G or 500M"),
        (&["watch", ".", "--quiet"], "--csv, --jsonl or --book"),
        (&["watch", ".", "--csv", "-"], "name one instead of `-`"),
        (&["completions", "tcsh"], "[possible values: bash"),
        (&["man"], "<DIR>"),
    ] {
        let run = bench.run(args);
        assert_eq!(run.code, 2, "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(word), "{args:?}: {}", run.stderr);
        assert_eq!(run.stdout, "", "{args:?}");
    }
    assert_eq!(bench.files().len(), 2, "nothing was made");
}

#[test]
fn no_photo_at_all_ends_with_3() {
    let bench = Bench::new();
    bench.put("empty/notes.txt", "x");
    let run = bench.run(&["grade", "empty", "--csv", "a.csv"]);
    assert_eq!((run.code, run.stdout.as_str()), (3, ""));
    assert!(run.stderr.starts_with("error: no photo found; 1 other file left out\nhint: "), "{}", run.stderr);
    let run = bench.run(&["grade", "missing.jpg"]);
    assert_eq!(run.code, 3);
    assert!(run.stderr.starts_with("error: missing.jpg: cannot be read: "), "{}", run.stderr);
    assert_eq!(run.stderr.lines().count(), 2);
    assert_eq!(bench.files().len(), 1, "no table without photos");
}

#[test]
fn what_is_no_folder_is_not_watched() {
    let bench = Bench::new();
    bench.put("a.jpg", "");
    for (path, told) in [("a.jpg", "is a file"), ("none", "no such folder")] {
        let run = bench.run(&["watch", path, "--csv", "a.csv"]);
        assert_eq!(run.code, 3, "{}", run.stderr);
        assert!(run.stderr.starts_with(&format!("error: {path}: {told}")), "{}", run.stderr);
        assert!(run.stderr.contains("\nhint: ") && run.stderr.lines().count() == 2, "{}", run.stderr);
    }
    assert_eq!(bench.files().len(), 1, "no table was made");
}

/// The beginnings of a film (`QuickTime` File Format: `ftyp` with the brand `qt  `) and of the photo beside it on a phone.
#[test]
fn films_are_left_out_of_folders_and_refused_by_name() {
    let bench = Bench::new();
    let film = b"\0\0\0\x14ftypqt  \0\0\0\0qt  \0\0\0\x08wide";
    bench.put("live/IMG_1.MOV", film);
    bench.put("live/IMG_1.HEIC", include_bytes!("../fixtures/photo/heic/grid.heic"));
    bench.put("film.heic", film);
    let run = bench.run(&["grade", "live", "--csv", "-"]);
    let files: Vec<String> = rows(&run.stdout).iter().map(|row| row["file"].replace('\\', "/")).collect();
    assert_eq!(files, ["live/IMG_1.HEIC"], "{}", run.stderr);
    assert!(run.stderr.contains("1 other file left out"), "{}", run.stderr);
    for film in ["film.heic", "live/IMG_1.MOV"] {
        let run = bench.run(&["grade", film, "--quiet"]);
        assert!(run.stderr.starts_with(&format!("error: {film}: this is a film, not a photo: ")), "{}", run.stderr);
    }
}

#[test]
fn outputs_that_cannot_be_written_end_with_4_before_the_work() {
    let bench = bad_photos();
    bench.put("file", "");
    for args in [["--csv", "no/such/a.csv"], ["--jsonl", "in"], ["--masks", "file"], ["--overlay", "file/sub"]] {
        let run = bench.run(&["grade", "in", args[0], args[1]]);
        assert_eq!(run.code, 4, "{args:?}: {}", run.stderr);
        assert!(run.stderr.starts_with("error: cannot write ") && run.stderr.contains("\nhint: "), "{}", run.stderr);
        assert_eq!(run.stderr.lines().count(), 2, "no photo was tried: {}", run.stderr);
    }
}

#[cfg(unix)]
#[test]
fn an_output_is_never_one_of_the_photos() {
    let bench = bad_photos();
    std::fs::hard_link(bench.path("in/IMG_2.jpg"), bench.path("hard")).unwrap();
    std::os::unix::fs::symlink("in/IMG_2.jpg", bench.path("soft")).unwrap();
    std::fs::copy(bench.path("in/IMG_2.jpg"), bench.path("in/a.tissue.png")).unwrap();
    bench.put("nursery.toml", "[card]\ncheck_line_mm = 49.5\n");
    let before = bench.files();
    for output in [["--csv", "hard"], ["--jsonl", "soft"]] {
        let run = bench.run(&["grade", "in", output[0], output[1]]);
        assert_eq!(run.code, 4, "{output:?}");
        assert!(run.stderr.contains("one of the files to be read"), "{}", run.stderr);
    }
    let run = bench.run(&["grade", "in", "--standard", "nursery.toml", "--csv", "nursery.toml"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    let run = bench.run(&["grade", "in/a.tissue.png", "in/a.jpg", "--masks", "in"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert_eq!(bench.files(), before);
}

#[test]
fn every_bad_photo_has_a_row_with_its_reason_and_the_batch_goes_on() {
    let bench = bad_photos();
    let before = bench.files();
    let run = bench.run(&["grade", "in", "missing.jpg", "--csv", "a.csv", "--jsonl", "a.jsonl", "--masks", "m"]);
    assert_eq!(run.code, 1, "{}", run.stderr);
    let csv = rows(&bench.text("a.csv"));
    let files: Vec<&str> = csv.iter().map(|row| row["file"].as_str()).collect();
    let sorted = ["in/empty.jpg", "in/IMG_2.jpg", "in/IMG_10.jpg", "in/no_plant.png", "missing.jpg"];
    assert_eq!(files.iter().map(|file| file.replace('\\', "/")).collect::<Vec<_>>(), sorted);
    assert!(
        csv.iter().all(|row| row["status"] != "graded" && !row["reason"].is_empty() && row["plant_index"].is_empty())
    );
    let json: Vec<serde_json::Value> =
        bench.text("a.jsonl").lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(json.len(), 5);
    for (json, row) in json.iter().zip(&csv) {
        assert_eq!(json["schema"], "variegauge.photo/1");
        assert_eq!((&json["file"], &json["error"]), (&row["file"].clone().into(), &row["reason"].clone().into()));
        assert_eq!(json["plants"], serde_json::json!([]));
    }
    // SHA-256 of no bytes: FIPS 180-4 example values, published by NIST (from memory).
    assert_eq!(json[0]["sha256"], "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    assert_eq!(run.stderr.lines().filter(|line| line.starts_with("error: ")).count(), 5, "{}", run.stderr);
    assert!(run.stderr.contains("5 photos: 0 graded (0 plants)"), "{}", run.stderr);
    assert!(run.stdout.contains("missing.jpg"));
    let after = bench.files();
    assert!(before.iter().all(|(name, bytes)| after[name] == *bytes), "photos are only read");
    assert_eq!(after.len(), before.len() + 2, "no picture of photos that were not graded, nothing left over");
}

#[test]
fn rows_are_the_same_bytes_for_any_number_of_threads() {
    let bench = Bench::new();
    let jpeg = grey_jpeg();
    for n in 0..24 {
        bench.put(&format!("in/{n}.jpg"), if n % 3 == 0 { &jpeg[..n * 20] } else { &jpeg[..] });
    }
    let run = |jobs: &str| {
        let run = bench.run(&["grade", "in", "--csv", "a.csv", "--jsonl", "a.jsonl", "--jobs", jobs]);
        (run.stdout, bench.text("a.csv"), bench.text("a.jsonl"))
    };
    let one = run("1");
    assert_eq!(one.1.lines().count(), 25);
    for jobs in ["2", "8"] {
        assert_eq!(run(jobs), one, "{jobs} jobs");
    }
}

#[test]
fn data_goes_to_the_standard_output_alone() {
    let bench = bad_photos();
    let run = bench.run(&["grade", "in", "--jsonl", "-"]);
    assert_eq!(run.stdout.lines().count(), 4);
    assert!(run.stdout.lines().all(|line| serde_json::from_str::<serde_json::Value>(line).is_ok()), "{}", run.stdout);
    let run = bench.run(&["grade", "in", "--csv", "-", "--excel", "--quiet"]);
    assert_eq!(rows(run.stdout.strip_prefix('\u{feff}').unwrap()).len(), 4);
    assert_eq!(
        run.stderr.lines().filter(|line| !line.starts_with("error: ") && !line.starts_with("hint: ")).count(),
        0
    );
    let run = bench.run(&["grade", "in", "--quiet"]);
    assert_eq!((run.code, run.stdout.as_str()), (1, ""));
}

#[cfg(unix)]
#[test]
fn names_made_to_trick_spreadsheets_and_terminals_do_not() {
    let bench = Bench::new();
    let names = ["=1+1.jpg", "=cmd|'!A1.jpg", "@SUM(1).jpg", "-rf.jpg", "+1.jpg", "a,\"b\".jpg", "new\nline.jpg"];
    for name in names {
        bench.put(name, "x");
    }
    bench.put("esc\u{1b}[2J.jpg", "x");
    bench.put("rtl\u{202e}gpj.exe.jpg", "x");
    let run = bench.run(&["grade", ".", "--csv", "a.csv"]);
    assert_eq!(run.code, 1);
    let csv = rows(&bench.text("a.csv"));
    assert_eq!(csv.len(), 9);
    for row in &csv {
        assert!(!row["file"].starts_with(['=', '+', '-', '@']), "{}", row["file"]);
        assert_eq!(row.len(), csv[0].len());
    }
    assert!(csv.iter().any(|row| row["file"] == "'=1+1.jpg"));
    for text in [&run.stdout, &run.stderr] {
        assert!(!text.contains(['\u{1b}', '\u{202e}', '\r']), "{text:?}");
    }
    let args: Vec<&str> = ["grade", "--"].into_iter().chain(["-rf.jpg"]).collect();
    assert_eq!(bench.run(&args).code, 1, "a name like an option can be given after --");
}

#[cfg(unix)]
#[test]
fn pipes_devices_and_loops_do_not_hold_the_batch() {
    let bench = bad_photos();
    let pipe = std::process::Command::new("mkfifo").arg(bench.path("in/pipe.jpg")).status();
    std::os::unix::fs::symlink(".", bench.path("in/loop")).unwrap();
    let run = bench.run(&["grade", "in", "/dev/zero", "--csv", "-"]);
    let csv = rows(&run.stdout);
    let reason = |name: &str| csv.iter().find(|row| row["file"].ends_with(name)).map(|row| row["reason"].clone());
    if pipe.is_ok_and(|status| status.success()) {
        assert!(reason("pipe.jpg").unwrap().contains("not a file"));
    }
    assert!(reason("/dev/zero").unwrap().contains("not a file"));
    assert!(run.stderr.contains("1 link not followed"), "{}", run.stderr);
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_told_once_and_ends_with_4() {
    let bench = bad_photos();
    if std::path::Path::new("/dev/full").exists() {
        for output in ["--csv", "--jsonl"] {
            let run = bench.run(&["grade", "in", output, "/dev/full"]);
            assert_eq!(run.code, 4, "{output}: {}", run.stderr);
            assert_eq!(run.stderr.matches("cannot write /dev/full").count(), 1, "{}", run.stderr);
        }
    }
}

#[test]
fn colour_is_off_without_a_terminal_and_on_when_asked() {
    let bench = bad_photos();
    let run = |color: &str| bench.run(&["grade", "in", "--color", color]).stdout.contains('\u{1b}');
    assert_eq!([run("auto"), run("never"), run("always")], [false, false, true]);
}

#[test]
fn the_table_fits_the_columns_that_are_told() {
    let bench = bad_photos();
    let plant = include_bytes!("../fixtures/demo/ZB-5142.jpg");
    bench.put(&format!("in/{}.jpg", "a long name of a photo ".repeat(5)), plant);
    for (columns, widest) in [("60", 60), ("85", 85), ("0", 100), ("many", 100)] {
        let run = bench.command(&["grade", "in"]).env("COLUMNS", columns).output().unwrap();
        let text = String::from_utf8(run.stdout).unwrap();
        let width = text.lines().map(|line| line.chars().count()).max().unwrap();
        assert!((widest - 15..=widest).contains(&width), "{columns}: {width}\n{text}");
        assert!(text.contains("100 % (9") && text.contains("…"), "{text}");
    }
}
