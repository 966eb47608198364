//! Pages as a printer gets them: SVG and PDF drawn by independent programs, and what is measured on the pixels.

use image::imageops::{FilterType, resize};
use std::ops::Range;
use variegauge::base::raster::Raster;
use variegauge::print::draw::Page;
use variegauge::print::{pdf, svg};

/// A grey picture with its scale. All lengths are mm.
pub(crate) struct Picture {
    pixels: Raster<u8>,
    per_mm: f64,
}

/// Along which axis is looked.
#[derive(Clone, Copy)]
pub(crate) enum Along {
    X,
    Y,
}

/// Writes a page as SVG and draws it.
pub(crate) fn from_svg(page: &Page, dpi: f64) -> Picture {
    let mut text = Vec::new();
    svg::write(page, "test", &mut text).unwrap();
    let tree = resvg::usvg::Tree::from_data(&text, &resvg::usvg::Options::default()).unwrap();
    // A pixel of CSS is 1/96 inch.
    let scale = (dpi / 96.0) as f32;
    let [width, height] = [tree.size().width(), tree.size().height()].map(|side| (side * scale).round() as u32);
    let mut map = resvg::tiny_skia::Pixmap::new(width, height).unwrap();
    map.fill(resvg::tiny_skia::Color::WHITE);
    resvg::render(&tree, resvg::tiny_skia::Transform::from_scale(scale, scale), &mut map.as_mut());
    let grey = map.pixels().iter().map(|pixel| pixel.green()).collect();
    Picture::new((width, height), grey, dpi)
}

/// Writes pages with pictures as one PDF and draws them.
pub(crate) fn from_pdf(pages: &[Page], pictures: &[pdf::Picture], dpi: f64) -> Vec<Picture> {
    let mut bytes = Vec::new();
    pdf::write(pages, pictures, "test", &mut bytes).unwrap();
    let file = hayro::hayro_syntax::Pdf::new(bytes).unwrap();
    let scale = (dpi / 72.0) as f32;
    let white = hayro::vello_cpu::color::palette::css::WHITE;
    let size = hayro::PixmapSettings { x_scale: scale, y_scale: scale, bg_color: white };
    let draw = |page| {
        let cache = hayro::RenderCache::new();
        let settings = hayro::hayro_interpret::InterpreterSettings::default();
        let map = hayro::render(page, &cache, &settings, &hayro::RenderSettings::default(), &size);
        let grey = map.data().iter().map(|pixel| pixel.g).collect();
        Picture::new((u32::from(map.width()), u32::from(map.height())), grey, dpi)
    };
    file.pages().iter().map(draw).collect()
}

impl Picture {
    fn new((width, height): (u32, u32), pixels: Vec<u8>, dpi: f64) -> Self {
        let pixels = Raster::from_vec(width as usize, height as usize, pixels);
        Self { pixels, per_mm: dpi / 25.4 }
    }

    /// Width and height.
    pub(crate) fn size(&self) -> [f64; 2] {
        [self.pixels.width(), self.pixels.height()].map(|side| side as f64 / self.per_mm)
    }

    /// Code of the pixel that a point lies in.
    pub(crate) fn code(&self, [x, y]: [f64; 2]) -> u8 {
        let [x, y] = [x, y].map(|v| (v * self.per_mm) as usize);
        self.pixels.get(x.min(self.pixels.width() - 1), y.min(self.pixels.height() - 1))
    }

    /// Places (of pixel centres) and codes along a line, at `place` of the other axis.
    fn profile(&self, along: Along, place: f64, range: Range<f64>) -> Vec<(f64, f64)> {
        let first = (range.start * self.per_mm).max(0.0) as usize;
        let centres = (first..).map(|i| (i as f64 + 0.5) / self.per_mm).take_while(|&at| at < range.end);
        let code = |at: f64| match along {
            Along::X => self.code([at, place]),
            Along::Y => self.code([place, at]),
        };
        centres.map(|at| (at, f64::from(code(at)))).collect()
    }

