//! Values over time as SVG: panels under one another with one scale of days.

use crate::base::date::Date;
use crate::base::stats::Interval;
use crate::print::svg::escaped;
use std::io::{Result, Write};

/// Values of one thing in the order of days.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// What they are of.
    pub name: String,
    /// Values with their ranges.
    pub points: Vec<(Date, Interval)>,
}

/// One panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// What it shows, with the unit.
    pub title: String,
    /// What it shows it of.
    pub series: Vec<Series>,
}

/// Size of a panel's field and what stands around it, pixels.
const FIELD: [f64; 2] = [640.0, 170.0];
const LEFT: f64 = 60.0;
const RIGHT: f64 = 130.0;
const TOP: f64 = 34.0;
const BELOW: f64 = 30.0;

/// Colours that the colour-blind can tell apart (Okabe, Ito 2002), each with its own dash, so that lines differ in print too.
const LOOKS: [(&str, &str); 6] = [
    ("#0072b2", ""),
    ("#d55e00", "8 3"),
    ("#009e73", "2 3"),
    ("#cc79a7", "10 3 2 3"),
    ("#e69f00", "5 5"),
    ("#333333", "1 2"),
];

/// Writes the panels. Those without a point are left out.
pub fn write(title: &str, panels: &[Panel], out: &mut dyn Write) -> Result<()> {
    let panels: Vec<&Panel> = panels.iter().filter(|panel| panel.series.iter().any(|s| !s.points.is_empty())).collect();
    let days = || panels.iter().flat_map(|panel| &panel.series).flat_map(|s| &s.points).map(|(day, _)| *day);
    let (first, last) = (days().min().unwrap_or(Date::from_days(0)), days().max().unwrap_or(Date::from_days(1)));
    let (width, height) = (LEFT + FIELD[0] + RIGHT, panels.len() as f64 * (TOP + FIELD[1] + BELOW) + 10.0);
    writeln!(out, r#"<?xml version="1.0" encoding="UTF-8"?>"#)?;
    writeln!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" font-family="sans-serif" font-size="12">"#
    )?;
    writeln!(out, "<title>{}</title>", escaped(title))?;
    writeln!(out, r##"<rect width="{width}" height="{height}" fill="#ffffff"/>"##)?;
    for (place, panel) in panels.into_iter().enumerate() {
        let top = TOP + place as f64 * (TOP + FIELD[1] + BELOW);
        Frame::new(panel, [first, last], top).write(panel, out)?;
    }
    writeln!(out, "</svg>")
}

/// Where days and values of a panel lie.
struct Frame {
    days: [Date; 2],
    values: [f64; 2],
    top: f64,
}

impl Frame {
    fn new(panel: &Panel, days: [Date; 2], top: f64) -> Self {
        let all = || panel.series.iter().flat_map(|series| &series.points);
        let low = all().map(|(_, value)| value.low).fold(f64::MAX, f64::min);
        let high = all().map(|(_, value)| value.high).fold(f64::MIN, f64::max);
        let room = ((high - low) * 0.05).max(1e-6);
        Self { days, values: [low - room, high + room], top }
    }

    fn x(&self, day: Date) -> f64 {
        let [first, last] = self.days;
        LEFT + FIELD[0] * day.since(first) / last.since(first).max(1.0)
    }

    fn y(&self, value: f64) -> f64 {
        let [low, high] = self.values;
        self.top + FIELD[1] * (1.0 - (value - low) / (high - low))
    }

    fn write(&self, panel: &Panel, out: &mut dyn Write) -> Result<()> {
        let (top, [width, height]) = (self.top, FIELD);
        writeln!(
            out,
            r##"<text x="{LEFT}" y="{:.1}" font-weight="bold" fill="#222222">{}</text>"##,
            top - 10.0,
            escaped(&panel.title)
        )?;
        writeln!(
            out,
            r##"<rect x="{LEFT}" y="{top}" width="{width}" height="{height}" fill="none" stroke="#999999"/>"##
        )?;
        for value in ticks(self.values) {
            let y = self.y(value);
            writeln!(out, r##"<path d="M{LEFT} {y:.1}h{width}" stroke="#dddddd"/>"##)?;
            writeln!(
                out,
                r##"<text x="{:.1}" y="{:.1}" text-anchor="end" fill="#222222">{value}</text>"##,
                LEFT - 6.0,
                y + 4.0
            )?;
        }
        for (day, anchor) in self.days.into_iter().zip(["start", "end"]) {
            let (x, y) = (self.x(day), top + height + 16.0);
            writeln!(out, r##"<text x="{x:.1}" y="{y:.1}" text-anchor="{anchor}" fill="#222222">{day}</text>"##)?;
        }
        panel
            .series
            .iter()
            .zip(LOOKS.iter().cycle())
            .enumerate()
            .try_for_each(|(place, (series, look))| self.series(series, *look, place, out))
    }

    fn series(&self, series: &Series, (color, dash): (&str, &str), place: usize, out: &mut dyn Write) -> Result<()> {
        let path: Vec<String> = series
            .points
            .iter()
            .map(|(day, value)| format!("{:.1} {:.1}", self.x(*day), self.y(value.value)))
            .collect();
        if path.is_empty() {
            return Ok(());
        }
        writeln!(
            out,
            r#"<path d="M{}" fill="none" stroke="{color}" stroke-width="2" stroke-dasharray="{dash}"/>"#,
            path.join("L")
        )?;
        for (day, Interval { value, low, high }) in &series.points {
            let (x, low, high) = (self.x(*day), self.y(*low), self.y(*high));
            writeln!(out, r#"<path d="M{x:.1} {low:.1}V{high:.1}" stroke="{color}" stroke-opacity="0.5"/>"#)?;
            writeln!(out, r#"<circle cx="{x:.1}" cy="{:.1}" r="3.5" fill="{color}"/>"#, self.y(*value))?;
        }
        let (x, y) = (LEFT + FIELD[0] + 8.0, self.top + 14.0 + 16.0 * place as f64);
        writeln!(
            out,
            r#"<path d="M{x:.1} {:.1}h22" stroke="{color}" stroke-width="2" stroke-dasharray="{dash}"/>"#,
            y - 4.0
        )?;
        writeln!(out, r##"<text x="{:.1}" y="{y:.1}" fill="#222222">{}</text>"##, x + 26.0, escaped(&series.name))
    }
}

/// Three to six round numbers within.
fn ticks([low, high]: [f64; 2]) -> Vec<f64> {
    let rough = (high - low) / 4.0;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|n| n * power).find(|step| *step >= rough).unwrap_or(rough);
    let [first, last] = [(low / step).ceil() as i64, (high / step).floor() as i64];
    // Rounded so that 0.30000000000000004 is not shown.
    (first..=last).map(|n| (n as f64 * step * 1e6).round() / 1e6).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round() {
        assert_eq!(ticks([-2.0, 61.0]), [0.0, 20.0, 40.0, 60.0]);
        assert_eq!(ticks([117.3, 131.0]), [120.0, 125.0, 130.0]);
        assert_eq!(ticks([0.02, 0.39]), [0.1, 0.2, 0.3]);
    }

    /// Drawn by another program: the line runs where the points are.
    #[test]
    fn a_chart_can_be_drawn_and_names_cannot_break_it() {
        let day = |days| Date::from_days(20_000 + days);
        let near = |value: f64| Interval { value, low: value - 5.0, high: value + 5.0 };
        let series = Series { name: "<ZB-1> & co".into(), points: vec![(day(0), near(10.0)), (day(30), near(40.0))] };
        let panels =
            [Panel { title: "red, %".into(), series: vec![series] }, Panel { title: "none".into(), series: vec![] }];
        let mut svg = Vec::new();
        write("x", &panels, &mut svg).unwrap();
        let text = String::from_utf8(svg).unwrap();
        assert!(text.contains("&lt;ZB-1&gt; &amp; co") && !text.contains("none</text>"));
        let tree = resvg::usvg::Tree::from_str(&text, &resvg::usvg::Options::default()).unwrap();
        let mut picture = resvg::tiny_skia::Pixmap::new(830, 244).unwrap();
        resvg::render(&tree, resvg::tiny_skia::Transform::default(), &mut picture.as_mut());
        let frame = Frame::new(&panels[0], [day(0), day(30)], TOP);
        let at = picture.pixel(frame.x(day(30)) as u32, frame.y(40.0) as u32).unwrap();
        assert_eq!((at.red(), at.green(), at.blue()), (0, 0x72, 0xb2));
    }
}
