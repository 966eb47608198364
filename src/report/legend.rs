//! The strip under the overlay: what colours and patterns mean, the numbers, what must be known.

use super::paint::{Pen, Style, fill};
use super::palette::{self, DARK, DIM, LIGHT, Rgb, WARNING};
use super::text::{percent, photo_doubts, remarks, share, shown, wrapped};
use crate::record::{PhotoRecord, PlantRecord};
use crate::tissue::class::Tissue;
use image::RgbImage;

/// Told once under every overlay.
const CAUTION: &str = "Estimates from one photo. Under the colours: share of all visible leaf. At the right: share of the \
    living leaf (bands and dead left out, unsure shared out) with its 95 % range; pale is cream and gold. Stress red comes and goes \
    with light, cold and drought: it is of the season, not of the plant.";

/// Plants with a row of their own.
const ROWS: usize = 12;

/// Warnings that are written out.
const WARNINGS: usize = 8;

/// The strip, `width` pixels wide, for letters of `size` pixels.
pub(super) fn draw(photo: &PhotoRecord, width: usize, size: usize, pen: &Pen) -> RgbImage {
    let text = Style { size: size as f32, color: LIGHT, bold: false };
    let notes = notes(photo, width - 2 * size, pen, text);
    let rows = photo.plants.len().min(ROWS);
    let table = 2 * size + size / 2 + rows * line(size);
    let height = size + table + size / 2 + notes.len() * line(size) + size;
    let mut strip = RgbImage::from_pixel(width as u32, height as u32, image::Rgb(DARK));
    let columns = Columns::new(width, size);
    headings(&mut strip, &columns, pen, text);
    for (row, plant) in photo.plants.iter().take(ROWS).enumerate() {
        numbers(&mut strip, (size + 2 * size + size / 2 + row * line(size), &columns), plant, (pen, text));
    }
    for (row, (color, note)) in notes.iter().enumerate() {
        let y = size + table + size / 2 + row * line(size);
        pen.write(&mut strip, (size, y), note, Style { color: *color, ..text });
    }
    strip
}

fn line(size: usize) -> usize {
    size * 4 / 3
}

/// Where the columns begin, pixels.
struct Columns {
    plant: usize,
    tissue: [usize; 7],
    fractions: [usize; 3],
}

impl Columns {
    /// A third of the strip for the fractions with their intervals, the rest for the tissues.
    fn new(width: usize, size: usize) -> Self {
        let (plant, first, end) = (size, 4 * size, width - size);
        let middle = first + (end - first) * 64 / 100;
        let tissue = std::array::from_fn(|i| first + (middle - first) * i / 7);
        let fractions = std::array::from_fn(|i| middle + (end - middle) * i / 3);
        Self { plant, tissue, fractions }
    }
}

fn headings(strip: &mut RgbImage, columns: &Columns, pen: &Pen, text: Style) {
    let size = text.size as usize;
    let dim = Style { color: DIM, ..text };
    pen.write(strip, (columns.plant, size), "plant", dim);
    for (tissue, x) in Tissue::ALL.into_iter().zip(columns.tissue) {
        swatch(strip, (x, size - size / 6), size * 3 / 2, tissue);
        pen.write(strip, (x + 2 * size, size), palette::title(tissue), text);
    }
    for (title, x) in ["green of living leaf", "pale", "stress red"].into_iter().zip(columns.fractions) {
        pen.write(strip, (x, size), title, dim);
    }
}

/// A sample of a tissue's colour and pattern on leaf grey, in a light frame.
fn swatch(strip: &mut RgbImage, (left, top): (usize, usize), side: usize, tissue: Tissue) {
    fill(strip, (left, top), (side, side), LIGHT);
    for (x, y) in (2..side - 2).flat_map(|y| (2..side - 2).map(move |x| (x, y))) {
        let color = palette::painted([110, 115, 105], tissue, x, y);
        strip.put_pixel((left + x) as u32, (top + y) as u32, image::Rgb(color));
    }
}

/// A tissue's sample as PNG, 27 pixels a side.
pub(super) fn sample(tissue: Tissue) -> Vec<u8> {
    let mut picture = RgbImage::new(27, 27);
    swatch(&mut picture, (0, 0), 27, tissue);
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).expect("memory takes all that is written");
    bytes.into_inner()
}

fn numbers(strip: &mut RgbImage, (y, columns): (usize, &Columns), plant: &PlantRecord, (pen, text): (&Pen, Style)) {
    let bold = Style { bold: true, ..text };
    pen.write(strip, (columns.plant, y), &plant.index.to_string(), bold);
    for (tissue, x) in Tissue::ALL.into_iter().zip(columns.tissue) {
        let share = plant.tissue[tissue].map_or_else(|| "-".into(), share);
        pen.write(strip, (x, y), &share, text);
    }
    let fractions = [plant.green_fraction, plant.pale_fraction, plant.red_fraction];
    for (fraction, x) in fractions.iter().zip(columns.fractions) {
        pen.write(strip, (x, y), &percent(fraction), bold);
    }
}

/// Everything said under the numbers, in lines that fit.
fn notes(photo: &PhotoRecord, width: usize, pen: &Pen, text: Style) -> Vec<(Rgb, String)> {
    let of_plants = photo
        .plants
        .iter()
        .flat_map(|plant| remarks(plant).map(move |remark| format!("! Plant {}: {}", plant.index, shown(remark))));
    let of_photo = photo_doubts(photo).map(|doubt| format!("! {}", shown(doubt)));
    let mut notes: Vec<(Rgb, String)> = of_plants.chain(of_photo).map(|note| (WARNING, note)).collect();
    let more = notes.len().saturating_sub(WARNINGS);
    if more > 0 {
        notes.truncate(WARNINGS);
        notes.push((WARNING, format!("! and {more} more, in the table")));
    }
    if photo.plants.len() > ROWS {
        notes.insert(0, (LIGHT, format!("and {} more plants, in the table", photo.plants.len() - ROWS)));
    }
    notes.push((DIM, CAUTION.into()));
    let lines = |(color, note): (Rgb, String)| {
        wrapped(&note, width, |line| pen.width(line, text)).into_iter().map(move |line| (color, line))
    };
    notes.into_iter().flat_map(lines).collect()
}
