//! The stock book: what it keeps and refuses, many writers at once, killed writers, and the commands.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use rusqlite::Connection;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use support::{Bench, grey_jpeg, rows};
use variegauge::base::date::Date;
use variegauge::base::stats::SplitMix64;
use variegauge::book::Book;
use variegauge::book::keep::Kept;
use variegauge::book::plants::Plant;
use variegauge::card::number::PlantNumber;
use variegauge::options::{Options, Scale};
use variegauge::record::{Estimate, PhotoRecord, PlantRecord, Status};

const BOOK: &str = "VARIEGAUGE_TEST_BOOK";
const WRITER: &str = "VARIEGAUGE_TEST_WRITER";

fn number(text: &str) -> PlantNumber {
    text.parse().unwrap()
}

fn day(text: &str) -> Date {
    text.parse().unwrap()
}

/// A photo of one plant.
fn photo(sha256: &str, plant: Option<&str>, red: f64) -> PhotoRecord {
    let near = |value: f64| Estimate { value: Some(value), low: Some(value - 0.04), high: Some(value + 0.04) };
    let plant = PlantRecord {
        index: 1,
        number: plant.map(String::from),
        bounds: [100, 100, 300, 300],
        red_fraction: near(red),
        green_capacity: near(0.5),
        decision: Some("sell"),
        ..PlantRecord::default()
    };
    PhotoRecord {
        sha256: Some(sha256.into()),
        taken_at: Some("2026-01-31T09:15:00".into()),
        status: Status::Graded,
        error: None,
        plants: vec![plant],
        ..PhotoRecord::stopped("a.jpg", "a", (Status::Graded, String::new()), &Options::default())
    }
}

fn count(path: &Path, table: &str) -> i64 {
    let file = Connection::open(path).unwrap();
    file.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).unwrap()
}

#[test]
fn a_photo_is_kept_once_a_program_and_settings() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut book = Book::open_or_make(&path).unwrap();
    let today = day("2026-02-01");
    let first = photo("aa", Some("ZB-1"), 0.1);
    assert_eq!(book.keep(&first, today).unwrap(), Kept::Added { plants: 1 });
    assert_eq!(book.keep(&first, today).unwrap(), Kept::Unchanged);
    assert!(book.photos_with(first.program, &first.settings.hash).unwrap().contains("aa"));
    let options = Options { scale: Some(Scale::PxPerMm(10.0)), ..Options::default() };
    let other = PhotoRecord::stopped("", "", (Status::Failed, String::new()), &options).settings;
    assert!(book.photos_with(first.program, &other.hash).unwrap().is_empty());
    let again = PhotoRecord { settings: other, ..photo("aa", Some("ZB-1"), 0.2) };
    assert_eq!(book.keep(&again, today).unwrap(), Kept::Added { plants: 0 });
    let history = book.history(&number("zb-1")).unwrap();
    assert_eq!(history.len(), 1, "the last grading of a photo counts");
    assert!((history[0].red.unwrap().value - 0.2).abs() < 1e-12);
    assert_eq!((count(&path, "reading"), count(&path, "photo")), (2, 1), "the first one is kept");
    let failed = PhotoRecord { status: Status::Failed, ..first };
    assert!(book.keep(&failed, today).is_err());
}

#[test]
fn nothing_that_was_read_can_be_changed_or_taken_out() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    Book::open_or_make(&path).unwrap().keep(&photo("aa", Some("ZB-1"), 0.1), day("2026-02-01")).unwrap();
    let file = Connection::open(&path).unwrap();
    for sql in [
        "UPDATE reading SET red_fraction = 0",
        "DELETE FROM reading",
        "UPDATE grading SET status = 'refused'",
        "DELETE FROM grading",
        "DELETE FROM photo",
        "UPDATE photo SET sha256 = 'bb'",
        "UPDATE assignment SET plant = NULL",
        "DELETE FROM assignment",
        "INSERT OR REPLACE INTO reading SELECT * FROM reading",
        "INSERT OR REPLACE INTO photo (sha256, path) VALUES ('aa', 'b')",
        "INSERT OR REPLACE INTO grading SELECT * FROM grading",
        "INSERT OR REPLACE INTO assignment SELECT * FROM assignment",
    ] {
        let error = file.execute(sql, []).unwrap_err().to_string();
        assert!(error.contains("never"), "{sql}: {error}");
    }
    assert_eq!(count(&path, "reading"), 1);
}

