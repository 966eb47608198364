//! What to do with a plant: rules in a fixed order, the first that holds decides.

use super::flags::{dead, one_sided, reverted};
use super::{Facts, Score, Sure, percent};
use crate::base::stats::Interval;
use crate::standard::{Names, Standard};

/// What the standard advises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Keep as a mother.
    Mother,
    /// Sell.
    Sell,
    /// Grow on and look again.
    GrowOn,
    /// Care for it apart, or leave it on its mother.
    Nurse,
    /// Set aside: gone back to green.
    Revert,
    /// The photo does not tell.
    Retake,
}

/// A decision with what speaks for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// What to do.
    pub decision: Decision,
    /// What it is called in this nursery.
    pub name: String,
    /// Why, in words; what is on the edge of a limit is said too.
    pub reasons: Vec<String>,
}

impl Decision {
    /// For programs; does not change with the standard's names.
    pub fn code(self) -> &'static str {
        match self {
            Self::Mother => "mother",
            Self::Sell => "sell",
            Self::GrowOn => "grow-on",
            Self::Nurse => "nurse",
            Self::Revert => "revert",
            Self::Retake => "retake",
        }
    }

    fn name(self, names: &Names) -> &str {
        match self {
            Self::Mother => &names.mother,
            Self::Sell => &names.sell,
            Self::GrowOn => &names.grow_on,
            Self::Nurse => &names.nurse,
            Self::Revert => &names.revert,
            Self::Retake => &names.retake,
        }
    }
}

/// What a rule says.
type Verdict = (Decision, Vec<String>);

/// Decides on a plant.
pub(super) fn advice(facts: &Facts, score: Option<&Score>, standard: &Standard) -> Advice {
    let (decision, reasons) = match (facts.capacity, score) {
        (Some(green), Some(score)) => hidden(facts, standard)
            .or_else(|| vague(green, standard))
            .or_else(|| pale(green, standard))
            .or_else(|| back_to_green(green, facts, standard))
            .or_else(|| split(facts, standard))
            .or_else(|| hurt(facts, standard))
            .or_else(|| small(facts, standard))
            .unwrap_or_else(|| by_score(green, facts, score.total, standard)),
        _ => (Decision::Retake, vec!["too little green, cream and gold leaf could be judged".into()]),
    };
    Advice { decision, name: decision.name(&standard.names).into(), reasons }
}

fn hidden(facts: &Facts, standard: &Standard) -> Option<Verdict> {
    let red = facts.red.filter(|red| red.value >= standard.red.hides_from)?;
    let told = format!("stress red hides the leaf's own colours: {}; wait until it has faded", percent(red));
    Some((Decision::Retake, vec![told]))
}

fn pale(green: Interval, standard: &Standard) -> Option<Verdict> {
    let floor = standard.green.floor;
    let told = format!("green capacity {}, floor {:.0} %", percent(green), floor * 100.0);
    Some(match Sure::under(green, floor)? {
        Sure::Borderline => (Decision::GrowOn, vec![format!("borderline too pale, watch it: {told}")]),
        Sure::Likely | Sure::Certain if green.value < standard.green.all_pale_under => {
            (Decision::Nurse, vec![edged(format!("all pale, leave it on its mother: {told}"), green, &[floor])])
        }
        Sure::Likely | Sure::Certain => (Decision::Nurse, vec![edged(format!("too pale: {told}"), green, &[floor])]),
    })
}

/// A range that holds nearly everything: the value says little, whatever it is.
fn vague(green: Interval, standard: &Standard) -> Option<Verdict> {
    let wide = green.high - green.low > standard.photo.widest_range;
    let told = "green capacity is known too vaguely; closer, sharp, in even white light, with a card beside it";
    wide.then(|| (Decision::Retake, vec![format!("{told}: {}", percent(green))]))
}

fn back_to_green(green: Interval, facts: &Facts, standard: &Standard) -> Option<Verdict> {
    let sure = reverted(green, facts, standard)?;
    let limit = standard.green.revert_from;
    let told = format!(
        "{} revert, if its mother is variegated (a plain plant of a plain mother is sold as what it is): green capacity {}, limit {:.0} %",
        sure.name(),
        percent(green),
        limit * 100.0
    );
    Some((Decision::Revert, vec![edged(told, green, &[limit])]))
}

fn split(facts: &Facts, standard: &Standard) -> Option<Verdict> {
    one_sided(facts, standard).map(|flag| (Decision::GrowOn, vec![flag.text]))
}

fn hurt(facts: &Facts, standard: &Standard) -> Option<Verdict> {
    dead(facts, standard).map(|flag| (Decision::Nurse, vec![flag.text]))
}

fn small(facts: &Facts, standard: &Standard) -> Option<Verdict> {
    let (size, limit) = (facts.diameter_mm?, standard.size.offset_under_mm);
    let told = || format!("an offset still: {:.0} mm across, full size from {limit:.0} mm", size.value);
    (size.value < limit).then(|| (Decision::GrowOn, vec![edged(told(), size, &[limit])]))
}

/// Mother, sell or grow on.
fn by_score(green: Interval, facts: &Facts, score: Interval, standard: &Standard) -> Verdict {
    let (mother, sell) = (&standard.mother, &standard.sell);
    let limits = [sell.score_from, mother.score_from];
    let told = format!(
        "score {:.0} ({:.0}-{:.0}), sold from {:.0}, a mother from {:.0}",
        score.value, score.low, score.high, limits[0], limits[1]
    );
    let mut reasons = vec![edged(told, score, &limits)];
    if score.value < mother.score_from {
        return (if score.value < sell.score_from { Decision::GrowOn } else { Decision::Sell }, reasons);
    }
    if facts.diameter_mm.is_none() {
        reasons.push("its size is not known: it may be an offset still".into());
    }
    if !facts.whole {
        reasons.push("it is cut off by the frame, so it is no mother yet".into());
    }
    let ([least, most], floor) = (mother.green, standard.green.floor);
    let balanced = (least..=most).contains(&green.value) && green.low >= floor;
    if green.low < floor {
        reasons.push(format!(
            "its green capacity may lie under the floor of {:.0} %, so it is no mother yet",
            floor * 100.0
        ));
    }
    let asked = format!("{:.0}-{:.0} % asked of a mother", least * 100.0, most * 100.0);
    reasons.push(edged(format!("green capacity {}, {asked}", percent(green)), green, &mother.green));
    let even = facts.evenness.is_some_and(|value| value >= mother.evenness_from);
    reasons.push(match facts.evenness {
        Some(value) => format!("evenness {value:.2}, {:.2} asked of a mother", mother.evenness_from),
        None => "evenness is not known, so it is no mother yet".into(),
    });
    (if balanced && even && facts.whole { Decision::Mother } else { Decision::Sell }, reasons)
}

/// The reason, and whether it hangs on a number whose range holds a limit.
fn edged(reason: String, number: Interval, limits: &[f64]) -> String {
    if limits.iter().any(|&limit| number.low < number.high && number.low <= limit && limit <= number.high) {
        return reason + "; its range holds a limit: another photo may say otherwise";
    }
    reason
}
