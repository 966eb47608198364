//! Which way the leaves run, and the crown that they run from.

use super::look::Look;
use crate::base::raster::Raster;
use crate::base::resample::shares;
use crate::base::stats::quantile;
use crate::base::window::soft;
use crate::tissue::class::Tissue;

/// Longer side of the grid of directions, pixels.
const GRID: usize = 400;
/// Blur before gradients are taken, parts of the diameter: half a narrow band (bands are 1 to 5 % of the diameter).
const FINE: f32 = 0.006;
/// Window over which directions are averaged, parts of the diameter: about a band's pitch.
const AROUND: f32 = 0.03;
/// Weight of the outline's direction beside the bands': bands are seen everywhere, outlines at edges only. Judgement.
const OUTLINE: f32 = 0.5;
/// Weight of the direction away from the crown beside the mean of what is seen: decides where nothing is seen.
const AWAY: f32 = 0.1;
/// Places tried for the crown, along each side.
const TRIED: usize = 24;
/// Within this part of the diameter from the crown, leaves stand on top of each other and their direction counts less.
const HEART: f32 = 0.1;

/// Direction of the leaves: a symmetric tensor at each place of a coarse grid, x the mean of squared cosines and so on
/// (structure tensor: Bigun, Granlund 1987, ICCV 433-438).
pub(super) struct Axis {
    tensor: [Raster<f32>; 3],
    /// Grid pixels of [`Look`] a pixel of the coarse grid.
    step: usize,
    away: f32,
    /// Where the leaves come from, pixels of [`Look`].
    pub crown: [f32; 2],
}

impl Axis {
    /// Along the leaf is across its bands and along its outline.
    pub(super) fn new(look: &Look) -> Self {
        let step = look.tissue.width().max(look.tissue.height()).div_ceil(GRID);
        let diameter = look.diameter / step as f32;
        let inside = shares(&look.tissue, step, |class| class.is_some());
        let band = shares(&look.tissue, step, |class| class == Some(Tissue::Band));
        let outline = soft(&inside, FINE * diameter);
        let core = soft(&inside, 2.0 * FINE * diameter);
        let bands = squares(&soft(&band, FINE * diameter), |i| core.as_slice()[i] > 0.97);
        let edges = squares(&outline, |i| inside.as_slice()[i] > 0.0);
        // Along an outline is across its gradient: x and y change places, the mixed term its sign.
        let tensor = [(0, 1, 1.0), (1, 0, 1.0), (2, 2, -1.0)].map(|(along, across, sign)| {
            let sum = bands[along].as_slice().iter().zip(edges[across].as_slice());
            let sum = sum.map(|(b, e)| b + OUTLINE * sign * e).collect();
            soft(&Raster::from_vec(inside.width(), inside.height(), sum), AROUND * diameter)
        });
        let crown = crown(&tensor, &inside, diameter);
        let (mut energy, mut n) = (0.0, 0.0f32);
        for (i, _) in inside.as_slice().iter().enumerate().filter(|(_, s)| **s > 0.0) {
            energy += tensor[0].as_slice()[i] + tensor[1].as_slice()[i];
            n += 1.0;
        }
        Self { tensor, step, away: AWAY * energy / n.max(1.0), crown: crown.map(|v| (v + 0.5) * step as f32) }
    }

    /// Unit vector along the leaf at a place of [`Look`].
    pub(super) fn along(&self, x: f32, y: f32) -> [f32; 2] {
        let (w, h) = (self.tensor[0].width(), self.tensor[0].height());
        let at = |v: f32, most: usize| ((v.max(0.0) as usize) / self.step).min(most - 1);
        let i = at(y, h) * w + at(x, w);
        let [dx, dy] = [x - self.crown[0], y - self.crown[1]];
        let away = self.away / (dx * dx + dy * dy + 1.0);
        let [xx, yy, xy] = [0, 1, 2].map(|k| self.tensor[k].as_slice()[i]);
        let (xx, yy, xy) = (xx + away * dx * dx, yy + away * dy * dy, xy + away * dx * dy);
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        [angle.cos(), angle.sin()]
    }
}

/// Squares and product of the gradient where `used` says so, in parts of its strongest places (99 of 100 are weaker).
fn squares(field: &Raster<f32>, used: impl Fn(usize) -> bool) -> [Raster<f32>; 3] {
    let (w, h) = (field.width(), field.height());
    let mut out = [(); 3].map(|()| Raster::filled(w, h, 0.0f32));
    let mut strengths = Vec::new();
    for y in 1..h.saturating_sub(1) {
        for x in (1..w.saturating_sub(1)).filter(|x| used(y * w + x)) {
            let gx = field.get(x + 1, y) - field.get(x - 1, y);
            let gy = field.get(x, y + 1) - field.get(x, y - 1);
            out.iter_mut().zip([gx * gx, gy * gy, gx * gy]).for_each(|(o, v)| o.set(x, y, v));
            if (x + y) % 4 == 0 {
                strengths.push(f64::from(gx * gx + gy * gy));
            }
        }
    }
    let strongest = quantile(&mut strengths, 0.99).unwrap_or(0.0) as f32 + 1e-6;
    out.map(|plane| plane.map(|v| v / strongest))
}

/// The place from which the directions seen point away best.
fn crown(tensor: &[Raster<f32>; 3], inside: &Raster<f32>, diameter: f32) -> [f32; 2] {
    let (w, h) = (inside.width(), inside.height());
    let stride = ((diameter / 40.0) as usize).max(1);
    let places = (0..h).step_by(stride).flat_map(|y| (0..w).step_by(stride).map(move |x| (x, y)));
    let seen: Vec<[f32; 4]> = places
        .filter(|&(x, y)| inside.get(x, y) > 0.0)
        .map(|(x, y)| {
            let [xx, yy, xy] = [0, 1, 2].map(|k| tensor[k].get(x, y));
            [x as f32, y as f32, xx - yy, 2.0 * xy]
        })
        .collect();
    let heart = (HEART * diameter).powi(2);
    let agreement = |x: f32, y: f32| {
        let agree = seen.iter().map(|&[u, v, cosine, sine]| {
            let (dx, dy) = (u - x, v - y);
            let far = dx * dx + dy * dy + 1e-6;
            (far / heart).min(1.0) * (cosine * (dx * dx - dy * dy) + sine * 2.0 * dx * dy) / far
        });
        agree.sum::<f32>()
    };
    let place = |i: usize, n: usize| i as f32 * (n - 1) as f32 / (TRIED - 1) as f32;
    let tried = (0..TRIED * TRIED).map(|i| [place(i % TRIED, w), place(i / TRIED, h)]);
    tried
        .filter(|[x, y]| inside.get(*x as usize, *y as usize) > 0.0)
        .map(|[x, y]| (agreement(x, y), [x, y]))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or([w as f32 / 2.0, h as f32 / 2.0], |(_, crown)| crown)
}
