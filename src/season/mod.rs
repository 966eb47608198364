//! How a plant reddens and recovers, from its readings. No pigment is named and nothing is foretold: which pigment reddens these
//! plants, and how fast it goes, is not known.

pub mod course;
pub mod growth;
pub mod points;

use crate::base::stats::Interval;
use crate::book::readings::Reading;
use crate::standard::Standard;
use crate::statistics::trend::{FEWEST, trend};
pub use course::RECENT;
use course::{Course, MONTH, Now, course};
use points::{Point, points};

/// Changes of hue that are no evidence without a card: 10 mired of white are 1.8 degrees, and 20 mired are common (leaf optics,
/// PROSPECT-D: `docs/science.md`).
pub const HUE_WITHOUT_CARD: f64 = 4.0;

/// The season of one plant.
#[derive(Debug, Clone, PartialEq)]
pub struct Season {
    /// A point a day.
    pub points: Vec<Point>,
    /// Photos that tell no day and are left out.
    pub undated: usize,
    /// Red share of the living leaf.
    pub red: Option<Course>,
    /// Hue of green tissue, degrees; turned round, so that rising is towards red.
    pub redness: Option<Course>,
    /// Whether each hue is that of a photo with a card.
    pub by_cards: bool,
    /// What red and hue say together; `None` with a single photo in [`RECENT`] days.
    pub now: Option<Now>,
    /// How it hurts: dead leaf or shrinking; empty if nothing tells so.
    pub hurt: Vec<String>,
    /// Whether dead leaf is known of the last day, and size of enough days to tell shrinking.
    pub looked_for: [bool; 2],
}

/// Reads the season of one plant.
pub fn season(readings: &[Reading], standard: &Standard) -> Season {
    let (points, undated) = points(readings);
    let with =
        |of: fn(&Point) -> Option<Interval>| points.iter().filter_map(|p| Some((p.day, of(p)?))).collect::<Vec<_>>();
    let by_cards = points.iter().filter(|point| point.green_hue.is_some()).all(|point| point.by_card);
    let least = if by_cards { 0.0 } else { HUE_WITHOUT_CARD };
    let (red, redness) = (course(&with(|p| p.red), 0.0), course(&with(|p| p.green_hue.map(turned)), least));
    let now = together(red.as_ref(), redness.as_ref());
    let hurt = hurt(&points, standard);
    let sizes = points.iter().filter(|point| point.diameter_mm.is_some()).count();
    let looked_for = [points.last().is_some_and(|point| point.dead.is_some()), sizes >= FEWEST];
    Season { points, undated, red, redness, by_cards, now, hurt, looked_for }
}

/// The interval with its sign changed.
pub fn turned(of: Interval) -> Interval {
    Interval { value: -of.value, low: -of.high, high: -of.low }
}

/// What the two say: one that changes while the other is steady decides; two that contradict each other tell nothing.
fn together(red: Option<&Course>, redness: Option<&Course>) -> Option<Now> {
    match (red.and_then(|course| course.now), redness.and_then(|course| course.now)) {
        (None, None) => None,
        (Some(one), None) | (None, Some(one)) => Some(one),
        (Some(Now::Steady), Some(other)) | (Some(other), Some(Now::Steady)) => Some(other),
        (Some(one), Some(other)) => Some(if one == other { one } else { Now::Unclear }),
    }
}

/// Shrinking is told by a trend, not by two sizes: a size hangs on how the camera looks at plant and card.
fn hurt(points: &[Point], standard: &Standard) -> Vec<String> {
    let mut hurt = Vec::new();
    let limit = standard.condition.dead_from;
    if let Some((point, dead)) =
        points.last().and_then(|point| Some((point, point.dead.filter(|dead| *dead >= limit)?)))
    {
        hurt.push(format!("dead leaf {:.0} % on {}, limit {:.0} %", dead * 100.0, point.day, limit * 100.0));
    }
    let sizes =
        points.iter().filter_map(|point| Some([point.day.since(points[0].day) / MONTH, point.diameter_mm?.value]));
    let sizes = trend(&sizes.collect::<Vec<_>>()).filter(|sizes| sizes.points >= FEWEST && sizes.p < 0.05);
    if let Some(slope) = sizes.map(|sizes| sizes.slope).filter(|slope| slope.high < 0.0) {
        hurt.push(format!("shrinks by {:.1} mm a month ({:.1}-{:.1})", -slope.value, -slope.high, -slope.low));
    }
    hurt
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(day: &str, red: f64, hue: f64, by_card: bool) -> Reading {
        let near = |value: f64, by: f64| Some(Interval { value, low: value - by, high: value + by });
        Reading {
            day: Some(day.parse().unwrap()),
            red: near(red, 0.04),
            green_hue: near(hue, 1.0),
            dead: Some(0.01),
            diameter_mm: near(60.0, 2.0),
            by_card,
            ..Reading::default()
        }
    }

    #[test]
    fn a_winter_has_onset_peak_and_recovery() {
        let reds = [0.02, 0.03, 0.20, 0.40, 0.25, 0.04];
        let days = ["2025-10-12", "2025-11-09", "2025-12-14", "2026-01-18", "2026-02-22", "2026-03-22"];
        let readings: Vec<Reading> = days.iter().zip(reds).map(|(day, red)| reading(day, red, 125.0, true)).collect();
        let season = season(&readings, &Standard::default());
        let red = season.red.unwrap();
        let day = |text: &str| Some(text.parse().unwrap());
        assert_eq!((red.onset, red.peak.map(|(day, _)| day), red.falling), (day(days[2]), day(days[3]), day(days[4])));
        assert!(red.recovered.unwrap() > 0.9, "{:?}", red.recovered);
        assert_eq!((season.now, season.hurt.is_empty()), (Some(Now::Fading), true));
        let before = super::season(&readings[..4], &Standard::default());
        assert_eq!(before.now, Some(Now::Deepening));
        assert_eq!(super::season(&readings[..2], &Standard::default()).now, Some(Now::Steady));
        let far_apart = [readings[0].clone(), readings[3].clone()];
        assert_eq!(super::season(&far_apart, &Standard::default()).now, None, "nothing recent to compare with");
        assert_eq!(super::season(&readings[..1], &Standard::default()).now, None);
    }

    #[test]
    fn without_cards_small_turns_of_hue_are_no_evidence() {
        let series = |by_card| {
            let readings = [reading("2026-01-01", 0.1, 128.0, by_card), reading("2026-02-01", 0.1, 125.0, by_card)];
            season(&readings, &Standard::default()).now
        };
        assert_eq!((series(true), series(false)), (Some(Now::Deepening), Some(Now::Steady)));
    }

    #[test]
    fn dead_tips_and_shrinking_are_hurt() {
        let shrinking = |(month, size): (u32, f64)| Reading {
            diameter_mm: Some(Interval { value: size, low: size - 1.0, high: size + 1.0 }),
            dead: Some(0.02 * f64::from(month)),
            ..reading(&format!("2026-{month:02}-01"), 0.3, 120.0, true)
        };
        let readings: Vec<Reading> = (1..=6).zip([60.0, 58.0, 57.0, 54.0, 53.0, 50.0]).map(shrinking).collect();
        let hurt = |readings: &[Reading]| season(readings, &Standard::default()).hurt;
        assert!(hurt(&readings)[0].starts_with("dead leaf 12 % on 2026-06-01"), "{:?}", hurt(&readings));
        assert!(hurt(&readings)[1].starts_with("shrinks by 2.0 mm a month"), "{:?}", hurt(&readings));
        assert_eq!(hurt(&readings[..3]), [""; 0]);
    }
}
