//! The printed edges of a card, and where the photo shows them to a fraction of a pixel.

use super::layout::{Area, Layout};
use crate::base::color::transfer::DECODE;
use crate::base::homography::{Homography, Point};
use crate::base::raster::Raster;

/// Farthest that an edge is looked for, pixels.
const FARTHEST: f64 = 60.0;

/// A point on a printed edge, mm on the card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    /// Where it is.
    pub(super) at: Point,
    /// Unit vector across the edge, from dark to light.
    pub(super) towards_light: Point,
    /// How far both sides stay as they are, mm.
    pub(super) reach: f64,
}

/// Where a printed edge is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SeenEdge {
    /// The printed edge.
    pub(super) edge: Edge,
    /// Where the map that was tried shows it, pixels.
    pub(super) expected: Point,
    /// Unit vector across the edge in the photo, from dark to light.
    pub(super) normal: Point,
    /// How far along `normal` the edge really lies, pixels.
    pub(super) offset: f64,
    /// How far along `normal` it was looked for, pixels.
    pub(super) reach: f64,
    /// Linear light gained across it.
    pub(super) contrast: f64,
}

/// Linear light at a place in the photo, bilinear between pixel centres; `None` outside.
pub(super) fn light(rgb: &Raster<[u8; 3]>, [x, y]: Point) -> Option<f64> {
    let (x, y) = (x - 0.5, y - 0.5);
    if !(x >= 0.0 && y >= 0.0 && x < (rgb.width() - 1) as f64 && y < (rgb.height() - 1) as f64) {
        return None;
    }
    let (left, top) = (x as usize, y as usize);
    let (right, down) = ((x - left as f64) as f32, (y - top as f64) as f32);
    let at = |x: usize, y: usize| {
        let [r, g, b] = rgb.get(x, y).map(|code| DECODE[usize::from(code)]);
        0.25 * r + 0.5 * g + 0.25 * b
    };
    let row = |y: usize| at(left, y) * (1.0 - right) + at(left + 1, y) * right;
    Some(f64::from(row(top) * (1.0 - down) + row(top + 1) * down))
}

/// Points along the sides of a dark rectangle on light ground, about `step` mm apart.
pub(super) fn around(area: Area, sides: [bool; 4], step: f64, reach: f64) -> Vec<Edge> {
    let outwards = [[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]];
    let corners = area.corners();
    let mut edges = Vec::new();
    for side in (0..4).filter(|&side| sides[side]) {
        let (from, to) = (corners[side], corners[(side + 1) % 4]);
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        let count = (length / step).round().max(1.0) as usize;
        for i in 0..count {
            let part = (i as f64 + 0.5) / count as f64;
            // Corners are rounded by blur: keep off them.
            if part * length > reach && (1.0 - part) * length > reach || count == 1 {
                let at = [0, 1].map(|axis| from[axis] + part * (to[axis] - from[axis]));
                edges.push(Edge { at, towards_light: outwards[side], reach });
            }
        }
    }
    edges
}

/// The edges of the three finder patterns of a code of `modules` a side.
pub(super) fn finders(code: Area, modules: usize) -> Vec<Edge> {
    let module = code.width / modules as f64;
    let far = (modules - 7) as f64 * module;
    let mut edges = Vec::new();
    for [x, y] in [[0.0, 0.0], [far, 0.0], [0.0, far]] {
        let ring = |inset: f64| Area {
            x: code.x + x + inset * module,
            y: code.y + y + inset * module,
            width: (7.0 - 2.0 * inset) * module,
            height: (7.0 - 2.0 * inset) * module,
        };
        for inset in [0.0, 2.0] {
            edges.extend(around(ring(inset), [true; 4], module / 2.0, 0.5 * module));
        }
        // The white ring is light inside dark.
        let turned = |edge: Edge| Edge { towards_light: edge.towards_light.map(|part| -part), ..edge };
        edges.extend(around(ring(1.0), [true; 4], module / 2.0, 0.5 * module).into_iter().map(turned));
    }
    edges
}

