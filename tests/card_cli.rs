//! `variegauge card` in a temporary folder: files, messages, exit codes.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use support::Bench;

#[test]
fn help_leads_with_examples_and_says_how_to_print() {
    let run = Bench::new().run(&["card", "--help"]);
    assert_eq!((run.code, run.stderr.as_str()), (0, ""));
    let place = |text: &str| run.stdout.find(text).unwrap_or_else(|| panic!("{text} is missing:\n{}", run.stdout));
    assert!(place("Examples:") < place("Usage:"));
    assert!(place("Usage:") < place("Print at 100 %"));
}

#[test]
fn cards_are_written_and_told_in_one_line() {
    let bench = Bench::new();
    let run = bench.run(&["card", "ZB-0040..ZB-0059", "-o", "cards.pdf"]);
    let told =
        "wrote cards.pdf: 20 cards on 2 sheets (A4). Print at 100 %, not 'fit to page', and check the 50 mm line\n";
    assert_eq!((run.code, run.stdout.as_str(), run.stderr.as_str()), (0, "", told));
    let files = bench.files();
    assert_eq!(files.len(), 1);
    assert!(files.values().all(|bytes| bytes.starts_with(b"%PDF-1.7") && bytes.trim_ascii_end().ends_with(b"%%EOF")));
}

#[test]
fn an_svg_is_a_file_a_sheet() {
    let bench = Bench::new();
    let run = bench.run(&["card", "1..9", "-o", "a.svg", "--paper", "letter"]);
    assert!(run.stderr.starts_with("wrote a-1.svg to a-2.svg: 9 cards on 2 sheets (Letter)."), "{}", run.stderr);
    assert_eq!(bench.files().len(), 2);
    assert!(bench.text("a-2.svg").contains("<title>9</title>"));
    let run = bench.run(&["card", "1..2", "-o", "b.svg", "--label"]);
    assert!(run.stderr.starts_with("wrote b-1.svg to b-2.svg: 2 pot labels, one a page."), "{}", run.stderr);
    assert!(bench.text("b-1.svg").contains(r#"width="50mm" height="25mm""#));
}

#[test]
fn numbers_and_names_come_from_a_table() {
    let bench = Bench::new();
    bench.put("p.csv", "\u{feff}Plant;Name\r\nZB-1;Zebra <1> & \"2\"\r\nZB-2;植 Grün\r\nZB-1;again\r\n");
    let run = bench.run(&["card", "ZB-3", "--name", "Third", "--plants", "p.csv", "-o", "a.svg"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let told: Vec<&str> = run.stderr.lines().collect();
    assert_eq!(told.len(), 3, "{told:?}");
    assert_eq!(told[0], "warning: given more than once, printed once: ZB-1");
    assert!(told[1].starts_with("warning: ZB-2: ") && told[1].ends_with(": 植"), "{}", told[1]);
    assert!(told[2].contains("3 cards on 1 sheet"), "{}", told[2]);
    let svg = bench.text("a.svg");
    let titles = ["ZB-3 Third", "ZB-1 Zebra &lt;1&gt; &amp; &quot;2&quot;", "ZB-2 植 Grün"];
    let places: Vec<usize> =
        titles.iter().map(|title| svg.find(&format!("<g>\n<title>{title}</title>")).unwrap()).collect();
    assert!(places.is_sorted());
}

#[test]
fn wrong_usage_ends_with_2_and_a_word_on_what_is_wrong() {
    let bench = Bench::new();
    bench.put("bad.csv", "plant,name\nA,x\nB C,y\n");
    bench.put("none.csv", "plant,name\n");
    for (args, word) in [
        (&["card", "-o", "a.pdf"][..], "NUMBER"),
        (&["card", "1"], "--output"),
        (&["card", "1", "-o", "a.docx"], ".pdf or .svg"),
        (&["card", "9..1", "-o", "a.pdf"], "backwards"),
        (&["card", "Z 1", "-o", "a.pdf"], "plant number"),
        (&["card", "1..2000", "A1", "-o", "a.pdf"], "2000"),
        (&["card", "--plants", "bad.csv", "-o", "a.pdf"], "--plants bad.csv: line 3: `B C`"),
        (&["card", "--plants", "none.csv", "-o", "a.pdf"], "no plant"),
        (&["card", "--plants", "missing.csv", "-o", "a.pdf"], "missing.csv"),
    ] {
        let run = bench.run(args);
        assert_eq!(run.code, 2, "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(word) && run.stdout.is_empty(), "{args:?}: {}", run.stderr);
    }
    assert_eq!(bench.files().len(), 2, "nothing was made");
}

#[test]
fn files_that_exist_stay_unless_forced() {
    let bench = Bench::new();
    bench.put("a.pdf", "mine");
    bench.put("b-2.svg", "mine");
    let before = bench.files();
    for output in ["a.pdf", "b.svg"] {
        let run = bench.run(&["card", "1..20", "-o", output]);
        assert_eq!(run.code, 4, "{}", run.stderr);
        assert!(run.stderr.contains("exists already") && run.stderr.contains("--force"), "{}", run.stderr);
    }
    assert_eq!(bench.files(), before, "no sheet before the one that exists was written");
    assert_eq!(bench.run(&["card", "1", "-o", "a.pdf", "--force"]).code, 0);
    assert_ne!(bench.files(), before);
}

#[test]
fn a_folder_that_is_not_there_ends_with_4() {
    let run = Bench::new().run(&["card", "1", "-o", "no/such/a.pdf"]);
    assert_eq!(run.code, 4);
    assert!(
        run.stderr.starts_with("error: cannot write no/such/a.pdf") && run.stderr.contains("\nhint: "),
        "{}",
        run.stderr
    );
}

#[test]
fn the_same_cards_are_the_same_bytes() {
    let bench = Bench::new();
    for name in ["a.pdf", "b.pdf"] {
        assert_eq!(bench.run(&["card", "1..3", "--name", "Zebra", "-o", name]).code, 0);
    }
    let files = bench.files();
    let bytes: Vec<&Vec<u8>> = files.values().collect();
    assert_eq!(bytes[0], bytes[1]);
}

#[test]
fn the_table_of_plants_is_never_overwritten() {
    let bench = Bench::new();
    bench.put("plants.svg", "plant\nZB-1\n");
    let run = bench.run(&["card", "--plants", "plants.svg", "-o", "plants.svg", "--force"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert_eq!(bench.text("plants.svg"), "plant\nZB-1\n");
}

#[test]
fn a_quote_left_open_is_told_with_its_line() {
    let bench = Bench::new();
    bench.put("plants.csv", "plant,name\nA1,\"open\nA2,b\nA3,c\n");
    let run = bench.run(&["card", "--plants", "plants.csv", "-o", "a.pdf"]);
    assert_eq!(run.code, 2, "{}", run.stderr);
    assert!(run.stderr.contains("line 2") && run.stderr.contains("quote"), "{}", run.stderr);
}
