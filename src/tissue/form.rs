//! What form says and colour cannot: raised bands beside cream tissue.

use crate::base::approximate::atan2;
use crate::base::color::OkLab;
use crate::base::raster::Raster;
use crate::base::wide::wide;
use crate::base::window::{coarse, greatest, least, rows};
use crate::tissue::class::Tissue;
use crate::tissue::leaf::{Leaf, Planes};
use crate::tissue::rule::judge;

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

/// A leaf as colour and form see it.
pub struct Bands {
    /// What they make of each pixel; `None` where they leave it open: outside the plant, where band and leaf share the pixel,
    /// where the colour is none of a leaf's, or brown (dead, or green on its way to red).
    pub class: Raster<Option<Tissue>>,
    /// Lightness as photographed and Oklab a and b over it, freed from the bands' white that bleeds into the leaf.
    leaf: [Raster<f32>; 3],
    /// See [`Bands::lightness`]; NaN where it is not known.
    lightness: Raster<f32>,
}

impl Bands {
    /// Colour of leaf pixel number `i`, freed from the bands' white.
    pub fn oklab(&self, i: usize) -> OkLab {
        let [l, a, b] = self.leaf.each_ref().map(|plane| plane.as_slice()[i]);
        OkLab::new(l, a * l, b * l)
    }

    /// Lightness of leaf pixel number `i` with the bands as the white that fixes exposure, or a label card where no band is near
    /// (bands stand in the leaf's own light, a card beside it); `None` without both.
    pub fn lightness(&self, i: usize) -> Option<f32> {
        known(self.lightness.as_slice()[i])
    }
}

fn known(lightness: f32) -> Option<f32> {
    (!lightness.is_nan()).then_some(lightness)
}

/// Finds the bands, and judges the leaf beside them. `exposure`: linear light of a perfect white surface beside a label card.
pub fn bands(leaf: &Leaf, planes: Planes, exposure: Option<f64>) -> Bands {
    let d = leaf.diameter;
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let inside = leaf.mask.map(|m| f32::from(u8::from(m)));
    let Found { rank, band, mixed } = find(&planes, &inside, d);
    let edge = greatest(&band, (EDGE * d).round().max(1.0) as usize);
    let weight = leaf_weight(rank, &band, &edge, &inside);
    let around = |field: &Raster<f32>| coarse(field, 0.04 * d);
    let mut white = rows(&[around(&inside), around(&band), around(&product(&planes.lightness, &band))]);
    let Planes { lightness, a, b, saturation } = planes;
    drop(saturation);
    let mut leaf_planes = [lightness, a, b];
    away_from_bands(&mut leaf_planes, &weight, &inside, 0.012 * d);
    let beside_card = exposure.map_or(f32::NAN, |level| level.cbrt() as f32);
    let mut lightness = Raster::filled(w, h, f32::NAN);
    let mut class = Raster::filled(w, h, None);
    let mut colours = vec![(0.0, 0.0); w];
    for y in 0..h {
        let planes = leaf_planes.each_ref().map(|plane| plane.row(y));
        anchor(lightness.row_mut(y), planes[0], white.row(y), beside_card);
        hues(&mut colours, planes);
        let form = band.row(y).iter().zip(mixed.row(y)).zip(edge.row(y)).zip(leaf.mask.row(y));
        let colours = colours.iter().zip(lightness.row(y));
        for ((class, (((&band, &mixed), &edge), &inside)), (&(hue, saturation), &lightness)) in
            class.row_mut(y).iter_mut().zip(form).zip(colours)
        {
            *class = match (band > 0.0, mixed && edge > 0.0) {
                (true, _) => Some(Tissue::Band),
                (_, true) => None,
                _ if inside => judge(hue, saturation, known(lightness)).tissue(),
                _ => None,
            };
        }
    }
    Bands { class, leaf: leaf_planes, lightness }
}

/// Where bands are.
struct Found {
    /// Place of each pixel in its window's range of C/L.
    rank: Raster<f32>,
    /// 1 on bands, else 0.
    band: Raster<f32>,
    /// True where C/L is between that of band and leaf.
    mixed: Raster<bool>,
}

