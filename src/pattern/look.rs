//! How much red light each place of the leaf gives back, beside the bands in the same light.
//!
//! Chlorophyll absorbs red: model leaves (PROSPECT-D, `docs/science.md`) give back about 0.1 of a band's red light when
//! green, 0.5 to 0.6 when gold, 0.7 to 0.9 when cream. The bands stand in the leaf's own light, so the ratio needs neither
//! white point nor exposure, and because light adds up, stripes finer than a pixel count with their share.

use crate::base::bilinear::bilinear;
use crate::base::color::transfer::DECODE;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::{fit, nearest};
use crate::base::window::soft;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;

/// Longer side of the grid, pixels: that of the tissue, where a leaf of a fifth of the diameter is 100 pixels wide.
const GRID: usize = 800;
/// Side of the blocks over which bands are gathered, grid pixels.
const BLOCK: usize = 8;
/// How far around a place bands are its reference, parts of the diameter: about a leaf's half width.
const NEAR: f32 = 0.05;
/// Share of bands around from which they are the reference; with fewer, all bands of the plant are.
const ENOUGH: f32 = 0.02;
/// Share of bands of the plant under which they are no reference at all.
const ANY: f32 = 0.01;
/// Red light of green and of pale leaf beside a band's, where no band is the reference (model leaves, see above).
const WITHOUT_BANDS: [f32; 2] = [0.1, 0.6];
/// How far a band's light bleeds into the leaf, parts of the diameter: judgement, 1 to 2 pixels of the grid.
const BLEED: f32 = 0.003;
/// A red code from which it is clipped, as in the tissue stage.
const CLIPPED: u8 = 251;
/// Brightest paleness that is kept: more is glare.
const MOST: f32 = 1.5;

/// One plant on a grid of limited size.
pub(super) struct Look {
    /// Class of each place, `None` outside the plant.
    pub tissue: Raster<Option<Tissue>>,
    /// Red light beside that of bands in the same light, times `weight`.
    pub paleness: Raster<f32>,
    /// 1 where the leaf's own base tissue is seen, 0 on bands and their edges, on red, dead and unreadable leaf.
    pub weight: Raster<f32>,
    /// Diameter of the disc of the same area, grid pixels.
    pub diameter: f32,
    /// Photo pixels a grid pixel.
    pub scale: f64,
    /// Green and blue light that brighter places have more, beside the red, in the photo's own colours.
    pub added: [f64; 2],
}

impl Look {
    /// The plant of `map` in `picture`.
    pub(super) fn new(picture: &Raster<[u8; 3]>, map: &TissueMap) -> Self {
        let bounds = map.bounds;
        let (w, h) = fit(bounds.width, bounds.height, GRID);
        let (columns, rows) = (nearest(bounds.width, w), nearest(bounds.height, h));
        let mut classes = Vec::with_capacity(w * h);
        rows.iter().map(|&y| map.tissue.row(y)).for_each(|row| classes.extend(columns.iter().map(|&x| row[x])));
        let tissue: Raster<Option<Tissue>> = Raster::from_vec(w, h, classes);
        let pixels = tissue.as_slice().iter().flatten().count();
        let diameter = (pixels as f32 * 4.0 / std::f32::consts::PI).sqrt();
        let [red, green, blue] = light(picture, bounds, &tissue);
        let weight = weights(&tissue, &red, diameter);
        let reference = reference(&tissue, &red, diameter);
        let data = red.as_slice().iter().zip(reference.as_slice()).zip(weight.as_slice());
        let paleness = data.map(|((&r, &whole), &weight)| weight * (r / whole).min(MOST)).collect();
        let added = added(&weight, &reference, &red, [&green, &blue]);
        Self {
            added,
            paleness: Raster::from_vec(w, h, paleness),
            weight,
            tissue,
            diameter,
            scale: bounds.width as f64 / w as f64,
        }
    }

    /// Mean and standard deviation of the paleness of base tissue.
    pub(super) fn level(&self) -> (f64, f64) {
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for (&p, _) in self.paleness.as_slice().iter().zip(self.weight.as_slice()).filter(|(_, w)| **w > 0.0) {
            let p = f64::from(p);
            (n, sum, squares) = (n + 1.0, sum + p, squares + p * p);
        }
        let mean = sum / f64::max(n, 1.0);
        (mean, (squares / f64::max(n, 1.0) - mean * mean).max(0.0).sqrt())
    }
}

/// Linear light of red, green and blue, means over each grid pixel's block; clipped blocks are negative. 0 beside the plant.
fn light(picture: &Raster<[u8; 3]>, bounds: Rect, tissue: &Raster<Option<Tissue>>) -> [Raster<f32>; 3] {
    let (w, h) = (tissue.width(), tissue.height());
    let cuts = |length: usize, n: usize| (0..=n).map(|i| i * length / n).collect::<Vec<_>>();
    let (columns, rows) = (cuts(bounds.width, w), cuts(bounds.height, h));
    let linear: [f32; 256] =
        std::array::from_fn(|code| if code >= usize::from(CLIPPED) { f32::NEG_INFINITY } else { DECODE[code] });
    let mut out = [(); 3].map(|()| Raster::filled(w, h, 0.0f32));
    for (y, down) in rows.windows(2).enumerate() {
        for (x, across) in columns.windows(2).enumerate().filter(|&(x, _)| tissue.get(x, y).is_some()) {
            let mut sum = [0.0f32; 3];
            for row in bounds.y + down[0]..bounds.y + down[1] {
                for code in &picture.row(row)[bounds.x + across[0]..bounds.x + across[1]] {
                    sum.iter_mut().zip(code).for_each(|(sum, &code)| *sum += linear[usize::from(code)]);
                }
            }
            let pixels = ((down[1] - down[0]) * (across[1] - across[0])) as f32;
            out.iter_mut().zip(sum).for_each(|(out, sum)| out.set(x, y, (sum / pixels).max(-1.0)));
        }
    }
    out
}