#[test]
fn a_reading_without_a_card_is_assigned_and_stays_so_when_graded_again() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut book = Book::open_or_make(&path).unwrap();
    let today = day("2026-02-01");
    book.add(&["A", "B"].map(|text| Plant::new(number(text)))).unwrap();
    book.keep(&photo("aa", None, 0.1), today).unwrap();
    let without = book.without_plant().unwrap();
    assert_eq!(without.len(), 1);
    book.assign(without[0].id, Some(&number("A")), (today, "Anna", "")).unwrap();
    assert!(book.without_plant().unwrap().is_empty());
    book.assign(without[0].id, Some(&number("B")), (today, "Ben", "it was B")).unwrap();
    let latest = |book: &Book, text: &str| book.show(&number(text)).unwrap().latest.map(|reading| reading.id);
    assert_eq!((latest(&book, "A"), latest(&book, "B")), (None, Some(without[0].id)));
    let again = PhotoRecord { program: "variegauge 99", ..photo("aa", None, 0.3) };
    book.keep(&again, today).unwrap();
    let history = book.history(&number("B")).unwrap();
    assert_eq!(history.len(), 1);
    assert!((history[0].red.unwrap().value - 0.3).abs() < 1e-12, "the new reading took its place");
    assert_eq!(latest(&book, "B"), Some(history[0].id));
    assert!(book.assign(99, None, (today, "Anna", "")).is_err());
    assert!(book.check().unwrap().is_empty());
}

#[test]
fn a_whole_book_comes_back_from_its_dump() {
    let bench = Bench::new();
    let mut book = Book::open_or_make(&bench.path("a.sqlite")).unwrap();
    book.keep(&photo("aa", Some("ZB-1"), 0.1), day("2026-02-01")).unwrap();
    book.divide(&number("ZB-1"), &[number("ZB-2"), number("ZB-3")], day("2026-02-02"), None).unwrap();
    let dump = book.dump().unwrap();
    let mut other = Book::open_or_make(&bench.path("b.sqlite")).unwrap();
    assert_eq!(other.load(&dump).unwrap(), 3);
    assert_eq!(other.dump().unwrap(), dump);
    assert_eq!(other.list(true).unwrap(), book.list(true).unwrap());
    assert!(other.check().unwrap().is_empty());
    assert!(other.load(&dump).is_err(), "only an empty book is filled");
    let mut broken = dump.clone();
    broken["reading"][0]["grading"] = 77.into();
    assert!(Book::open_or_make(&bench.path("c.sqlite")).unwrap().load(&broken).is_err());
    assert_eq!(count(&bench.path("c.sqlite"), "plant"), 0, "nothing half-written");
}

/// What the tests below start many times: keeps readings in a book until it is done or killed.
#[test]
#[ignore = "the writer of other tests"]
fn writer() {
    let (Some(path), Some(name)) = (std::env::var_os(BOOK), std::env::var_os(WRITER)) else { return };
    let most = if name == "killed" { u32::MAX } else { 200 };
    let name = name.into_string().unwrap();
    let mut book = Book::open_or_make(Path::new(&path)).unwrap();
    let start = std::process::id();
    for n in 0..most {
        book.keep(&photo(&format!("{name}-{start}-{n}"), Some(&format!("ZB-{}", n % 20)), 0.1), day("2026-02-01"))
            .unwrap();
    }
}

fn start(path: &Path, name: &str) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "writer", "--ignored", "--nocapture"])
        .envs([(BOOK, path.as_os_str()), (WRITER, name.as_ref())])
        .stdout(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn eight_processes_write_two_hundred_readings_each_into_one_book() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let begin = Instant::now();
    let writers: Vec<Child> = (0..8).map(|n| start(&path, &n.to_string())).collect();
    for mut writer in writers {
        assert!(writer.wait().unwrap().success());
    }
    println!("8 x 200 readings in {:.1} s", begin.elapsed().as_secs_f64());
    assert_eq!((count(&path, "reading"), count(&path, "assignment"), count(&path, "plant")), (1600, 1600, 20));
    assert!(Book::open(&path).unwrap().check().unwrap().is_empty());
}

#[test]
fn a_killed_writer_leaves_a_sound_book_with_nothing_half_written() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut random = SplitMix64::new(50);
    for _ in 0..50 {
        let mut writer = start(&path, "killed");
        std::thread::sleep(Duration::from_millis(5 + random.below(80) as u64));
        writer.kill().unwrap();
        writer.wait().unwrap();
        if path.exists() {
            let book = Book::open_or_make(&path).unwrap();
            assert!(book.check().unwrap().is_empty());
        }
    }
    let kept = count(&path, "reading");
    assert!(kept > 50, "{kept}");
    for table in ["photo", "grading", "assignment"] {
        assert_eq!(count(&path, table), kept, "{table}");
    }
    println!("50 kills, {kept} readings");
}

