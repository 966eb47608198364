//! Drawing: text, boxes, wrapped lines.

use super::palette::Rgb;
use ab_glyph::FontRef;
use image::RgbImage;
use imageproc::drawing::{draw_filled_rect_mut, draw_text_mut, text_size};
use imageproc::rect::Rect;

/// Letters.
pub(super) struct Pen {
    regular: FontRef<'static>,
    bold: FontRef<'static>,
}

/// What is written where: left end, top, letter height in pixels, colour.
#[derive(Clone, Copy)]
pub(super) struct Style {
    /// Height of the letters, pixels.
    pub(super) size: f32,
    /// Colour.
    pub(super) color: Rgb,
    /// Bold or regular.
    pub(super) bold: bool,
}

impl Pen {
    pub(super) fn new() -> Self {
        let font = |bytes| FontRef::try_from_slice(bytes).expect("the font is part of the program");
        Self { regular: font(dejavu::sans::regular()), bold: font(dejavu::sans::bold()) }
    }

    fn font(&self, style: Style) -> &FontRef<'static> {
        if style.bold { &self.bold } else { &self.regular }
    }

    /// Width of a line of text, pixels.
    pub(super) fn width(&self, text: &str, style: Style) -> usize {
        // Blanks at the end have no ink: measured between two letters.
        let [with, without] = [format!("|{text}|"), "||".into()].map(|t| text_size(style.size, self.font(style), &t).0);
        with.saturating_sub(without) as usize
    }

    /// Writes one line with its left end at `x` and its top at `y`.
    pub(super) fn write(&self, image: &mut RgbImage, (x, y): (usize, usize), text: &str, style: Style) {
        draw_text_mut(image, image::Rgb(style.color), x as i32, y as i32, style.size, self.font(style), text);
    }
}

/// Fills a box.
pub(super) fn fill(image: &mut RgbImage, (x, y): (usize, usize), (width, height): (usize, usize), color: Rgb) {
    if width > 0 && height > 0 {
        let area = Rect::at(x as i32, y as i32).of_size(width as u32, height as u32);
        draw_filled_rect_mut(image, area, image::Rgb(color));
    }
}
