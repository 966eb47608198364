//! A photo as some twenty thousand small patches of mean colour, which is all that the white point needs.

use super::to_srgb;
use super::white::CLIPPED;
use crate::base::color::transfer::DECODE;
use crate::base::color::{Linear, matrix};
use crate::base::raster::Raster;
use crate::photo::Photo;

/// Tiles a photo, about: at 12 megapixels a tile is 25 pixels wide, the size of a perlite grain.
const TILES: f64 = 19_200.0;

/// Samples along a tile's side; 16 a tile, 0.3 million a photo.
const SAMPLES: usize = 4;

/// Least linear light of a tile's brightest channel; darker ones carry noise, not colour.
const DARK: f64 = 0.01;

/// Mean colours of a photo's tiles, linear sRGB. Left out: tiles with a clipped sample (their colour is wrong), dark
/// ones, and those that lie on a plant's edge.
#[derive(Debug, Default)]
pub(super) struct Tiles {
    /// Tiles off the plants; all of them if no plants were stated.
    pub(super) background: Vec<Linear>,
    /// Tiles within plants.
    pub(super) plants: Vec<Linear>,
}

/// Cuts the photo into tiles.
pub(super) fn tiles(photo: &Photo, on_plant: impl Fn(usize, usize) -> bool) -> Tiles {
    let to_srgb = to_srgb(photo.primaries);
    let (width, height) = (photo.rgb.width(), photo.rgb.height());
    let side = (((width * height) as f64 / TILES).sqrt() as usize).max(1);
    let step = (side / SAMPLES).max(1);
    let mut tiles = Tiles::default();
    for top in (step / 2..height.saturating_sub(side - 1)).step_by(side) {
        for left in (step / 2..width.saturating_sub(side - 1)).step_by(side) {
            let places = samples((left, top), (side, step), (width, height));
            let Some(mean) = mean(&photo.rgb, places.clone()) else { continue };
            let colour = matrix::apply(&to_srgb, mean).map(|part| part as f32);
            let (count, plant) =
                places.fold((0, 0), |(all, plant), (x, y)| (all + 1, plant + usize::from(on_plant(x, y))));
            if plant == 0 {
                tiles.background.push(colour);
            } else if plant == count {
                tiles.plants.push(colour);
            }
        }
    }
    tiles
}

/// Places of a tile's samples, cut at the picture's edge.
fn samples(
    (left, top): (usize, usize),
    (side, step): (usize, usize),
    (width, height): (usize, usize),
) -> impl Iterator<Item = (usize, usize)> + Clone {
    let (right, bottom) = ((left + side).min(width), (top + side).min(height));
    (top..bottom).step_by(step).flat_map(move |y| (left..right).step_by(step).map(move |x| (x, y)))
}

/// Mean linear light at some places in the photo's primaries; `None` if one is clipped or all together are dark.
fn mean(rgb: &Raster<[u8; 3]>, places: impl Iterator<Item = (usize, usize)>) -> Option<[f64; 3]> {
    let (mut sum, mut count) = ([0.0f32; 3], 0.0f64);
    for (x, y) in places {
        let code = rgb.get(x, y);
        if code.iter().any(|&value| value >= CLIPPED) {
            return None;
        }
        for (sum, value) in sum.iter_mut().zip(code) {
            *sum += DECODE[usize::from(value)];
        }
        count += 1.0;
    }
    let mean = sum.map(|sum| f64::from(sum) / count);
    mean.iter().any(|&part| part > DARK).then_some(mean)
}
