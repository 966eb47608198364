use super::{Decision, Facts, Grade, Sure, grade};
use crate::base::stats::Interval;
use crate::standard::Standard;
use proptest::prelude::{Strategy, prop, prop_assert, proptest};

fn near(value: f64, half: f64) -> Interval {
    Interval { value, low: (value - half).max(0.0), high: (value + half).min(1.0) }
}

/// A well-marked plant, all measured.
fn marked() -> Facts {
    Facts {
        capacity: Some(near(0.5, 0.05)),
        red: Some(near(0.05, 0.03)),
        dead: 0.0,
        variegated: 1.0,
        evenness: Some(0.9),
        sides: Some([0.45, 0.55]),
        contrast: Some(near(0.4, 0.03)),
        duty: Some(0.5),
        diameter_mm: Some(Interval { value: 70.0, low: 66.0, high: 74.0 }),
    }
}

fn with_green(capacity: Interval) -> Facts {
    Facts { capacity: Some(capacity), ..marked() }
}

fn graded(facts: &Facts) -> Grade {
    grade(facts, &Standard::default())
}

fn decision(facts: &Facts) -> (Decision, String) {
    let advice = graded(facts).advice.unwrap();
    (advice.decision, advice.reasons.join("; "))
}

fn codes(facts: &Facts) -> Vec<(&'static str, Option<Sure>)> {
    graded(facts).flags.iter().map(|flag| (flag.code, flag.sure)).collect()
}

#[test]
fn too_pale_has_three_words() {
    let flag = |value, low, high| {
        let flags = graded(&with_green(Interval { value, low, high })).flags;
        flags.into_iter().find(|flag| flag.code == "too-pale").map(|flag| (flag.sure.unwrap(), flag.text))
    };
    assert_eq!(flag(0.30, 0.15, 0.4), None);
    for (interval, sure, word) in [
        ((0.22, 0.12, 0.4), Sure::Borderline, "borderline too pale, take another photo"),
        ((0.12, 0.05, 0.19), Sure::Certain, "certainly too pale: green capacity 12 % (5-19 %), floor 20 %"),
        ((0.15, 0.05, 0.30), Sure::Likely, "likely too pale"),
    ] {
        let (got, text) = flag(interval.0, interval.1, interval.2).unwrap();
        assert!(got == sure && text.starts_with(word), "{text}");
    }
}

#[test]
fn reddening_alone_flags_no_plant_as_too_pale_and_changes_no_score() {
    let red = Facts { red: Some(near(0.65, 0.03)), ..marked() };
    assert_eq!(codes(&red), [("red", Some(Sure::Certain))]);
    assert_eq!((graded(&red).score, decision(&red)), (graded(&marked()).score, decision(&marked())));
    let hidden = Facts { red: Some(near(0.9, 0.03)), ..marked() };
    assert_eq!(decision(&hidden).0, Decision::Retake);
    assert!(!codes(&hidden).iter().any(|(code, _)| *code == "too-pale"));
}

#[test]
fn each_decision_has_its_plant() {
    let small = Interval { value: 22.0, low: 20.0, high: 24.0 };
    for (facts, expected, reason) in [
        (marked(), Decision::Mother, "score 100"),
        (Facts { diameter_mm: None, ..marked() }, Decision::Mother, "size is not known"),
        (Facts { evenness: Some(0.5), ..marked() }, Decision::Sell, "evenness 0.50, 0.60 asked"),
        (Facts { evenness: None, ..marked() }, Decision::Sell, "evenness is not known"),
        (with_green(near(0.78, 0.05)), Decision::Sell, "score"),
        (with_green(near(0.22, 0.01)), Decision::Sell, "score"),
        (
            Facts { contrast: None, duty: Some(0.0), evenness: Some(0.2), ..with_green(near(0.23, 0.01)) },
            Decision::GrowOn,
            "score",
        ),
        (Facts { diameter_mm: Some(small), ..marked() }, Decision::GrowOn, "22 mm across"),
        (Facts { sides: Some([0.1, 0.9]), ..marked() }, Decision::GrowOn, "struggling on the other"),
        (with_green(Interval { value: 0.24, low: 0.1, high: 0.4 }), Decision::GrowOn, "borderline"),
        (with_green(near(0.15, 0.03)), Decision::Nurse, "too pale"),
        (with_green(near(0.02, 0.03)), Decision::Nurse, "leave it on its mother"),
        (Facts { dead: 0.2, ..marked() }, Decision::Nurse, "dead leaf 20 %"),
        (Facts { variegated: 0.0, ..with_green(near(0.97, 0.05)) }, Decision::Revert, "certain green"),
        (with_green(Interval { value: 0.5, low: 0.1, high: 0.9 }), Decision::Retake, "too vaguely"),
        (with_green(Interval { value: 0.1, low: 0.0, high: 0.9 }), Decision::Retake, "too vaguely"),
        (Facts { capacity: None, ..marked() }, Decision::Retake, "too little"),
    ] {
        let (got, reasons) = decision(&facts);
        assert!(got == expected && reasons.contains(reason), "{expected:?}: {got:?}, {reasons}");
    }
}

#[test]
fn a_range_that_holds_the_limit_is_told() {
    let edge = "its range holds a limit";
    assert!(decision(&with_green(Interval { value: 0.15, low: 0.05, high: 0.3 })).1.contains(edge));
    assert!(!decision(&with_green(near(0.12, 0.05))).1.contains(edge));
    let size = Interval { value: 29.0, low: 26.0, high: 32.0 };
    assert!(decision(&Facts { diameter_mm: Some(size), ..marked() }).1.contains(edge));
}

