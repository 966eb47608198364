//! One plant: its pictures, decision, numbers, flags, doubts.

use super::batch::{anchor, title};
use super::numbers::{limit, numbers, points};
use super::picture;
use crate::record::{Estimate, PhotoRecord, PlantRecord, ScorePart};
use crate::report::names::shown_name;
use crate::report::text::{photo_doubts, share};
use crate::report::thumbnail::Thumbnail;
use maud::{Markup, html};

/// The plant as a section of its own; `photo` is its photo's place in the batch, from 1.
pub(super) fn section(photo: (usize, &PhotoRecord), plant: &PlantRecord, seen: Option<&Thumbnail>) -> Markup {
    let (place, record) = photo;
    let heading = anchor(place, plant);
    let name = shown_name(record);
    let taken = record.taken_at.as_deref().map(|taken| format!(", taken {}", taken.replace('T', " ")));
    html! {
        article.plant aria-labelledby=(heading) {
            h3 id=(heading) { (title(plant)) }
            p.dim { (name) ", plant " (plant.index) " in the photo" (taken.unwrap_or_default()) }
            div.sides {
                div {
                    @if let Some(seen) = seen { (pictures(&title(plant), seen)) }
                    (verdict(plant))
                    (warnings(record, plant))
                }
                div { (measured(plant)) (parts(plant)) }
            }
        }
    }
}

fn pictures(title: &str, seen: &Thumbnail) -> Markup {
    html! {
        div.seen {
            figure {
                (picture("jpeg", &seen.photo, &format!("Photo of {title}"), seen.size))
                figcaption.dim { "photo" }
            }
            figure {
                (picture("jpeg", &seen.marked, &format!("{title} with its outline and tissues marked"), seen.size))
                figcaption.dim { "what was measured" }
            }
        }
    }
}

fn verdict(plant: &PlantRecord) -> Markup {
    html! {
        @if let Some(decision) = &plant.decision_name {
            p.verdict { "Decision: " strong { (decision) } }
        }
        ul { @for reason in &plant.decision_reasons { li { (reason) } } }
        @if let Some(outlook) = &plant.outlook.text { p { "Growth, " (outlook) "." } }
    }
}

fn measured(plant: &PlantRecord) -> Markup {
    let bands = &plant.bands;
    let spread = bands.width_mm.p10.zip(bands.width_mm.p90);
    html! {
        table {
            caption { "Numbers with their 95 % range" }
            tbody {
                @for number in numbers(plant) {
                    tr { th scope="row" { (number.name) } td.number { (number.text) } }
                }
                @if let Some(count) = bands.count {
                    tr {
                        th scope="row" { "bands" }
                        td {
                            (count) " measured"
                            @if let Some((low, high)) = spread { ", 8 of 10 are " (format!("{low:.2}-{high:.2} mm")) " wide" }
                            @if let Some(class) = &bands.class { "; called " (class) }
                        }
                    }
                }
                @if let Some(pattern) = &plant.pattern.name {
                    tr {
                        th scope="row" { "pattern" }
                        td {
                            (pattern)
                            @if let Some(sure) = plant.pattern.confidence { ", " (share(sure)) " likely" }
                        }
                    }
                }
            }
        }
    }
}

fn warnings(photo: &PhotoRecord, plant: &PlantRecord) -> Markup {
    let doubts: Vec<&str> = plant.doubts.iter().map(|doubt| doubt.text.as_str()).chain(photo_doubts(photo)).collect();
    html! {
        @if !plant.flags.is_empty() {
            h4 { "Flags" }
            ul.flags {
                @for flag in &plant.flags {
                    li { strong { "! " } (flag.text) " [" (limit((flag.value, flag.limit))) "]" }
                }
            }
        }
        @if !doubts.is_empty() {
            h4 { "Doubts" }
            ul { @for doubt in doubts { li { (doubt) } } }
        }
    }
}

fn parts(plant: &PlantRecord) -> Markup {
    let told =
        |part: &ScorePart| points(&Estimate { value: part.points, low: part.points_low, high: part.points_high });
    html! {
        @if !plant.score_parts.is_empty() {
            table {
                caption { "What the score is made of; a part that was not measured does not count" }
                thead {
                    tr { th scope="col" { "part" } th scope="col" { "points" } th scope="col" { "from" } th scope="col" { "weight" } }
                }
                tbody {
                    @for (name, part) in &plant.score_parts {
                        tr {
                            th scope="row" { (name) }
                            td.number { (told(part)) }
                            td.number { (part.number.map_or_else(|| "-".into(), |number| format!("{number:.2}"))) }
                            td.number { (part.weight.map_or_else(|| "-".into(), share)) }
                        }
                    }
                }
            }
        }
    }
}
