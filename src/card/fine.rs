//! Whether a photo shows fine print anywhere: codes too small to be read at this size, or to be seen as codes at all.

#![allow(clippy::inline_always, reason = "what is not compiled into a wide loop keeps it from becoming vectors")]

use crate::base::raster::Raster;
use crate::base::wide::wide;

/// Side of the cells that differences are summed over, pixels; two by two are looked at together.
const CELL: usize = 8;
/// Mean step from pixel to pixel, across and down, from which there may be print: a share of the mean code. In 228 drawn photos of
/// small cards no card was read where this is under 0.22; in half of 36 real photos without cards it is under 0.19.
const STEP: f32 = 0.19;
/// Codes that are added to the mean, so that noise in the dark is no print.
const DARK: f32 = 16.0;

/// Sums over a cell: steps across, steps down, codes.
type Sums = [u32; 3];

/// Whether dark and light stand close together, across and down, as they do in a code and seldom elsewhere.
pub(super) fn print(grey: &Raster<u8>) -> bool {
    let (across, down) = (grey.width().saturating_sub(1) / CELL, grey.height().saturating_sub(1) / CELL);
    let rows: Vec<Vec<Sums>> = (0..down).map(|row| cells(grey, row * CELL, across)).collect();
    rows.windows(2).any(|rows| {
        let mut pairs = rows[0].windows(2).zip(rows[1].windows(2));
        pairs.any(|(above, below)| {
            let all = |of: usize| above.iter().chain(below).map(|sums| sums[of]).sum::<u32>() as f32;
            all(0).min(all(1)) >= STEP * (all(2) + DARK * (4 * CELL * CELL) as f32)
        })
    })
}

/// The sums of a row of `across` cells, whose first row of pixels is `top`.
fn cells(grey: &Raster<u8>, top: usize, across: usize) -> Vec<Sums> {
    let mut columns = [[0u16; 3]].repeat(across * CELL);
    for y in top..top + CELL {
        let (row, below) = (grey.row(y), grey.row(y + 1));
        wide(|| {
            for (sums, ((&code, &right), &below)) in columns.iter_mut().zip(row.iter().zip(&row[1..]).zip(below)) {
                let steps = [code.abs_diff(right), code.abs_diff(below), code];
                sums.iter_mut().zip(steps).for_each(|(sum, step)| *sum += u16::from(step));
            }
        });
    }
    let total = |cell: &[[u16; 3]], of: usize| cell.iter().map(|sums| u32::from(sums[of])).sum();
    columns.chunks_exact(CELL).map(|cell| [0, 1, 2].map(|of| total(cell, of))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::stats::SplitMix64;

    /// A field of 24 x 24 pixels of print, 1 1/4 pixels a module, blurred by the size of a pixel, anywhere on paper.
    fn page(at: usize, light: f32) -> Raster<u8> {
        let mut random = SplitMix64::new(7);
        let modules: Vec<bool> = (0..400).map(|_| random.below(2) == 0).collect();
        let code = |x: usize, y: usize| {
            if !(at..at + 24).contains(&x) || !(at..at + 24).contains(&y) {
                return 0.8 * light;
            }
            let dark = |sx: usize, sy: usize| {
                let module = |v: usize, s: usize| ((v - at) * 4 + s) / 5;
                modules[module(y, sy) * 20 + module(x, sx)]
            };
            let white = (0..16).filter(|s| !dark(s % 4, s / 4)).count();
            (0.05 + 0.75 * white as f32 / 16.0) * light
        };
        Raster::from_vec(120, 90, (0..120 * 90).map(|i| code(i % 120, i / 120) as u8).collect())
    }

    #[test]
    fn print_is_seen_wherever_it_stands_and_in_the_shade() {
        for at in 20..37 {
            for light in [250.0, 80.0] {
                assert!(print(&page(at, light)), "at {at} in light {light}");
            }
        }
    }

    #[test]
    fn edges_stripes_and_noise_are_no_print() {
        let mut random = SplitMix64::new(7);
        let drawn = |code: &mut dyn FnMut(usize, usize) -> f64| {
            let data = (0..120 * 90).map(|i| code(i % 120, i / 120).clamp(0.0, 255.0) as u8).collect();
            Raster::from_vec(120, 90, data)
        };
        assert!(!print(&drawn(&mut |x, _| if x > 60 { 240.0 } else { 10.0 })), "an edge");
        assert!(!print(&drawn(&mut |x, _| if x % 4 < 2 { 240.0 } else { 10.0 })), "stripes");
        assert!(!print(&drawn(&mut |_, _| 90.0 + 8.0 * random.normal())), "grain");
        assert!(!print(&drawn(&mut |_, _| 3.0 + 3.0 * random.normal())), "grain in the dark");
        assert!(!print(&Raster::filled(1, 1, 90)) && !print(&Raster::filled(300, 9, 90)));
    }
}