    /// Where the codes along a line cross the middle between the lightest and the darkest, to parts of a pixel.
    pub(crate) fn edges(&self, along: Along, place: f64, range: Range<f64>) -> Vec<f64> {
        let profile = self.profile(along, place, range);
        let codes = || profile.iter().map(|&(_, code)| code);
        let (light, dark) = (codes().fold(0.0, f64::max), codes().fold(255.0, f64::min));
        assert!(light - dark > 16.0, "nothing is printed at {place}");
        let half = f64::midpoint(light, dark);
        let crossing = |pair: &[(f64, f64)]| {
            let ((a, before), (b, after)) = (pair[0], pair[1]);
            ((before > half) != (after > half)).then(|| a + (b - a) * (before - half) / (before - after))
        };
        profile.windows(2).filter_map(crossing).collect()
    }

    /// Middles of the thin lines that are crossed: where their darkness has its centre.
    pub(crate) fn lines(&self, along: Along, place: f64, range: Range<f64>) -> Vec<f64> {
        let profile = self.profile(along, place, range);
        let dark = profile.split(|&(_, code)| code > 250.0).filter(|run| !run.is_empty());
        let weight = |run: &[(f64, f64)]| run.iter().map(|&(_, code)| 255.0 - code).sum::<f64>();
        dark.map(|run| run.iter().map(|&(at, code)| at * (255.0 - code)).sum::<f64>() / weight(run)).collect()
    }

    /// Whether an area holds bare paper only. Pixels that lie in it in part count, so leave a pixel at its sides.
    pub(crate) fn is_bare(&self, x: Range<f64>, y: Range<f64>) -> bool {
        self.ink(x, y).is_none()
    }

    /// The first and the last row with ink of an area.
    pub(crate) fn ink(&self, x: Range<f64>, y: Range<f64>) -> Option<[f64; 2]> {
        let [x0, y0] = [x.start, y.start].map(|v| (v * self.per_mm).max(0.0) as usize);
        let x1 = ((x.end * self.per_mm).ceil() as usize).min(self.pixels.width());
        let y1 = ((y.end * self.per_mm).ceil() as usize).min(self.pixels.height());
        let inked = |&y: &usize| self.pixels.row(y)[x0..x1].iter().any(|&code| code < 250);
        let first = (y0..y1).find(inked)?;
        let last = (y0..y1).rev().find(inked)?;
        Some([first as f64 / self.per_mm, (last + 1) as f64 / self.per_mm])
    }

    /// What the one QR code of an area says, by a decoder that knows nothing of this program. It rounds the corners that it
    /// finds to whole pixels and now and then fails for it, at one size or another, so it may look at a second size. A
    /// symbol that is wrong reads at neither, as its error correction tells.
    pub(crate) fn code_text(&self, [x, y]: [f64; 2], [width, height]: [f64; 2]) -> Result<String, String> {
        let [x, y, width, height] = [x, y, width, height].map(|v| (v * self.per_mm) as u32);
        let grey = |dx, dy| image::Luma([self.pixels.get((x + dx) as usize, (y + dy) as usize)]);
        let area = image::GrayImage::from_fn(width, height, grey);
        decoded(&area).or_else(|_| decoded(&resize(&area, 2 * width, 2 * height, FilterType::Triangle)))
    }
}

fn decoded(area: &image::GrayImage) -> Result<String, String> {
    let code = |x: usize, y: usize| area.get_pixel(x as u32, y as u32).0[0];
    let [width, height] = [area.width(), area.height()].map(|side| side as usize);
    let mut prepared = rqrr::PreparedImage::prepare_from_greyscale(width, height, code);
    match &prepared.detect_grids()[..] {
        [one] => one.decode().map(|(_, text)| text).map_err(|error| error.to_string()),
        codes => Err(format!("{} codes", codes.len())),
    }
}