/// Slopes (least squares) of green and of blue light against red light over the base tissue, all beside the bands' red
/// light, so that shade counts little.
fn added(weight: &Raster<f32>, reference: &Raster<f32>, red: &Raster<f32>, others: [&Raster<f32>; 2]) -> [f64; 2] {
    let seen = || {
        let light = [red, others[0], others[1]].map(Raster::as_slice);
        let places = weight.as_slice().iter().zip(reference.as_slice()).enumerate();
        places
            .map(move |(i, (&weight, &whole))| (weight, whole, light.map(|channel| channel[i])))
            .filter(|(weight, _, [_, green, blue])| *weight > 0.0 && *green >= 0.0 && *blue >= 0.0)
            .map(|(_, whole, light)| light.map(|l| f64::from(l / whole)))
    };
    let (n, sum) = seen().fold((0.0, 0.0), |(n, sum), [red, ..]| (n + 1.0, sum + red));
    let mean = sum / f64::max(n, 1.0);
    let mut against = [0.0; 3];
    seen().for_each(|light| against.iter_mut().zip(light).for_each(|(sum, l)| *sum += (light[0] - mean) * l));
    let [own, green, blue] = against;
    [green, blue].map(|other| other / own.max(1e-9))
}

fn is_band(class: Option<Tissue>) -> bool {
    class == Some(Tissue::Band)
}

fn weights(tissue: &Raster<Option<Tissue>>, red: &Raster<f32>, diameter: f32) -> Raster<f32> {
    let (w, h) = (tissue.width(), tissue.height());
    let reach = (BLEED * diameter).round().max(1.0) as usize;
    let data = tissue.as_slice().iter().zip(red.as_slice()).map(|(class, &light)| match class {
        Some(Tissue::Green | Tissue::Cream | Tissue::Gold | Tissue::Unsure) if light >= 0.0 => 1.0,
        Some(_) | None => 0.0,
    });
    let mut weight = Raster::from_vec(w, h, data.collect());
    for y in 0..h {
        for x in (0..w).filter(|&x| is_band(tissue.get(x, y))) {
            let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(w));
            weight.row_mut(y)[left..right].fill(0.0);
            for v in y.saturating_sub(reach)..(y + reach + 1).min(h) {
                weight.set(x, v, 0.0);
            }
        }
    }
    weight
}

/// Red light of the bands around each place.
fn reference(tissue: &Raster<Option<Tissue>>, red: &Raster<f32>, diameter: f32) -> Raster<f32> {
    let (w, h) = (tissue.width(), tissue.height());
    let (columns, rows) = (w.div_ceil(BLOCK), h.div_ceil(BLOCK));
    let (mut light, mut share) = (Raster::filled(columns, rows, 0.0f32), Raster::filled(columns, rows, 0.0f32));
    let unit = 1.0 / (BLOCK * BLOCK) as f32;
    for y in 0..h {
        for x in (0..w).filter(|&x| is_band(tissue.get(x, y)) && red.get(x, y) >= 0.0) {
            let (u, v) = (x / BLOCK, y / BLOCK);
            light.set(u, v, light.get(u, v) + red.get(x, y) * unit);
            share.set(u, v, share.get(u, v) + unit);
        }
    }
    let (all_light, all_share) = (light.as_slice().iter().sum::<f32>(), share.as_slice().iter().sum::<f32>());
    let pixels = tissue.as_slice().iter().flatten().count() as f32;
    if all_share < ANY * pixels * unit {
        return Raster::filled(w, h, without_bands(tissue, red));
    }
    let sigma = NEAR * diameter / BLOCK as f32;
    let (light, share) = (soft(&light, sigma), soft(&share, sigma));
    let data = light.as_slice().iter().zip(share.as_slice());
    let data = data.map(|(l, &s)| if s >= ENOUGH { l / s } else { all_light / all_share }).map(|v| v.max(1e-4));
    bilinear(&Raster::from_vec(columns, rows, data.collect()), w, h)
}

/// What a band would give back, by what green leaf gives back, or pale leaf where there is none.
fn without_bands(tissue: &Raster<Option<Tissue>>, red: &Raster<f32>) -> f32 {
    let mean = |wanted: &[Tissue]| {
        let hit = tissue.as_slice().iter().zip(red.as_slice());
        let hit = hit.filter(|(class, r)| class.is_some_and(|c| wanted.contains(&c)) && **r >= 0.0);
        let (n, sum) = hit.fold((0.0f32, 0.0), |(n, sum), (_, r)| (n + 1.0, sum + r));
        (n > 0.0).then(|| sum / n)
    };
    let green = mean(&[Tissue::Green]).map(|r| r / WITHOUT_BANDS[0]);
    let pale = || mean(&[Tissue::Cream, Tissue::Gold]).map(|r| r / WITHOUT_BANDS[1]);
    green.or_else(pale).unwrap_or(1.0).max(1e-4)
}
