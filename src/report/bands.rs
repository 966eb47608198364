//! The picture of the bands of one plant, for a person to check: the photo at full size or larger, a line across each band
//! wherever its width was measured, from edge to edge, and what single bands are wide.

use super::paint::{Pen, Style, fill};
use super::palette::{DARK, DIM, LIGHT, Rgb};
use super::text::{length, wrapped};
use crate::bands::{Band, Bands, Crossing};
use crate::base::raster::{Raster, Rect};
use crate::base::stats;
use crate::record::PlantRecord;
use image::RgbImage;
use image::imageops::{FilterType, resize};
use imageproc::drawing::{draw_filled_circle_mut, draw_line_segment_mut};

/// Pixels that the middle band gets at least by enlarging, and the most that is enlarged: lines must not hide what they mark.
const BAND: (f64, f64) = (14.0, 4.0);
/// Longest side after enlarging, pixels; larger plants stay as they are.
const LONGEST: f64 = 4000.0;
/// Narrowest picture, pixels: the text needs room.
const NARROWEST: usize = 640;
/// Height of letters, pixels: captions, and numbers on bands.
const LETTERS: (usize, usize) = (18, 13);
/// A line from edge to edge, and the edges: blue and vermilion of Okabe and Ito.
const LINE: Rgb = [0, 114, 178];
const EDGE: Rgb = [213, 94, 0];

/// A plant to be drawn.
pub struct Marked<'a> {
    /// Where it lies in the photo.
    pub bounds: Rect,
    /// Its bands, in the pixels of `bounds`.
    pub bands: &'a Bands,
    /// Pixels a millimetre at the plant, if known.
    pub px_per_mm: Option<f64>,
    /// What is told of it.
    pub record: &'a PlantRecord,
}

/// Draws one plant; `None` where no band was measured.
pub fn draw(rgb: &Raster<[u8; 3]>, plant: &Marked) -> Option<RgbImage> {
    let mut widths: Vec<f64> = plant.bands.bands.iter().map(|band| band.width_px).collect();
    let middle = stats::quantile(&mut widths, 0.5)?;
    let long = plant.bounds.width.max(plant.bounds.height) as f64;
    let scale = (BAND.0 / middle).min(BAND.1).min(LONGEST / long).max(1.0);
    let mut picture = enlarged(rgb, plant.bounds, scale);
    for crossing in &plant.bands.crossings {
        mark(&mut picture, crossing, scale);
    }
    let pen = Pen::new();
    numbers(&mut picture, plant, scale, &pen);
    Some(captioned(&picture, plant, &pen))
}

fn enlarged(rgb: &Raster<[u8; 3]>, bounds: Rect, scale: f64) -> RgbImage {
    let rows = (bounds.y..bounds.bottom()).flat_map(|y| rgb.row(y)[bounds.x..bounds.right()].as_flattened());
    let part = RgbImage::from_vec(bounds.width as u32, bounds.height as u32, rows.copied().collect());
    let part = part.expect("the rows hold three bytes a pixel");
    let [width, height] = [bounds.width, bounds.height].map(|side| (side as f64 * scale).round() as u32);
    if scale > 1.0 { resize(&part, width, height, FilterType::Triangle) } else { part }
}

/// A line across the band, and its two edges.
fn mark(picture: &mut RgbImage, crossing: &Crossing, scale: f64) {
    let end = |edge: f64| [0, 1].map(|i| ((crossing.at[i] + edge * crossing.across[i]) * scale) as f32);
    let [from, to] = crossing.edges.map(end);
    draw_line_segment_mut(picture, from.into(), to.into(), image::Rgb(LINE));
    for [x, y] in [from, to] {
        draw_filled_circle_mut(picture, (x as i32, y as i32), 1, image::Rgb(EDGE));
    }
}

/// Writes the width of bands as seen beside them, in mm or else pixels, where there is room: bands measured most often first.
fn numbers(picture: &mut RgbImage, plant: &Marked, scale: f64, pen: &Pen) {
    let size = LETTERS.1;
    let style = Style { size: size as f32, color: LIGHT, bold: true };
    let mut bands: Vec<&Band> = plant.bands.bands.iter().collect();
    bands.sort_by_key(|band| (std::cmp::Reverse(band.crossings), band.number));
    let mut taken: Vec<Rect> = Vec::new();
    for band in bands {
        let text = match plant.px_per_mm {
            Some(px_per_mm) => format!("{:.1}", band.width_px / px_per_mm),
            None => format!("{:.0}", band.width_px),
        };
        let (width, height) = (pen.width(&text, style) + 4, size + 4);
        let [x, y] = band.at.map(|v| (v * scale) as usize);
        let area = Rect { x: x.saturating_sub(width / 2), y: y.saturating_sub(height / 2), width, height };
        let apart = |other: &Rect| {
            area.right() + width / 2 < other.x
                || other.right() + width / 2 < area.x
                || area.bottom() + height < other.y
                || other.bottom() + height < area.y
        };
        if taken.iter().all(apart) {
            fill(picture, (area.x, area.y), (width, height), DARK);
            pen.write(picture, (area.x + 2, area.y + 2), &text, style);
            taken.push(area);
        }
    }
}