/// Bands are the locally least coloured and brightest lines of the leaf; cream tissue is pale over
/// wider areas and keeps some colour, so it never is the lowest third of its own surroundings and near white as well.
fn find(planes: &Planes, inside: &Raster<f32>, diameter: f32) -> Found {
    let (w, h) = (inside.width(), inside.height());
    let radius = (WINDOW * diameter).round().max(1.0) as usize;
    let (low, high) = saturation_range(planes, inside, radius);
    let mut around = rows(&[inside, &planes.lightness].map(|field| coarse(field, 0.02 * diameter)));
    let mut rank = Raster::filled(w, h, 1.0f32);
    let mut band = Raster::filled(w, h, 0.0f32);
    let mut mixed = Raster::filled(w, h, false);
    for y in 0..h {
        let light = planes.lightness.row(y).iter().zip(around.row(y));
        let range = planes.saturation.row(y).iter().zip(low.row(y)).zip(high.row(y)).zip(inside.row(y));
        let out = rank.row_mut(y).iter_mut().zip(band.row_mut(y)).zip(mixed.row_mut(y));
        wide(|| {
            for ((((rank, band), mixed), (((&s, &low), &high), &inside)), (&l, &[leaf, sum])) in
                out.zip(range).zip(light)
            {
                let contrast = high - low;
                let r = (s - low) / (contrast + 0.01);
                let bright = l * leaf >= BAND_BRIGHTNESS * sum;
                let on = r <= BAND_RANK && s <= BAND_SATURATION && bright && contrast > CONTRAST && inside > 0.0;
                *rank = r;
                *band = if on { 1.0 } else { 0.0 };
                *mixed = r > BAND_RANK && r < LEAF_RANK && contrast > MIXED_CONTRAST;
            }
        });
    }
    Found { rank, band, mixed }
}

/// Least and greatest C/L of the leaf around each pixel.
fn saturation_range(planes: &Planes, inside: &Raster<f32>, radius: usize) -> (Raster<f32>, Raster<f32>) {
    let masked = planes.saturation.as_slice().iter().zip(inside.as_slice());
    let masked = masked.map(|(&s, &i)| if i > 0.0 { s } else { 9.0 }).collect();
    (least(&Raster::from_vec(inside.width(), inside.height(), masked), radius), greatest(&planes.saturation, radius))
}

/// 1 on plain leaf, 0 on bands, between where the two mix; takes the place of the rank.
fn leaf_weight(mut rank: Raster<f32>, band: &Raster<f32>, edge: &Raster<f32>, inside: &Raster<f32>) -> Raster<f32> {
    let form = band.as_slice().iter().zip(edge.as_slice()).zip(inside.as_slice());
    wide(|| {
        for (value, ((&band, &edge), &inside)) in rank.as_mut_slice().iter_mut().zip(form) {
            let plain = ((*value - LEAF_RANK) / (PLAIN_RANK - LEAF_RANK)).clamp(0.0, 1.0);
            *value = inside * (1.0 - band) * if edge > 0.0 { plain } else { 1.0 };
        }
    });
    rank
}

fn product(a: &Raster<f32>, b: &Raster<f32>) -> Raster<f32> {
    let mut out = a.clone();
    wide(|| out.as_mut_slice().iter_mut().zip(b.as_slice()).for_each(|(a, b)| *a *= b));
    out
}

/// Mixed pixels of the planes are taken over by the plain leaf around them.
fn away_from_bands(planes: &mut [Raster<f32>; 3], weight: &Raster<f32>, inside: &Raster<f32>, sigma: f32) {
    let mut floor = weight.clone();
    floor.as_mut_slice().iter_mut().zip(inside.as_slice()).for_each(|(w, i)| *w += 1e-3 * i);
    let [l, a, b] = planes.each_ref().map(|plane| coarse(&product(plane, &floor), sigma));
    let mut around = rows(&[coarse(&floor, sigma), l, a, b]);
    drop(floor);
    let [l, a, b] = planes;
    for y in 0..weight.height() {
        let own = l.row_mut(y).iter_mut().zip(a.row_mut(y)).zip(b.row_mut(y)).zip(weight.row(y));
        let around = around.row(y);
        wide(|| {
            for ((((l, a), b), &t), &[floor, l_sum, a_sum, b_sum]) in own.zip(around) {
                let share = if floor > 1e-5 { (1.0 - t) / floor } else { 0.0 };
                *l = t * *l + share * l_sum;
                *a = t * *a + share * a_sum;
                *b = t * *b + share * b_sum;
            }
        });
    }
}

/// Lightness of a row beside the bands' white around it (soft means of the plant, of its bands, of their lightness), or beside
/// the card's.
fn anchor(out: &mut [f32], lightness: &[f32], around: &[[f32; 3]], beside_card: f32) {
    wide(|| {
        for ((out, &l), &[inside, band, sum]) in out.iter_mut().zip(lightness).zip(around) {
            let white = (sum / band.max(1e-5)).max(0.02) / BAND_LIGHTNESS;
            let anchored = band > ANCHORED * inside.max(1e-4);
            *out = l / if anchored { white } else { beside_card };
        }
    });
}

/// Hue, degrees, and C/L of a row.
fn hues(out: &mut [(f32, f32)], [_, a, b]: [&[f32]; 3]) {
    wide(|| {
        for ((out, &a), &b) in out.iter_mut().zip(a).zip(b) {
            *out = (atan2(b, a).to_degrees(), (a * a + b * b).sqrt());
        }
    });
}
