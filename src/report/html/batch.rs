//! The report of a batch: overview, table, plants, photos that were not graded, cautions.

use super::{close, open, picture, plant, plots, put, table};
use crate::record::{PhotoRecord, PlantRecord, Status};
use crate::report::legend;
use crate::report::names::shown_name;
use crate::report::palette;
use crate::report::text::counted;
use crate::report::thumbnail::Thumbnail;
use crate::tissue::class::Tissue;
use maud::{Markup, html};
use std::fs::File;
use std::io::{self, BufWriter, Result, Seek, Write};
use std::path::Path;

/// Sorts the table where script runs.
const SCRIPT: &str = include_str!("sort.js");

/// What holds for every number of the report.
const CAUTIONS: [&str; 4] = [
    "Every number is an estimate from one photo; ranges hold the true value about 95 times in 100. Scores, flags and decisions follow \
     from them by the standard, which you may change.",
    "No published threshold ties green share to survival in these plants: the limits are common practice and arithmetic.",
    "Stress red comes and goes with light, cold and drought: it is of the season, not of the plant, and takes no side in green capacity.",
    "Local plant-health, import and consumer rules and qualified advice come first.",
];

/// What the report has of a photo beside its record.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// What to do about a photo that was not graded, if its reason does not say it.
    pub remedy: Option<&'static str>,
    /// A picture a plant, in the order of the record's.
    pub thumbnails: Vec<Thumbnail>,
}

/// The report in the making. What is told of each plant waits in an unnamed file, as its pictures would fill the memory; the
/// records stay.
pub struct Report {
    photos: Vec<PhotoRecord>,
    /// In the order of `photos`: see [`Seen::remedy`].
    remedies: Vec<Option<&'static str>>,
    plants: BufWriter<File>,
}

impl Report {
    /// A report without photos; `folder` is where there is room for its pictures, the system's temporary one if not given.
    pub fn new(folder: Option<&Path>) -> Result<Self> {
        let plants = BufWriter::new(folder.map_or_else(tempfile::tempfile, tempfile::tempfile_in)?);
        Ok(Self { photos: Vec::new(), remedies: Vec::new(), plants })
    }

    /// Adds the next photo.
    pub fn add(&mut self, photo: PhotoRecord, seen: &Seen) -> Result<()> {
        let place = self.photos.len() + 1;
        for (index, plant) in photo.plants.iter().enumerate() {
            put(&mut self.plants, &plant::section((place, &photo), plant, seen.thumbnails.get(index)))?;
        }
        self.photos.push(photo);
        self.remedies.push(seen.remedy);
        Ok(())
    }

    /// Writes the page.
    pub fn write(self, out: &mut dyn Write) -> Result<()> {
        let Self { photos, remedies, plants } = self;
        open("Variegauge report", Some(SCRIPT), out)?;
        out.write_all(b"<a class=\"skip\" href=\"#plants\">Skip to the plants</a>\n<header>\n")?;
        put(out, &heading(&photos))?;
        out.write_all(b"</header>\n<main>\n")?;
        put(
            out,
            &html! { section aria-labelledby="overview" { h2 id="overview" { "Overview" } (plots::plots(&photos)) } },
        )?;
        put(out, &all(&photos))?;
        out.write_all(b"<section aria-labelledby=\"plants\">\n")?;
        put(out, &html! { h2 id="plants" { "Plants" } (key()) })?;
        let mut plants = plants.into_inner()?;
        plants.rewind()?;
        io::copy(&mut plants, out)?;
        out.write_all(b"</section>\n")?;
        put(out, &stopped(&photos, &remedies))?;
        out.write_all(b"</main>\n")?;
        put(out, &footer(&photos))?;
        close(Some(SCRIPT), out)
    }
}

/// What a plant is called: its number, or its place in its photo.
pub(super) fn title(plant: &PlantRecord) -> String {
    plant.number.clone().unwrap_or_else(|| format!("plant {}", plant.index))
}

/// Where in the page a plant is told; `photo` is its photo's place in the batch, from 1.
pub(super) fn anchor(photo: usize, plant: &PlantRecord) -> String {
    format!("plant-{photo}-{}", plant.index)
}

fn heading(photos: &[PhotoRecord]) -> Markup {
    let plants = photos.iter().map(|photo| photo.plants.len()).sum();
    let of = |status| photos.iter().filter(|photo| photo.status == status).count();
    let stopped = of(Status::Refused) + of(Status::Failed);
    html! {
        h1 { "Grading report" }
        p {
            (counted(plants, "plant")) " in " (counted(of(Status::Graded), "photo"))
            @if stopped > 0 { "; " a href="#stopped" { (counted(stopped, "photo")) " not graded" } }
        }
        nav aria-label="Parts of the report" {
            ul {
                li { a href="#overview" { "Overview" } }
                li { a href="#table" { "Table" } }
                li { a href="#plants" { "Plants" } }
                @if stopped > 0 { li { a href="#stopped" { "Not graded" } } }
                li { a href="#cautions" { "Cautions" } }
            }
        }
    }
}

fn all(photos: &[PhotoRecord]) -> Markup {
    html! {
        section aria-labelledby="table" {
            h2 id="table" { "All plants" }
            p.dim { "Shares of the living leaf; in brackets the 95 % range. Where script runs, a heading sorts." }
            div.scroll role="region" aria-labelledby="table" tabindex="0" {
                table.wide aria-labelledby="table" {
                    thead { (table::head()) }
                    tbody {
                        @for (place, photo) in (1..).zip(photos) {
                            @for plant in &photo.plants { (table::row((place, photo), plant)) }
                        }
                    }
                }
            }
        }
    }
}

/// What colours and patterns of the pictures mean.
fn key() -> Markup {
    html! {
        ul.key aria-label="What colours and patterns on the plants mean" {
            @for tissue in Tissue::ALL {
                li { (picture("png", &legend::sample(tissue), "", (27, 27))) (palette::title(tissue)) }
            }
        }
    }
}

fn stopped(photos: &[PhotoRecord], remedies: &[Option<&'static str>]) -> Markup {
    let stopped: Vec<_> = photos.iter().zip(remedies).filter(|(photo, _)| photo.status != Status::Graded).collect();
    html! {
        @if !stopped.is_empty() {
            section aria-labelledby="stopped" {
                h2 id="stopped" { "Not graded" }
                p { "These photos gave no numbers. A refused photo is sound, but cannot be measured." }
                ul {
                    @for (photo, remedy) in stopped {
                        li {
                            strong { (shown_name(photo)) } ", " (photo.status.name()) ": " (photo.error.as_deref().unwrap_or_default())
                            @if let Some(remedy) = remedy { ". What to do: " (remedy) }
                        }
                    }
                }
            }
        }
    }
}

fn footer(photos: &[PhotoRecord]) -> Markup {
    html! {
        footer {
            h2 id="cautions" { "Cautions" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
            @if let Some(photo) = photos.first() {
                p { "Measured with " (photo.program) "; standard " (photo.settings.standard_hash) ", settings " (photo.settings.hash) "." }
            }
        }
    }
}