#[test]
fn grading_into_a_book_again_does_no_work() {
    let bench = Bench::new();
    bench.put("in/a.jpg", grey_jpeg());
    bench.put("in/b.jpg", "no photo");
    let first = bench.run(&["grade", "in", "--book", "b.sqlite"]);
    assert_eq!(first.code, 1, "{}", first.stderr);
    assert!(
        first.stderr.contains("1 refused, 1 failed") && first.stderr.contains("1 photos added"),
        "{}",
        first.stderr
    );
    let again = bench.run(&["grade", "in", "--book", "b.sqlite"]);
    assert!(again.stderr.contains("2 photos: 1 unchanged, 0 graded"), "{}", again.stderr);
    assert!(again.stderr.contains("0 refused, 1 failed"), "a photo that failed is tried again: {}", again.stderr);
    let asked = bench.run(&["grade", "in", "--book", "b.sqlite", "--csv", "a.csv"]);
    assert!(asked.stderr.contains("1 were there"), "{}", asked.stderr);
    assert_eq!(rows(&bench.text("a.csv")).len(), 2, "a table has all photos");
    let other = bench.run(&["grade", "in", "--book", "b.sqlite", "--px-per-mm", "10"]);
    assert!(other.stderr.contains("1 photos added"), "other settings, another reading: {}", other.stderr);
    assert_eq!((count(&bench.path("b.sqlite"), "photo"), count(&bench.path("b.sqlite"), "grading")), (1, 2));
}

#[test]
fn a_damaged_or_busy_book_ends_with_5_and_one_line() {
    let bench = Bench::new();
    bench.put("in/a.jpg", grey_jpeg());
    bench.put("b.sqlite", "this was a stock book once, and is none any more");
    for args in [&["book", "list", "--book", "b.sqlite"][..], &["grade", "in", "--book", "b.sqlite"]] {
        let run = bench.run(args);
        assert_eq!((run.code, run.stdout.as_str()), (5, ""), "{}", run.stderr);
        assert!(
            run.stderr.starts_with("error: the stock book b.sqlite is no stock book, or is damaged; name"),
            "{}",
            run.stderr
        );
        assert_eq!(run.stderr.lines().count(), 1, "{}", run.stderr);
    }
    assert!(bench.text("b.sqlite").contains("any more"), "it was not touched");
    bench.run(&["book", "add", "A", "--book", "c.sqlite"]);
    let pages = std::fs::read(bench.path("c.sqlite")).unwrap();
    bench.put("c.sqlite", [&pages[..4096], &vec![0xa5; pages.len() - 4096]].concat());
    let run = bench.run(&["book", "check", "--book", "c.sqlite"]);
    assert_eq!(run.code, 5, "{}", run.stderr);
}

/// Found by the fuzz target `book`: the names of columns were taken for text unseen.
#[test]
fn a_name_of_a_column_that_is_no_text_is_damage() {
    let bench = Bench::new();
    bench.run(&["book", "add", "A", "--book", "b.sqlite"]);
    let mut bytes = std::fs::read(bench.path("b.sqlite")).unwrap();
    let places: Vec<usize> = (0..bytes.len()).filter(|&i| bytes[i..].starts_with(b"score_high")).collect();
    assert!(!places.is_empty());
    for place in places {
        bytes[place] = 0xFF;
    }
    bench.put("b.sqlite", &bytes);
    for args in [&["book", "list"][..], &["book", "export", "b.json"]] {
        let run = with_book(&bench, args);
        assert_eq!(run.code, 5, "{}", run.stderr);
        assert!(run.stderr.starts_with("error: the stock book b.sqlite is damaged; keep the file"), "{}", run.stderr);
        assert_eq!(run.stderr.lines().count(), 1, "{}", run.stderr);
    }
    assert_eq!(std::fs::read(bench.path("b.sqlite")).unwrap(), bytes, "it was not touched");
}

