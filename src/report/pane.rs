//! A part of a photo at the size it is shown, and what was measured painted on it.

use super::palette::{self, DARK};
use crate::base::raster::{Raster, Rect};
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;
use fast_image_resize as resize;
use image::RgbImage;

/// Half the width of an outline, and of its dark halo, pixels.
pub(super) const LINE: (f32, f32) = (1.3, 3.2);

/// A part of a photo, `scale` times as large.
pub(super) fn resized(rgb: &Raster<[u8; 3]>, area: Rect, scale: f64) -> RgbImage {
    let (width, height) = size(area, scale);
    let bytes = rgb.as_slice().as_flattened();
    let source = resize::images::ImageRef::new(rgb.width() as u32, rgb.height() as u32, bytes, resize::PixelType::U8x3);
    let mut target = resize::images::Image::new(width as u32, height as u32, resize::PixelType::U8x3);
    let options = resize::ResizeOptions::new()
        .resize_alg(resize::ResizeAlg::Convolution(resize::FilterType::Bilinear))
        .crop(area.x as f64, area.y as f64, area.width as f64, area.height as f64);
    let source = source.expect("a raster holds three bytes a pixel");
    resize::Resizer::new().resize(&source, &mut target, &options).expect("both pictures hold three bytes a pixel");
    RgbImage::from_vec(width as u32, height as u32, target.into_vec()).expect("the picture has this size")
}

/// Columns and rows of a part that is shown `scale` times as large.
fn size(area: Rect, scale: f64) -> (usize, usize) {
    let side = |n: usize| ((n as f64 * scale).round() as usize).max(1);
    (side(area.width), side(area.height))
}

/// A rectangle of the photo in the pixels of the whole photo shown `scale` times as large.
pub(super) fn scaled(bounds: Rect, scale: f64) -> Rect {
    let at = |v: usize| (v as f64 * scale) as usize;
    let (x, y) = (at(bounds.x), at(bounds.y));
    Rect { x, y, width: at(bounds.right()) - x, height: at(bounds.bottom()) - y }
}

/// Plant (1..) and tissue of each pixel of a pane.
pub(super) struct Labels(Raster<Option<(usize, Tissue)>>);

impl Labels {
    /// Takes the photo's pixel at the middle of each pixel of the pane, which shows `area` of the photo.
    pub(super) fn new(plants: &[&TissueMap], area: Rect, scale: f64) -> Self {
        let (width, height) = size(area, scale);
        let mut labels = Raster::filled(width, height, None);
        let source = |v: usize| ((v as f64 + 0.5) / scale) as usize;
        for y in 0..height {
            let sy = area.y + source(y);
            let in_row = |map: &TissueMap| (map.bounds.y..map.bounds.bottom()).contains(&sy);
            let here: Vec<_> = (1..).zip(plants).filter(|(_, map)| in_row(map)).collect();
            for (x, label) in labels.row_mut(y).iter_mut().enumerate() {
                let sx = area.x + source(x);
                let tissue = |map: &TissueMap| {
                    let Rect { x, y, .. } = map.bounds;
                    map.bounds.contains(sx, sy).then(|| map.tissue.get(sx - x, sy - y)).flatten()
                };
                *label = here.iter().find_map(|(index, map)| Some((*index, tissue(map)?)));
            }
        }
        Self(labels)
    }

    /// The pane.
    pub(super) fn bounds(&self) -> Rect {
        self.0.bounds()
    }

    /// The plant at a pixel, 0 for none.
    pub(super) fn plant(&self, x: usize, y: usize) -> usize {
        self.0.get(x, y).map_or(0, |(plant, _)| plant)
    }

    /// Lays the tissues' colours and patterns over the leaves.
    pub(super) fn tint(&self, pane: &mut RgbImage) {
        for y in 0..self.0.height() {
            for (x, label) in self.0.row(y).iter().enumerate() {
                if let Some((_, tissue)) = label {
                    let pixel = pane.get_pixel_mut(x as u32, y as u32);
                    pixel.0 = palette::painted(pixel.0, *tissue, x, y);
                }
            }
        }
    }

    /// Draws a light line with a dark halo where a plant ends.
    pub(super) fn outline(&self, pane: &mut RgbImage) {
        let (width, height) = (self.0.width(), self.0.height());
        let edge: Vec<(usize, usize)> = (1..height)
            .flat_map(|y| (1..width).map(move |x| (x, y)))
            .filter(|&(x, y)| {
                let here = self.plant(x, y);
                here != self.plant(x - 1, y) || here != self.plant(x, y - 1)
            })
            .collect();
        for (radius, color) in [(LINE.1, DARK), (LINE.0, [255, 255, 255])] {
            for &(x, y) in &edge {
                stamp(pane, (x, y), radius, color);
            }
        }
    }
}

/// A round spot.
pub(super) fn stamp(pane: &mut RgbImage, (x, y): (usize, usize), radius: f32, color: [u8; 3]) {
    let reach = radius.ceil() as i64;
    for (dx, dy) in (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy))) {
        let (px, py) = (x as i64 + dx, y as i64 + dy);
        let near = ((dx * dx + dy * dy) as f32) <= radius * radius;
        if near && (0..i64::from(pane.width())).contains(&px) && (0..i64::from(pane.height())).contains(&py) {
            pane.put_pixel(px as u32, py as u32, image::Rgb(color));
        }
    }
}
