//! Small pictures of single plants for pages: the photo and what was measured, as JPEG without any metadata.

use super::pane::{self, Labels};
use crate::base::raster::{Raster, Rect};
use crate::tissue::TissueMap;
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;

/// Longest side, pixels: shown at half of it, it is sharp on a phone; 200 plants make a page of about 12 MB.
const SIDE: f64 = 320.0;

/// Quality of the JPEG.
const QUALITY: u8 = 80;

/// Shown around the plant, parts of its longer side.
const MARGIN: f64 = 0.05;

/// A plant in small, twice in the same size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thumbnail {
    /// As it was photographed.
    pub photo: Vec<u8>,
    /// With its outline and tissues.
    pub marked: Vec<u8>,
    /// Width and height, pixels.
    pub size: (u32, u32),
}

/// A thumbnail of each plant, in their order.
pub fn draw(rgb: &Raster<[u8; 3]>, plants: &[&TissueMap]) -> Vec<Thumbnail> {
    plants.iter().map(|map| thumbnail(rgb, map)).collect()
}

fn thumbnail(rgb: &Raster<[u8; 3]>, map: &TissueMap) -> Thumbnail {
    let area = around(map.bounds, rgb.bounds());
    let scale = (SIDE / area.width.max(area.height) as f64).min(1.0);
    let photo = pane::resized(rgb, area, scale);
    let labels = Labels::new(&[map], area, scale);
    let mut marked = photo.clone();
    labels.tint(&mut marked);
    labels.outline(&mut marked);
    Thumbnail { photo: jpeg(&photo, QUALITY), marked: jpeg(&marked, QUALITY), size: photo.dimensions() }
}

/// The part of the photo that shows a plant with a margin.
pub(super) fn around(plant: Rect, photo: Rect) -> Rect {
    plant.grown((plant.width.max(plant.height) as f64 * MARGIN).ceil() as usize, photo)
}

/// A picture as JPEG.
pub(super) fn jpeg(picture: &RgbImage, quality: u8) -> Vec<u8> {
    let mut bytes = Vec::new();
    let written = JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(picture);
    written.expect("memory takes all that is written, and no picture here is larger than a JPEG can be");
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipeline::drawn;

    #[test]
    fn a_plant_is_shown_with_a_margin_twice_in_one_size() {
        // 1000 x 400 with a plant in columns 400 to 800, rows 100 to 300.
        let row = |y: usize| -> String {
            (0..1000).map(|x| if (400..800).contains(&x) && (100..300).contains(&y) { 'g' } else { '.' }).collect()
        };
        let rows: Vec<String> = (0..400).map(row).collect();
        let outcome = drawn(&[&rows.iter().map(String::as_str).collect::<Vec<_>>()]);
        let mut map = outcome.plants[0].tissue.clone();
        let bounds = Rect { x: 400, y: 100, width: 400, height: 200 };
        map = TissueMap { bounds, tissue: map.tissue.crop(bounds), ..map };
        let all = draw(&outcome.calibrated.photo.rgb, &[&map]);
        assert_eq!(all.len(), 1);
        // 440 x 240 shown 320 wide.
        assert_eq!(all[0].size, (320, 175));
        let [photo, marked] = [&all[0].photo, &all[0].marked].map(|bytes| image::load_from_memory(bytes).unwrap());
        assert_eq!([photo.width(), photo.height(), marked.width(), marked.height()], [320, 175, 320, 175]);
        let distance = |x: u32, y: u32| -> i32 {
            let [a, b] = [&photo, &marked].map(|p| p.to_rgb8().get_pixel(x, y).0);
            (0..3).map(|i| (i32::from(a[i]) - i32::from(b[i])).abs()).sum()
        };
        assert!(distance(160, 87) > 30, "leaf is tinted");
        assert!(distance(3, 3) < 8, "the rest is not");
        for bytes in [&all[0].photo, &all[0].marked] {
            assert!(!bytes.windows(4).any(|part| part == b"Exif"));
        }
    }
}
