//! The pixels of one plant, ready to be judged: exposure-free colour planes on a working grid.

use crate::base::color::OkLab;
use crate::base::color::oklab::Converter;
use crate::base::raster::Raster;
use crate::base::resample::{fit, nearest, shrink};
use crate::segment::Rosette;

/// A code at or above this is clipped: 4 under the top, because areas were averaged.
const CLIPPED: u8 = 251;
/// All codes at or under this: shadow too deep to read.
const SHADOW: u8 = 10;

/// One plant's pixels on a grid of limited size.
pub struct Leaf {
    codes: Raster<[u8; 3]>,
    /// True on the plant.
    pub mask: Raster<bool>,
    /// Diameter of the disc of the same area, grid pixels: the unit of all windows.
    pub diameter: f32,
}

/// Colour of the plant under one white point.
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
        let mask: Vec<bool> = rows.iter().flat_map(|&y| columns.iter().map(move |&x| rosette.mask.get(x, y))).collect();
        let pixels = mask.iter().filter(|&&m| m).count();
        let diameter = (pixels as f32 * 4.0 / std::f32::consts::PI).sqrt();
        Self { codes, mask: Raster::from_vec(w, h, mask), diameter }
    }

    /// Why a pixel cannot be read: glare or clipping, or deep shadow.
    pub fn unreadable(&self, x: usize, y: usize) -> Option<Unreadable> {
        let code = self.codes.get(x, y);
        if code.iter().any(|&c| c >= CLIPPED) {
            Some(Unreadable::Clipped)
        } else {
            code.iter().all(|&c| c <= SHADOW).then_some(Unreadable::Shadow)
        }
    }

    /// Its colour planes under the white of `converter`.
    pub fn planes(&self, converter: &Converter) -> Planes {
        let (w, h) = (self.mask.width(), self.mask.height());
        let mut planes = [(); 4].map(|()| Vec::with_capacity(w * h));
        let mut labs = vec![OkLab::new(0.0, 0.0, 0.0); w];
        for y in 0..h {
            converter.oklab_row(self.codes.row(y), &mut labs);
            for (lab, &inside) in labs.iter().zip(self.mask.row(y)) {
                let l = lab.l.max(0.02);
                let (a, b) = (lab.a / l, lab.b / l);
                let values = if inside { [l, a, b, a.hypot(b)] } else { [1.0, 0.0, 0.0, 0.0] };
                planes.iter_mut().zip(values).for_each(|(p, v)| p.push(v));
            }
        }
        let [lightness, a, b, saturation] = planes.map(|p| Raster::from_vec(w, h, p));
        Planes { lightness, a, b, saturation }
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