/// Found by the fuzz target `book`: the journal's mode was set before the version was looked at.
#[test]
fn a_book_of_the_future_stays_as_it_is() {
    let bench = Bench::new();
    bench.run(&["book", "add", "A", "--book", "b.sqlite"]);
    let file = rusqlite::Connection::open(bench.path("b.sqlite")).unwrap();
    file.pragma_update(None, "journal_mode", "delete").unwrap();
    file.pragma_update(None, "user_version", 99).unwrap();
    file.close().unwrap();
    let bytes = std::fs::read(bench.path("b.sqlite")).unwrap();
    let run = with_book(&bench, &["book", "list"]);
    assert_eq!(run.code, 2, "{}", run.stderr);
    assert!(run.stderr.contains("newer version"), "{}", run.stderr);
    assert_eq!(std::fs::read(bench.path("b.sqlite")).unwrap(), bytes);
}

/// Runs the command with a book.
fn with_book(bench: &Bench, args: &[&str]) -> support::Run {
    bench.run(&[args, &["--book", "b.sqlite"]].concat())
}

/// A family of five: ZB-1 with three offsets, one of which has one.
fn family() -> Bench {
    let bench = Bench::new();
    for args in [
        &["book", "add", "ZB-1", "--name", "=Zebra", "--since", "2024-01-01"][..],
        &["book", "divide", "ZB-1", "ZB-2..ZB-4", "--on", "2025-01-01", "--cards", "cards.pdf"],
        &["book", "divide", "ZB-2", "ZB-20", "--on", "2025-06-01"],
        &["book", "decide", "ZB-2", "mother", "--by", "Anna", "--why", "even, strong"],
        &["book", "decide", "ZB-3", "revert", "--by", "Anna"],
        &["book", "move-out", "ZB-3", "--how", "given", "--on", "2025-09-01"],
        &["book", "change", "ZB-4", "--notes", "a note"],
        &["book", "check"],
    ] {
        let done = with_book(&bench, args);
        assert_eq!(done.code, 0, "{args:?}: {}", done.stderr);
    }
    bench
}

#[test]
fn the_book_is_kept_by_commands() {
    let bench = family();
    assert!(bench.files().contains_key(&bench.path("cards.pdf")));
    let shown = with_book(&bench, &["book", "show", "ZB-2"]).stdout;
    assert!(shown.contains("mother: ZB-1\n") && shown.contains("mother by Anna: even, strong\n"), "{shown}");
    assert_eq!(with_book(&bench, &["book", "list"]).stdout.lines().count(), 5);
    assert_eq!(with_book(&bench, &["book", "search", "A NOTE"]).stdout.lines().count(), 2);
    assert_eq!(with_book(&bench, &["book", "export", "p.csv"]).code, 0);
    let table = rows(&bench.text("p.csv"));
    assert_eq!((table.len(), table[0]["name"].as_str()), (5, "'=Zebra"));
    for args in [&["book", "import", "p.csv", "--book", "c.sqlite"], &["book", "export", "q.csv", "--book", "c.sqlite"]]
    {
        assert_eq!(bench.run(args).code, 0);
    }
    let plants = |name: &str| {
        let keys = ["plant", "name", "mother", "since", "notes", "gone_on", "gone_how"];
        rows(&bench.text(name)).into_iter().map(|row| keys.map(|key| row[key].clone())).collect::<Vec<_>>()
    };
    assert_eq!(plants("p.csv"), plants("q.csv"));
}

#[test]
fn what_cannot_be_done_is_told_in_one_line() {
    let bench = Bench::new();
    let missing = with_book(&bench, &["book", "list"]);
    assert_eq!((missing.code, bench.files().len()), (2, 0));
    assert!(missing.stderr.starts_with("error: there is no stock book at b.sqlite; "), "{}", missing.stderr);
    let bench = family();
    for (args, word) in [
        (&["book", "add", "zb-1"][..], "the number zb-1 is taken"),
        (&["book", "show", "ZB-9"], "ZB-9 is not in the book"),
        (&["book", "divide", "ZB-3", "ZB-30"], "ZB-3 went on 2025-09-01 (given)"),
        (&["book", "divide", "ZB-1", "ZB-30", "--cards", "cards.pdf"], "cards.pdf: exists already"),
        (&["book", "divide", "ZB-1", "ZB-30", "--cards", "no/c.pdf"], "no such folder; nothing was changed"),
        (&["book", "show", "ZB-30"], "ZB-30 is not in the book"),
        (&["book", "move-out", "ZB-3", "--how", "sold"], "ZB-3 is gone already"),
        (&["book", "change", "ZB-1", "--mother", "ZB-20"], "cannot come of itself"),
        (&["book", "decide", "ZB-1", "eat", "--by", "Anna"], "eat"),
        (&["book", "add", "ZB-8", "--since", "1.2.2026"], "a date is"),
        (&["book", "export", "a.txt"], ".csv"),
    ] {
        let wrong = with_book(&bench, args);
        assert_eq!(wrong.code, 2, "{args:?}: {}", wrong.stderr);
        assert!(wrong.stderr.contains(word), "{args:?}: {}", wrong.stderr);
    }
}

