//! Which values a standard may have.

use super::Standard;
use std::cmp::Ordering;

/// Lightness of paper, and most of its a and b: anything else is no white paper.
const LIGHTNESS: std::ops::RangeInclusive<f64> = 70.0..=100.0;
const TINT: f64 = 20.0;

/// Length of a check line that came from a 50 mm one: beyond 10 % the printer was told to fit the page.
const CHECK_LINE: std::ops::RangeInclusive<f64> = 45.0..=55.0;

/// No band is this wide, mm: a limit beyond it was meant in other units.
const WIDEST_MM: f64 = 50.0;

/// No plant is this wide, mm.
const LARGEST_MM: f64 = 1000.0;

/// Longest name of a decision, letters: it stands in tables.
const LONGEST: usize = 40;

/// Path of a value and what it must be.
type Fault = (&'static str, &'static str);

/// The first value that cannot be. Written so that NaN is a fault everywhere.
pub(super) fn fault(standard: &Standard) -> Option<Fault> {
    card(standard)
        .or_else(|| shares(standard))
        .or_else(|| ranges(standard))
        .or_else(|| score(standard))
        .or_else(|| names(standard))
}

fn card(Standard { card, .. }: &Standard) -> Option<Fault> {
    let white = |[l, a, b]: [f64; 3]| LIGHTNESS.contains(&l) && a.abs() <= TINT && b.abs() <= TINT;
    first(&[
        (
            card.paper_lab.is_none_or(white),
            ("card.paper_lab", "must be [L, a, b] of white paper: L 70 to 100, a and b -20 to 20"),
        ),
        (
            card.check_line_mm.is_none_or(|mm| CHECK_LINE.contains(&mm)),
            ("card.check_line_mm", "must be 45 to 55; print the cards again at 100 %"),
        ),
    ])
}

/// Single fractions.
fn shares(standard: &Standard) -> Option<Fault> {
    let Standard { green, sides, red, condition, photo, mother, .. } = standard;
    let values = [
        ("green.floor", green.floor),
        ("green.all_pale_under", green.all_pale_under),
        ("green.revert_from", green.revert_from),
        ("sides.apart_from", sides.apart_from),
        ("red.watch_from", red.watch_from),
        ("red.hides_from", red.hides_from),
        ("condition.dead_from", condition.dead_from),
        ("photo.widest_range", photo.widest_range),
        ("mother.evenness_from", mother.evenness_from),
    ];
    let wrong = values.into_iter().find(|(_, value)| !(0.0..=1.0).contains(value));
    wrong.map(|(path, _)| (path, "must be 0 to 1"))
}

/// Values that must rise.
fn ranges(standard: &Standard) -> Option<Fault> {
    let Standard { bands, green, size, score, mother, outlook, .. } = standard;
    let ranges = &score.ranges;
    let balance = [0.0, ranges.balance[0], ranges.balance[1], ranges.balance[2], ranges.balance[3], 1.0];
    let rises = "must rise, between 0 and 1";
    let widths = |[standard, wide, extra]: [f64; 3], most| rising(&[0.0, standard, wide, extra, most]);
    first(&[
        (
            widths(bands.mm(), WIDEST_MM),
            ("bands.wide_from_mm", "must rise from standard_from_mm to extra_wide_from_mm, between 0 and 50"),
        ),
        (
            widths(bands.rel(), 1.0),
            ("bands.wide_from_rel", "must rise from standard_from_rel to extra_wide_from_rel, between 0 and 1"),
        ),
        (
            level(&[green.all_pale_under, green.floor, green.revert_from]),
            ("green.floor", "must lie between all_pale_under and revert_from"),
        ),
        (level(&balance) && rising(&balance[1..3]) && rising(&balance[3..5]), ("score.ranges.balance", rises)),
        (within(ranges.evenness), ("score.ranges.evenness", rises)),
        (within(ranges.contrast), ("score.ranges.contrast", rises)),
        (within(ranges.bands), ("score.ranges.bands", rises)),
        (within(ranges.condition), ("score.ranges.condition", rises)),
        (within(mother.green), ("mother.green", rises)),
        (within(outlook.break_even) && outlook.break_even[1] < 1.0, ("outlook.break_even", "must rise, under 1")),
        ((0.0..=LARGEST_MM).contains(&size.offset_under_mm), ("size.offset_under_mm", "must be 0 to 1000")),
    ])
}

fn score(Standard { score, mother, sell, .. }: &Standard) -> Option<Fault> {
    let weights = &score.weights;
    let values = [
        ("score.weights.balance", weights.balance),
        ("score.weights.evenness", weights.evenness),
        ("score.weights.contrast", weights.contrast),
        ("score.weights.bands", weights.bands),
        ("score.weights.condition", weights.condition),
    ];
    let wrong = values.into_iter().find(|(_, value)| !(0.0..=1e6).contains(value));
    wrong.map(|(path, _)| (path, "must be 0 or more")).or_else(|| {
        first(&[
            (weights.balance > 0.0, ("score.weights.balance", "must be above 0: it is the part that every plant has")),
            ((0.0..=100.0).contains(&score.unbalanced), ("score.unbalanced", "must be 0 to 100")),
            ((0.0..=100.0).contains(&sell.score_from), ("sell.score_from", "must be 0 to 100")),
            (
                level(&[sell.score_from, mother.score_from, 100.0]),
                ("mother.score_from", "must be at least the score to sell from, and at most 100"),
            ),
        ])
    })
}

fn names(Standard { names, .. }: &Standard) -> Option<Fault> {
    let values = [
        ("names.mother", &names.mother),
        ("names.sell", &names.sell),
        ("names.grow_on", &names.grow_on),
        ("names.nurse", &names.nurse),
        ("names.revert", &names.revert),
        ("names.retake", &names.retake),
    ];
    let sound =
        |name: &str| !name.trim().is_empty() && name.chars().count() <= LONGEST && !name.chars().any(char::is_control);
    let wrong = values.into_iter().find(|(_, name)| !sound(name));
    wrong.map(|(path, _)| (path, "must be 1 to 40 letters on one line"))
}

fn first(rules: &[(bool, Fault)]) -> Option<Fault> {
    rules.iter().find(|(sound, _)| !sound).map(|(_, fault)| *fault)
}

/// Two fractions, the second larger.
fn within([low, high]: [f64; 2]) -> bool {
    level(&[0.0, low, high, 1.0]) && low < high
}

fn rising(values: &[f64]) -> bool {
    values.windows(2).all(|pair| pair[0].partial_cmp(&pair[1]) == Some(Ordering::Less))
}

/// Rising, or alike.
fn level(values: &[f64]) -> bool {
    values.windows(2).all(|pair| pair[0] <= pair[1])
}
