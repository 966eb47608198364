//! The bands of a plant on a grid: where each lies, and across which direction its width is measured.

use crate::base::raster::Raster;
use crate::base::resample::shares;
use crate::base::window::{mean, soft};
use crate::segment::regions::labels_by_sides;
use crate::tissue::class::Tissue;
use std::f64::consts::FRAC_PI_4;

/// Longer side of the grid at most, pixels: that on which tissue was judged, finer ones would show its steps.
const GRID: usize = 800;
/// Softening of the bands before their slopes are taken, and the window over which slopes are gathered, in band widths: the
/// first rounds the steps of the tissue map away, the second spans a band and little of its neighbours.
const SOFT: (f32, f32) = (0.35, 0.8);
/// The same in grid pixels at least: [`soft`] does nothing under 0.87.
const LEAST_SOFT: f32 = 0.9;
/// Fewest grid pixels of bands from which a direction can be told.
const FEWEST: usize = 60;

/// Bands on a grid.
pub(super) struct Field {
    /// Photo pixels a grid pixel.
    pub cell: usize,
    /// Rough width of the bands, photo pixels: twice area over length of the edge, as of long bars.
    pub rough_width: f64,
    /// Number of the band, from 1; 0 elsewhere.
    pub labels: Raster<u32>,
    /// See [`slopes`].
    slopes: [Raster<f32>; 2],
}

impl Field {
    /// Reads a tissue map; `None` with hardly any band.
    pub(super) fn of(tissue: &Raster<Option<Tissue>>) -> Option<Self> {
        let cell = tissue.width().max(tissue.height()).div_ceil(GRID).max(1);
        let share = shares(tissue, cell, |class| class == Some(Tissue::Band));
        let on = share.map(|s| s > 0.5);
        let area = on.as_slice().iter().filter(|&&b| b).count();
        if area < FEWEST {
            return None;
        }
        // A straight edge at any angle shows 4 / pi of its length as steps, on average.
        let edge = steps(&on) as f64 * FRAC_PI_4;
        let width = 2.0 * area as f64 / edge.max(1.0);
        let slopes = slopes(&share, width as f32);
        Some(Self { cell, rough_width: width * cell as f64, labels: labels_by_sides(&on), slopes })
    }

    /// Number of the band at a place, photo pixels; 0 for none.
    pub(super) fn label(&self, [x, y]: [f64; 2]) -> usize {
        let (u, v) = self.grid_place(x, y);
        self.labels.get(u, v) as usize
    }

    /// Unit vector across the bands at a place, in the direction of the greatest change; either sense.
    pub(super) fn across(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (u, v) = self.grid_place(x, y);
        // Cosine and sine of twice the angle, times a length.
        let [cosine, sine] = [0, 1].map(|i| f64::from(self.slopes[i].get(u, v)));
        let length = (cosine * cosine + sine * sine).sqrt();
        let cosine = if length > 0.0 { cosine / length } else { 1.0 };
        [f64::midpoint(1.0, cosine).sqrt(), f64::midpoint(1.0, -cosine).sqrt().copysign(sine)]
    }

    fn grid_place(&self, x: f64, y: f64) -> (usize, usize) {
        let on = |value: f64, cells: usize| ((value / self.cell as f64) as usize).min(cells - 1);
        (on(x, self.labels.width()), on(y, self.labels.height()))
    }

    /// About `most` places on bands, photo pixels, spread evenly over their area.
    pub(super) fn places(&self, most: usize) -> impl Iterator<Item = [f64; 2]> {
        let width = self.labels.width();
        let on: Vec<usize> = (0..self.labels.as_slice().len()).filter(|&i| self.labels.as_slice()[i] > 0).collect();
        let step = on.len().div_ceil(most).max(1);
        let centre = |cells: usize| (cells as f64 + 0.5) * self.cell as f64;
        on.into_iter()
            .step_by(step)
            .map(move |i| [centre(i % width), centre(i / width)])
            .collect::<Vec<_>>()
            .into_iter()
    }
}

/// Sides that pixels on and off bands share.
fn steps(on: &Raster<bool>) -> usize {
    let across = (0..on.height()).map(|y| on.row(y).windows(2).filter(|p| p[0] != p[1]).count()).sum::<usize>();
    let down = (1..on.height()).map(|y| on.row(y).iter().zip(on.row(y - 1)).filter(|(a, b)| a != b).count());
    across + down.sum::<usize>()
}

/// Slopes of the bands' share, gathered over a window: difference of the squares and twice the product of the structure tensor
/// (Bigun, Granlund 1987, ICCV:433-438). Taken from the band map and not from brightness, so that edges of leaves do not count.
fn slopes(share: &Raster<f32>, width: f32) -> [Raster<f32>; 2] {
    let smooth = soft(share, (SOFT.0 * width).max(LEAST_SOFT));
    let (w, h) = (share.width(), share.height());
    let (mut difference, mut product) = (Raster::filled(w, h, 0.0f32), Raster::filled(w, h, 0.0f32));
    for y in 0..h {
        let (above, row, below) = (smooth.row(y.saturating_sub(1)), smooth.row(y), smooth.row((y + 1).min(h - 1)));
        for x in 0..w {
            let across = row[(x + 1).min(w - 1)] - row[x.saturating_sub(1)];
            let down = below[x] - above[x];
            difference.set(x, y, across * across - down * down);
            product.set(x, y, 2.0 * across * down);
        }
    }
    // A box of the same variance as the Gaussian would have: side 2 r + 1, variance r (r + 1) / 3.
    let sigma = (SOFT.1 * width).max(LEAST_SOFT);
    let radius = (((1.0 + 12.0 * sigma * sigma).sqrt() - 1.0) / 2.0).round() as usize;
    [mean(&difference, radius), mean(&product, radius)]
}
