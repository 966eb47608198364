//! What mothers throw: how many of their offsets are balanced, too pale or gone back to green, and what to expect.

use crate::base::date::Date;
use crate::base::stats::Interval;
use crate::book::plants::Known;
use crate::standard::Standard;
use crate::statistics::{count, share};
use std::collections::BTreeMap;

/// Days of a year.
pub const YEAR: f64 = 365.25;

/// What an offset is, by green capacity and the standard's limits; a person's word of `revert` or `mother` goes before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// No reading tells.
    Unknown,
    /// Under the floor.
    TooPale,
    /// Within the green of a mother, or called one.
    Balanced,
    /// Between too pale and revert, but not balanced.
    Variegated,
    /// Gone back to green.
    Revert,
}

impl Kind {
    /// What a plant is.
    pub fn of(known: &Known, standard: &Standard) -> Self {
        let [least, most] = standard.mother.green;
        match (known.decided.as_ref().map(|said| said.word.as_str()), known.latest.as_ref().and_then(|r| r.capacity)) {
            (Some("revert"), _) => Self::Revert,
            (Some("mother"), _) => Self::Balanced,
            (_, None) => Self::Unknown,
            (_, Some(green)) if green.value < standard.green.floor => Self::TooPale,
            (_, Some(green)) if green.value >= standard.green.revert_from => Self::Revert,
            (_, Some(green)) if (least..=most).contains(&green.value) => Self::Balanced,
            (_, Some(_)) => Self::Variegated,
        }
    }

    /// For people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Unknown => "not measured",
            Self::TooPale => "too pale",
            Self::Balanced => "balanced",
            Self::Variegated => "variegated",
            Self::Revert => "revert",
        }
    }
}

/// A mother with what became of her offsets.
#[derive(Debug, Clone, PartialEq)]
pub struct Mother {
    /// Her number.
    pub number: String,
    /// Her name.
    pub name: String,
    /// All her offsets in the book.
    pub offsets: usize,
    /// Those of which a reading or a person tells what they are.
    pub measured: usize,
    /// Balanced ones.
    pub balanced: usize,
    /// Variegated ones: balanced, too pale and others with both tissues.
    pub variegated: usize,
    /// Those too pale to thrive by the standard.
    pub too_pale: usize,
    /// Those gone back to green.
    pub reverts: usize,
    /// Share of balanced ones of the measured, with Wilson's interval; its lower end ranks.
    pub wilson: Option<Interval>,
    /// The same with Jeffreys' interval.
    pub jeffreys: Option<Interval>,
    /// Years she has been watched: since she came, until she went or now; `None` if the book does not say since when.
    pub years: Option<f64>,
    /// Offsets a year.
    pub rate: Option<Interval>,
    /// Balanced offsets expected in the next year, if she stays: mean, and within which 95 % of outcomes lie.
    pub next: Option<Interval>,
}

/// All mothers, the best first: by the lower end of the share of balanced offsets, so that 1 of 1 does not stand above 8 of 10.
/// `plants` are all of the book, also those that are gone; offsets parted after `until` do not count. Readings are today's.
pub fn mothers(plants: &[Known], until: Date, standard: &Standard) -> Vec<Mother> {
    let mut offsets: BTreeMap<&str, Vec<Kind>> = BTreeMap::new();
    for known in plants {
        let parted = known.plant.since.is_none_or(|since| since <= until);
        if let Some(mother) = known.plant.mother.as_ref().filter(|_| parted) {
            offsets.entry(mother.as_str()).or_default().push(Kind::of(known, standard));
        }
    }
    let mut mothers: Vec<Mother> = plants
        .iter()
        .filter_map(|known| Some(mother(known, offsets.get(known.plant.number.as_str())?, until)))
        .collect();
    let low = |mother: &Mother| mother.wilson.map_or(-1.0, |share| share.low);
    mothers.sort_by(|a, b| low(b).total_cmp(&low(a)));
    mothers
}

