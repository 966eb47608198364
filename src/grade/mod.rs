//! Stage 6: flags by the standard.

use crate::base::stats::Interval;
use crate::measure::Measures;

/// Something the grower must know about the plant, with the number that tripped it.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// As a word that programs can compare, e.g. `too-pale`.
    pub code: &'static str,
    /// For people.
    pub text: String,
    /// The measured number.
    pub value: f64,
    /// The standard's limit.
    pub limit: f64,
}

/// The grade of one plant.
#[derive(Debug, Clone, Default)]
pub struct Grade {
    /// What tripped.
    pub flags: Vec<Flag>,
}

/// The nursery's thresholds.
#[derive(Debug, Clone)]
pub struct Options {
    /// Green capacity under which a plant is too pale. Default 0.20: an energy balance breaks even at 0.10-0.20 of green
    /// leaf (an argument, no published threshold for these plants; a nursery may set its own).
    pub green_capacity_floor: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { green_capacity_floor: 0.20 }
    }
}

/// Grades one plant.
pub fn grade(measures: &Measures, options: &Options) -> Grade {
    let flags = measures.green_capacity.and_then(|c| too_pale(c, options.green_capacity_floor));
    Grade { flags: flags.into_iter().collect() }
}

/// Too pale when the whole interval lies under the floor, likely when the value does, borderline when half the way from
/// the value to the lower end does (about one chance in six): a pale plant that is missed costs years, a second look
/// costs minutes.
fn too_pale(capacity: Interval, floor: f64) -> Option<Flag> {
    let halfway = f64::midpoint(capacity.value, capacity.low);
    let sure = match capacity {
        c if c.high < floor => "too pale",
        c if c.value < floor => "likely too pale",
        _ if halfway < floor => "borderline too pale, take another photo or watch it",
        _ => return None,
    };
    let text = format!(
        "{sure}: green capacity {:.0} % ({:.0}-{:.0} %), floor {:.0} %",
        capacity.value * 100.0,
        capacity.low * 100.0,
        capacity.high * 100.0,
        floor * 100.0
    );
    Some(Flag { code: "too-pale", text, value: capacity.value, limit: floor })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_floor_flags_what_lies_under_it() {
        let flag = |value, low, high| too_pale(Interval { value, low, high }, 0.2).map(|f| f.text);
        assert_eq!(flag(0.30, 0.15, 0.4), None);
        assert!(flag(0.22, 0.12, 0.4).is_some_and(|t| t.starts_with("borderline")));
        assert!(flag(0.10, 0.05, 0.15).is_some_and(|t| t.starts_with("too pale")));
        assert!(flag(0.15, 0.05, 0.30).is_some_and(|t| t.starts_with("likely")));
    }
}
