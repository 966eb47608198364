//! A plane seen by a camera without lens distortion: the map from the plane to the picture and back.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// A point; on the plane in its own unit, in the picture in pixels with (0, 0) at the outer corner of the first pixel.
pub type Point = [f64; 2];

/// A map from a plane to a picture that keeps straight lines straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography(Matrix3<f64>);

impl Homography {
    /// From its matrix; `None` if it cannot be turned round.
    pub fn new(matrix: Matrix3<f64>) -> Option<Self> {
        let sound = matrix.iter().all(|value| value.is_finite()) && matrix.try_inverse().is_some();
        sound.then_some(Self(matrix))
    }

    /// The one map that takes each of four points to its partner; `None` if three of them lie on a line.
    pub fn from_pairs(plane: [Point; 4], picture: [Point; 4]) -> Option<Self> {
        let (mut left, mut right) = (SMatrix::<f64, 8, 8>::zeros(), SVector::<f64, 8>::zeros());
        for (i, ([x, y], [u, v])) in plane.into_iter().zip(picture).enumerate() {
            let rows = [[x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y]];
            for (j, row) in rows.into_iter().enumerate() {
                left.row_mut(2 * i + j).copy_from_slice(&row);
            }
            (right[2 * i], right[2 * i + 1]) = (u, v);
        }
        let h = left.lu().solve(&right)?;
        Self::new(Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0))
    }

    /// Its matrix.
    pub fn matrix(&self) -> &Matrix3<f64> {
        &self.0
    }

    /// Where a point of the plane is seen.
    pub fn apply(&self, [x, y]: Point) -> Point {
        let p = self.0 * Vector3::new(x, y, 1.0);
        [p.x / p.z, p.y / p.z]
    }

    /// From the picture back to the plane.
    ///
    /// # Panics
    /// Never: that it can be turned round is checked when it is made.
    #[must_use]
    pub fn inverse(&self) -> Self {
        Self(self.0.try_inverse().expect("it can be turned round"))
    }

    /// Whether the plane's point lies in front of the camera, on the same side as `reference`.
    pub fn same_side(&self, [x, y]: Point, [rx, ry]: Point) -> bool {
        let depth = |x: f64, y: f64| self.0[(2, 0)] * x + self.0[(2, 1)] * y + self.0[(2, 2)];
        depth(x, y) * depth(rx, ry) > 0.0
    }

    /// How the picture's point moves with the plane's: columns for x and y, picture units a plane unit.
    pub fn derivative(&self, [x, y]: Point) -> [[f64; 2]; 2] {
        let m = &self.0;
        let p = m * Vector3::new(x, y, 1.0);
        let row = |i: usize, j: usize| (m[(i, j)] - p[i] / p.z * m[(2, j)]) / p.z;
        [[row(0, 0), row(0, 1)], [row(1, 0), row(1, 1)]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: [Point; 4] = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]];
    const SEEN: [Point; 4] = [[100.0, 50.0], [190.0, 80.0], [170.0, 160.0], [90.0, 140.0]];

    fn near(a: Point, b: Point) -> bool {
        (a[0] - b[0]).abs() < 1e-6 && (a[1] - b[1]).abs() < 1e-6
    }

    #[test]
    fn four_points_go_there_and_back() {
        let map = Homography::from_pairs(SQUARE, SEEN).unwrap();
        for (a, b) in SQUARE.into_iter().zip(SEEN) {
            assert!(near(map.apply(a), b) && near(map.inverse().apply(b), a));
        }
        assert!(Homography::from_pairs([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [0.0, 1.0]], SEEN).is_none());
    }

    #[test]
    fn the_derivative_is_a_small_step() {
        let map = Homography::from_pairs(SQUARE, SEEN).unwrap();
        let ([[a, b], [c, d]], at) = (map.derivative([3.0, 4.0]), map.apply([3.0, 4.0]));
        let (x, y) = (map.apply([3.0 + 1e-6, 4.0]), map.apply([3.0, 4.0 + 1e-6]));
        let step = |to: Point, i: usize| (to[i] - at[i]) / 1e-6;
        for (slope, step) in [(a, step(x, 0)), (c, step(x, 1)), (b, step(y, 0)), (d, step(y, 1))] {
            assert!((slope - step).abs() < 1e-3, "{slope} {step}");
        }
    }
}
