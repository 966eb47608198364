//! What mothers throw, and a family as a picture.

use super::csv::{Row, written};
use super::stock::{columns, interval, percent};
use super::text::shown;
use crate::base::stats::Interval;
use crate::book::plants::Known;
use crate::mothers::{Kind, Mother};
use crate::print::svg::escaped;
use crate::standard::Standard;
use std::io::{Result, Write};

/// A box of the picture and the steps between boxes, pixels.
const BOX: [f64; 2] = [220.0, 46.0];
const STEP: [f64; 2] = [270.0, 60.0];
/// Around the picture.
const MARGIN: f64 = 20.0;

/// Mothers, one a line, the best first.
pub fn table(mothers: &[Mother]) -> String {
    let heading = [
        "mother",
        "name",
        "offsets",
        "measured",
        "balanced",
        "variegated",
        "too pale",
        "reverts",
        "balanced share (Wilson)",
        "(Jeffreys)",
        "offsets a year",
        "balanced next year",
    ];
    let rows = mothers.iter().map(|mother| {
        let counts =
            [mother.offsets, mother.measured, mother.balanced, mother.variegated, mother.too_pale, mother.reverts];
        let ends =
            |of: Option<Interval>| of.map_or("-".into(), |i| format!("({:.0}-{:.0})", i.low * 100.0, i.high * 100.0));
        let number = |of: Option<Interval>, decimals: usize| {
            of.map_or("-".into(), |i| format!("{:.1} ({:.decimals$}-{:.decimals$})", i.value, i.low, i.high))
        };
        let mut cells = vec![mother.number.clone(), shown(&mother.name)];
        cells.extend(counts.map(|count| count.to_string()));
        cells.extend([percent(mother.wilson), ends(mother.jeffreys), number(mother.rate, 1), number(mother.next, 0)]);
        cells
    });
    columns(&std::iter::once(heading.map(String::from).to_vec()).chain(rows).collect::<Vec<_>>())
}

/// Mothers as CSV.
pub fn csv(mothers: &[Mother], out: &mut dyn Write) -> Result<()> {
    written(&row(None), mothers.iter().map(|mother| row(Some(mother))), false, out)
}

fn row(mother: Option<&Mother>) -> Row {
    let mut row = Row::default();
    row.text("mother", mother.map(|m| m.number.as_str()));
    row.text("name", mother.map(|m| m.name.as_str()));
    row.count("offsets", mother.map(|m| m.offsets));
    row.count("measured", mother.map(|m| m.measured));
    row.count("balanced", mother.map(|m| m.balanced));
    row.count("variegated", mother.map(|m| m.variegated));
    row.count("too_pale", mother.map(|m| m.too_pale));
    row.count("reverts", mother.map(|m| m.reverts));
    interval(&mut row, "balanced_share_wilson", mother.and_then(|m| m.wilson), 4);
    interval(&mut row, "balanced_share_jeffreys", mother.and_then(|m| m.jeffreys), 4);
    row.number("years", mother.and_then(|m| m.years), 2);
    interval(&mut row, "offsets_per_year", mother.and_then(|m| m.rate), 2);
    interval(&mut row, "balanced_next_year", mother.and_then(|m| m.next), 2);
    row
}

/// A plant and all that came of it as SVG: a box a plant, generations from left to right, offsets under one another. What a plant
/// is stands in words; the bar at its left repeats it in colour (Okabe, Ito 2002).
pub fn tree(family: &[(usize, Known)], standard: &Standard, out: &mut dyn Write) -> Result<()> {
    let deepest = family.iter().map(|(depth, _)| *depth).max().unwrap_or(0);
    let width = 2.0 * MARGIN + STEP[0] * deepest as f64 + BOX[0];
    let height = 2.0 * MARGIN + STEP[1] * family.len().saturating_sub(1) as f64 + BOX[1];
    writeln!(out, r#"<?xml version="1.0" encoding="UTF-8"?>"#)?;
    writeln!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" font-family="sans-serif" font-size="13">"#
    )?;
    if let Some((_, first)) = family.first() {
        writeln!(out, "<title>Family of {}</title>", escaped(first.plant.number.as_str()))?;
    }
    writeln!(out, r##"<rect width="{width}" height="{height}" fill="#ffffff"/>"##)?;
    // Rows at which the last plant of each generation stands.
    let mut mothers: Vec<usize> = Vec::new();
    for (place, (depth, known)) in family.iter().enumerate() {
        mothers.truncate(*depth);
        if let Some(&mother) = mothers.last() {
            line(mother, place, *depth, out)?;
        }
        mothers.push(place);
        plant([MARGIN + STEP[0] * *depth as f64, MARGIN + STEP[1] * place as f64], known, standard, out)?;
    }
    writeln!(out, "</svg>")
}

/// From the mother's box down and to the right.
fn line(mother: usize, place: usize, depth: usize, out: &mut dyn Write) -> Result<()> {
    let x = MARGIN + STEP[0] * (depth - 1) as f64 + BOX[0] / 2.0;
    let [from, to] = [mother, place].map(|place| MARGIN + STEP[1] * place as f64);
    let (from, to, right) = (from + BOX[1], to + BOX[1] / 2.0, MARGIN + STEP[0] * depth as f64);
    writeln!(out, r##"<path d="M{x} {from}V{to}H{right}" fill="none" stroke="#555555"/>"##)
}

fn plant([x, y]: [f64; 2], known: &Known, standard: &Standard, out: &mut dyn Write) -> Result<()> {
    let kind = Kind::of(known, standard);
    let color = match kind {
        Kind::Unknown => "#bbbbbb",
        Kind::TooPale => "#f0e442",
        Kind::Balanced => "#0072b2",
        Kind::Variegated => "#56b4e9",
        Kind::Revert => "#009e73",
    };
    let [width, height] = BOX;
    let dash = if known.plant.gone.is_some() { r#" stroke-dasharray="4 3""# } else { "" };
    let gone = known.plant.gone.map(|(_, how)| format!(", {}", how.name())).unwrap_or_default();
    let green = known.latest.as_ref().and_then(|r| r.capacity).map(|i| format!(", green {:.0} %", i.value * 100.0));
    let title = format!("{} {}", known.plant.number, known.plant.name);
    let told = format!("{}{}{gone}", kind.name(), green.unwrap_or_default());
    writeln!(
        out,
        r##"<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="#ffffff" stroke="#333333"{dash}/>"##
    )?;
    writeln!(out, r#"<rect x="{x}" y="{y}" width="8" height="{height}" fill="{color}"/>"#)?;
    for (text, down, weight) in [(short(&title), 19.0, "bold"), (told, 37.0, "normal")] {
        let (x, y, text) = (x + 16.0, y + down, escaped(&text));
        writeln!(out, r##"<text x="{x}" y="{y}" font-weight="{weight}" fill="#222222">{text}</text>"##)?;
    }
    Ok(())
}

/// As much of a title as fits a box.
fn short(title: &str) -> String {
    let most = 26;
    let title = title.trim_end();
    if title.chars().count() <= most {
        return title.into();
    }
    title.chars().take(most - 1).chain(['…']).collect()
}
