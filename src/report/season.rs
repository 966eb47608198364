//! The season in words, as a table and as panels of a chart.

use super::chart::{Panel, Series};
use super::csv::{Row, written};
use super::stock::{columns, degrees, interval, percent};
use crate::base::date::Date;
use crate::base::stats::Interval;
use crate::season::course::Course;
use crate::season::growth::Growth;
use crate::season::points::Point;
use crate::season::{HUE_WITHOUT_CARD, RECENT, Season, turned};
use crate::statistics::trend::{FEWEST, Trend};
use std::io::{Result, Write};

/// A day's temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weather {
    /// The day.
    pub day: Date,
    /// Lowest, degrees Celsius.
    pub min: f64,
    /// Highest.
    pub max: f64,
}

/// One plant's season in words.
pub fn words(number: &str, season: &Season) -> String {
    let now = match season.now {
        Some(now) => now.name().into(),
        None if season.points.is_empty() => "no dated reading".into(),
        None => format!("no photo in the {RECENT:.0} days before the last one to compare it with"),
    };
    let mut lines = vec![format!("{number}: {now}")];
    lines.extend(season.red.as_ref().map(|course| told("red share", course, &|i| percent(Some(i)), (100.0, "points"))));
    lines.extend(
        season
            .redness
            .as_ref()
            .map(|course| told("hue of green", course, &|i| degrees(Some(turned(i))), (-1.0, "degrees"))),
    );
    if season.redness.is_some() && !season.by_cards {
        lines.push(format!(
            "not every photo has a card: changes of hue under {HUE_WITHOUT_CARD:.0} degrees are no evidence and count as none"
        ));
    }
    lines.push(match season.hurt.as_slice() {
        [] if season.points.is_empty() => "photos without a date tell nothing of a season".into(),
        [] => unhurt(season.looked_for),
        hurt => format!("hurt: {}", hurt.join("; ")),
    });
    if season.undated > 0 {
        lines.push(format!("left out: {} readings of photos without a date", season.undated));
    }
    lines.join("\n    ") + "\n"
}

/// What was looked for and not found.
fn unhurt([dead, size]: [bool; 2]) -> String {
    let dead = if dead { "dead leaf under the limit" } else { "dead leaf not known" };
    let size = if size {
        "no trend to shrink".into()
    } else {
        format!("sizes of fewer than {FEWEST} days say nothing of shrinking")
    };
    format!("no sign of hurt: {dead}; {size}")
}

/// `scale` turns the slope into what is told.
fn told(what: &str, course: &Course, value: &dyn Fn(Interval) -> String, scale: (f64, &str)) -> String {
    let [(first, from), (last, to)] = course.ends;
    let mut parts = vec![format!("{what}: {} on {first}, {} on {last}", value(from), value(to))];
    parts.extend(course.onset.map(|day| format!("onset {day}")));
    parts.extend(course.peak.map(|(day, peak)| format!("peak {} on {day}", value(peak))));
    parts.extend(course.falling.map(|day| format!("falling from {day}")));
    let gone = course.recovered.filter(|_| course.falling.is_some());
    parts.extend(gone.map(|gone| format!("{:.0} % of the rise is gone", gone.clamp(0.0, 1.0) * 100.0)));
    parts.extend(course.trend.map(|trend| slope(&trend, scale, "a month", "dates")));
    parts.join("; ")
}

/// A slope with its range, and what the test says.
fn slope(trend: &Trend, (factor, unit): (f64, &str), per: &str, points: &str) -> String {
    let [mut low, mut high] = [trend.slope.low, trend.slope.high].map(|end| end * factor);
    if low > high {
        (low, high) = (high, low);
    }
    let value = trend.slope.value * factor;
    if trend.points < FEWEST {
        let few = format!("{} {points} are too few for its range and for a trend, which need {FEWEST}", trend.points);
        return format!("slope {value:+.1} {unit} {per}; {few}");
    }
    let p = if trend.p < 0.001 { "under 0.001".into() } else { format!("{:.3}", trend.p) };
    format!("slope {value:+.1} {unit} {per} ({low:+.1} to {high:+.1}); Mann-Kendall p {p}, {} {points}", trend.points)
}

/// Spread of photos of one day in words, where there are some.
pub fn repeatability(number: &str, red: Option<(f64, usize)>, hue: Option<(f64, usize)>) -> Option<String> {
    let red = red.map(|(sd, photos)| format!("red share {:.1} points ({photos} photos)", sd * 100.0));
    let hue = hue.map(|(sd, photos)| format!("hue {sd:.1} degrees ({photos} photos)"));
    let parts: Vec<String> = red.into_iter().chain(hue).collect();
    (!parts.is_empty()).then(|| format!("{number}: standard deviation of photos of one day: {}\n", parts.join(", ")))
}

