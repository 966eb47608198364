//! The table of all plants: a row each, its head a link to the plant.

use super::batch::{anchor, title};
use super::numbers::numbers;
use crate::record::{PhotoRecord, PlantRecord};
use crate::report::names::shown_name;
use maud::{Markup, html};

/// The table's beginning, up to its first row.
pub(super) fn head() -> Markup {
    let blank = PlantRecord::default();
    html! {
        tr {
            th scope="col" { "plant" }
            th scope="col" { "photo" }
            th scope="col" { "decision" }
            @for number in numbers(&blank) { th scope="col" { (number.name) } }
            th scope="col" { "pattern" }
            th scope="col" { "flags" }
        }
    }
}

/// A plant's row; `photo` is its photo's place in the batch, from 1.
pub(super) fn row(photo: (usize, &PhotoRecord), plant: &PlantRecord) -> Markup {
    let pattern = plant.pattern.name.as_deref().unwrap_or_default();
    let flags: Vec<String> = plant
        .flags
        .iter()
        .map(|flag| {
            let sure = flag.sure.map(|sure| format!(" ({sure})"));
            format!("{}{}", flag.code.replace('-', " "), sure.unwrap_or_default())
        })
        .collect();
    html! {
        tr {
            th.name scope="row" { a href={ "#" (anchor(photo.0, plant)) } { (title(plant)) } }
            td.name { (shown_name(photo.1)) }
            td.words { (plant.decision_name.as_deref().unwrap_or_default()) }
            @for number in numbers(plant) {
                td.number data-value=(number.value.map(|value| value.to_string()).unwrap_or_default()) { (number.text) }
            }
            td.words { (pattern) }
            td.words { (flags.join(", ")) }
        }
    }
}
