//! Profiles across bands: where a band begins and ends, to parts of a pixel, and where its neighbours are.

use super::edge::unblurred;
use super::field::Field;
use crate::base::color::transfer::DECODE;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::beside;
use crate::base::stats::quantile;
use crate::tissue::class::Tissue;
use std::cell::Cell;

/// Step along a profile in rough widths, and its least in pixels.
const STEP: (f64, f64) = (0.08, 0.25);
/// How far a profile reaches to each side, rough widths. The rough width is that of turned leaves too, about 0.4 of the true
/// one; bands stand up to 6 widths apart.
const REACH: f64 = 15.0;
/// A profile is the mean of lines this far beside each other, rough widths: noise falls, waves of an edge stay.
const BESIDE: [f64; 3] = [-0.2, 0.0, 0.2];
/// Leaf beside a band is looked at this far at most, rough widths, and this far at least.
const LEAF: (f64, f64) = (1.2, 0.3);
/// Part of the leaf beside a band that is left out at either end of it: the edge itself and its blur.
const MARGIN: f64 = 0.3;
/// The same at least, in standard deviations of the blur.
const CLEAR: f64 = 2.0;
/// A band is this wide at least, rough widths.
const LEAST_WIDTH: f64 = 0.35;
/// Contrast of band to leaf at least, parts of the band's light.
const CONTRAST: f64 = 0.1;
/// Neighbours' directions differ by 20 degrees (0.35 radians) at most: its cosine.
const ALIGNED: f64 = 0.939_373;
/// Between neighbours no light reaches this part of the way from leaf to band: otherwise a band was overlooked.
const BETWEEN: f64 = 0.5;

/// A plant's pixels.
pub(super) struct Look<'a> {
    /// The photo.
    pub picture: &'a Raster<[u8; 3]>,
    /// Where the plant lies in it.
    pub bounds: Rect,
    /// Its tissue.
    pub tissue: &'a Raster<Option<Tissue>>,
    /// Its bands.
    pub field: &'a Field,
    /// Blur, standard deviation in pixels; 0 where it is unknown.
    pub sigma: f64,
}

/// A band's width at one place.
#[derive(Debug, Clone)]
pub struct Crossing {
    /// Number of the band.
    pub band: usize,
    /// The place, pixels in the plant's bounds.
    pub at: [f64; 2],
    /// Unit vector across the band.
    pub across: [f64; 2],
    /// Edges along `across` from the place, pixels.
    pub edges: [f64; 2],
    /// Width freed from blur, pixels.
    pub width: f64,
    /// How far its light takes from a quarter to three quarters of the way from leaf to band, mean of both edges, pixels;
    /// infinite where it never gets so far.
    pub rise: f64,
    /// Length of the band through this place, pixels.
    pub length: f64,
    /// Gaps from its ends to the next pieces of its row, pixels; 0 where there are none.
    pub gaps: f64,
    /// Its neighbours on either side.
    pub neighbours: Vec<Neighbour>,
}

/// A neighbouring band on the same line.
#[derive(Debug, Clone)]
pub struct Neighbour {
    /// Its number.
    pub band: usize,
    /// Centre to centre, pixels.
    pub pitch: f64,
    /// Its width freed from blur, pixels.
    pub width: f64,
}

impl Crossing {
    /// Middle of the band on the line, pixels in the plant's bounds.
    pub fn middle(&self) -> [f64; 2] {
        let along = f64::midpoint(self.edges[0], self.edges[1]);
        [0, 1].map(|axis| self.at[axis] + along * self.across[axis])
    }
}

/// One line across the leaf.
struct Line<'a> {
    look: &'a Look<'a>,
    at: [f64; 2],
    across: [f64; 2],
    step: f64,
    /// Stretches of band (true) and leaf, one after the other: first and after-last sample.
    runs: Vec<(bool, isize, isize)>,
    /// Linear light from the first sample of the first run on, where it has been looked at.
    light: Vec<Cell<Option<[f64; 3]>>>,
}

impl<'a> Look<'a> {
    /// Measures across the band at `at`; `None` where an edge is not clear.
    pub(super) fn crossing(&'a self, at: [f64; 2]) -> Option<Crossing> {
        let line = Line::through(self, at)?;
        let own = line.runs.iter().position(|&(band, from, to)| band && from <= 0 && 0 < to)?;
        let band = self.field.label(at);
        let (edges, rise) = line.edges(own)?;
        let middle = f64::midpoint(edges[0], edges[1]);
        let neighbours = [own.checked_sub(2), Some(own + 2)].into_iter().flatten().filter_map(|other| {
            let number = line.related(own, other).filter(|&number| number != band)?;
            let (theirs, _) = line.edges(other)?;
            let pitch = (f64::midpoint(theirs[0], theirs[1]) - middle).abs();
            Some(Neighbour { band: number, pitch, width: unblurred(theirs[1] - theirs[0], self.sigma) })
        });
        let neighbours = neighbours.collect();
        let width = unblurred(edges[1] - edges[0], self.sigma);
        let (length, gaps) = self.along(at);
        Some(Crossing { band, at, across: line.across, edges, width, rise, length, gaps, neighbours })
    }

