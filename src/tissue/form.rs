//! What form says and colour cannot: raised bands beside cream tissue, dead tips beside reddening leaf.

use crate::base::raster::{Raster, Rect};
use crate::base::window::{greatest, least, soft, soft_where};
use crate::segment::regions::labels;
use crate::tissue::leaf::{Leaf, Planes};
use imageproc::region_labelling::Connectivity;

/// Half the window in which a band is compared with the leaf beside it, as a share of the diameter: about half a pitch.
const WINDOW: f32 = 0.027;
/// A band is among this lowest part of its window's range of C/L.
const BAND_RANK: f32 = 0.30;
/// Above this part of the range the pixel is leaf; between, band and leaf are mixed in one pixel.
const LEAF_RANK: f32 = 0.45;
/// From this part of the range the pixel is plain leaf, untouched by the band's white.
const PLAIN_RANK: f32 = 0.80;
/// A band's C/L at most: raised tissue is near white (common practice, no source).
const BAND_SATURATION: f32 = 0.07;
/// A band is at least this bright beside the mean of 2 % of the diameter around it.
const BAND_BRIGHTNESS: f32 = 0.9;
/// How far from a band its white bleeds into the leaf, as a share of the diameter: 3 to 4 pixels of the working grid.
const EDGE: f32 = 0.005;
/// Range of C/L in a window from which band and leaf can be told apart.
const CONTRAST: f32 = 0.03;
/// Range of C/L from which a pixel between band and leaf counts as mixed.
const MIXED_CONTRAST: f32 = 0.05;
/// Oklab lightness of band tissue at reflectance 0.70 (an assumption; white is 1).
const BAND_LIGHTNESS: f32 = 0.89;
/// Share of bands around a pixel (4 % of the diameter) from which they anchor its lightness.
const ANCHORED: f32 = 0.03;

/// Bands of a plant, and what they tell about the leaf between them.
pub struct Bands {
    /// True on bands.
    pub band: Raster<bool>,
    /// True where band and leaf share a pixel.
    pub mixed: Raster<bool>,
    /// Lightness of leaf tissue with the bands as the white that fixes exposure; `None` where no band is near.
    pub lightness: Raster<Option<f32>>,
    /// Oklab a and b over lightness of the leaf, freed from the bands' white that bleeds into it.
    pub leaf: [Raster<f32>; 2],
}

/// Finds the bands. They are the locally least coloured and brightest lines of the leaf; cream tissue is pale over
/// wider areas and keeps some colour, so it never is the lowest third of its own surroundings and near white as well.
pub fn bands(leaf: &Leaf, planes: &Planes) -> Bands {
    let d = leaf.diameter;
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let inside = leaf.mask.map(|m| f32::from(u8::from(m)));
    let radius = (WINDOW * d).round().max(1.0) as usize;
    let (low, high) = saturation_range(leaf, planes, radius);
    let around = soft_where(&planes.lightness, &inside, 0.02 * d);
    let mut rank = Raster::filled(w, h, 1.0f32);
    let mut band = Raster::filled(w, h, false);
    let mut mixed = Raster::filled(w, h, false);
    for i in (0..w * h).filter(|&i| leaf.mask.as_slice()[i]) {
        let (s, low, high) = (planes.saturation.as_slice()[i], low.as_slice()[i], high.as_slice()[i]);
        let r = (s - low) / (high - low + 0.01);
        rank.as_mut_slice()[i] = r;
        let bright = planes.lightness.as_slice()[i] >= BAND_BRIGHTNESS * around.as_slice()[i];
        band.as_mut_slice()[i] = r <= BAND_RANK && s <= BAND_SATURATION && bright && high - low > CONTRAST;
        mixed.as_mut_slice()[i] = r > BAND_RANK && r < LEAF_RANK && high - low > MIXED_CONTRAST;
    }
    let on_band = band.map(|b| f32::from(u8::from(b)));
    let near = near_share(&on_band, &inside, 0.04 * d);
    let white = soft_where(&planes.lightness, &on_band, 0.04 * d);
    let anchored = near.map(|n| n > ANCHORED);
    let edge = greatest(&on_band, (EDGE * d).round().max(1.0) as usize).map(|e| e > 0.0);
    let weight = leaf_weight(&rank, &band, &edge, &inside);
    let unbled = |plane: &Raster<f32>| away_from_bands(plane, &weight, &inside, 0.012 * d);
    let lightness = unbled(&planes.lightness);
    let anchor = |i: usize| {
        anchored.as_slice()[i].then(|| BAND_LIGHTNESS * lightness.as_slice()[i] / white.as_slice()[i].max(0.02))
    };
    let lightness_known = Raster::from_vec(w, h, (0..w * h).map(anchor).collect());
    for (m, &e) in mixed.as_mut_slice().iter_mut().zip(edge.as_slice()) {
        *m &= e;
    }
    Bands { band, mixed, lightness: lightness_known, leaf: [unbled(&planes.a), unbled(&planes.b)] }
}

