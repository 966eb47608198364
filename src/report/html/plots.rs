//! How a batch is spread: plots as SVG inside the page, each with its numbers in words.

use crate::base::stats;
use crate::record::{PhotoRecord, PlantRecord};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Size of a plot's drawing, and of the room for its axis and its numbers, units of the picture.
const SIZE: (f64, f64) = (320.0, 130.0);
const AXIS: f64 = 16.0;
const TOP: f64 = 14.0;
/// Height of a row of a plot of words.
const ROW: f64 = 24.0;
/// Width of its words.
const WORDS: f64 = 150.0;

/// A number whose spread is shown.
struct Spread {
    title: &'static str,
    unit: &'static str,
    /// Width of a column, and the columns there are at least.
    step: (f64, usize),
    of: fn(&PlantRecord) -> Option<f64>,
}

const SPREADS: [Spread; 3] = [
    Spread { title: "Score", unit: "", step: (10.0, 10), of: |plant| plant.score },
    Spread {
        title: "Green capacity",
        unit: " %",
        step: (10.0, 10),
        of: |plant| plant.green_capacity.value.map(|part| part * 100.0),
    },
    Spread { title: "Band width", unit: " mm", step: (0.25, 8), of: |plant| plant.bands.width_mm.mean.value },
];

/// All plots of a batch.
pub(super) fn plots(photos: &[PhotoRecord]) -> Markup {
    let plants = || photos.iter().flat_map(|photo| &photo.plants);
    html! {
        div.plots {
            (decisions(plants()))
            @for spread in &SPREADS { (columns(spread, plants().filter_map(spread.of).collect())) }
        }
    }
}

/// How many plants each decision has, most first.
fn decisions<'a>(plants: impl Iterator<Item = &'a PlantRecord>) -> Markup {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for plant in plants {
        *counts.entry(plant.decision_name.as_deref().unwrap_or("none")).or_default() += 1;
    }
    let mut rows: Vec<(&str, usize)> = counts.into_iter().collect();
    rows.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
    let most = rows.first().map_or(1, |&(_, count)| count) as f64;
    let room = SIZE.0 - WORDS - 30.0;
    let height = (rows.len() as f64 * ROW).max(ROW);
    let told: Vec<String> = rows.iter().map(|(name, count)| format!("{name} {count}")).collect();
    html! {
        figure {
            figcaption { strong { "Decisions" } }
            svg role="img" aria-label=(format!("Decisions: {}", told.join(", "))) viewBox=(format!("0 0 {} {height}", SIZE.0)) {
                @for (place, (name, count)) in rows.iter().enumerate() {
                    @let y = place as f64 * ROW;
                    @let width = *count as f64 / most * room;
                    text x="0" y=(y + 16.0) { (cut(name)) }
                    rect.bar x=(WORDS) y=(y + 5.0) width=(format!("{width:.1}")) height=(ROW - 10.0) {}
                    text x=(format!("{:.1}", WORDS + width + 5.0)) y=(y + 16.0) { (count) }
                }
            }
        }
    }
}

/// A name of a decision as long as there is room for.
fn cut(name: &str) -> String {
    let most = 24;
    if name.chars().count() <= most { name.into() } else { name.chars().take(most - 1).chain(['…']).collect() }
}

/// A plot of columns, each the number of plants from its left end to just under its right end (the last: to its end).
fn columns(spread: &Spread, mut values: Vec<f64>) -> Markup {
    let counts = counted(&values, spread.step);
    let (step, bottom) = (SIZE.0 / counts.len() as f64, SIZE.1 - AXIS);
    let most = counts.iter().copied().max().unwrap_or(0).max(1) as f64;
    let end =
        |column: usize| format!("{}{}", column as f64 * spread.step.0, if column == 0 { "" } else { spread.unit });
    let words = match [0.1, 0.5, 0.9].map(|part| stats::quantile(&mut values, part)) {
        [Some(low), Some(middle), Some(high)] => {
            let digits = usize::from(spread.step.0 < 1.0);
            let unit = spread.unit;
            format!(
                "{} plants; half are under {middle:.digits$}{unit}, 8 of 10 from {low:.digits$} to {high:.digits$}{unit}",
                values.len()
            )
        }
        _ => "not measured on any plant".into(),
    };
    html! {
        figure {
            figcaption { strong { (spread.title) } ": " (words) }
            svg role="img" aria-label=(format!("{}: {words}", spread.title)) viewBox=(format!("0 0 {} {}", SIZE.0, SIZE.1)) {
                @for (column, count) in counts.iter().enumerate() {
                    @let height = *count as f64 / most * (bottom - TOP);
                    @let x = column as f64 * step;
                    rect.bar x=(format!("{:.1}", x + 1.0)) y=(format!("{:.1}", bottom - height)) width=(format!("{:.1}", step - 2.0)) height=(format!("{height:.1}")) {}
                    @if *count > 0 {
                        text x=(format!("{:.1}", x + step / 2.0)) y=(format!("{:.1}", bottom - height - 3.0)) text-anchor="middle" { (count) }
                    }
                }
                line.axis x1="0" x2=(SIZE.0) y1=(bottom) y2=(bottom) {}
                text x="0" y=(SIZE.1 - 3.0) { (end(0)) }
                text x=(SIZE.0 / 2.0) y=(SIZE.1 - 3.0) text-anchor="middle" { (end(counts.len() / 2)) }
                text x=(SIZE.0) y=(SIZE.1 - 3.0) text-anchor="end" { (end(counts.len())) }
            }
        }
    }
}

/// Values in each column.
fn counted(values: &[f64], (width, least): (f64, usize)) -> Vec<usize> {
    let mut counts = vec![0; least];
    for value in values {
        let column = (value / width) as usize;
        // The end of a scale (a score of 100) belongs to its last column.
        let column = if column == least && *value <= least as f64 * width { least - 1 } else { column };
        // Numbers beyond all sense share the last of at most twice the columns.
        let column = column.min(2 * least - 1);
        if column >= counts.len() {
            counts.resize(2 * least, 0);
        }
        counts[column] += 1;
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_hold_every_value_once() {
        assert_eq!(counted(&[0.0, 9.9, 10.0, 99.0, 100.0], (10.0, 10)), [2, 1, 0, 0, 0, 0, 0, 0, 0, 2]);
        assert_eq!(counted(&[0.3, 2.1, 50.0], (0.25, 8)).iter().sum::<usize>(), 3);
        assert_eq!(counted(&[2.1, 50.0], (0.25, 8)).len(), 16);
    }

    #[test]
    fn an_empty_batch_has_plots_without_numbers() {
        let text = plots(&[]).0;
        assert_eq!(text.matches("<svg").count(), 4);
        assert_eq!(text.matches("not measured on any plant").count(), 6);
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    }
}