    /// Whether a place is band; `None` outside the plant.
    pub(super) fn band(&self, [x, y]: [f64; 2]) -> Option<bool> {
        if x < 0.0 || y < 0.0 || x >= self.tissue.width() as f64 || y >= self.tissue.height() as f64 {
            return None;
        }
        self.tissue.get(x as usize, y as usize).map(|class| class == Tissue::Band)
    }

    /// Linear light at a place, between the four pixels around it.
    fn light(&self, [x, y]: [f64; 2]) -> [f64; 3] {
        let (left, right, u) = beside(x + self.bounds.x as f64 - 0.5, self.picture.width());
        let (above, below, v) = beside(y + self.bounds.y as f64 - 0.5, self.picture.height());
        let decode = &*DECODE;
        let light = |code: u8| f64::from(decode[usize::from(code)]);
        let (above, below) = (self.picture.row(above), self.picture.row(below));
        let corners = [above[left], above[right], below[left], below[right]];
        let mut out = [0.0; 3];
        for (channel, out) in out.iter_mut().enumerate() {
            let [a, b, c, d] = corners.map(|code| light(code[channel]));
            let (near, far) = (a + u * (b - a), c + u * (d - c));
            *out = near + v * (far - near);
        }
        out
    }
}

impl<'a> Line<'a> {
    fn through(look: &'a Look<'a>, at: [f64; 2]) -> Option<Self> {
        let rough = look.field.rough_width;
        let step = (STEP.0 * rough).max(STEP.1);
        look.band(at).filter(|&band| band)?;
        let mut line = Self { look, at, across: look.field.across(at), step, runs: Vec::new(), light: Vec::new() };
        let before = line.walk(-1);
        let after = line.walk(1);
        line.runs = joined(&before, &after);
        let (from, to) = (line.runs.first()?.1, line.runs.last()?.2);
        line.light = vec![Cell::new(None); (to - from) as usize];
        Some(line)
    }

    fn place(&self, i: isize, beside: f64) -> [f64; 2] {
        let [x, y] = self.across;
        let along = i as f64 * self.step;
        [self.at[0] + along * x - beside * y, self.at[1] + along * y + beside * x]
    }

    fn mean_light(&self, i: isize) -> [f64; 3] {
        let rough = self.look.field.rough_width;
        let mut mean = [0.0; 3];
        for beside in BESIDE {
            let light = self.look.light(self.place(i, beside * rough));
            mean.iter_mut().zip(light).for_each(|(m, l)| *m += l / BESIDE.len() as f64);
        }
        mean
    }

    /// Stretches of band and leaf from the place on, in samples, until the plant ends, the leaf beyond the neighbour was seen,
    /// or the reach ends: the first is band, and whether it ended where the next begins is true of all but the last.
    fn walk(&self, direction: isize) -> Vec<(bool, isize)> {
        let samples = |widths: f64| (widths * self.look.field.rough_width / self.step).ceil() as isize;
        let (reach, beyond) = (samples(REACH), samples(LEAF.0) + 1);
        let mut runs = vec![(true, 0)];
        for i in 1..=reach {
            let Some(band) = self.look.band(self.place(direction * i, 0.0)) else { break };
            match runs.last_mut() {
                Some((kind, length)) if *kind == band => *length += 1,
                _ => runs.push((band, 1)),
            }
            if runs.len() > 4 || (runs.len() == 4 && runs[3].1 >= beyond) {
                break;
            }
        }
        runs
    }

    /// Both edges of a band at half the way from leaf to band, along the line, and the mean of their rises, pixels.
    fn edges(&self, run: usize) -> Option<([f64; 2], f64)> {
        let &(_, from, to) = self.runs.get(run)?;
        let rough = self.look.field.rough_width / self.step;
        if run == 0 || run + 1 >= self.runs.len() || ((to - from) as f64) < LEAST_WIDTH * rough {
            return None;
        }
        let [(low, rise), (high, fall)] = [self.edge(run, -1)?, self.edge(run, 1)?];
        Some(([low, high], f64::midpoint(rise, fall)))
    }

