//! Turning a picture upright, exactly: pixels are moved, never resampled.

use crate::base::raster::Raster;

/// Side of the blocks that are turned one after another, in pixels.
const BLOCK: usize = 64;

/// The picture turned or mirrored as EXIF orientation 1..=8 asks (EXIF 2.32, tag 0x0112); any other value leaves it.
pub(super) fn upright(mut picture: Raster<[u8; 3]>, orientation: u8) -> Raster<[u8; 3]> {
    match orientation {
        2 => (0..picture.height()).for_each(|y| picture.row_mut(y).reverse()),
        3 => picture.as_mut_slice().reverse(),
        4 => swap_rows(&mut picture),
        5 => picture = transposed(&picture, false, false),
        6 => picture = transposed(&picture, false, true),
        7 => picture = transposed(&picture, true, true),
        8 => picture = transposed(&picture, true, false),
        _ => {}
    }
    picture
}

fn swap_rows(picture: &mut Raster<[u8; 3]>) {
    let (width, height) = (picture.width(), picture.height());
    let (top, bottom) = picture.as_mut_slice().split_at_mut(height / 2 * width);
    for (upper, lower) in top.chunks_exact_mut(width).zip(bottom.rchunks_exact_mut(width)) {
        upper.swap_with_slice(lower);
    }
}

/// Rows become columns; `from_right` takes the source's columns from the right, `from_bottom` its rows from the bottom.
///
/// Works in square blocks: a whole column of a wide picture touches one cache line a row and would read each line
/// from memory again for each of its pixels. Each block is copied before it is turned, because a square of known size
/// needs no check of bounds at each pixel.
fn transposed(source: &Raster<[u8; 3]>, from_right: bool, from_bottom: bool) -> Raster<[u8; 3]> {
    let (width, height) = (source.height(), source.width());
    let mut out = Raster::filled(width, height, [0; 3]);
    let mut block = [[[0; 3]; BLOCK]; BLOCK];
    for (top, rows) in (0..).step_by(BLOCK).zip(out.as_mut_slice().chunks_mut(BLOCK * width)) {
        let down = rows.len() / width;
        let first = if from_right { height - top - down } else { top };
        for left in (0..width).step_by(BLOCK) {
            for (x, line) in (left..width).zip(&mut block) {
                let line = &mut line[..down];
                line.copy_from_slice(&source.row(if from_bottom { width - 1 - x } else { x })[first..first + down]);
                if from_right {
                    line.reverse();
                }
            }
            for (dy, row) in rows.chunks_exact_mut(width).enumerate() {
                row[left..].iter_mut().zip(&block).for_each(|(pixel, line)| *pixel = line[dy]);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Blocks must not show: the block edge lies inside the picture in both directions.
    #[test]
    fn large_pictures_turn_as_small_ones() {
        let (width, height) = (150, 85);
        let pixels = (0..width * height).map(|i| [i as u8, (i >> 8) as u8, 7]).collect();
        let picture = Raster::from_vec(width, height, pixels);
        let turned = upright(picture.clone(), 6);
        for y in 0..height {
            for x in 0..width {
                assert_eq!(turned.get(height - 1 - y, x), picture.get(x, y));
            }
        }
        assert_eq!(upright(turned, 8), picture);
        for orientation in [2, 3, 4, 5, 7] {
            assert_eq!(upright(upright(picture.clone(), orientation), orientation), picture, "{orientation}");
        }
    }
}
