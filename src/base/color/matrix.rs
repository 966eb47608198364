//! Primaries, white points and the matrices between them, in double precision: made a few times a photo, then folded
//! into one [`Mat3`] for the loops over pixels.

use super::{Linear, Mat3};

/// A 3 x 3 matrix, rows first.
pub type Matrix = [[f64; 3]; 3];

/// CIE xy of the red, green and blue primaries.
pub type Primaries = [[f64; 2]; 3];

/// sRGB and ITU-R BT.709 primaries (IEC 61966-2-1:1999).
pub const SRGB: Primaries = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]];

/// Display P3 primaries (SMPTE EG 432-1), used with D65 and the sRGB curve.
pub const DISPLAY_P3: Primaries = [[0.68, 0.32], [0.265, 0.69], [0.15, 0.06]];

/// CIE xy of D65 as IEC 61966-2-1 rounds it.
pub const D65: [f64; 2] = [0.3127, 0.3290];

/// No change.
pub const IDENTITY: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

/// XYZ to the Bradford cone responses (Lam 1985; ICC.1 Annex E).
pub const BRADFORD: Matrix = [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]];

/// XYZ with Y = 1 of a chromaticity.
pub fn xyz_of_xy([x, y]: [f64; 2]) -> [f64; 3] {
    [x / y, 1.0, (1.0 - x - y) / y]
}

/// `m * v`.
pub fn apply(m: &Matrix, v: [f64; 3]) -> [f64; 3] {
    m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
}

/// `a * b`: first `b`, then `a`.
pub fn multiply(a: &Matrix, b: &Matrix) -> Matrix {
    a.map(|row| std::array::from_fn(|j| row[0] * b[0][j] + row[1] * b[1][j] + row[2] * b[2][j]))
}

/// The inverse, by cofactors. Meaningless for a singular matrix, which no set of primaries gives.
pub fn inverse(m: &Matrix) -> Matrix {
    let cofactor = |i: usize, j: usize| {
        let (a, b, c, d) = ((i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let determinant: f64 = (0..3).map(|j| m[0][j] * cofactor(0, j)).sum();
    std::array::from_fn(|i| std::array::from_fn(|j| cofactor(j, i) / determinant))
}

/// A diagonal matrix.
fn diagonal(d: [f64; 3]) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| if i == j { d[i] } else { 0.0 }))
}

/// Linear RGB to XYZ, derived from primaries and white (SMPTE RP 177-1993): RGB (1,1,1) is white with Y = 1.
pub fn rgb_to_xyz(primaries: &Primaries, white: [f64; 2]) -> Matrix {
    let columns = primaries.map(xyz_of_xy);
    let unscaled = std::array::from_fn(|i| std::array::from_fn(|j| columns[j][i]));
    let scale = apply(&inverse(&unscaled), xyz_of_xy(white));
    multiply(&unscaled, &diagonal(scale))
}

/// Linear RGB of these primaries (white D65) to linear sRGB. Colours outside sRGB get negative parts, not clipped.
pub fn to_srgb(primaries: &Primaries) -> Matrix {
    multiply(&inverse(&rgb_to_xyz(&SRGB, D65)), &rgb_to_xyz(primaries, D65))
}

/// Bradford adaptation in XYZ: what has the colour `from` (XYZ of a white surface) becomes `to`.
pub fn bradford(from: [f64; 3], to: [f64; 3]) -> Matrix {
    let (from, to) = (apply(&BRADFORD, from), apply(&BRADFORD, to));
    let gains = diagonal(std::array::from_fn(|i| to[i] / from[i]));
    multiply(&inverse(&BRADFORD), &multiply(&gains, &BRADFORD))
}

/// Bradford adaptation in linear sRGB that makes a white surface of colour `white` (linear sRGB) neutral. Only the
/// white's chromaticity counts: its luminance is kept, so exposure does not change.
pub fn adapt_srgb(white: Linear) -> Matrix {
    let to_xyz = rgb_to_xyz(&SRGB, D65);
    let xyz = apply(&to_xyz, white.map(f64::from));
    let adapt = bradford(xyz.map(|part| part / xyz[1]), xyz_of_xy(D65));
    multiply(&inverse(&to_xyz), &multiply(&adapt, &to_xyz))
}

/// The same matrix in single precision.
pub fn single(m: &Matrix) -> Mat3 {
    m.map(|row| row.map(|value| value as f32))
}