#[test]
fn mothers_are_told_and_their_families_drawn() {
    let bench = family();
    let mothers = with_book(&bench, &["mothers", "--until", "2026-01-01", "--csv", "m.csv"]);
    let table = rows(&bench.text("m.csv"));
    let of = |name: &str| table[0][name].as_str();
    assert_eq!(
        (of("mother"), of("offsets"), of("measured"), of("balanced"), of("reverts")),
        ("ZB-1", "3", "2", "1", "1")
    );
    assert_eq!((of("balanced_share_wilson_low"), of("offsets_per_year")), ("0.0945", "1.50"), "{}", mothers.stdout);
    assert_eq!(with_book(&bench, &["tree", "ZB-1", "-o", "t.svg"]).code, 0);
    let tree = bench.text("t.svg");
    resvg::usvg::Tree::from_str(&tree, &resvg::usvg::Options::default()).unwrap();
    assert_eq!(tree.matches("fill=\"none\" stroke=\"#555555\"").count(), 4, "a line an offset");
}

#[test]
fn no_output_replaces_the_book_or_a_table_that_is_read() {
    let bench = family();
    bench.put("t.csv", "date,min,max\n2025-12-14,-2,6.5\n");
    for output in ["--csv", "--png"] {
        for (kept, told) in [("b.sqlite", "stock book"), ("t.csv", "files to be read")] {
            let run = bench.run(&[
                "season",
                "ZB-1",
                "--book",
                "b.sqlite",
                output,
                kept,
                "--svg",
                "u.svg",
                "--temperatures",
                "t.csv",
            ]);
            assert!(run.code == 4 && run.stderr.contains(told), "{output} {kept}: {}", run.stderr);
        }
    }
    assert_eq!(bench.run(&["season", "ZB-1", "--book", ""]).code, 2);
}

/// Six photos through a winter, as drawn numbers.
#[test]
fn a_season_is_told_and_drawn() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut book = Book::open_or_make(&path).unwrap();
    for (n, (day, red)) in [
        ("2025-10-12", 0.02),
        ("2025-11-09", 0.04),
        ("2025-12-14", 0.20),
        ("2026-01-18", 0.40),
        ("2026-02-22", 0.25),
        ("2026-03-22", 0.05),
    ]
    .into_iter()
    .enumerate()
    {
        let taken_at = Some(format!("{day}T09:00:00"));
        let record = PhotoRecord { taken_at, ..photo(&format!("s{n}"), Some("ZB-1"), red) };
        book.keep(&record, Date::from_days(20_600)).unwrap();
    }
    bench.put("t.csv", "date,min,max\n2025-12-14,-2,6.5\n2026-01-18,-5,3\n");
    let args = [
        "season",
        "ZB-1",
        "--book",
        "b.sqlite",
        "--svg",
        "s.svg",
        "--png",
        "s.png",
        "--csv",
        "s.csv",
        "--temperatures",
        "t.csv",
    ];
    let run = bench.run(&args);
    assert_eq!(run.code, 0, "{}", run.stderr);
    for word in [
        "ZB-1: fading",
        "onset 2025-12-14",
        "peak 40 % (36-44) on 2026-01-18",
        "falling from 2026-02-22",
        "Mann-Kendall p",
    ] {
        assert!(run.stdout.contains(word), "{word}: {}", run.stdout);
    }
    assert_eq!(rows(&bench.text("s.csv")).len(), 6);
    let chart = bench.text("s.svg");
    resvg::usvg::Tree::from_str(&chart, &resvg::usvg::Options::default()).unwrap();
    assert_eq!(chart.matches("<circle").count(), 8, "six photos and two days of weather");
    assert!(image::image_dimensions(bench.path("s.png")).unwrap().0 > 1200);
    assert_eq!(bench.run(&["growth", "--book", "b.sqlite"]).code, 0);
    bench.put("t.csv", "date,min,max\nMonday,1,2\n");
    let wrong = bench.run(&args);
    assert_eq!(wrong.code, 2);
    assert!(wrong.stderr.contains("line 2"), "{}", wrong.stderr);
}

