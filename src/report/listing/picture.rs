//! The picture of a listing: the plant, and under it a scale bar that is as long as it says.

use crate::base::raster::{Raster, Rect};
use crate::record::PlantRecord;
use crate::report::paint::{Pen, Style, fill};
use crate::report::palette::{DARK, LIGHT};
use crate::report::pane;
use crate::report::thumbnail::around;
use image::RgbImage;

/// Shortest and longest long side of the plant's picture, pixels.
const LONG: (usize, usize) = (900, 1600);

/// The bar is at most this part of the picture's width.
const WIDEST: f64 = 0.5;

/// Lengths that a bar has, times a power of ten.
const ROUND: [f64; 3] = [5.0, 2.0, 1.0];

/// Where the scale is not known.
const NO_SCALE: &str = "no scale: size unknown";

/// The plant with a margin, and a strip under it with the bar and the number.
pub(super) fn draw(rgb: &Raster<[u8; 3]>, plant: &PlantRecord) -> RgbImage {
    let [x, y, width, height] = plant.bounds;
    let area = around(Rect { x, y, width, height }, rgb.bounds());
    let long = area.width.max(area.height).max(1);
    let scale = long.clamp(LONG.0, LONG.1) as f64 / long as f64;
    let photo = pane::resized(rgb, area, scale);
    let size = (photo.width().max(photo.height()) / 36) as usize;
    let mut image = RgbImage::from_pixel(photo.width(), photo.height() + 3 * size as u32, image::Rgb(DARK));
    image::imageops::replace(&mut image, &photo, 0, 0);
    let bar = plant.px_per_mm.value.map(|px_per_mm| Bar::new(px_per_mm * scale, f64::from(photo.width()) * WIDEST));
    strip(&mut image, photo.height() as usize, bar.flatten().as_ref(), size, plant.number.as_deref());
    image
}

/// A scale bar.
struct Bar {
    mm: f64,
    /// Its length in the picture.
    pixels: usize,
}

impl Bar {
    /// The longest bar of a round length that is at most `room` pixels long.
    fn new(px_per_mm: f64, room: f64) -> Option<Self> {
        let most = room / px_per_mm;
        let power = 10_f64.powf(most.log10().floor());
        let mm = ROUND.into_iter().map(|part| part * power).find(|mm| *mm <= most)?;
        Some(Self { mm, pixels: (mm * px_per_mm).round() as usize })
    }
}

/// The bar with its length at the left, the number at the right, under the photo of so many rows.
fn strip(image: &mut RgbImage, top: usize, bar: Option<&Bar>, size: usize, number: Option<&str>) {
    let (pen, text) = (Pen::new(), Style { size: size as f32, color: LIGHT, bold: true });
    let width = image.width() as usize;
    let middle = top + 3 * size / 2;
    let (end, told) = match bar {
        Some(bar) => {
            fill(image, (size, middle - size / 6), (bar.pixels, size / 3), LIGHT);
            (size + bar.pixels + size / 2, format!("{} mm", bar.mm))
        }
        None => (size, NO_SCALE.into()),
    };
    pen.write(image, (end, middle - size / 2), &told, text);
    let end = end + pen.width(&told, text) + size;
    if let Some(number) = number {
        let left = width.saturating_sub(pen.width(number, text) + size);
        if left >= end {
            pen.write(image, (left, middle - size / 2), number, text);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Estimate;

    /// A plant of 400 x 300 pixels in a photo of 2000 x 1000.
    fn picture(px_per_mm: Option<f64>) -> (RgbImage, f64) {
        let rgb = Raster::filled(2000, 1000, [90, 120, 80]);
        let scale = Estimate { value: px_per_mm, low: px_per_mm, high: px_per_mm };
        let plant = PlantRecord { bounds: [500, 200, 400, 300], px_per_mm: scale, ..PlantRecord::default() };
        // 20 pixels of margin on each side: 440 wide, shown 900 wide.
        (draw(&rgb, &plant), 900.0 / 440.0)
    }

    /// Length of the light bar: the run of light pixels in the strip's middle row.
    fn bar(image: &RgbImage) -> usize {
        let size = 900 / 36;
        let row = image.height() - 3 * size + 3 * size / 2;
        (size..image.width()).take_while(|&x| image.get_pixel(x, row).0 == LIGHT).count()
    }

    #[test]
    fn the_bar_is_as_long_as_it_says() {
        for (px_per_mm, mm) in [(5.0, 20.0), (8.7, 20.0), (12.5, 10.0), (50.0, 2.0), (0.9, 200.0)] {
            let (image, scale) = picture(Some(px_per_mm));
            let wanted = mm * px_per_mm * scale;
            assert!((bar(&image) as f64 - wanted).abs() <= 0.5, "{px_per_mm}: {} for {wanted}", bar(&image));
            assert!(bar(&image) as f64 <= 900.0 * WIDEST + 0.5);
            let told = Bar::new(px_per_mm * scale, 450.0).unwrap();
            assert!((told.mm - mm).abs() < 1e-9, "{px_per_mm}: {}", told.mm);
        }
    }

    #[test]
    fn without_a_scale_there_is_no_bar() {
        let (image, _) = picture(None);
        assert!(bar(&image) < 10, "letters begin with no long run");
        let ink = image.pixels().filter(|pixel| pixel.0 == LIGHT).count();
        assert!(ink > 100, "but a word on it");
    }

    #[test]
    fn a_picture_has_the_plant_and_nothing_far_from_it() {
        let (image, _) = picture(Some(5.0));
        assert_eq!(image.width(), 900);
        assert_eq!(image.height(), (340.0_f64 * 900.0 / 440.0).round() as u32 + 75);
    }
}