/// The picture with what it shows written underneath.
fn captioned(picture: &RgbImage, plant: &Marked, pen: &Pen) -> RgbImage {
    let (size, width) = (LETTERS.0, (picture.width() as usize).max(NARROWEST));
    let text = Style { size: size as f32, color: LIGHT, bold: false };
    let lines: Vec<(Rgb, String)> = caption(plant)
        .into_iter()
        .flat_map(|(color, line)| {
            let lines = wrapped(&line, width - 2 * size, |part| pen.width(part, text));
            lines.into_iter().map(move |part| (color, part))
        })
        .collect();
    let top = picture.height() as usize + size / 2;
    let height = top + lines.len() * size * 4 / 3 + size / 2;
    let mut image = RgbImage::from_pixel(width as u32, height as u32, image::Rgb(DARK));
    image::imageops::replace(&mut image, picture, 0, 0);
    for (row, (color, line)) in lines.iter().enumerate() {
        pen.write(&mut image, (size, top + row * size * 4 / 3), line, Style { color: *color, ..text });
    }
    image
}

fn caption(plant: &Marked) -> Vec<(Rgb, String)> {
    let (record, bands) = (plant.record, &plant.record.bands);
    let (width, pitch) = (length(&bands.width_mm.mean), length(&bands.pitch_mm));
    let count = bands.count.unwrap_or(0);
    let class = bands.class.as_ref().map_or_else(String::new, |class| format!(", {class}"));
    let told = format!("Plant {}: {count} bands measured. Width {width}, pitch {pitch}{class}", record.title());
    let unit = if plant.px_per_mm.is_some() { "mm" } else { "pixels" };
    let how = format!(
        "A line across a band: where it was measured, from edge to edge. Numbers: width of single bands as seen, {unit}; leaves \
         that are turned away look shorter than they are, which the plant's width allows for."
    );
    let doubts = record.doubts.iter().filter(|doubt| doubt.code.starts_with("bands-"));
    let doubts = doubts.map(|doubt| (super::palette::WARNING, format!("! {}", doubt.text)));
    [(LIGHT, told)].into_iter().chain(doubts).chain([(DIM, how)]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A leaf with a white band of 8 pixels across it at x 20 to 28, measured in two places.
    fn plant() -> (Raster<[u8; 3]>, Bands) {
        let row: Vec<[u8; 3]> = (0..60).map(|x| if (20..28).contains(&x) { [230; 3] } else { [60, 90, 50] }).collect();
        let rgb = Raster::from_vec(60, 40, row.repeat(40));
        let crossing = |y| Crossing {
            band: 0,
            at: [19.0, y],
            across: [1.0, 0.0],
            edges: [-4.0, 4.0],
            width: 8.0,
            rise: 1.0,
            length: 30.0,
            gaps: 0.0,
            neighbours: Vec::new(),
        };
        let band = Band {
            number: 0,
            at: [19.0, 15.0],
            across: [1.0, 0.0],
            width_px: 8.0,
            length_px: 30.0,
            waviness: None,
            crossings: 2,
        };
        let crossings = vec![crossing(5.0), crossing(25.0)];
        (rgb, Bands { bands: vec![band], crossings, ..Bands::default() })
    }

    #[test]
    fn lines_run_from_edge_to_edge_on_an_enlarged_photo() {
        let (rgb, bands) = plant();
        let bounds = Rect { x: 5, y: 0, width: 50, height: 30 };
        let marked = Marked { bounds, bands: &bands, px_per_mm: None, record: &PlantRecord::default() };
        let picture = draw(&rgb, &marked).unwrap();
        // 14 / 8 times as large: the band ends at (15 and 23) x 1.75, the first line is in row 5 x 1.75.
        let at = |x, y| picture.get_pixel(x, y).0;
        assert_eq!([at(26, 8), at(40, 8)], [EDGE; 2]);
        assert_eq!([at(29, 8), at(33, 8), at(37, 8)], [LINE; 3]);
        assert_eq!(at(23, 8), [60, 90, 50], "leaf beside it stays as it was");
        assert_eq!(at(33, 15), [230; 3], "and so does the band between two lines");
        assert_eq!(picture.width(), NARROWEST as u32);
    }

    #[test]
    fn no_picture_without_bands() {
        let (rgb, _) = plant();
        let bands = Bands::default();
        let marked = Marked { bounds: rgb.bounds(), bands: &bands, px_per_mm: None, record: &PlantRecord::default() };
        assert!(draw(&rgb, &marked).is_none());
    }
}
