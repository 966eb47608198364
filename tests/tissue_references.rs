//! The colour rule against referees that did not make it: Munsell chips read by their colour names, and model leaves.
//! Sources and licences of the tables: `fixtures/README.md`.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]
#![allow(clippy::print_stdout, reason = "misses are shown with the test's output")]

use std::collections::BTreeMap;
use variegauge::tissue::rule::{Hue, judge};

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!("{}/fixtures/tissue/{name}", env!("CARGO_MANIFEST_DIR"));
    csv::Reader::from_path(path).unwrap().deserialize().map(Result::unwrap).collect()
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// The rule's answer to a row; `exposed`: lightness is known.
fn answer(row: &Row, saturation: f64, exposed: bool) -> Hue {
    let lightness = exposed.then(|| number(row, "oklab_l") as f32);
    judge(number(row, "oklab_h") as f32, saturation as f32, lightness)
}

/// What a class of the tables is called by the rule. Dead and bronzed leaf share one colour: brown.
fn expected(class: &str) -> Hue {
    match class {
        "green" | "green_pale" => Hue::Green,
        "cream" => Hue::Cream,
        "gold" => Hue::Gold,
        "red" => Hue::Red,
        "dead" | "bronze" => Hue::Brown,
        other => panic!("the tables know no class {other}"),
    }
}

/// How many of the 185 Munsell chips the rule reads as their ISCC-NBS name says, with the misses printed. The classes were
/// assigned from the names alone (Kelly, Judd 1976, NBS SP 440), before the rule was there.
fn chips_agreeing(exposed: bool) -> usize {
    let chips = table("munsell_expected_class.csv");
    assert_eq!(chips.len(), 185);
    let agrees = |chip: &&Row| {
        let got = answer(chip, number(chip, "oklab_c") / number(chip, "oklab_l"), exposed);
        let right = got == expected(&chip["expected_class"]);
        if !right {
            let name = format!("{} {}/{}", chip["munsell_hue"], chip["value"], chip["chroma"]);
            println!("miss, lightness known: {exposed}: {name} {} is read as {got:?}", chip["iscc_name"]);
        }
        right
    };
    chips.iter().filter(agrees).count()
}

#[test]
fn munsell_chips_are_what_their_names_say() {
    let (with, without) = (chips_agreeing(true), chips_agreeing(false));
    println!("Munsell chips: {with} of 185 with lightness, {without} of 185 without");
    assert!(with >= 185, "{with} of 185");
    assert!(without >= 183, "{without} of 185");
}

/// Share of each class of the 700 model leaves (100 a class; PROSPECT-D, Feret et al. 2017, Remote Sens. Environ.
/// 193:204-215) that the rule gives its class.
fn recall(exposed: bool) -> BTreeMap<String, f64> {
    let leaves = table("leaf_population_sample.csv");
    assert_eq!(leaves.len(), 700);
    let mut hits = BTreeMap::new();
    for leaf in &leaves {
        let (right, all) = hits.entry(leaf["class"].clone()).or_insert((0.0, 0.0));
        *all += 1.0;
        let got = answer(leaf, number(leaf, "oklab_coverl"), exposed);
        *right += f64::from(u8::from(got == expected(&leaf["class"])));
    }
    hits.into_iter().map(|(class, (right, all))| (class, right / all)).collect()
}

/// Measured recall, held to 2 points.
fn assert_recall(exposed: bool, measured: [(&str, f64); 7]) {
    let recall = recall(exposed);
    println!("recall, lightness known: {exposed}: {recall:?}");
    for (class, least) in measured {
        assert!(
            recall[class] >= least - 0.02,
            "{class}: {} < {least} - 0.02, lightness known: {exposed}",
            recall[class]
        );
    }
}

#[test]
fn model_leaves_are_read_with_lightness() {
    let measured = [
        ("green", 1.0),
        ("green_pale", 1.0),
        ("cream", 0.98),
        ("gold", 0.96),
        ("red", 0.85),
        ("dead", 0.93),
        ("bronze", 0.47),
    ];
    assert_recall(true, measured);
}

#[test]
fn model_leaves_are_read_without_lightness() {
    let measured = [
        ("green", 1.0),
        ("green_pale", 1.0),
        ("cream", 0.96),
        ("gold", 0.98),
        ("red", 0.85),
        ("dead", 0.92),
        ("bronze", 0.31),
    ];
    assert_recall(false, measured);
}

/// Gold ends and green begins where chlorophyll is about 1.5 to 2 times the carotenoids, whatever the thickness (`n`), the
/// backing and the amount: the hue at which the rule changes is put between the table's two hues.
#[test]
fn green_begins_at_one_ratio_of_chlorophyll_to_carotenoids() {
    let begins =
        (600..2000).map(|tenths| tenths as f32 / 10.0).find(|&hue| judge(hue, 0.2, None) == Hue::Green).unwrap();
    let along = f64::from((begins - 107.0) / 10.0);
    let ratio = |row: &Row| {
        let (low, high) = (number(row, "cab_at_h107"), number(row, "cab_at_h117"));
        (low + along * (high - low)) / number(row, "car")
    };
    let ratios: Vec<f64> = table("hue_boundary_vs_chlorophyll.csv").iter().map(ratio).collect();
    let (low, high) = ratios.iter().fold((f64::MAX, 0f64), |(low, high), &r| (low.min(r), high.max(r)));
    println!("green begins at hue {begins}: chlorophyll / carotenoids {low:.2} to {high:.2}");
    assert!(low >= 1.2 && high <= 2.2, "{low:.2} to {high:.2}");
}