#[test]
fn a_revert_needs_both_witnesses() {
    let sure = |capacity, variegated| {
        let codes = codes(&Facts { variegated, ..with_green(capacity) });
        codes.into_iter().find(|(code, _)| *code == "revert").map(|(_, sure)| sure.unwrap())
    };
    let over = Interval { value: 0.99, low: 0.91, high: 1.0 };
    let on = Interval { value: 0.93, low: 0.8, high: 1.0 };
    assert_eq!((sure(over, 0.1), sure(over, 0.9)), (Some(Sure::Certain), Some(Sure::Likely)));
    assert_eq!((sure(on, 0.1), sure(on, 0.9)), (Some(Sure::Likely), None));
    assert_eq!(sure(near(0.7, 0.1), 0.1), None);
}

#[test]
fn what_is_not_measured_is_left_out_and_the_others_share_its_weight() {
    let full = graded(&marked()).score.unwrap();
    let weights: Vec<f64> = full.parts.iter().map(|part| part.weight).collect();
    assert_eq!(weights, [0.35, 0.20, 0.20, 0.10, 0.15]);
    let score = graded(&Facts { evenness: None, contrast: None, duty: None, dead: 0.15, ..marked() }).score.unwrap();
    assert!((score.total.value - 70.0).abs() < 1e-9, "35 of 50: {score:?}");
    assert!((score.parts.iter().map(|part| part.weight).sum::<f64>() - 1.0).abs() < 1e-12);
    assert_eq!((score.parts[1].points, score.parts[1].weight), (None, 0.0));
}

#[test]
fn without_balance_the_rest_does_not_help() {
    let score = |green| graded(&with_green(near(green, 0.0))).score.unwrap().total.value;
    assert!(score(0.1) <= 40.0 && score(0.95) <= 40.0 && (score(0.3) - 70.0).abs() < 1e-9);
}

/// Two points of the line and the check of common practice: well-marked gold plants, about half green, are said to grow at
/// about half the pace.
#[test]
fn pace_is_a_line_through_the_break_even() {
    let pace = |green: f64| graded(&with_green(Interval { value: green, low: green, high: green })).pace.unwrap();
    assert_eq!((pace(1.0).value, pace(0.15).value, pace(0.05).high), (1.0, 0.0, 0.0));
    let half = pace(0.5);
    assert!((half.low - 0.375).abs() < 1e-9 && (half.high - 4.0 / 9.0).abs() < 1e-9 && half.value > half.low);
    assert!((0.4..0.6).contains(&pace(0.55).high));
}

fn any_facts() -> impl Strategy<Value = Facts> {
    let number = || (0.0..=1.0, 0.0..0.3).prop_map(|(value, half)| near(value, half));
    let lone = || prop::option::of(0.0..=1.0);
    let many = (number(), number(), 0.0..=1.0, 0.0..=1.0, lone(), prop::option::of(number()), lone());
    many.prop_map(|(capacity, red, dead, variegated, evenness, contrast, duty)| Facts {
        capacity: Some(capacity),
        red: Some(red),
        dead,
        variegated,
        evenness,
        contrast,
        duty,
        ..marked()
    })
}

proptest! {
    #[test]
    fn scores_lie_in_their_interval_between_0_and_100(facts in any_facts()) {
        let score = graded(&facts).score.unwrap();
        let Interval { value, low, high } = score.total;
        prop_assert!(-1e-9 <= low && low <= value + 1e-9 && value <= high + 1e-9 && high <= 100.0 + 1e-9, "{score:?}");
        for points in score.parts.iter().filter_map(|part| part.points) {
            prop_assert!(0.0 <= points.low && points.low <= points.value && points.value <= points.high && points.high <= 100.0);
        }
    }

    /// More evenness, contrast, band width, less dead leaf, green nearer to the full range: never less.
    #[test]
    fn the_score_rises_with_each_part(facts in any_facts(), more in 0.0..0.5f64) {
        let score = |facts: Facts| graded(&facts).score.unwrap().total.value;
        let before = score(facts);
        let up = |number: f64| (number + more).min(1.0);
        let green = facts.capacity.unwrap().value;
        let balanced = green + (green.clamp(0.4, 0.7) - green) * more;
        for better in [
            Facts { evenness: facts.evenness.map(up), ..facts },
            Facts { contrast: facts.contrast.map(|c| near(up(c.value), 0.0)), ..facts },
            Facts { duty: facts.duty.map(up), ..facts },
            Facts { dead: (facts.dead - more).max(0.0), ..facts },
            Facts { capacity: Some(near(balanced, 0.0)), ..facts },
        ] {
            prop_assert!(score(better) >= before - 1e-9, "{better:?}");
        }
    }

    #[test]
    fn every_plant_gets_a_decision_with_a_reason(facts in any_facts()) {
        let advice = graded(&facts).advice.unwrap();
        prop_assert!(!advice.reasons.is_empty() && !advice.name.is_empty());
    }

    /// More green never makes a plant flagged that was not.
    #[test]
    fn more_green_is_never_paler(facts in any_facts(), more in 0.0..0.5f64) {
        let pale = |facts: &Facts| codes(facts).iter().any(|(code, _)| *code == "too-pale");
        let green = facts.capacity.unwrap();
        let up = Interval { value: green.value + more, low: green.low + more, high: green.high + more };
        let greener = Facts { capacity: Some(up), ..facts };
        prop_assert!(pale(&facts) || !pale(&greener), "{greener:?}");
    }
}