    /// Where an edge lies and how long its light takes from a quarter to three quarters of the way, pixels.
    fn edge(&self, run: usize, side: isize) -> Option<(f64, f64)> {
        let rough = self.look.field.rough_width / self.step;
        let &(_, from, to) = self.runs.get(run)?;
        let leaf = self.leaf(run.checked_add_signed(side)?, side, rough)?;
        let (level, band) = (self.median(leaf), self.plateau(run));
        let toward = difference(band, level);
        let contrast = dot(toward, toward);
        if contrast < CONTRAST * CONTRAST * dot(band, band) {
            return None;
        }
        let part = |i: isize| dot(difference(self.at_sample(i), level), toward) / contrast;
        let end = if side < 0 { leaf.0 } else { leaf.1 };
        let middle = from.midpoint(to);
        let parts: Vec<f64> = (0..=(end - middle).abs()).map(|i| part(middle + side * i)).collect();
        let crossed = |way: f64| {
            let inside = parts.iter().position(|&part| part < way)?.checked_sub(1)?;
            let beyond = (parts[inside] - way) / (parts[inside] - parts[inside + 1]);
            Some(((middle + side * inside as isize) as f64 + side as f64 * beyond) * self.step)
        };
        let rise = crossed(0.25).zip(crossed(0.75)).map_or(f64::INFINITY, |(outer, inner)| (outer - inner).abs());
        Some((crossed(0.5)?, rise))
    }

    /// Samples of plain leaf beside a band: from and to, in the line's order.
    fn leaf(&self, run: usize, side: isize, rough: f64) -> Option<(isize, isize)> {
        let &(_, from, to) = self.runs.get(run)?;
        let length = ((to - from) as f64).min(LEAF.0 * rough);
        let last = run == 0 || run + 1 == self.runs.len();
        // Where the plant ends within the stretch, light from beside it mixes in.
        if length < LEAF.1 * rough || (last && length < LEAF.0 * rough) {
            return None;
        }
        // Beyond twice the blur a band's light is under 2.5 %; where the next band is nearer than that, the middle must do.
        let blur = (CLEAR * self.look.sigma / self.step).min(0.4 * (to - from) as f64);
        let near = (MARGIN * length).max(blur) as isize;
        let far = ((length - MARGIN * length) as isize).max(near + (0.1 * length) as isize + 1).min(to - from);
        Some(if side < 0 { (to - far, to - near) } else { (from + near, from + far) })
    }

    fn at_sample(&self, i: isize) -> [f64; 3] {
        let first = self.runs[0].1;
        let number = ((i - first).max(0) as usize).min(self.light.len() - 1);
        let seen = &self.light[number];
        seen.get().unwrap_or_else(|| {
            let light = self.mean_light(first + number as isize);
            seen.set(Some(light));
            light
        })
    }

    fn median(&self, (from, to): (isize, isize)) -> [f64; 3] {
        let middle = |channel: usize| {
            let mut values: Vec<f64> = (from..to).map(|i| self.at_sample(i)[channel]).collect();
            quantile(&mut values, 0.5).unwrap_or(0.0)
        };
        [middle(0), middle(1), middle(2)]
    }

    /// Mean light of the inner half of a band.
    fn plateau(&self, run: usize) -> [f64; 3] {
        let (_, from, to) = self.runs[run];
        let quarter = (to - from) / 4;
        let (from, to) = (from + quarter, (to - quarter).max(from + quarter + 1));
        let mut sum = [0.0; 3];
        for i in from..to {
            sum.iter_mut().zip(self.at_sample(i)).for_each(|(s, l)| *s += l / (to - from) as f64);
        }
        sum
    }

    /// Number of the band in run `other`, if it lies along the same leaf as far as directions tell and no band lies between.
    fn related(&self, own: usize, other: usize) -> Option<usize> {
        let &(_, from, to) = self.runs.get(other)?;
        let there = self.place(from.midpoint(to), 0.0);
        let field = self.look.field;
        let number = field.label(there);
        let ([x, y], [u, v]) = (field.across(there), self.across);
        if number == 0 || (x * u + y * v).abs() < ALIGNED {
            return None;
        }
        let (_, from, to) = self.runs[own.midpoint(other)];
        let margin = (((to - from) as f64 * 0.2) as isize).max(1);
        let inner = if to - from > 2 * margin + 1 { (from + margin, to - margin) } else { (from, to) };
        let level = self.median(inner);
        let toward = difference(self.plateau(own), level);
        let most = (inner.0..inner.1).map(|i| dot(difference(self.at_sample(i), level), toward)).fold(0.0, f64::max);
        (most <= BETWEEN * dot(toward, toward)).then_some(number)
    }
}

/// Both halves of a line as runs in one order; the middle one belongs to both.
fn joined(before: &[(bool, isize)], after: &[(bool, isize)]) -> Vec<(bool, isize, isize)> {
    let from = -before.iter().map(|(_, length)| length).sum::<isize>();
    let back = before.iter().skip(1).rev().copied();
    let own = (true, before[0].1 + 1 + after[0].1);
    let mut at = from;
    let placed = |(band, length): (bool, isize)| {
        let run = (band, at, at + length);
        at += length;
        run
    };
    back.chain([own]).chain(after.iter().skip(1).copied()).map(placed).collect()
}

fn difference(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