/// Points as CSV.
pub fn csv(plants: &[(String, Season)], out: &mut dyn Write) -> Result<()> {
    let rows = plants.iter().flat_map(|(number, season)| season.points.iter().map(|point| row(Some((number, point)))));
    written(&row(None), rows, false, out)
}

fn row(of: Option<(&String, &Point)>) -> Row {
    let point = of.map(|(_, point)| point);
    let mut row = Row::default();
    row.text("plant", of.map(|(number, _)| number.as_str()));
    row.text("day", point.map(|point| point.day.to_string()).as_deref());
    row.count("photos", point.map(|point| point.photos));
    row.text("white", point.map(|point| if point.by_card { "card" } else { "estimated" }));
    interval(&mut row, "red_fraction", point.and_then(|point| point.red), 4);
    interval(&mut row, "green_hue_deg", point.and_then(|point| point.green_hue), 1);
    interval(&mut row, "pale_fraction", point.and_then(|point| point.pale), 4);
    interval(&mut row, "green_capacity", point.and_then(|point| point.capacity), 4);
    interval(&mut row, "diameter_mm", point.and_then(|point| point.diameter_mm), 2);
    row.number("dead_share", point.and_then(|point| point.dead), 4);
    row
}

/// Red share, hue and temperatures as panels of a chart.
pub fn panels(plants: &[(String, Season)], weather: &[Weather]) -> Vec<Panel> {
    let panel = |title: &str, of: &dyn Fn(&Point) -> Option<Interval>| Panel {
        title: title.into(),
        series: plants
            .iter()
            .map(|(number, season)| Series {
                name: number.clone(),
                points: season.points.iter().filter_map(|point| Some((point.day, of(point)?))).collect(),
            })
            .collect(),
    };
    let hundredfold = |i: Interval| Interval { value: i.value * 100.0, low: i.low * 100.0, high: i.high * 100.0 };
    let days =
        weather.iter().map(|w| (w.day, Interval { value: f64::midpoint(w.min, w.max), low: w.min, high: w.max }));
    vec![
        panel("red share of the living leaf, %", &|point| point.red.map(hundredfold)),
        panel("hue of green tissue, degrees (less is nearer to red)", &|point| point.green_hue),
        Panel {
            title: "temperature, degrees C: lowest to highest of the day".into(),
            series: vec![Series { name: "temperature".into(), points: days.collect() }],
        },
    ]
}

/// Drift and growth of plants, one a line, and what they say together.
pub fn growth(plants: &[(String, Growth)], together: Option<&Trend>) -> String {
    let heading =
        ["plant", "from", "to", "growth, mm a month", "dates", "pale, points a year", "dates", "p", "green capacity"];
    let rows = plants.iter().map(|(number, growth)| {
        let trend = |trend: Option<Trend>, factor: f64| {
            let told = |t: Trend| {
                let [value, low, high] = [t.slope.value, t.slope.low, t.slope.high].map(|v| v * factor);
                if t.points < FEWEST {
                    format!("{value:+.1}")
                } else {
                    format!("{value:+.1} ({low:+.1} to {high:+.1})")
                }
            };
            [trend.map_or("-".into(), told), trend.map_or("-".into(), |t| t.points.to_string())]
        };
        let mut cells = vec![number.clone(), growth.days[0].to_string(), growth.days[1].to_string()];
        cells.extend(trend(growth.size, 1.0));
        cells.extend(trend(growth.pale, 100.0));
        let p = growth.pale.filter(|pale| pale.points >= FEWEST).map_or("-".into(), |pale| format!("{:.3}", pale.p));
        cells.extend([p, growth.capacity.map_or("-".into(), |green| format!("{:.0} %", green * 100.0))]);
        cells
    });
    let table = columns(&std::iter::once(heading.map(String::from).to_vec()).chain(rows).collect::<Vec<_>>());
    let across = together.map_or(
        "too few plants with sizes at several dates to set growth against green capacity".into(),
        |t| {
            let half = t.intercept + 0.5 * t.slope.value;
            let whole = t.intercept + t.slope.value;
            format!(
                "across {} plants: {half:.1} mm a month at half green, {whole:.1} at all green; {}",
                t.points,
                slope(t, (1.0, "mm a month"), "from no green to all green", "plants")
            )
        },
    );
    format!("{table}{across}\n")
}