#[test]
fn the_usual_book_lies_in_the_folder_for_data() {
    let bench = Bench::new();
    let run = |data: PathBuf| {
        let output =
            bench.command(&["book", "add", "A"]).env("XDG_DATA_HOME", data).env("HOME", bench.path("home")).output();
        assert!(output.unwrap().status.success());
    };
    run(bench.path("data"));
    run("relative".into());
    if cfg!(target_os = "linux") {
        assert!(bench.path("data/variegauge/book.sqlite").exists());
        assert!(bench.path("home/.local/share/variegauge/book.sqlite").exists(), "a relative folder does not count");
    }
}

/// Copies the one plant and reading of a book: 10,000 plants with 10 readings each.
fn enlarge(path: &Path) {
    let file = Connection::open(path).unwrap();
    file.execute_batch(
        "BEGIN;
        WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 9999)
        INSERT INTO plant (id, number, mother, since) SELECT i + 1, 'ZB-' || i, 1 + i / 20, '2024-01-01' FROM n;
        WITH RECURSIVE n (i) AS (SELECT 2 UNION ALL SELECT i + 1 FROM n WHERE i < 100000)
        INSERT INTO photo (id, sha256, path, taken_at) SELECT i, 's' || i, 'a.jpg', '2026-01-01' FROM n;
        INSERT INTO grading (id, photo, day, program, standard_hash, settings_hash, status, white, scale, record)
            SELECT photo.id, photo.id, day, program, standard_hash, settings_hash, status, white, scale, record
            FROM photo, grading WHERE photo.id > 1 AND grading.id = 1;
        INSERT INTO reading (id, grading, place, day, red_fraction, red_fraction_low, red_fraction_high, green_capacity,
                green_capacity_low, green_capacity_high, diameter_mm, diameter_mm_low, diameter_mm_high, decision, record)
            SELECT photo.id, photo.id, 1, date('2025-01-01', '+' || (photo.id / 10000 * 30) || ' days'), 0.1, 0.05, 0.15, 0.5, 0.4,
                0.6, 40, 38, 42, 'sell', record || printf('%3000s', '')
            FROM photo, reading WHERE photo.id > 1 AND reading.id = 1;
        INSERT INTO assignment (reading, plant, day, who) SELECT id, 1 + id % 10000, '2026-01-01', 'card' FROM reading WHERE id > 1;
        UPDATE plant SET latest = (SELECT id FROM counted WHERE counted.plant = plant.id ORDER BY day DESC, id DESC LIMIT 1);
        COMMIT;",
    )
    .unwrap();
}

/// What a person waits for.
#[test]
#[ignore = "takes a minute; run by hand for the figures of docs/performance.md"]
fn a_large_book_answers_at_once() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut book = Book::open_or_make(&path).unwrap();
    book.keep(&photo("aa", Some("ZB-0"), 0.1), day("2026-02-01")).unwrap();
    enlarge(&path);
    assert_eq!((count(&path, "plant"), count(&path, "reading")), (10_000, 100_000));
    for args in [
        &["book", "list"][..],
        &["book", "show", "ZB-77"],
        &["book", "search", "ZB-77"],
        &["mothers"],
        &["season", "ZB-77", "ZB-78"],
        &["growth"],
        &["book", "check"],
    ] {
        let times: Vec<f64> = (0..5)
            .map(|_| {
                let begin = Instant::now();
                let run = bench.run(&[args, &["--book", "b.sqlite"]].concat());
                assert_eq!(run.code, 0, "{}", run.stderr);
                begin.elapsed().as_secs_f64() * 1000.0
            })
            .collect();
        let best = times.iter().copied().fold(f64::MAX, f64::min);
        println!("{}: {best:.0} ms", args.join(" "));
        let waited_for = !matches!(args, ["growth"] | ["book", "check"]);
        assert!(!waited_for || best < 200.0, "{args:?}: {times:?}");
    }
}

/// A photo graded again with a scale given: other settings.
fn with_scale(photo: PhotoRecord) -> PhotoRecord {
    let options = Options { scale: Some(Scale::PxPerMm(10.0)), ..Options::default() };
    let settings = PhotoRecord::stopped("", "", (Status::Failed, String::new()), &options).settings;
    PhotoRecord { settings, ..photo }
}

