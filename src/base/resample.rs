//! Changing the size of pictures.

use crate::base::raster::{Raster, Rect};
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

/// A field at `width` x `height`, bilinear between samples that lie at pixel centres; edge values are continued outside.
pub fn bilinear(field: &Raster<f32>, width: usize, height: usize) -> Raster<f32> {
    let columns = taps(field.width(), width);
    let rows = taps(field.height(), height);
    let mut out = Vec::with_capacity(width * height);
    for &(y0, y1, v) in &rows {
        let (above, below) = (field.row(y0), field.row(y1));
        out.extend(columns.iter().map(|&(x0, x1, u)| {
            let top = above[x0] + u * (above[x1] - above[x0]);
            let bottom = below[x0] + u * (below[x1] - below[x0]);
            top + v * (bottom - top)
        }));
    }
    Raster::from_vec(width, height, out)
}

/// For each of `to` pixels: the two samples of `from` beside its centre and the weight of the second.
pub fn taps(from: usize, to: usize) -> Vec<(usize, usize, f32)> {
    let step = from as f32 / to as f32;
    (0..to)
        .map(|i| {
            let at = ((i as f32 + 0.5) * step - 0.5).clamp(0.0, (from - 1) as f32);
            let low = at as usize;
            (low, (low + 1).min(from - 1), at - low as f32)
        })
        .collect()
}

/// For each of `to` pixels: the sample of `from` nearest to its centre.
pub fn nearest(from: usize, to: usize) -> Vec<usize> {
    taps(from, to).into_iter().map(|(low, high, weight)| if weight < 0.5 { low } else { high }).collect()
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
    fn bilinear_keeps_a_ramp() {
        let ramp = Raster::from_vec(4, 1, vec![0.0, 1.0, 2.0, 3.0]);
        let wide = bilinear(&ramp, 8, 1);
        assert_eq!(wide.as_slice(), &[0.0, 0.25, 0.75, 1.25, 1.75, 2.25, 2.75, 3.0]);
    }

    #[test]
    fn fit_keeps_the_shape() {
        assert_eq!(fit(4000, 3000, 1000), (1000, 750));
        assert_eq!(fit(40, 30, 1000), (40, 30));
        assert_eq!(fit(100_000, 1, 1000), (1000, 1));
    }
}
