//! What form says and colour cannot: raised bands beside cream tissue.

use crate::base::color::OkLab;
use crate::base::raster::Raster;
use crate::base::window::{greatest, least, soft, soft_where};
use crate::tissue::class::Tissue;
use crate::tissue::leaf::{Leaf, Planes};
use crate::tissue::rule::{Hue, judge};

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
    /// Lightness of leaf tissue with the bands as the white that fixes exposure, or a label card where no band is near
    /// (bands stand in the leaf's own light, a card beside it); `None` without both.
    pub lightness: Raster<Option<f32>>,
    /// Lightness as photographed, freed from the bands' white.
    pub unanchored: Raster<f32>,
    /// Oklab a and b over lightness of the leaf, freed from the bands' white that bleeds into it.
    pub leaf: [Raster<f32>; 2],
}

impl Bands {
    /// What colour and form make of pixel number `i`; `None` where they leave it open: band and leaf share the pixel,
    /// the colour is none of a leaf's, or it is brown (dead, or green on its way to red).
    pub fn class(&self, i: usize) -> Option<Tissue> {
        match (self.band.as_slice()[i], self.mixed.as_slice()[i]) {
            (true, _) => Some(Tissue::Band),
            (_, true) => None,
            _ => self.colour(i).tissue(),
        }
    }

    /// Colour of leaf pixel number `i`, freed from the bands' white.
    pub fn oklab(&self, i: usize) -> OkLab {
        let l = self.unanchored.as_slice()[i];
        OkLab::new(l, self.leaf[0].as_slice()[i] * l, self.leaf[1].as_slice()[i] * l)
    }

    fn colour(&self, i: usize) -> Hue {
        let (a, b) = (self.leaf[0].as_slice()[i], self.leaf[1].as_slice()[i]);
        judge(b.atan2(a).to_degrees(), a.hypot(b), self.lightness.as_slice()[i])
    }
}

/// Finds the bands. They are the locally least coloured and brightest lines of the leaf; cream tissue is pale over
/// wider areas and keeps some colour, so it never is the lowest third of its own surroundings and near white as well.
/// `exposure`: linear light of a perfect white surface beside a label card.
pub fn bands(leaf: &Leaf, planes: &Planes, exposure: Option<f64>) -> Bands {
    let d = leaf.diameter;
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let inside = leaf.mask.map(|m| f32::from(u8::from(m)));
    let radius = (WINDOW * d).round().max(1.0) as usize;
    let (low, high) = saturation_range(leaf, planes, radius);
    let [around] = soft_where([&planes.lightness], &inside, 0.02 * d);
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
    let anchored = near_share(&on_band, &inside, 0.04 * d).map(|share| share > ANCHORED);
    let [white] = soft_where([&planes.lightness], &on_band, 0.04 * d);
    let edge = greatest(&on_band, (EDGE * d).round().max(1.0) as usize).map(|e| e > 0.0);
    let weight = leaf_weight(&rank, &band, &edge, &inside);
    let [lightness, a, b] = away_from_bands([&planes.lightness, &planes.a, &planes.b], &weight, &inside, 0.012 * d);
    let beside_card = exposure.map(|level| level.cbrt() as f32);
    let anchor = |i: usize| {
        let white = anchored.as_slice()[i].then(|| white.as_slice()[i].max(0.02) / BAND_LIGHTNESS);
        Some(lightness.as_slice()[i] / white.or(beside_card)?)
    };
    let lightness_known = Raster::from_vec(w, h, (0..w * h).map(anchor).collect());
    for (m, &e) in mixed.as_mut_slice().iter_mut().zip(edge.as_slice()) {
        *m &= e;
    }
    Bands { band, mixed, lightness: lightness_known, unanchored: lightness, leaf: [a, b] }
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

/// The planes with mixed pixels taken over by the plain leaf around them.
fn away_from_bands<const N: usize>(
    planes: [&Raster<f32>; N],
    weight: &Raster<f32>,
    inside: &Raster<f32>,
    sigma: f32,
) -> [Raster<f32>; N] {
    let floor = weight.as_slice().iter().zip(inside.as_slice()).map(|(w, i)| w + 1e-3 * i).collect();
    let mut out = soft_where(planes, &Raster::from_vec(weight.width(), weight.height(), floor), sigma);
    for (out, plane) in out.iter_mut().zip(planes) {
        for ((base, &own), &t) in out.as_mut_slice().iter_mut().zip(plane.as_slice()).zip(weight.as_slice()) {
            *base = t * own + (1.0 - t) * *base;
        }
    }
    out
}
