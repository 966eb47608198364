//! The picture that shows why: the photo at the left, the same with outlines and tissues at the right, a legend below.

use super::legend;
use super::names::bare;
use super::paint::{Pen, Style, fill};
use super::palette::{DARK, DIM, LIGHT};
use super::pane::{self, Labels, scaled};
use super::text::shown;
use crate::base::raster::{Raster, Rect};
use crate::record::{Card, PhotoRecord};
use crate::tissue::TissueMap;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use std::io::{Error, Result, Write};

/// Longest and shortest long side of a pane, pixels: small photos are enlarged so that the legend has room.
const PANE: (usize, usize) = (1600, 1000);

/// Blank columns between the panes.
const GAP: usize = 8;

/// Quality of the JPEG.
const QUALITY: u8 = 90;

/// Draws the overlay. `plants` are in the order of the record's plants.
pub fn draw(rgb: &Raster<[u8; 3]>, plants: &[&TissueMap], photo: &PhotoRecord) -> RgbImage {
    let long = rgb.width().max(rgb.height()).max(1);
    let scale = long.clamp(PANE.1, PANE.0) as f64 / long as f64;
    let original = pane::resized(rgb, rgb.bounds(), scale);
    let labels = Labels::new(plants, rgb.bounds(), scale);
    let mut marked = original.clone();
    labels.tint(&mut marked);
    labels.outline(&mut marked);
    let pen = Pen::new();
    let size = (2 * labels.bounds().width / 88).max(18);
    for (plant, map) in photo.plants.iter().zip(plants) {
        badge(&labels, &mut marked, (&plant.title(), scaled(map.bounds, scale)), (&pen, size * 5 / 4));
    }
    for card in photo.calibration.iter().flat_map(|calibration| &calibration.cards) {
        self::card(&mut marked, card, scale);
        let [x, y] = card.corners[0].map(|value| (value * scale).max(0.0) as usize);
        badge(&labels, &mut marked, (&card.plant, Rect { x, y, width: 1, height: 1 }), (&pen, size));
    }
    composed([&original, &marked], photo, size, &pen)
}

/// Writes the overlay as JPEG, without any metadata.
pub fn write(overlay: &RgbImage, out: &mut dyn Write) -> Result<()> {
    JpegEncoder::new_with_quality(out, QUALITY).encode_image(overlay).map_err(Error::other)
}

fn composed(panes: [&RgbImage; 2], photo: &PhotoRecord, size: usize, pen: &Pen) -> RgbImage {
    let (width, height) = (panes[0].width() as usize, panes[0].height() as usize);
    let (full, top) = (2 * width + GAP, 2 * size);
    let strip = legend::draw(photo, full, size, pen);
    let mut image = RgbImage::from_pixel(full as u32, (top + height) as u32 + strip.height(), image::Rgb(DARK));
    let title = Style { size: size as f32, color: LIGHT, bold: true };
    let name = shown(bare(&photo.file));
    pen.write(&mut image, (size, size / 2), &name, title);
    pen.write(
        &mut image,
        (width + GAP + size, size / 2),
        "what was measured",
        Style { color: DIM, bold: false, ..title },
    );
    image::imageops::replace(&mut image, panes[0], 0, top as i64);
    image::imageops::replace(&mut image, panes[1], (width + GAP) as i64, top as i64);
    image::imageops::replace(&mut image, &strip, 0, (top + height) as i64);
    image
}

/// Writes a text in a dark badge in or beside a rectangle, where it hides least of any plant.
fn badge(labels: &Labels, pane: &mut RgbImage, (text, place): (&str, Rect), (pen, size): (&Pen, usize)) {
    let style = Style { size: size as f32, color: LIGHT, bold: true };
    let bounds = labels.bounds();
    let (width, height) = (pen.width(text, style) + size * 2 / 3, size * 4 / 3);
    let badge = |(x, y): (usize, usize)| {
        let x = x.min(bounds.width.saturating_sub(width));
        let y = y.min(bounds.height.saturating_sub(height));
        Rect { x, y, width, height }.grown(0, bounds)
    };
    let hidden = |area: &Rect| {
        let pixels = (area.y..area.bottom()).flat_map(|y| (area.x..area.right()).map(move |x| (x, y)));
        pixels.filter(|&(x, y)| labels.plant(x, y) > 0).count()
    };
    let places = places(place, (width, height)).into_iter().map(badge);
    let area = places.min_by_key(hidden).expect("there are several places");
    fill(pane, (area.x, area.y), (area.width, area.height), DARK);
    pen.write(pane, (area.x + size / 3, area.y + size / 6), text, style);
}

/// Where a badge may stand: in the corners of the plant's box, then beside the box.
fn places(plant: Rect, (width, height): (usize, usize)) -> [(usize, usize); 8] {
    let (left, top) = (plant.x, plant.y);
    let (right, bottom) = (plant.right().saturating_sub(width), plant.bottom().saturating_sub(height));
    let (middle, centre) = (usize::midpoint(left, right), usize::midpoint(top, bottom));
    let (before, above) = (left.saturating_sub(width), top.saturating_sub(height));
    let corners = [(left, top), (right, top), (left, bottom), (right, bottom)];
    let sides = [(middle, above), (plant.right(), centre), (before, centre), (middle, plant.bottom())];
    std::array::from_fn(|i| if i < 4 { corners[i] } else { sides[i - 4] })
}

