//! Hue of the tissue that is still green: how far it has moved towards red says more of a season than red area does.

use crate::base::color::OkLab;
use crate::base::raster::{Raster, Rect};
use crate::base::stats::{Interval, SplitMix64, quantile};
use crate::calibrate::Calibrated;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;

/// At most about this many pixels of a plant's box are looked at.
const MOST: usize = 20_000;
/// Tiles across the plant: about a leaf's width each, so that tiles are nearly independent.
const TILES: usize = 8;
/// Fewest green pixels from which a hue is told.
const FEWEST: usize = 200;
/// Plausible whites beside the best one.
const WHITES: usize = 12;
/// At most about this many pixels are looked at again under each white: only the shift of the median is used.
const AGAIN: usize = 3_000;
/// Replicates of the bootstrap.
const REPLICATES: usize = 200;
/// Normal quantile of 95 % intervals.
const Z: f64 = 1.96;

/// Codes of green pixels, tile by tile.
type Tiles = Vec<Vec<[u8; 3]>>;

/// Median Oklab hue of green tissue, degrees (leaf green is about 110 to 150, less is nearer to red). 95 % interval by block
/// bootstrap over tiles (Efron, Tibshirani 1993, "An introduction to the bootstrap", ch. 8) and, in quadrature, of the white
/// point. `None` where hardly any green is seen. What has turned red is no longer green and counts in the red share, so this hue
/// moves less than the leaf's.
pub fn green_hue(calibrated: &Calibrated, map: &TissueMap) -> Option<Interval> {
    let tiles = tiles(&calibrated.photo.rgb, map);
    let pixels: Vec<[u8; 3]> = tiles.iter().flatten().copied().collect();
    if pixels.len() < FEWEST {
        return None;
    }
    let converter = calibrated.converter();
    let mut hues: Vec<(f64, usize)> = Vec::with_capacity(pixels.len());
    for (number, tile) in tiles.iter().enumerate() {
        hues.extend(tile.iter().map(|&code| (degrees(converter.oklab(code)), number)));
    }
    hues.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let value = hues[hues.len() / 2].0;
    let mut random = SplitMix64::new(0x0C_0107);
    let mut drawn: Vec<f64> = (0..REPLICATES)
        .filter_map(|_| {
            let mut times = vec![0; tiles.len()];
            for _ in &tiles {
                times[random.below(tiles.len())] += 1;
            }
            let pixels = times.iter().zip(&tiles).map(|(times, tile)| times * tile.len()).sum();
            median_of_drawn(&hues, &times, pixels)
        })
        .collect();
    let below = value - quantile(&mut drawn, 0.025)?.min(value);
    let above = quantile(&mut drawn, 0.975)?.max(value) - value;
    let light = Z * white_sd(calibrated, &pixels);
    Some(Interval { value, low: value - below.hypot(light), high: value + above.hypot(light) })
}

/// The median, as [`median`], of hues in their order, each with its tile, that count as often as their tile was drawn.
fn median_of_drawn(hues: &[(f64, usize)], times: &[usize], pixels: usize) -> Option<f64> {
    let mut passed = 0;
    let middle = hues.iter().find(|(_, tile)| {
        passed += times[*tile];
        passed > pixels / 2
    });
    middle.map(|&(hue, _)| hue)
}

/// Codes of green pixels, tile by tile; tiles without any are left out.
fn tiles(rgb: &Raster<[u8; 3]>, map: &TissueMap) -> Tiles {
    let Rect { x: left, y: top, width, height } = map.bounds;
    let side = width.max(height).div_ceil(TILES).max(1);
    let across = width.div_ceil(side);
    let step = (((width * height) as f64 / MOST as f64).sqrt().ceil() as usize).max(1);
    let mut tiles: Tiles = vec![Vec::new(); across * height.div_ceil(side)];
    for y in (0..height).step_by(step) {
        for x in (0..width).step_by(step).filter(|&x| map.tissue.get(x, y) == Some(Tissue::Green)) {
            tiles[y / side * across + x / side].push(rgb.get(left + x, top + y));
        }
    }
    tiles.retain(|tile| !tile.is_empty());
    tiles
}

/// Standard deviation of the median hue over plausible whites.
fn white_sd(calibrated: &Calibrated, pixels: &[[u8; 3]]) -> f64 {
    let step = pixels.len().div_ceil(AGAIN);
    let under = |white| {
        let converter = calibrated.converter_for(white);
        median(pixels.iter().step_by(step).map(|&code| degrees(converter.oklab(code))))
    };
    let hues: Vec<f64> = calibrated.white.samples(WHITES + 1).into_iter().skip(1).filter_map(under).collect();
    let n = hues.len().max(2) as f64;
    let mean = hues.iter().sum::<f64>() / n;
    (hues.iter().map(|hue| (hue - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

fn degrees(lab: OkLab) -> f64 {
    f64::from(lab.b).atan2(f64::from(lab.a)).to_degrees()
}

/// The middle value; of an even number the upper of the two in the middle.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibrate::{White, WhiteSource};
    use crate::photo::{Photo, Primaries};

    /// A plant of one colour, seen in a white that is known to `mired_sd`.
    fn seen(code: [u8; 3], tissue: Tissue, mired_sd: f64) -> Option<Interval> {
        let photo = Photo::of(Raster::filled(60, 60, code), Primaries::Srgb);
        let white = White { source: WhiteSource::Estimated, rgb: [1.0; 3], mired_sd, duv_sd: 0.0 };
        let bounds = Rect { x: 0, y: 0, width: 60, height: 60 };
        let tissue = Raster::filled(60, 60, Some(tissue));
        green_hue(&Calibrated::new(photo, white), &TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 })
    }

    #[test]
    fn it_is_the_hue_of_oklab() {
        use palette::{FromColor, Oklab, Srgb};
        for code in [[70, 100, 50], [90, 95, 40]] {
            let lab = Oklab::from_color(Srgb::from(code).into_format::<f32>());
            let expected = f64::from(lab.b.atan2(lab.a).to_degrees());
            let got = seen(code, Tissue::Green, 0.0).unwrap();
            assert!((got.value - expected).abs() < 0.05, "{got:?} {expected}");
            assert!(got.high - got.low < 1e-6);
        }
        assert_eq!(seen([70, 100, 50], Tissue::Cream, 0.0), None);
    }

    /// 10 mired move the hue of leaf green by about 1.8 degrees (leaf optics: PROSPECT-D, `docs/science.md`).
    #[test]
    fn an_unknown_white_widens_it() {
        let [sure, unsure] = [10.0, 20.0].map(|sd| {
            let hue = seen([70, 100, 50], Tissue::Green, sd).unwrap();
            (hue.high - hue.low) / 2.0 / Z
        });
        assert!((1.0..3.0).contains(&sure), "{sure}");
        assert!((unsure / sure - 2.0).abs() < 0.3, "{unsure} {sure}");
    }
}