fn saturation_range(leaf: &Leaf, planes: &Planes, radius: usize) -> (Raster<f32>, Raster<f32>) {
    let masked = |outside: f32| {
        let data = planes.saturation.as_slice().iter().zip(leaf.mask.as_slice());
        let data = data.map(|(&s, &m)| if m { s } else { outside }).collect();
        Raster::from_vec(leaf.mask.width(), leaf.mask.height(), data)
    };
    (least(&masked(9.0), radius), greatest(&masked(0.0), radius))
}

fn near_share(part: &Raster<f32>, whole: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let (mut top, bottom) = (soft(part, sigma), soft(whole, sigma));
    top.as_mut_slice().iter_mut().zip(bottom.as_slice()).for_each(|(t, &b)| *t /= b.max(1e-4));
    top
}

/// 1 on plain leaf, 0 on bands, between where the two mix.
fn leaf_weight(rank: &Raster<f32>, band: &Raster<bool>, edge: &Raster<bool>, inside: &Raster<f32>) -> Raster<f32> {
    let data = (0..rank.as_slice().len())
        .map(|i| match (band.as_slice()[i], edge.as_slice()[i]) {
            (true, _) => 0.0,
            (false, true) => {
                ((rank.as_slice()[i] - LEAF_RANK) / (PLAIN_RANK - LEAF_RANK)).clamp(0.0, 1.0) * inside.as_slice()[i]
            }
            (false, false) => inside.as_slice()[i],
        })
        .collect();
    Raster::from_vec(rank.width(), rank.height(), data)
}

/// The plane with mixed pixels taken over by the plain leaf around them.
fn away_from_bands(plane: &Raster<f32>, weight: &Raster<f32>, inside: &Raster<f32>, sigma: f32) -> Raster<f32> {
    let floor = weight.as_slice().iter().zip(inside.as_slice()).map(|(w, i)| w + 1e-3 * i).collect();
    let base = soft_where(plane, &Raster::from_vec(plane.width(), plane.height(), floor), sigma);
    let data = (0..plane.as_slice().len())
        .map(|i| {
            let t = weight.as_slice()[i];
            t * plane.as_slice()[i] + (1.0 - t) * base.as_slice()[i]
        })
        .collect();
    Raster::from_vec(plane.width(), plane.height(), data)
}

/// Brown that ends a leaf: connected, small, and where the plant thins out to a tip. `brown` says which pixels have the
/// colour. Brown elsewhere is leaf that reddens.
pub fn dead_tips(leaf: &Leaf, brown: &Raster<bool>) -> Raster<bool> {
    let (w, h) = (brown.width(), brown.height());
    let crowded = crowding(&leaf.mask, 0.04 * leaf.diameter);
    let labels = labels(brown, Connectivity::Four).into_vec();
    let count = labels.iter().max().map_or(0, |&m| m as usize);
    let mut parts = vec![Part::default(); count + 1];
    for (&label, &c) in labels.iter().zip(crowded.as_slice()) {
        parts[label as usize].add(c);
    }
    let pixels = leaf.mask.as_slice().iter().filter(|&&m| m).count();
    let data = labels.iter().map(|&l| l > 0 && parts[l as usize].is_tip(pixels)).collect();
    Raster::from_vec(w, h, data)
}

/// Share of the surroundings that is plant, about a Gaussian of `sigma` pixels; nothing is plant outside the picture.
fn crowding(mask: &Raster<bool>, sigma: f32) -> Raster<f32> {
    let pad = (3.0 * sigma).ceil() as usize;
    let mut padded = Raster::filled(mask.width() + 2 * pad, mask.height() + 2 * pad, 0.0f32);
    for y in 0..mask.height() {
        let row = &mut padded.row_mut(y + pad)[pad..pad + mask.width()];
        row.iter_mut().zip(mask.row(y)).for_each(|(p, &m)| *p = f32::from(u8::from(m)));
    }
    let bounds = Rect { x: pad, y: pad, width: mask.width(), height: mask.height() };
    soft(&padded, sigma).crop(bounds)
}

/// A brown patch: how many pixels, how crowded by plant its surroundings are.
#[derive(Clone, Default)]
struct Part {
    pixels: usize,
    crowding: f32,
    thin: usize,
}

impl Part {
    fn add(&mut self, crowding: f32) {
        self.pixels += 1;
        self.crowding += crowding;
        self.thin += usize::from(crowding < 0.3);
    }

    /// Sits where under 47 % of the surroundings are plant, a tenth of it where under 30 % are; neither a speck nor more
    /// than 2 % of the plant.
    fn is_tip(&self, plant: usize) -> bool {
        let n = self.pixels;
        n >= (plant / 5000).max(12) && n <= plant / 50 && self.crowding < 0.47 * n as f32 && self.thin * 10 >= n
    }
}