#[test]
fn an_earlier_grading_counts_again_when_it_is_asked_for_again() {
    let bench = Bench::new();
    let path = bench.path("b.sqlite");
    let mut book = Book::open_or_make(&path).unwrap();
    let today = day("2026-02-01");
    let (a, b) = (photo("aa", Some("ZB-1"), 0.1), with_scale(photo("aa", Some("ZB-2"), 0.2)));
    let c = PhotoRecord { program: "variegauge 99", ..photo("aa", Some("ZB-1"), 0.3) };
    let red =
        |book: &Book, text: &str| book.show(&number(text)).unwrap().latest.map(|latest| latest.red.unwrap().value);
    let skipped =
        |book: &Book, photo: &PhotoRecord| !book.photos_with(photo.program, &photo.settings.hash).unwrap().is_empty();
    book.keep(&a, today).unwrap();
    book.keep(&b, today).unwrap();
    assert_eq!((red(&book, "ZB-1"), red(&book, "ZB-2")), (None, Some(0.2)));
    assert!(!skipped(&book, &a) && skipped(&book, &b));
    for _ in 0..2 {
        assert_eq!(book.keep(&a, today).unwrap(), Kept::Unchanged);
        assert_eq!((red(&book, "ZB-1"), red(&book, "ZB-2")), (Some(0.1), None));
    }
    assert_eq!((count(&path, "reading"), count(&path, "recall")), (2, 1));
    assert!(skipped(&book, &a) && !skipped(&book, &b));
    book.keep(&b, today).unwrap();
    assert_eq!((red(&book, "ZB-1"), red(&book, "ZB-2")), (None, Some(0.2)), "and back");
    book.keep(&c, today).unwrap();
    assert_eq!((red(&book, "ZB-1"), red(&book, "ZB-2")), (Some(0.3), None), "a new one counts");
    book.keep(&a, today).unwrap();
    assert!(book.check().unwrap().is_empty());
    let mut other = Book::open_or_make(&bench.path("c.sqlite")).unwrap();
    other.load(&book.dump().unwrap()).unwrap();
    assert_eq!(red(&other, "ZB-1"), Some(0.1));
    assert!(other.check().unwrap().is_empty());
}

#[test]
fn what_a_person_said_is_followed_to_a_grading_that_counts_again() {
    let bench = Bench::new();
    let mut book = Book::open_or_make(&bench.path("b.sqlite")).unwrap();
    let today = day("2026-02-01");
    book.add(&[Plant::new(number("A"))]).unwrap();
    let (first, second) = (photo("aa", None, 0.1), with_scale(photo("aa", None, 0.2)));
    book.keep(&first, today).unwrap();
    book.keep(&second, today).unwrap();
    let reading = book.without_plant().unwrap()[0].id;
    book.assign(reading, Some(&number("A")), (today, "Anna", "")).unwrap();
    book.keep(&first, today).unwrap();
    let history = book.history(&number("A")).unwrap();
    assert_eq!(history.iter().map(|reading| reading.red.unwrap().value).collect::<Vec<_>>(), [0.1]);
    assert!(book.without_plant().unwrap().is_empty() && book.check().unwrap().is_empty());
}

#[test]
fn a_table_comes_in_whatever_its_order_and_says_what_differs() {
    let bench = Bench::new();
    bench.put("p.csv", "plant,mother,name\nA,Z,\nB,A,\nZ,,Old\n");
    let import = || with_book(&bench, &["book", "import", "p.csv"]);
    let first = import();
    assert!(first.code == 0 && first.stderr.contains("3 plants added, 0 unchanged\n"), "{}", first.stderr);
    assert!(with_book(&bench, &["book", "show", "A"]).stdout.contains("mother: Z\n"));
    assert!(import().stderr.contains("0 plants added, 3 unchanged\n"));
    bench.put("p.csv", "plant,mother,name\na,z,\nB,Z,\nZ,,New\nC,b,\n");
    let again = import();
    assert!(again.stderr.contains("1 plant added, 1 unchanged, 2 differ, left as they are\n"), "{}", again.stderr);
    for (table, word) in [
        ("plant,mother\nD,E\nE,F\nF,D\n", "p.csv: line 4: a plant cannot come of itself"),
        ("plant,mother\nD,\nE,X\n", "p.csv: line 3: X is not in the book"),
        ("plant,since,gone_on,gone_how\nD,2025-01-02,2025-01-01,sold\n", "line 2: D cannot go on 2025-01-01"),
    ] {
        bench.put("p.csv", table);
        let wrong = import();
        assert!(wrong.code == 2 && wrong.stderr.contains(word), "{}", wrong.stderr);
        assert_eq!(count(&bench.path("b.sqlite"), "plant"), 4);
    }
}

