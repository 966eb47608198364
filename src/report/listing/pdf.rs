//! The listing as a sheet of A4; all text is outlines, so that no font is needed. A longer one goes on on more sheets.

use super::{Listing, NOTES, QUALITY};
use crate::card::layout::Area;
use crate::print::draw::{Group, Page, Shape};
use crate::print::letters::Letters;
use crate::print::pdf::{self, Picture};
use crate::print::sheet::Paper;
use crate::report::text::{shown, wrapped};
use crate::report::thumbnail::jpeg;
use std::io::{Result, Write};

/// Margin of the sheet, mm.
const MARGIN: f64 = 15.0;
/// Largest picture, mm.
const PICTURE: [f64; 2] = [120.0, 105.0];
/// Height of capitals, mm: heading, text. 2.4 mm are about 9.5 points.
const HEADING: f64 = 4.5;
const TEXT: f64 = 2.4;
/// From line to line, and between paragraphs, mm.
const LINE: f64 = 4.6;
const GAP: f64 = 2.0;
/// Where the values begin, mm from the names.
const VALUES: f64 = 52.0;

/// Writes the file.
pub(super) fn write(listing: &Listing, out: &mut dyn Write) -> Result<()> {
    let image = &listing.picture;
    let size = [f64::from(image.width()), f64::from(image.height())];
    let scale = (PICTURE[0] / size[0]).min(PICTURE[1] / size[1]);
    let mut sheet = Sheet::new();
    sheet.paragraph(&listing.title, Style { height: HEADING, left: 0.0, bold: true });
    let area = Area { x: MARGIN, y: sheet.top, width: size[0] * scale, height: size[1] * scale };
    let picture = Picture { page: 0, area, size: image.dimensions(), jpeg: jpeg(image, QUALITY) };
    sheet.top = area.y + area.height + 3.0 * GAP;
    for (name, value) in &listing.facts {
        sheet.fact(name, value);
    }
    let limits: Vec<&str> = listing.limits.iter().map(String::as_str).collect();
    for (title, texts) in [("What to know of this plant", limits.as_slice()), ("Please note", &NOTES)] {
        if !texts.is_empty() {
            sheet.top += GAP;
            sheet.paragraph(title, Style { height: TEXT, left: 0.0, bold: true });
            for text in texts {
                sheet.paragraph(text, Style { height: TEXT, left: 0.0, bold: false });
            }
        }
    }
    pdf::write(&sheet.pages(), &[picture], &listing.title, out)
}

/// How a text is set: height of its capitals, distance from the margin, mm.
#[derive(Clone, Copy)]
struct Style {
    height: f64,
    left: f64,
    bold: bool,
}

/// Sheets that are filled from the top.
struct Sheet {
    fonts: [Letters; 2],
    done: Vec<Page>,
    shapes: Vec<Shape>,
    /// Where the next line begins, mm.
    top: f64,
}

impl Sheet {
    fn new() -> Self {
        Self { fonts: [Letters::regular(), Letters::bold()], done: Vec::new(), shapes: Vec::new(), top: MARGIN }
    }

    /// A name with its value beside it.
    fn fact(&mut self, name: &str, value: &str) {
        let bold = Style { height: TEXT, left: 0.0, bold: true };
        let regular = Style { height: TEXT, left: VALUES, bold: false };
        let lines = self.lines(name, bold, VALUES - GAP).len().max(self.lines(value, regular, width(VALUES)).len());
        self.room(lines as f64 * LINE);
        let top = self.top;
        self.set(name, bold, VALUES - GAP);
        let end = std::mem::replace(&mut self.top, top);
        self.set(value, regular, width(VALUES));
        self.top = self.top.max(end) + GAP / 2.0;
    }

    fn paragraph(&mut self, text: &str, style: Style) {
        let lines = self.lines(text, style, width(style.left)).len();
        self.room(lines as f64 * step(style));
        self.set(text, style, width(style.left));
        self.top += GAP / 2.0;
    }

    /// Begins a new sheet if so many mm are not left on this one.
    fn room(&mut self, height: f64) {
        if self.top + height > size()[1] - MARGIN && !self.shapes.is_empty() {
            let shapes = std::mem::take(&mut self.shapes);
            self.done.push(page(shapes));
            self.top = MARGIN;
        }
    }

    /// A text in lines; letters that cannot be printed become `?`.
    fn lines(&self, text: &str, style: Style, width: f64) -> Vec<String> {
        let letters = &self.fonts[usize::from(style.bold)];
        let text: String = shown(text).chars().map(|letter| if letters.has(letter) { letter } else { '?' }).collect();
        // Widths in thousandths of a millimetre.
        wrapped(&text, (width * 1000.0) as usize, |line| {
            // A blank has no ink: measured between two letters.
            let [with, without] = [format!("|{line}|"), "||".into()].map(|t| letters.line(&t, style.height).width);
            ((with - without) * 1000.0) as usize
        })
    }

    fn set(&mut self, text: &str, style: Style, width: f64) {
        for line in self.lines(text, style, width) {
            let letters = &self.fonts[usize::from(style.bold)];
            let height = letters.fitting(&line, style.height, width);
            let shape = Shape::black(letters.line(&line, height).steps);
            self.shapes.push(shape.moved([MARGIN + style.left, self.top + style.height]));
            self.top += step(style);
        }
    }

    fn pages(mut self) -> Vec<Page> {
        self.done.push(page(self.shapes));
        self.done
    }
}

fn page(shapes: Vec<Shape>) -> Page {
    let [width, height] = size();
    Page { width, height, groups: vec![Group { title: None, shapes }] }
}

fn size() -> [f64; 2] {
    Paper::A4.size().expect("A4 has a size")
}

/// Room from `left` of the margin to the other margin, mm.
fn width(left: f64) -> f64 {
    size()[0] - 2.0 * MARGIN - left
}

/// From line to line.
fn step(style: Style) -> f64 {
    style.height / TEXT * LINE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_stay_within_the_margins_and_go_on_on_another_sheet() {
        let mut sheet = Sheet::new();
        let text = format!("{} {} 植物", "word ".repeat(60), "W".repeat(300));
        for _ in 0..40 {
            sheet.fact("a name that is longer than its room and so goes on", &text);
        }
        let pages = sheet.pages();
        assert!(pages.len() > 1);
        let points = pages.iter().flat_map(|page| &page.groups).flat_map(|group| &group.shapes).flat_map(|s| &s.steps);
        for step in points {
            if let crate::print::draw::Step::Move([x, y]) | crate::print::draw::Step::Line([x, y]) = *step {
                assert!((MARGIN - 0.1..=210.0 - MARGIN + 0.1).contains(&x), "{x}");
                assert!((MARGIN - 2.0..=297.0 - MARGIN + 2.0).contains(&y), "{y}");
            }
        }
    }
}
