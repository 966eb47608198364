//! The course of one quantity that rises and falls with the season.

use crate::base::date::Date;
use crate::base::stats::Interval;
use crate::statistics::trend::{Trend, trend};

/// Days of a month.
pub const MONTH: f64 = 365.25 / 12.0;

/// How far back one looks for what has changed by now, days. Common practice, no source: a season is about thrice as long.
pub const RECENT: f64 = 75.0;

/// What it does now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Now {
    /// Redder than it was.
    Deepening,
    /// No change that can be told from the error of the readings.
    Steady,
    /// Less red than it was.
    Fading,
    /// Red share and hue say the contrary.
    Unclear,
}

impl Now {
    /// For people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Deepening => "deepening",
            Self::Steady => "steady",
            Self::Fading => "fading",
            Self::Unclear => "unclear: red share and hue contradict each other",
        }
    }
}

/// A course through the season.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// First and last value with their days.
    pub ends: [(Date, Interval); 2],
    /// Slope a month over all days, and whether there is a trend; `None` of one day.
    pub trend: Option<Trend>,
    /// First day that is clearly above the least before the peak.
    pub onset: Option<Date>,
    /// The largest value, if it is clearly above the least before or after it.
    pub peak: Option<(Date, Interval)>,
    /// First day after the peak that is clearly below it.
    pub falling: Option<Date>,
    /// Part of the rise that is gone at the last day, 0..1.
    pub recovered: Option<f64>,
    /// What it does now; `None` without another value of late.
    pub now: Option<Now>,
}

/// Whether `b` lies above `a` by more than both their 95 % errors, added as independent ones are, and more than `least`.
pub fn clearly(a: Interval, b: Interval, least: f64) -> bool {
    b.value - a.value > (a.high - a.value).hypot(b.value - b.low).max(least)
}

/// The course of values in the order of days; `None` of none.
pub fn course(values: &[(Date, Interval)], least: f64) -> Option<Course> {
    let (&(start, _), &last) = values.first().zip(values.last())?;
    let months = |day: Date| day.since(start) / MONTH;
    let points: Vec<[f64; 2]> = values.iter().map(|(day, value)| [months(*day), value.value]).collect();
    let lowest = |values: &[(Date, Interval)]| values.iter().copied().min_by(|a, b| a.1.value.total_cmp(&b.1.value));
    let place = (0..values.len()).max_by(|&a, &b| values[a].1.value.total_cmp(&values[b].1.value))?;
    let (peak, before, after) = (values[place], &values[..place], &values[place + 1..]);
    let base = lowest(before).filter(|base| clearly(base.1, peak.1, least));
    let falling = after.iter().find(|value| clearly(value.1, peak.1, least));
    let from = base.or_else(|| lowest(after)).filter(|_| base.is_some() || falling.is_some());
    Some(Course {
        ends: [values[0], last],
        trend: trend(&points),
        onset: base
            .and_then(|base| before.iter().chain([&peak]).find(|v| v.0 > base.0 && clearly(base.1, v.1, least)))
            .map(|v| v.0),
        peak: from.map(|_| peak),
        falling: falling.map(|value| value.0),
        recovered: base.map(|base| (peak.1.value - last.1.value) / (peak.1.value - base.1.value)),
        now: now(values, last, least),
    })
}

/// The last value beside the most recent one that clearly differs from it; `None` where none is recent.
fn now(values: &[(Date, Interval)], (today, last): (Date, Interval), least: f64) -> Option<Now> {
    let recent = values.iter().rev().skip(1).take_while(|(day, _)| today.since(*day) <= RECENT);
    let mut changed = recent.map(|(_, value)| match (clearly(*value, last, least), clearly(last, *value, least)) {
        (true, _) => Now::Deepening,
        (_, true) => Now::Fading,
        (false, false) => Now::Steady,
    });
    let first = changed.next()?;
    Some(std::iter::once(first).chain(changed).find(|now| *now != Now::Steady).unwrap_or(Now::Steady))
}
