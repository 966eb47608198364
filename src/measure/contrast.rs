//! How far pale and green tissue of one plant stand apart in colour.

use crate::base::color::OkLab;
use crate::base::stats::{Interval, SplitMix64, quantile};
use crate::calibrate::Calibrated;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;

/// At most about this many pixels of a plant's box are looked at.
const MOST: usize = 60_000;
/// Tiles across the plant: about a leaf's width each, so that pale and green of one tile stand in one light.
const TILES: usize = 8;
/// Fewest pixels of each in a tile that is compared.
const FEWEST: f64 = 10.0;
/// Fewest tiles from which a plant can be told.
const LEAST_TILES: usize = 3;
/// Standard deviation that other lights and cameras add: six photos of one plant in six lights differ by 0.036.
const LIGHT_SD: f64 = 0.035;
/// Normal quantile of 95 % intervals.
const Z: f64 = 1.96;
/// Replicates of the bootstrap.
const REPLICATES: usize = 200;

/// Sums of colours, and how many.
#[derive(Clone, Copy, Default)]
struct Sum([f64; 4]);

impl Sum {
    fn add(&mut self, lab: OkLab) {
        self.0.iter_mut().zip([1.0, lab.l, lab.a, lab.b].map(f64::from)).for_each(|(sum, v)| *sum += v);
    }

    fn mean(self) -> [f64; 3] {
        let [n, l, a, b] = self.0;
        [l, a, b].map(|sum| sum / n)
    }
}

/// Oklab distance of the mean colours of pale (cream and gold) and green tissue in parts of the pale tissue's lightness, so that
/// exposure takes no side: mean over tiles that hold both, weighted by what there is of the rarer one. 95 % interval by block
/// bootstrap over tiles, and of the light. `None` where fewer than three tiles hold both.
pub fn contrast(calibrated: &Calibrated, map: &TissueMap) -> Option<Interval> {
    let tiles: Vec<[f64; 2]> = tiles(calibrated, map).into_iter().filter_map(distance).collect();
    if tiles.len() < LEAST_TILES {
        return None;
    }
    let mut random = SplitMix64::new(0xC0_17A5);
    let mut drawn: Vec<f64> =
        (0..REPLICATES).map(|_| mean((0..tiles.len()).map(|_| tiles[random.below(tiles.len())]))).collect();
    let value = mean(tiles.iter().copied());
    let below = value - quantile(&mut drawn, 0.025)?.min(value);
    let above = quantile(&mut drawn, 0.975)?.max(value) - value;
    let light = Z * LIGHT_SD;
    Some(Interval { value, low: (value - below.hypot(light)).max(0.0), high: value + above.hypot(light) })
}

/// Colours of green and of pale in each tile.
fn tiles(calibrated: &Calibrated, map: &TissueMap) -> Vec<[Sum; 2]> {
    let TissueMap { bounds, tissue, .. } = map;
    let converter = calibrated.converter();
    let side = bounds.width.max(bounds.height).div_ceil(TILES).max(1);
    let across = bounds.width.div_ceil(side);
    let step = (((bounds.width * bounds.height) as f64 / MOST as f64).sqrt().ceil() as usize).max(1);
    let mut tiles = vec![[Sum::default(); 2]; across * bounds.height.div_ceil(side)];
    for y in (0..bounds.height).step_by(step) {
        for x in (0..bounds.width).step_by(step) {
            let kind = match tissue.get(x, y) {
                Some(Tissue::Green) => 0,
                Some(Tissue::Cream | Tissue::Gold) => 1,
                Some(Tissue::Red | Tissue::Band | Tissue::Dead | Tissue::Unsure) | None => continue,
            };
            let code = calibrated.photo.rgb.get(bounds.x + x, bounds.y + y);
            tiles[y / side * across + x / side][kind].add(converter.oklab(code));
        }
    }
    tiles
}

/// Distance of the two colours of a tile, and its weight.
fn distance([green, pale]: [Sum; 2]) -> Option<[f64; 2]> {
    let weight = green.0[0].min(pale.0[0]);
    (weight >= FEWEST).then(|| {
        let ([gl, ga, gb], [pl, pa, pb]) = (green.mean(), pale.mean());
        [(pl - gl).hypot(pa - ga).hypot(pb - gb) / pl.max(0.02), weight]
    })
}

/// Weighted mean.
fn mean(values: impl Iterator<Item = [f64; 2]>) -> f64 {
    let (sum, weights) = values.fold((0.0, 0.0), |(sum, weights), [v, w]| (sum + v * w, weights + w));
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::raster::{Raster, Rect};
    use crate::calibrate::{White, WhiteSource};
    use crate::photo::{Photo, Primaries};

    const GREEN: [u8; 3] = [70, 100, 50];
    const CREAM: [u8; 3] = [225, 220, 180];

    /// Stripes of 5 pixels of two tissues, each in its colour times `light` in linear light.
    fn striped(tissues: [Tissue; 2], light: f64) -> Option<Interval> {
        let dimmed = |code: u8| {
            let linear = (f64::from(code) / 255.0).powf(2.2) * light;
            (linear.powf(1.0 / 2.2) * 255.0).round() as u8
        };
        let side = |i: usize| i % 200 / 5 % 2;
        let rgb = Raster::from_vec(200, 200, (0..40_000).map(|i| [GREEN, CREAM][side(i)].map(dimmed)).collect());
        let tissue = Raster::from_vec(200, 200, (0..40_000).map(|i| Some(tissues[side(i)])).collect());
        let white = White { source: WhiteSource::Estimated, rgb: [1.0; 3], mired_sd: 0.0, duv_sd: 0.0 };
        let photo = Photo::of(rgb, Primaries::Srgb);
        let bounds = Rect { x: 0, y: 0, width: 200, height: 200 };
        contrast(&Calibrated::new(photo, white), &TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 })
    }

    /// The two colours in Oklab by the crate `palette`: (0.474, -0.049, 0.070) and (0.889, -0.014, 0.052).
    #[test]
    fn it_is_the_distance_of_the_two_colours() {
        use palette::{FromColor, Oklab, Srgb};
        let [g, p] = [GREEN, CREAM].map(|code| Oklab::from_color(Srgb::from(code).into_format::<f32>()));
        let expected = (p.l - g.l).hypot(p.a - g.a).hypot(p.b - g.b) / p.l;
        let got = striped([Tissue::Green, Tissue::Cream], 1.0).unwrap();
        assert!((got.value - f64::from(expected)).abs() < 1e-3, "{got:?}, {expected}");
        assert!(got.low <= got.value - Z * LIGHT_SD + 1e-9 && got.high >= got.value + Z * LIGHT_SD - 1e-9);
    }

    #[test]
    fn exposure_takes_no_side_and_one_tissue_has_no_contrast() {
        let [bright, dim] = [1.0, 0.4].map(|light| striped([Tissue::Green, Tissue::Gold], light).unwrap().value);
        assert!((bright - dim).abs() < 0.02, "{bright} {dim}");
        assert_eq!(striped([Tissue::Green, Tissue::Green], 1.0), None);
        assert_eq!(striped([Tissue::Red, Tissue::Cream], 1.0), None);
    }
}