#[test]
fn a_whole_book_that_is_not_sound_is_refused() {
    let bench = Bench::new();
    let mut book = Book::open_or_make(&bench.path("a.sqlite")).unwrap();
    book.keep(&photo("aa", Some("ZB-1"), 0.1), day("2026-02-01")).unwrap();
    book.divide(&number("ZB-1"), &[number("ZB-2")], day("2026-02-02"), None).unwrap();
    let dump = book.dump().unwrap();
    for (table, column, value, word) in [
        ("plant", "number", "a b".into(), "plant 1: `number`, `a b`: a plant number is"),
        ("plant", "since", "1.2.2026".into(), "plant 1: `since`, `1.2.2026`: a date"),
        ("plant", "mother", 2.into(), "ZB-1: came of itself"),
        ("plant", "name", true.into(), "`name` is neither text nor number"),
        ("plant", "id", "x".into(), "a row of `plant` is not right"),
        ("plant", "latest", serde_json::Value::Null, "its latest reading"),
        ("reading", "day", "Monday".into(), "reading 1: `day`"),
        ("reading", "record", "{".into(), "its record is no JSON"),
        ("reading", "grading", 77.into(), "refers to a row of grading"),
    ] {
        let mut broken = dump.clone();
        broken[table][0][column] = value;
        bench.put("d.json", broken.to_string());
        let run = bench.run(&["book", "import", "d.json", "--book", "c.sqlite"]);
        assert!(run.code == 2 && run.stderr.contains(word), "{table} {column}: {}", run.stderr);
        assert_eq!(count(&bench.path("c.sqlite"), "plant"), 0);
    }
    let mut short = dump.clone();
    short.as_object_mut().unwrap().remove("assignment");
    assert!(book_of(&bench, "e.sqlite").load(&short).unwrap_err().to_string().contains("no list `assignment`"));
    let mut before = dump;
    before.as_object_mut().unwrap().remove("recall");
    assert_eq!(book_of(&bench, "e.sqlite").load(&before).unwrap(), 2, "books of before have no recalls");
    let file = Connection::open(bench.path("e.sqlite")).unwrap();
    file.execute("UPDATE plant SET since = 'May', mother = 3 - id", []).unwrap();
    let wrong = book_of(&bench, "e.sqlite").check().unwrap().join("\n");
    assert!(wrong.contains("came of itself") && wrong.contains("`May`"), "{wrong}");
}

fn book_of(bench: &Bench, name: &str) -> Book {
    Book::open_or_make(&bench.path(name)).unwrap()
}

#[test]
fn a_reading_that_does_not_count_is_not_assigned() {
    let bench = Bench::new();
    let mut book = book_of(&bench, "b.sqlite");
    let today = day("2026-02-01");
    book.add(&[Plant::new(number("A"))]).unwrap();
    book.keep(&photo("aa", None, 0.1), today).unwrap();
    let old = book.without_plant().unwrap()[0].id;
    book.keep(&with_scale(photo("aa", None, 0.2)), today).unwrap();
    let new = book.without_plant().unwrap()[0].id;
    let error = book.assign(old, Some(&number("A")), (today, "Anna", "")).unwrap_err().to_string();
    assert!(old != new && error.contains(&format!("say it of reading {new}")), "{error}");
    book.assign(new, Some(&number("A")), (today, "Anna", "")).unwrap();
}

#[test]
fn slips_of_days_and_names_are_refused() {
    let bench = family();
    with_book(&bench, &["book", "change", "ZB-4", "--name", "Über"]);
    assert_eq!(with_book(&bench, &["book", "search", "über"]).stdout.lines().count(), 2);
    for (args, word) in [
        (&["book", "decide", "ZB-4", "sell", "--by", "Card"][..], "name a person"),
        (&["book", "decide", "ZB-4", "sell", "--by", " "], "who says so"),
        (&["book", "move-out", "ZB-4", "--how", "sold", "--on", "2024-12-31"], "ZB-4 cannot go on 2024-12-31"),
        (&["book", "change", "ZB-3", "--since", "2025-10-01"], "ZB-3 cannot go on 2025-09-01"),
        (&["book", "add", "ZB-9", "--since", "2206-01-01"], "more than a year ahead"),
        (&["book", "backup", "none/b.sqlite"], ""),
    ] {
        let wrong = with_book(&bench, args);
        assert!(wrong.code != 0 && wrong.stderr.contains(word), "{args:?}: {}", wrong.stderr);
    }
}
