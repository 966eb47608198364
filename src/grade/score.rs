//! The score: 0 to 100, a weighted mean of parts of 0 to 100 points, each from one measured number.

use super::Facts;
use crate::base::stats::Interval;
use crate::standard::{self, Ranges, Weights};

/// Standard deviations of numbers that come without an interval: evenness; width over pitch in parts of itself; dead leaf, a part of
/// itself and a rest. See `docs/science.md`, "Score".
const EVENNESS_SD: f64 = 0.06;
const DUTY_SD: f64 = 0.08;
const DEAD_SD: (f64, f64) = (0.25, 0.005);

/// Normal quantile of 95 % intervals.
const Z: f64 = 1.96;

/// What the score is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Balance of green and pale, from green capacity.
    Balance,
    /// How evenly pale tissue is spread around the crown.
    Evenness,
    /// How far pale and green stand apart in colour.
    Contrast,
    /// How broad bands are beside their distance.
    Bands,
    /// No dead leaf.
    Condition,
}

/// One part of a plant's score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Points {
    /// Which.
    pub part: Part,
    /// The number it is made from; `None`: not measured, so it does not count.
    pub number: Option<f64>,
    /// Points, 0 to 100.
    pub points: Option<Interval>,
    /// Its share of the score, 0 to 1; the shares of the parts that count sum to 1.
    pub weight: f64,
}

/// A plant's score.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// 0 to 100 with its 95 % interval.
    pub total: Interval,
    /// Its parts, in the order of [`Part::ALL`].
    pub parts: Vec<Points>,
}

impl Part {
    /// All parts.
    pub const ALL: [Part; 5] = [Self::Balance, Self::Evenness, Self::Contrast, Self::Bands, Self::Condition];

    /// As a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Balance => "balance",
            Self::Evenness => "evenness",
            Self::Contrast => "contrast",
            Self::Bands => "bands",
            Self::Condition => "condition",
        }
    }

    fn weight(self, weights: &Weights) -> f64 {
        match self {
            Self::Balance => weights.balance,
            Self::Evenness => weights.evenness,
            Self::Contrast => weights.contrast,
            Self::Bands => weights.bands,
            Self::Condition => weights.condition,
        }
    }

    fn number(self, facts: &Facts) -> Option<Interval> {
        match self {
            Self::Balance => facts.capacity,
            Self::Evenness => facts.evenness.map(|value| around(value, EVENNESS_SD)),
            Self::Contrast => facts.contrast,
            Self::Bands => facts.duty.map(|value| around(value, DUTY_SD * value)),
            Self::Condition => Some(around(facts.dead, DEAD_SD.0 * facts.dead + DEAD_SD.1)),
        }
    }

    /// Points for a number.
    fn points(self, number: f64, ranges: &Ranges) -> f64 {
        let risen = |range| 100.0 * risen(range, number);
        match self {
            Self::Balance => {
                let [none, full, full_to, none_from] = ranges.balance;
                risen([none, full]).min(100.0 - risen([full_to, none_from]))
            }
            Self::Evenness => risen(ranges.evenness),
            Self::Contrast => risen(ranges.contrast),
            Self::Bands => risen(ranges.bands),
            Self::Condition => 100.0 - risen(ranges.condition),
        }
    }

    /// Points for a number with its interval. The best of the interval is at its ends, but for the balance, whose best lies
    /// between.
    fn interval(self, number: Interval, ranges: &Ranges) -> Interval {
        let [value, low, high] = [number.value, number.low, number.high].map(|n| self.points(n, ranges));
        let [_, full, full_to, _] = ranges.balance;
        let best = self == Self::Balance && number.low <= full_to && number.high >= full;
        let high_points = if best { 100.0 } else { low.max(high).max(value) };
        Interval { value, low: low.min(high).min(value), high: high_points }
    }
}

/// How far `value` has come from the first number to the second, 0 to 1.
fn risen([none, full]: [f64; 2], value: f64) -> f64 {
    ((value - none) / (full - none)).clamp(0.0, 1.0)
}

fn around(value: f64, sd: f64) -> Interval {
    Interval { value, low: value - Z * sd, high: value + Z * sd }
}

/// Scores a plant whose green capacity is known. What is not measured is left out, and the other weights share its place.
/// A plant without balance cannot make up for it: see `unbalanced` of the standard. The parts' errors are taken as independent (JCGM 100:2008, 5.1.2), each side for itself.
pub(super) fn score(facts: &Facts, standard: &standard::Score) -> Option<Score> {
    facts.capacity?;
    let counts = |part: Part| part.number(facts).map_or(0.0, |_| part.weight(&standard.weights));
    let sum: f64 = Part::ALL.into_iter().map(counts).sum();
    let parts = Part::ALL.map(|part| {
        let number = part.number(facts);
        Points {
            part,
            number: number.map(|n| n.value),
            points: number.map(|n| part.interval(n, &standard.ranges)),
            weight: counts(part) / sum,
        }
    });
    let of = |side: fn(Interval) -> f64| parts.iter().filter_map(move |p| Some(p.weight * side(p.points?)));
    let value: f64 = of(|p| p.value).sum();
    let below = of(|p| p.value - p.low).map(|part| part * part).sum::<f64>().sqrt();
    let above = of(|p| p.high - p.value).map(|part| part * part).sum::<f64>().sqrt();
    let balance = parts[0].points?;
    let total =
        |mean: f64, balance: f64| mean.min(standard.unbalanced + (100.0 - standard.unbalanced) * balance / 100.0);
    let total = Interval {
        value: total(value, balance.value),
        low: total(value - below, balance.low),
        high: total(value + above, balance.high),
    };
    Some(Score { total, parts: parts.into() })
}