/// Draws a card's outline, a light line with a dark halo.
fn card(pane: &mut RgbImage, card: &Card, scale: f64) {
    let corners = card.corners.map(|corner| corner.map(|value| value * scale));
    let (width, height) = (f64::from(pane.width()), f64::from(pane.height()));
    for (radius, color) in [(pane::LINE.1, DARK), (pane::LINE.0, LIGHT)] {
        for side in 0..4 {
            let ([x, y], [u, v]) = (corners[side], corners[(side + 1) % 4]);
            let steps = (x - u).hypot(y - v).min(4.0 * (width + height)).ceil().max(1.0) as usize;
            for part in (0..=steps).map(|i| i as f64 / steps as f64) {
                let (x, y) = (x + part * (u - x), y + part * (v - y));
                if (0.0..width).contains(&x) && (0.0..height).contains(&y) {
                    pane::stamp(pane, (x as usize, y as usize), radius, color);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::palette;
    use super::*;
    use crate::options::Options;
    use crate::pipeline::{Outcome, drawn};
    use crate::tissue::class::Tissue;

    fn overlay(outcome: &Outcome, name: &str) -> RgbImage {
        let record = PhotoRecord::graded(name, "a", outcome, &Options::default());
        let maps: Vec<&TissueMap> = outcome.plants.iter().map(|plant| &plant.tissue).collect();
        draw(&outcome.calibrated.photo.rgb, &maps, &record)
    }

    /// A grey photo, 1200 x 800, with a plant whose left half is green and right half red in the middle third.
    fn scene() -> Outcome {
        let row = |y: usize| -> String {
            let letter = |x| match (y, x) {
                (267..534, 400..600) => 'g',
                (267..534, 600..800) => 'r',
                _ => '.',
            };
            (0..1200).map(letter).collect()
        };
        let rows: Vec<String> = (0..800).map(row).collect();
        drawn(&[&rows.iter().map(String::as_str).collect::<Vec<_>>()])
    }

    #[test]
    fn the_photo_stays_as_it_is_at_the_left_and_only_the_plant_changes_at_the_right() {
        let image = overlay(&scene(), "a.jpg");
        let top = image.height() as usize - 800 - legend_height(&image);
        assert_eq!(image.width(), 2 * 1200 + GAP as u32);
        let at = |x: usize, y: usize| image.get_pixel(x as u32, (top + y) as u32).0;
        let (leaf, right) = ([90, 120, 80], 1200 + GAP);
        for (x, y) in [(0, 0), (500, 400), (700, 400), (1199, 799)] {
            assert_eq!(at(x, y), leaf, "left pane at {x},{y}");
        }
        for (x, y) in [(0, 700), (380, 400), (600, 560), (1199, 799)] {
            assert_eq!(at(right + x, y), leaf, "right pane at {x},{y}");
        }
        assert_eq!(at(right + 500, 400), palette::painted(leaf, Tissue::Green, 500, 400));
        assert_eq!(at(right + 700, 400), palette::painted(leaf, Tissue::Red, 700, 400));
        assert_eq!(at(right + 400, 400), [255, 255, 255], "outline");
        assert_eq!(at(right + 397, 400), DARK, "halo");
    }

    fn legend_height(image: &RgbImage) -> usize {
        let record = PhotoRecord::graded("a.jpg", "a", &scene(), &Options::default());
        let size = 2 * 1200 / 88;
        legend::draw(&record, image.width() as usize, size, &Pen::new()).height() as usize
    }

    #[test]
    fn sizes_are_held_and_no_name_or_size_breaks_it() {
        let tiny = overlay(&drawn(&[&["g"]]), "esc\u{1b}[2J\n植物.jpg");
        assert_eq!(tiny.width(), 2 * PANE.1 as u32 + GAP as u32);
        let wide = "g".repeat(3200);
        let wide = overlay(&drawn(&[&[wide.as_str(), &wide]]), "");
        assert_eq!(wide.width(), 2 * PANE.0 as u32 + GAP as u32);
        let mut none = scene();
        none.plants.clear();
        assert!(overlay(&none, "a.jpg").height() > 800);
    }

    #[test]
    fn the_jpeg_holds_the_picture_and_no_metadata() {
        let image = overlay(&scene(), "a.jpg");
        let mut jpeg = Vec::new();
        write(&image, &mut jpeg).unwrap();
        assert!(!jpeg.windows(4).any(|bytes| bytes == b"Exif"));
        let read = image::load_from_memory(&jpeg).unwrap();
        assert_eq!((read.width(), read.height()), image.dimensions());
    }

    #[test]
    fn a_badge_stands_where_it_hides_no_leaf() {
        let plant = Rect { x: 100, y: 100, width: 50, height: 50 };
        let free = places(plant, (20, 20)).into_iter().filter(|&(x, y)| {
            let (right, bottom) = (x + 20, y + 20);
            right <= plant.x || x >= plant.right() || bottom <= plant.y || y >= plant.bottom()
        });
        assert_eq!(free.count(), 4, "all four sides lie outside the box");
    }
}
