//! The pixels of one plant, ready to be judged: exposure-free colour planes on a working grid.

use crate::base::color::OkLab;
use crate::base::color::oklab::Converter;
use crate::base::raster::Raster;
use crate::base::resample::{fit, nearest, shrink};
use crate::base::wide::wide;
use crate::segment::Rosette;

/// A code at or above this is clipped: 4 under the top, because areas were averaged.
const CLIPPED: u8 = 251;
/// All codes at or under this: shadow too deep to read.
const SHADOW: u8 = 10;

/// One plant's pixels on a grid of limited size.
pub struct Leaf {
    /// Its colours as photographed.
    pub codes: Raster<[u8; 3]>,
    /// True on the plant.
    pub mask: Raster<bool>,
    /// Diameter of the disc of the same area, grid pixels: the unit of all windows.
    pub diameter: f32,
}

/// Colour of the plant under one white point; 0 outside the plant.
pub struct Planes {
    /// Oklab lightness (exposure unknown), at least 0.02.
    pub lightness: Raster<f32>,
    /// Oklab a over lightness.
    pub a: Raster<f32>,
    /// Oklab b over lightness.
    pub b: Raster<f32>,
    /// Chroma over lightness.
    pub saturation: Raster<f32>,
}

impl Leaf {
    /// The plant at most `long` pixels long.
    pub fn look(picture: &Raster<[u8; 3]>, rosette: &Rosette, long: usize) -> Self {
        let bounds = rosette.bounds;
        let (w, h) = fit(bounds.width, bounds.height, long);
        let codes = shrink(picture, bounds, w, h);
        let (columns, rows) = (nearest(bounds.width, w), nearest(bounds.height, h));
        let row = |y: &usize| rosette.mask.row(*y);
        let mask: Vec<bool> = rows.iter().map(row).flat_map(|row| columns.iter().map(|&x| row[x])).collect();
        let pixels = mask.iter().filter(|&&m| m).count();
        let diameter = (pixels as f32 * 4.0 / std::f32::consts::PI).sqrt();
        Self { codes, mask: Raster::from_vec(w, h, mask), diameter }
    }

    /// Why a pixel cannot be read: glare or clipping, or deep shadow.
    pub fn unreadable(code: [u8; 3]) -> Option<Unreadable> {
        if code.iter().any(|&c| c >= CLIPPED) {
            Some(Unreadable::Clipped)
        } else {
            code.iter().all(|&c| c <= SHADOW).then_some(Unreadable::Shadow)
        }
    }

    /// Its colour planes under the white of `converter`.
    pub fn planes(&self, converter: &Converter) -> Planes {
        let plane = || Raster::filled(self.mask.width(), self.mask.height(), 0.0f32);
        let mut planes = Planes { lightness: plane(), a: plane(), b: plane(), saturation: plane() };
        let mut labs = vec![OkLab::new(0.0, 0.0, 0.0); self.mask.width()];
        for y in 0..self.mask.height() {
            converter.oklab_row(self.codes.row(y), &mut labs);
            let Planes { lightness, a, b, saturation } = &mut planes;
            let out = lightness.row_mut(y).iter_mut().zip(a.row_mut(y)).zip(b.row_mut(y)).zip(saturation.row_mut(y));
            wide(|| {
                for ((((lightness, a), b), saturation), (lab, &inside)) in out.zip(labs.iter().zip(self.mask.row(y))) {
                    let l = lab.l.max(0.02);
                    let share = if inside { 1.0 / l } else { 0.0 };
                    *lightness = if inside { l } else { 0.0 };
                    (*a, *b) = (lab.a * share, lab.b * share);
                    *saturation = (*a * *a + *b * *b).sqrt();
                }
            });
        }
        planes
    }
}

/// Why a pixel cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unreadable {
    /// A channel is at its top.
    Clipped,
    /// All channels are at the bottom.
    Shadow,
}
