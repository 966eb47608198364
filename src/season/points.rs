//! Readings of one plant, a point a day.

use crate::base::date::Date;
use crate::base::stats::{Interval, quantile};
use crate::book::readings::Reading;
use std::collections::BTreeMap;

/// What was seen of a plant on a day.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// The day.
    pub day: Date,
    /// Photos of it.
    pub photos: usize,
    /// Whether all of them show a card.
    pub by_card: bool,
    /// Red share.
    pub red: Option<Interval>,
    /// Median hue of green tissue, degrees.
    pub green_hue: Option<Interval>,
    /// Pale share.
    pub pale: Option<Interval>,
    /// Green capacity.
    pub capacity: Option<Interval>,
    /// Size, mm.
    pub diameter_mm: Option<Interval>,
    /// Share of dead leaf.
    pub dead: Option<f64>,
}

/// Points in the order of days, and how many readings tell no day.
pub fn points(readings: &[Reading]) -> (Vec<Point>, usize) {
    let days = days(readings);
    let dated: usize = days.values().map(Vec::len).sum();
    let point = |(day, of): (Date, Vec<&Reading>)| {
        let all = |measure: fn(&Reading) -> Option<Interval>| {
            combined(&of.iter().filter_map(|r| measure(r)).collect::<Vec<_>>())
        };
        Point {
            day,
            photos: of.len(),
            by_card: of.iter().all(|reading| reading.by_card),
            red: all(|r| r.red),
            green_hue: all(|r| r.green_hue),
            pale: all(|r| r.pale),
            capacity: all(|r| r.capacity),
            diameter_mm: all(|r| r.diameter_mm),
            dead: all(|r| r.dead.map(Interval::exact)).map(|dead| dead.value),
        }
    };
    (days.into_iter().map(point).collect(), readings.len() - dated)
}

fn days(readings: &[Reading]) -> BTreeMap<Date, Vec<&Reading>> {
    let mut days: BTreeMap<Date, Vec<&Reading>> = BTreeMap::new();
    for reading in readings {
        if let Some(day) = reading.day {
            days.entry(day).or_default().push(reading);
        }
    }
    days
}

/// Several readings of a day as one: medians of values and ends. One bad photo so moves nothing, and the range is not narrowed:
/// photos of a day share their light and the rule's errors, so their errors do not average out as inverse variances would have it.
fn combined(of: &[Interval]) -> Option<Interval> {
    let median = |end: fn(&Interval) -> f64| quantile(&mut of.iter().map(end).collect::<Vec<_>>(), 0.5);
    Some(Interval { value: median(|i| i.value)?, low: median(|i| i.low)?, high: median(|i| i.high)? })
}

/// Standard deviation of photos of one plant on one day, pooled over days with several (NIST/SEMATECH e-Handbook, 2.4.5.1), and of
/// how many photos; `None` where no day has two. `readings` are of one plant.
pub fn repeatability(readings: &[Reading], measure: fn(&Reading) -> Option<Interval>) -> Option<(f64, usize)> {
    let (mut squares, mut freedom, mut photos) = (0.0, 0, 0);
    for of in days(readings).into_values() {
        let values: Vec<f64> = of.into_iter().filter_map(|reading| Some(measure(reading)?.value)).collect();
        if values.len() > 1 {
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            squares += values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
            freedom += values.len() - 1;
            photos += values.len();
        }
    }
    (freedom > 0).then(|| ((squares / freedom as f64).sqrt(), photos))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(day: Option<&str>, red: f64) -> Reading {
        let red = Some(Interval { value: red, low: red - 0.02, high: red + 0.04 });
        Reading { day: day.map(|day| day.parse().unwrap()), red, ..Reading::default() }
    }

    #[test]
    fn photos_of_a_day_are_one_point_and_a_bad_one_moves_nothing() {
        let day = Some("2026-01-01");
        let readings = [
            reading(Some("2026-02-01"), 0.5),
            reading(day, 0.1),
            reading(day, 0.12),
            reading(day, 0.9),
            reading(None, 0.3),
        ];
        let (points, undated) = points(&readings);
        assert_eq!((points.len(), undated, points[0].photos), (2, 1, 3));
        let red = points[0].red.unwrap();
        assert!((red.value - 0.12).abs() < 1e-9 && (red.high - 0.16).abs() < 1e-9, "{red:?}");
    }

    #[test]
    fn their_spread_is_the_repeatability() {
        let [a, b] = ["2026-01-01", "2026-01-02"].map(Some);
        let readings = [reading(a, 0.1), reading(a, 0.12), reading(b, 0.3), reading(b, 0.32), reading(b, 0.34)];
        let (sd, photos) = repeatability(&readings, |r| r.red).unwrap();
        // (0.0002 + 0.0008) / 3.
        assert!((sd - (0.001f64 / 3.0).sqrt()).abs() < 1e-9, "{sd}");
        assert_eq!(photos, 5);
        assert_eq!(repeatability(&readings[..1], |r| r.red), None);
    }
}