/// Edges between the modules of a code, where neighbours differ by more than `least`: `grey` holds the modules' light.
pub(super) fn between_modules(code: Area, grey: &Raster<f64>, least: f64) -> Vec<Edge> {
    let n = grey.width();
    let module = code.width / n as f64;
    let mut edges = Vec::new();
    for a in 0..n {
        for b in 1..n {
            let place = |along: f64, across: f64| [code.x + along * module, code.y + across * module];
            let reach = 0.5 * module;
            let mut push = |at: Point, axis: usize, gain: f64| {
                let mut towards_light = [0.0; 2];
                towards_light[axis] = gain.signum();
                if gain.abs() > least {
                    edges.push(Edge { at, towards_light, reach });
                }
            };
            push(place(b as f64, a as f64 + 0.5), 0, grey.get(b, a) - grey.get(b - 1, a));
            push(place(a as f64 + 0.5, b as f64), 1, grey.get(a, b) - grey.get(a, b - 1));
        }
    }
    edges
}

/// Light of each module of a code, in its middle; `None` if one lies outside the photo.
pub(super) fn modules(rgb: &Raster<[u8; 3]>, map: &Homography, code: Area, modules: usize) -> Option<Raster<f64>> {
    let module = code.width / modules as f64;
    let mut grey = Vec::with_capacity(modules * modules);
    for y in 0..modules {
        for x in 0..modules {
            let mut sum = 0.0;
            for (dx, dy) in [(0.5, 0.5), (0.35, 0.35), (0.65, 0.35), (0.35, 0.65), (0.65, 0.65)] {
                let at = [code.x + (x as f64 + dx) * module, code.y + (y as f64 + dy) * module];
                sum += light(rgb, map.apply(at))?;
            }
            grey.push(sum / 5.0);
        }
    }
    Some(Raster::from_vec(modules, modules, grey))
}

/// The dark patches' edges towards the paper, looked for within `reach` mm. Between patches only a thin line of paper shows,
/// which is no edge.
pub(super) fn patches(layout: &Layout, reach: f64) -> Vec<Edge> {
    let last = layout.patches.len().saturating_sub(1);
    let dark = layout.patches.iter().enumerate().filter(|(_, patch)| patch.reflectance < 0.5);
    dark.flat_map(|(i, patch)| around(patch.area, [true, i == last, true, false], 0.6, reach)).collect()
}

impl Edge {
    /// Looks for the edge along its normal, where `map` (card to photo) shows it. `None` where there is none, or one that
    /// goes the other way, or outside the photo.
    ///
    /// The place is the centroid of the light's rise, which blur does not move.
    pub(super) fn find(self, rgb: &Raster<[u8; 3]>, map: &Homography) -> Option<SeenEdge> {
        let expected = map.apply(self.at);
        let [[a, b], [c, d]] = map.derivative(self.at);
        let [nx, ny] = self.towards_light;
        // Along the edge on the card is (-ny, nx); what is normal to it in the photo is not where the card's normal goes.
        let along = [-a * ny + b * nx, -c * ny + d * nx];
        let across = [a * nx + b * ny, c * nx + d * ny];
        let length = along[0].hypot(along[1]);
        let turned = [along[1] / length, -along[0] / length];
        let toward = turned[0] * across[0] + turned[1] * across[1];
        let normal = turned.map(|part| part * toward.signum());
        let reach = (self.reach * toward.abs()).clamp(1.0, FARTHEST);
        let steps = (reach.ceil() as i32).max(12);
        let step = reach / f64::from(steps);
        let at = |i: i32| {
            let t = f64::from(i) * step;
            light(rgb, [expected[0] + t * normal[0], expected[1] + t * normal[1]])
        };
        let (mut rise, mut moment, mut fall) = (0.0, 0.0, 0.0);
        let mut before = at(-steps)?;
        for i in -steps + 1..=steps {
            let now = at(i)?;
            let gain = now - before;
            // Falls count too, as all rises do: noise gives both, and more of either on the light side.
            moment += gain * (f64::from(i) - 0.5) * step;
            if gain > 0.0 {
                rise += gain;
            } else {
                fall -= gain;
            }
            before = now;
        }
        let clear = rise > 0.0 && rise > 2.0 * fall;
        clear.then(|| SeenEdge {
            edge: self,
            expected,
            normal,
            offset: moment / (rise - fall),
            reach,
            contrast: rise - fall,
        })
    }
}
