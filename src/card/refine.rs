//! The map from card to photo, fitted to many printed edges at once.

use super::edges::{Edge, SeenEdge};
use crate::base::homography::{Homography, Point};
use crate::base::raster::Raster;
use crate::base::stats::quantile;
use nalgebra::{Matrix3, SMatrix, SVector};

/// Fewest edges that a fit may rest on.
const FEWEST: usize = 24;

/// Huber's k: errors beyond this many standard deviations count linearly (Huber 1981, Robust Statistics).
const HUBER: f64 = 1.5;

/// How many neighbouring edges share one error (blur, print, JPEG blocks): judgement; with 6 the scale's 1.96 standard
/// uncertainties hold the truth on 38 of 39 cards of rendered scenes (with 4 on 33).
const SHARED: f64 = 6.0;

/// A fit and how good it is.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// Card (mm) to photo (pixels).
    pub(super) map: Homography,
    /// Robust standard deviation of the edges' distances from where the map puts them, pixels.
    pub(super) spread: f64,
    /// Covariance of the eight free entries of the map in the units of [`Units`].
    covariance: SMatrix<f64, 8, 8>,
    units: Units,
}

/// Card and photo shifted and scaled to about 1, so that the sums are well conditioned (Hartley 1997, IEEE TPAMI
/// 19:580-593).
#[derive(Debug, Clone, Copy)]
struct Units {
    card: Matrix3<f64>,
    photo: Matrix3<f64>,
}

/// Fits the map to the edges, beginning at `start`, `rounds` times. `None` if too few edges are seen.
pub(super) fn refine(rgb: &Raster<[u8; 3]>, edges: &[Edge], start: &Homography, rounds: usize) -> Option<Fit> {
    let units = Units::about(edges, start)?;
    let mut map = *start;
    let mut fit = None;
    for _ in 0..rounds {
        let seen = clear(edges.iter().filter_map(|edge| edge.find(rgb, &map)).collect());
        if seen.len() < FEWEST {
            return None;
        }
        let next = step(&map, &seen, units)?;
        map = next.map;
        fit = Some(next);
    }
    fit
}

/// Leaves out edges of much less contrast than the others: shadows' borders, glare, things that lie on the card.
fn clear(seen: Vec<SeenEdge>) -> Vec<SeenEdge> {
    let mut contrasts: Vec<f64> = seen.iter().map(|edge| edge.contrast).collect();
    let usual = quantile(&mut contrasts, 0.5).unwrap_or(0.0);
    seen.into_iter().filter(|edge| edge.contrast > 0.3 * usual).collect()
}

/// One step of Gauss and Newton with Huber's weights.
fn step(map: &Homography, seen: &[SeenEdge], units: Units) -> Option<Fit> {
    let mut distances: Vec<f64> = seen.iter().map(|edge| edge.offset.abs()).collect();
    // The median of absolute values of a normal distribution is 0.6745 of its standard deviation.
    let spread = (quantile(&mut distances, 0.5)? / 0.6745).max(0.01);
    let current = units.normalised(map)?;
    let mut left = SMatrix::<f64, 8, 8>::zeros();
    let mut right = SVector::<f64, 8>::zeros();
    for edge in seen {
        let row = units.row(&current, edge);
        let weight = (HUBER * spread / edge.offset.abs()).min(1.0);
        left += weight * row * row.transpose();
        right += weight * edge.offset * row;
    }
    let inverse = left.try_inverse()?;
    let change = inverse * right;
    let mut matrix = *current.matrix();
    for i in 0..8 {
        matrix[(i / 3, i % 3)] += change[i];
    }
    let map = units.restored(&matrix)?;
    Some(Fit { map, spread, covariance: inverse * (SHARED * spread * spread), units })
}

impl Units {
    fn about(edges: &[Edge], map: &Homography) -> Option<Self> {
        let on_card: Vec<Point> = edges.iter().map(|edge| edge.at).collect();
        let on_photo: Vec<Point> = on_card.iter().map(|&at| map.apply(at)).collect();
        Some(Self { card: normalising(&on_card)?, photo: normalising(&on_photo)? })
    }

    /// The map between normalised units, its last entry 1.
    fn normalised(&self, map: &Homography) -> Option<Homography> {
        let matrix = self.photo * map.matrix() * self.card.try_inverse()?;
        Homography::new(matrix / matrix[(2, 2)])
    }

    fn restored(&self, matrix: &Matrix3<f64>) -> Option<Homography> {
        let matrix = self.photo.try_inverse()? * matrix * self.card;
        Homography::new(matrix / matrix[(2, 2)])
    }

    /// How an edge's place along its normal, pixels, moves with the map's eight entries.
    fn row(&self, current: &Homography, edge: &SeenEdge) -> SVector<f64, 8> {
        let [x, y] = apply(&self.card, edge.edge.at);
        let row = entries(current, [x, y]);
        let scale = self.photo[(0, 0)];
        SVector::from_fn(|i, _| (edge.normal[0] * row[0][i] + edge.normal[1] * row[1][i]) / scale)
    }
}

/// How the two coordinates of a point's picture move with the map's eight entries.
fn entries(map: &Homography, [x, y]: Point) -> [[f64; 8]; 2] {
    let m = map.matrix();
    let depth = m[(2, 0)] * x + m[(2, 1)] * y + m[(2, 2)];
    let [u, v] = map.apply([x, y]);
    let (x, y, one) = (x / depth, y / depth, 1.0 / depth);
    [[x, y, one, 0.0, 0.0, 0.0, -u * x, -u * y], [0.0, 0.0, 0.0, x, y, one, -v * x, -v * y]]
}

/// The shift and scale that bring points to mean 0 and mean distance 1.
fn normalising(points: &[Point]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let mean = [0, 1].map(|axis| points.iter().map(|p| p[axis]).sum::<f64>() / n);
    let distance = points.iter().map(|p| (p[0] - mean[0]).hypot(p[1] - mean[1])).sum::<f64>() / n;
    let scale = 1.0 / distance;
    let sound = scale.is_finite() && scale > 0.0;
    sound.then(|| Matrix3::new(scale, 0.0, -scale * mean[0], 0.0, scale, -scale * mean[1], 0.0, 0.0, 1.0))
}

fn apply(m: &Matrix3<f64>, [x, y]: Point) -> Point {
    [m[(0, 0)] * x + m[(0, 2)], m[(1, 1)] * y + m[(1, 2)]]
}

impl Fit {
    /// Covariance of functions of the map, to first order (JCGM 100:2008, 5.2.2). `None` where a function has no value.
    pub(super) fn covariance_of<const N: usize>(
        &self,
        of: impl Fn(&Homography) -> Option<[f64; N]>,
    ) -> Option<SMatrix<f64, N, N>> {
        let centre = self.units.normalised(&self.map)?;
        let base = SVector::from(of(&self.map)?);
        let mut slopes = SMatrix::<f64, N, 8>::zeros();
        for i in 0..8 {
            let small = (self.covariance[(i, i)].sqrt() * 0.1).max(1e-9);
            let mut matrix = *centre.matrix();
            matrix[(i / 3, i % 3)] += small;
            let moved = SVector::from(of(&self.units.restored(&matrix)?)?);
            slopes.set_column(i, &((moved - base) / small));
        }
        Some(slopes * self.covariance * slopes.transpose())
    }
}
