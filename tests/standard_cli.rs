//! `variegauge standard` in a temporary folder: what is printed, exit codes; and that grading reads the file.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use support::{Bench, rows};

#[test]
fn what_is_printed_is_a_standard_that_is_right() {
    let bench = Bench::new();
    let printed = bench.run(&["standard"]);
    assert_eq!((printed.code, printed.stderr.as_str()), (0, ""));
    bench.put("mine.toml", &printed.stdout);
    let run = bench.run(&["standard", "--check", "mine.toml"]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
    assert!(run.stdout.starts_with("ok, hash ") && run.stdout.trim_end().len() == 9 + 16, "{}", run.stdout);
    bench.put("empty.toml", "# nothing\n");
    assert_eq!(bench.run(&["standard", "--check", "empty.toml"]).stdout, run.stdout, "comments do not count");
    bench.put("other.toml", "green.floor = 0.25");
    assert_ne!(bench.run(&["standard", "--check", "other.toml"]).stdout, run.stdout);
}

#[test]
fn mistakes_end_with_2_and_the_line() {
    let bench = Bench::new();
    bench.put("mine.toml", "[green]\n# percent\nfloor = 20\n");
    for args in [&["standard", "--check", "mine.toml"][..], &["standard", "--explain", "mine.toml"]] {
        let run = bench.run(args);
        assert_eq!((run.code, run.stdout.as_str()), (2, ""));
        assert!(
            run.stderr.starts_with("error: mine.toml: line 3: green.floor must be 0 to 1\nhint: "),
            "{}",
            run.stderr
        );
    }
    assert_eq!(bench.run(&["standard", "--check", "missing.toml"]).code, 2);
    assert_eq!(bench.run(&["standard", "--check", "mine.toml", "--explain"]).code, 2);
}

#[test]
fn every_line_is_explained() {
    let bench = Bench::new();
    let shipped = bench.run(&["standard", "--explain"]);
    assert_eq!(shipped.code, 0);
    assert!(shipped.stdout.contains("\n[green]\nfloor = 0.20\n    Green capacity"), "{}", shipped.stdout);
    bench.put("mine.toml", "\u{feff}green.floor = 0.25");
    let own = bench.run(&["standard", "--explain", "mine.toml"]).stdout;
    assert!(own.contains("floor = 0.25  (shipped: 0.20)\n"), "{own}");
}

#[test]
fn grades_say_by_which_standard() {
    let bench = Bench::new();
    bench.put("a.jpg", "no photo");
    bench.put("mine.toml", "names.sell = \"to the shop\"");
    let hash = |args: &[&str]| {
        bench.run(&[&["grade", "a.jpg", "--csv", "a.csv", "--quiet"], args].concat());
        rows(&bench.text("a.csv"))[0]["standard_hash"].clone()
    };
    let check = bench.run(&["standard", "--check", "mine.toml"]).stdout;
    let own = hash(&["--standard", "mine.toml"]);
    assert_eq!(format!("ok, hash {own}\n"), check);
    assert_ne!(own, hash(&[]));
}
