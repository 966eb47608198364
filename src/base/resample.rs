//! Changing the size of pictures.

use crate::base::raster::{Raster, Rect};
use crate::base::wide::wide;
use fast_image_resize::images::{Image, ImageRef};
use fast_image_resize::{FilterType, PixelType, ResizeAlg, ResizeOptions, Resizer};

/// The part `rect` of a picture at `width` x `height`, by area averaging of the codes.
///
/// # Panics
/// If `rect` is empty or reaches outside, or a side of the result is 0.
pub fn shrink(picture: &Raster<[u8; 3]>, rect: Rect, width: usize, height: usize) -> Raster<[u8; 3]> {
    let source = ImageRef::new(
        picture.width() as u32,
        picture.height() as u32,
        picture.as_slice().as_flattened(),
        PixelType::U8x3,
    )
    .expect("a raster holds width * height pixels");
    let mut target = Image::new(width as u32, height as u32, PixelType::U8x3);
    let options = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::Box)).crop(
        rect.x as f64,
        rect.y as f64,
        rect.width as f64,
        rect.height as f64,
    );
    Resizer::new().resize(&source, &mut target, &options).expect("rect lies inside and no side is 0");
    let (pixels, _) = target.buffer().as_chunks::<3>();
    Raster::from_vec(width, height, pixels.to_vec())
}

/// Means over blocks of `side` x `side` values; blocks at the right and lower border may be smaller.
pub fn blocks(field: &Raster<f32>, side: usize) -> Raster<f32> {
    let (w, h) = (field.width().div_ceil(side), field.height().div_ceil(side));
    let mut out = Raster::filled(w, h, 0.0f32);
    let mut sums = vec![0.0f32; field.width()];
    for y in 0..h {
        let rows = y * side..((y + 1) * side).min(field.height());
        sums.fill(0.0);
        for row in rows.clone() {
            sums.iter_mut().zip(field.row(row)).for_each(|(sum, value)| *sum += value);
        }
        for (mean, block) in out.row_mut(y).iter_mut().zip(sums.chunks(side)) {
            *mean = block.iter().sum::<f32>() / (block.len() * rows.len()) as f32;
        }
    }
    out
}

/// How much of each block of `side` x `side` values is `wanted`, 0..1; beyond the right and lower border nothing is.
pub fn shares<T: Copy>(field: &Raster<T>, side: usize, wanted: impl Fn(T) -> bool) -> Raster<f32> {
    let whole = (side * side) as f32;
    let mut out = Raster::filled(field.width().div_ceil(side), field.height().div_ceil(side), 0.0f32);
    let mut counts = vec![0u16; field.width()];
    wide(|| {
        for y in 0..out.height() {
            counts.fill(0);
            for row in y * side..((y + 1) * side).min(field.height()) {
                counts.iter_mut().zip(field.row(row)).for_each(|(n, &value)| *n += u16::from(wanted(value)));
            }
            for (share, block) in out.row_mut(y).iter_mut().zip(counts.chunks(side)) {
                *share = block.iter().map(|&n| u32::from(n)).sum::<u32>() as f32 / whole;
            }
        }
    });
    out
}

/// For each of `to` places along `part` (start, length) of a line of length `whole` that holds `from` samples: the two
/// samples beside the place's centre and the weight of the second.
pub(super) fn taps(from: usize, whole: usize, (start, length): (f64, usize), to: usize) -> Vec<(usize, usize, f32)> {
    let step = length as f64 / to as f64;
    let samples = from as f64 / whole as f64;
    (0..to)
        .map(|i| {
            let at = ((start + (i as f64 + 0.5) * step) * samples - 0.5).clamp(0.0, (from - 1) as f64);
            let low = at as usize;
            (low, (low + 1).min(from - 1), (at - low as f64) as f32)
        })
        .collect()
}

/// The two of `n` samples in a line beside a place, and the weight of the second; outside, edge values are continued.
pub fn beside(at: f64, n: usize) -> (usize, usize, f64) {
    let at = at.clamp(0.0, (n - 1) as f64);
    let low = at as usize;
    (low, (low + 1).min(n - 1), at - low as f64)
}

/// The four samples around a place and their weights, which sum to 1 (bilinear). Places are in samples, whole numbers at
/// pixel centres; outside of the `size` (width, height) edge values are continued.
pub fn around([x, y]: [f64; 2], (width, height): (usize, usize)) -> [([usize; 2], f64); 4] {
    let ((left, right, u), (above, below, v)) = (beside(x, width), beside(y, height));
    [
        ([left, above], (1.0 - u) * (1.0 - v)),
        ([right, above], u * (1.0 - v)),
        ([left, below], (1.0 - u) * v),
        ([right, below], u * v),
    ]
}

/// For each of `to` pixels: the sample of `from` nearest to its centre.
pub fn nearest(from: usize, to: usize) -> Vec<usize> {
    taps(from, from, (0.0, from), to)
        .into_iter()
        .map(|(low, high, weight)| if weight < 0.5 { low } else { high })
        .collect()
}

/// The size with the same shape whose longer side is `long` (never enlarged), each side at least 1.
pub fn fit(width: usize, height: usize, long: usize) -> (usize, usize) {
    let longer = width.max(height);
    if longer <= long {
        return (width, height);
    }
    let scale = long as f64 / longer as f64;
    let side = |v: usize| ((v as f64 * scale).round() as usize).max(1);
    (side(width), side(height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shrinking_averages() {
        let picture = Raster::from_vec(2, 2, vec![[0, 0, 0], [100, 0, 0], [0, 0, 0], [100, 0, 200]]);
        assert_eq!(shrink(&picture, picture.bounds(), 1, 1).get(0, 0), [50, 0, 50]);
    }

    #[test]
    fn shares_are_of_whole_blocks() {
        let field = Raster::from_vec(3, 2, vec![1, 0, 1, 1, 1, 0]);
        assert_eq!(shares(&field, 2, |v| v == 1).as_slice(), &[0.75, 0.25]);
    }

    #[test]
    fn a_place_between_samples_is_their_mean() {
        let field = Raster::from_vec(2, 2, vec![0.0, 4.0, 8.0, 12.0]);
        let at = |place| around(place, (2, 2)).iter().map(|&([x, y], part)| part * field.get(x, y)).sum::<f64>();
        let read = [[0.0, 0.0], [0.5, 0.0], [0.25, 0.5], [1.0, 1.0], [9.0, -9.0]].map(at);
        assert_eq!(read.map(|v| (v * 1e6).round() as i64), [0, 2_000_000, 5_000_000, 12_000_000, 4_000_000]);
    }

    #[test]
    fn fit_keeps_the_shape() {
        assert_eq!(fit(4000, 3000, 1000), (1000, 750));
        assert_eq!(fit(40, 30, 1000), (40, 30));
        assert_eq!(fit(100_000, 1, 1000), (1000, 1));
    }
}