fn mother(known: &Known, kinds: &[Kind], until: Date) -> Mother {
    let of = |kind: Kind| kinds.iter().filter(|&&other| other == kind).count();
    let (offsets, measured) = (kinds.len(), kinds.len() - of(Kind::Unknown));
    let (balanced, too_pale) = (of(Kind::Balanced), of(Kind::TooPale));
    let until = known.plant.gone.map_or(until, |(day, _)| day.min(until));
    let years = known.plant.since.map(|since| until.since(since) / YEAR).filter(|years| *years > 0.0);
    // Offsets that nobody measured leave so much of the time unseen.
    let seen = years.map(|years| years * measured as f64 / offsets as f64).filter(|seen| *seen > 0.0);
    Mother {
        number: known.plant.number.to_string(),
        name: known.plant.name.clone(),
        offsets,
        measured,
        balanced,
        variegated: balanced + too_pale + of(Kind::Variegated),
        too_pale,
        reverts: of(Kind::Revert),
        wilson: share::wilson(balanced, measured),
        jeffreys: share::jeffreys(balanced, measured),
        years,
        rate: years.map(|years| count::rate(offsets, years)),
        next: seen.filter(|_| known.plant.gone.is_none()).map(|seen| count::next(balanced, seen)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::book::decisions::Decision;
    use crate::book::plants::Plant;
    use crate::book::readings::Reading;

    fn plant(number: &str, mother: Option<&str>, green: Option<f64>) -> Known {
        let since = Some("2024-01-01".parse().unwrap());
        let mother = mother.map(|mother| mother.parse().unwrap());
        let plant = Plant { mother, since, ..Plant::new(number.parse().unwrap()) };
        let latest = green.map(|green| Reading { capacity: Some(Interval::exact(green)), ..Reading::default() });
        Known { plant, latest, decided: None }
    }

    fn family(number: &str, greens: &[f64]) -> Vec<Known> {
        let offset = |(i, green): (usize, &f64)| plant(&format!("{number}.{i}"), Some(number), Some(*green));
        std::iter::once(plant(number, None, None)).chain(greens.iter().enumerate().map(offset)).collect()
    }

    #[test]
    fn eight_of_ten_stand_above_one_of_one() {
        let ten = [&[0.5; 8][..], &[0.05, 0.95]].concat();
        let plants = [family("A", &[0.5]), family("B", &ten), family("C", &[0.3, 0.1])].concat();
        let mothers = mothers(&plants, "2026-01-01".parse().unwrap(), &Standard::default());
        let order: Vec<&str> = mothers.iter().map(|mother| mother.number.as_str()).collect();
        assert_eq!(order, ["B", "A", "C"]);
        let b = &mothers[0];
        assert_eq!((b.offsets, b.measured, b.balanced, b.variegated, b.too_pale, b.reverts), (10, 10, 8, 9, 1, 1));
        assert!((b.rate.unwrap().value - 5.0).abs() < 0.01, "{:?}", b.rate);
        let next = b.next.unwrap();
        assert!((next.value - 4.25).abs() < 0.02 && next.low < next.value && next.high > next.value, "{next:?}");
    }

    #[test]
    fn what_is_not_measured_is_not_counted_as_anything() {
        let plants = vec![plant("A", None, None), plant("A.1", Some("A"), None), plant("A.2", Some("A"), Some(0.5))];
        let mothers = mothers(&plants, "2025-01-01".parse().unwrap(), &Standard::default());
        let a = &mothers[0];
        assert_eq!((a.offsets, a.measured, a.balanced, a.reverts), (2, 1, 1, 0));
        assert!(a.next.unwrap().value > 2.0, "half of the year was not seen: {:?}", a.next);
    }

    #[test]
    fn offsets_parted_later_do_not_count() {
        let mut plants = family("A", &[0.5, 0.5]);
        plants[2].plant.since = Some("2025-01-02".parse().unwrap());
        let offsets = |until: &str| mothers(&plants, until.parse().unwrap(), &Standard::default())[0].offsets;
        assert_eq!((offsets("2025-01-01"), offsets("2025-01-02")), (1, 2));
    }

    #[test]
    fn a_person_s_word_goes_before_the_reading() {
        let mut known = plant("A", None, Some(0.5));
        assert_eq!(Kind::of(&known, &Standard::default()), Kind::Balanced);
        let said = |word: &str| Decision {
            word: word.into(),
            on: "2026-01-01".parse().unwrap(),
            who: String::new(),
            why: String::new(),
        };
        known.decided = Some(said("revert"));
        assert_eq!(Kind::of(&known, &Standard::default()), Kind::Revert);
        known.decided = Some(said("as-measured"));
        assert_eq!(Kind::of(&known, &Standard::default()), Kind::Balanced);
    }
}
