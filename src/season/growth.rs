//! Drift and growth: pale share and size over time, and growth against green capacity across the book.

use super::course::MONTH;
use super::points::{Point, points};
use crate::base::date::Date;
use crate::base::stats::{Interval, quantile};
use crate::book::readings::Reading;
use crate::statistics::trend::{FEWEST, Trend, trend};

/// Shortest time over which growth is told, days: size is known to some percent, and these plants grow some mm a month.
pub const SHORTEST: f64 = 60.0;

/// Most plants that are set against each other: slopes are taken of all pairs.
const MOST: usize = 1000;

/// How one plant changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// First and last day.
    pub days: [Date; 2],
    /// Change of the pale share a year; falling is going back to green.
    pub pale: Option<Trend>,
    /// Growth, mm a month.
    pub size: Option<Trend>,
    /// Median green capacity.
    pub capacity: Option<f64>,
}

/// Drift and growth of one plant; `None` of fewer than two days, or of less than [`SHORTEST`].
pub fn growth(readings: &[Reading]) -> Option<Growth> {
    let (points, _) = points(readings);
    let (first, last) = (points.first()?.day, points.last()?.day);
    let over = |of: fn(&Point) -> Option<Interval>, unit: f64| {
        let all: Vec<(Date, f64)> = points.iter().filter_map(|point| Some((point.day, of(point)?.value))).collect();
        let (from, to) = (all.first()?.0, all.last()?.0);
        let places: Vec<[f64; 2]> = all.iter().map(|(day, value)| [day.since(first) / unit, *value]).collect();
        if to.since(from) >= SHORTEST { trend(&places) } else { None }
    };
    let mut greens: Vec<f64> = points.iter().filter_map(|point| Some(point.capacity?.value)).collect();
    (last.since(first) >= SHORTEST).then(|| Growth {
        days: [first, last],
        pale: over(|point| point.pale, 12.0 * MONTH),
        size: over(|point| point.diameter_mm, MONTH),
        capacity: quantile(&mut greens, 0.5),
    })
}

/// Growth (mm a month) against green capacity over the plants of a book: what the nursery's own plants say of the rule that pale
/// ones grow at half the pace; `None` of fewer than [`FEWEST`] plants. The trend's slope is mm a month from no green to all green. Of more than 1000 plants every n-th counts.
pub fn by_green(plants: &[Growth]) -> Option<Trend> {
    let points: Vec<[f64; 2]> =
        plants.iter().filter_map(|plant| Some([plant.capacity?, plant.size?.slope.value])).collect();
    if points.len() < FEWEST {
        return None;
    }
    let some: Vec<[f64; 2]> = points.iter().step_by(points.len().div_ceil(MOST).max(1)).copied().collect();
    trend(&some)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plant(capacity: f64, mm_a_month: f64) -> Growth {
        let readings: Vec<Reading> = (0..6)
            .map(|month| Reading {
                day: Some(Date::from_days(20_000 + (f64::from(month) * MONTH).round() as i32)),
                diameter_mm: Some(Interval::exact(40.0 + mm_a_month * f64::from(month))),
                pale: Some(Interval::exact(0.5 - 0.02 * f64::from(month))),
                capacity: Some(Interval::exact(capacity)),
                ..Reading::default()
            })
            .collect();
        growth(&readings).unwrap()
    }

    #[test]
    fn growth_is_mm_a_month_and_drift_a_share_a_year() {
        let growth = plant(0.5, 1.5);
        assert!((growth.size.unwrap().slope.value - 1.5).abs() < 0.03, "{growth:?}");
        assert!((growth.pale.unwrap().slope.value + 0.24).abs() < 0.01, "{growth:?}");
        assert!(growth.size.unwrap().p < 0.01);
    }

    #[test]
    fn greener_plants_that_grow_faster_are_seen_across_the_book() {
        let plants: Vec<Growth> = (1..8).map(|i| plant(f64::from(i) / 8.0, 0.2 + f64::from(i) / 8.0)).collect();
        let trend = by_green(&plants).unwrap();
        assert!((trend.slope.value - 1.0).abs() < 0.05 && trend.p < 0.01, "{trend:?}");
        let many = by_green(&vec![plants.clone(); 600].concat()).unwrap();
        assert!((many.slope.value - 1.0).abs() < 0.05 && (500..=MOST).contains(&many.points), "{many:?}");
        assert_eq!(growth(&[]), None);
        assert_eq!(by_green(&plants[..4]), None, "too few plants");
        let late = Reading { day: Some(Date::from_days(20_200)), ..Reading::default() };
        let sized = |day| Reading {
            day: Some(Date::from_days(day)),
            diameter_mm: Some(Interval::exact(50.0)),
            ..Reading::default()
        };
        assert_eq!(growth(&[sized(20_000), sized(20_001), late]).unwrap().size, None, "two sizes a day apart");
    }
}
