//! What the grower must know of a plant, each with the number and the limit.

use super::{Facts, Sure, percent};
use crate::base::stats::Interval;
use crate::standard::Standard;

/// Something the grower must know about the plant, with the number that tripped it.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// As a word that programs can compare, e.g. `too-pale`.
    pub code: &'static str,
    /// How sure it is, where the number has an interval.
    pub sure: Option<Sure>,
    /// For people.
    pub text: String,
    /// The measured number.
    pub value: f64,
    /// The standard's limit.
    pub limit: f64,
}

/// All flags of a plant.
pub(super) fn flags(facts: &Facts, standard: &Standard) -> Vec<Flag> {
    let by_green = |rule: fn(Interval, &Facts, &Standard) -> Option<Flag>| rule(facts.capacity?, facts, standard);
    let flags = [by_green(too_pale), by_green(all_pale), by_green(revert), one_sided(facts, standard)];
    flags.into_iter().chain([dead(facts, standard), red(facts, standard)]).flatten().collect()
}

/// A pale plant that is missed costs years, a second look costs minutes: so there is a borderline.
fn too_pale(green: Interval, _: &Facts, standard: &Standard) -> Option<Flag> {
    let limit = standard.green.floor;
    let sure = Sure::under(green, limit)?;
    let word = match sure {
        Sure::Certain => "certainly too pale",
        Sure::Likely => "likely too pale",
        Sure::Borderline => "borderline too pale, take another photo or watch it",
    };
    let text = format!("{word}: green capacity {}, floor {:.0} %", percent(green), limit * 100.0);
    Some(Flag { code: "too-pale", sure: Some(sure), text, value: green.value, limit })
}

fn all_pale(green: Interval, _: &Facts, standard: &Standard) -> Option<Flag> {
    let limit = standard.green.all_pale_under;
    let sure = Sure::under(green, limit).filter(|&sure| sure >= Sure::Likely)?;
    let text = format!("all pale ({}): it lives only on its mother, do not part it", sure.name());
    Some(Flag { code: "all-pale", sure: Some(sure), text, value: green.value, limit })
}

/// Whether a plant has gone back to green, by two witnesses: green capacity and the pattern. A plant that is plain by its pattern
/// is likely one if the interval comes near the limit; one whose pattern shows pale tissue, or cannot be told, only if the whole
/// interval lies over it.
pub(super) fn reverted(green: Interval, facts: &Facts, standard: &Standard) -> Option<Sure> {
    let plain = facts.plain >= 0.5;
    match Sure::from(green, standard.green.revert_from)? {
        Sure::Certain if plain => Some(Sure::Certain),
        Sure::Certain => Some(Sure::Likely),
        Sure::Likely | Sure::Borderline => plain.then_some(Sure::Likely),
    }
}

fn revert(green: Interval, facts: &Facts, standard: &Standard) -> Option<Flag> {
    let (sure, limit) = (reverted(green, facts, standard)?, standard.green.revert_from);
    let text = format!(
        "{} revert to green, if its mother is variegated: green capacity {}, limit {:.0} %",
        sure.name(),
        percent(green),
        limit * 100.0
    );
    Some(Flag { code: "revert", sure: Some(sure), text, value: green.value, limit })
}

/// Strong on one side, under the floor on the other.
pub(super) fn one_sided(facts: &Facts, standard: &Standard) -> Option<Flag> {
    let [weak, strong] = facts.sides?;
    let limit = standard.green.floor;
    (strong - weak >= standard.sides.apart_from && weak < limit && strong >= limit).then(|| {
        let text = format!(
            "strong on one side, struggling on the other: green capacity about {:.0} % and {:.0} %, floor {:.0} %; offsets will differ by \
             the side they come from",
            strong * 100.0,
            weak * 100.0,
            limit * 100.0
        );
        Flag { code: "one-sided", sure: None, text, value: weak, limit }
    })
}

pub(super) fn dead(facts: &Facts, standard: &Standard) -> Option<Flag> {
    let limit = standard.condition.dead_from;
    (facts.dead >= limit).then(|| {
        let text = format!("dead leaf {:.0} %, limit {:.0} %", facts.dead * 100.0, limit * 100.0);
        Flag { code: "dead", sure: None, text, value: facts.dead, limit }
    })
}

fn red(facts: &Facts, standard: &Standard) -> Option<Flag> {
    let (red, limit) = (facts.red?, standard.red.watch_from);
    let sure = Sure::from(red, limit).filter(|&sure| sure >= Sure::Likely)?;
    let text = format!("stress red {}, watched from {:.0} %; it is of the season", percent(red), limit * 100.0);
    Some(Flag { code: "red", sure: Some(sure), text, value: red.value, limit })
}
