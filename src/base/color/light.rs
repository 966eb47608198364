//! The colour of a light as its place beside the Planckian locus: reciprocal temperature along it (mired), distance
//! across it (duv).
//!
//! Method: Robertson 1968 (J. Opt. Soc. Am. 58:1528-1535). Chosen because it works in mired, the scale on which equal
//! steps look about equal, gives duv with it, and can be run backwards. The polynomials in use (1992, 1999) give a
//! temperature only; Ohno 2013 agrees with Robertson to 2 K (`fixtures/colour/cct_checks.csv`).

use super::Linear;
use super::matrix::{self, D65, SRGB};

/// Reciprocal colour temperature, 1e6 / kelvin.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Mired(pub f64);

impl Mired {
    /// The colour temperature in kelvin.
    pub fn kelvin(self) -> f64 {
        1e6 / self.0
    }
}

/// A light (or the colour of a white surface under it).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// Reciprocal correlated colour temperature.
    pub mired: Mired,
    /// Distance from the Planckian locus in CIE 1960 uv, positive on the green side (ANSI C78.377).
    pub duv: f64,
}

/// Mired, u, v, slope of the isotemperature line (Robertson 1968; as in Wyszecki and Stiles 1982, table 1(3.11), with
/// the misprint at 325 mired corrected to 0.24792). Checked against 36 lights in `tests/colour.rs`.
const ISOTHERMS: [[f64; 4]; 31] = [
    [0.0, 0.18006, 0.26352, -0.24341],
    [10.0, 0.18066, 0.26589, -0.25479],
    [20.0, 0.18133, 0.26846, -0.26876],
    [30.0, 0.18208, 0.27119, -0.28539],
    [40.0, 0.18293, 0.27407, -0.30470],
    [50.0, 0.18388, 0.27709, -0.32675],
    [60.0, 0.18494, 0.28021, -0.35156],
    [70.0, 0.18611, 0.28342, -0.37915],
    [80.0, 0.18740, 0.28668, -0.40955],
    [90.0, 0.18880, 0.28997, -0.44278],
    [100.0, 0.19032, 0.29326, -0.47888],
    [125.0, 0.19462, 0.30141, -0.58204],
    [150.0, 0.19962, 0.30921, -0.70471],
    [175.0, 0.20525, 0.31647, -0.84901],
    [200.0, 0.21142, 0.32312, -1.0182],
    [225.0, 0.21807, 0.32909, -1.2168],
    [250.0, 0.22511, 0.33439, -1.4512],
    [275.0, 0.23247, 0.33904, -1.7298],
    [300.0, 0.24010, 0.34308, -2.0637],
    [325.0, 0.24792, 0.34655, -2.4681],
    [350.0, 0.25591, 0.34951, -2.9641],
    [375.0, 0.26400, 0.35200, -3.5814],
    [400.0, 0.27218, 0.35407, -4.3633],
    [425.0, 0.28039, 0.35577, -5.3762],
    [450.0, 0.28863, 0.35714, -6.7262],
    [475.0, 0.29685, 0.35823, -8.5955],
    [500.0, 0.30505, 0.35907, -11.324],
    [525.0, 0.31320, 0.35968, -15.628],
    [550.0, 0.32129, 0.36011, -23.325],
    [575.0, 0.32931, 0.36038, -40.770],
    [600.0, 0.33724, 0.36051, -116.45],
];

/// CIE 1960 uv of a CIE 1931 chromaticity.
pub fn uv_of_xy([x, y]: [f64; 2]) -> [f64; 2] {
    let d = 12.0 * y - 2.0 * x + 3.0;
    [4.0 * x / d, 6.0 * y / d]
}

/// CIE 1931 chromaticity of a CIE 1960 uv.
pub fn xy_of_uv([u, v]: [f64; 2]) -> [f64; 2] {
    let d = 2.0 * u - 8.0 * v + 4.0;
    [3.0 * u / d, 2.0 * v / d]
}

/// Unit vector along an isotemperature line, pointing away from green (duv falls along it).
fn direction(slope: f64) -> [f64; 2] {
    let norm = slope.hypot(1.0);
    [1.0 / norm, slope / norm]
}

/// Point of the locus and direction of its isotemperature line, `part` of the way from one row to the next.
fn between(i: usize, part: f64) -> ([f64; 2], [f64; 2]) {
    let (a, b) = (ISOTHERMS[i], ISOTHERMS[i + 1]);
    let mix = |from: f64, to: f64| from + part * (to - from);
    let (da, db) = (direction(a[3]), direction(b[3]));
    let (x, y) = (mix(da[0], db[0]), mix(da[1], db[1]));
    let norm = x.hypot(y);
    ([mix(a[1], b[1]), mix(a[2], b[2])], [x / norm, y / norm])
}

impl Light {
    /// The light of a CIE 1960 uv; `None` below 0 or above 600 mired (1667 K), where the table ends.
    pub fn from_uv([u, v]: [f64; 2]) -> Option<Self> {
        let side = |row: &[f64; 4]| {
            let along = direction(row[3]);
            (v - row[2]) * along[0] - (u - row[1]) * along[1]
        };
        let i = ISOTHERMS.windows(2).position(|pair| side(&pair[0]) >= 0.0 && side(&pair[1]) < 0.0)?;
        let (before, after) = (side(&ISOTHERMS[i]), side(&ISOTHERMS[i + 1]));
        let part = before / (before - after);
        let (point, along) = between(i, part);
        Some(Self {
            mired: Mired(ISOTHERMS[i][0] + part * (ISOTHERMS[i + 1][0] - ISOTHERMS[i][0])),
            duv: -((u - point[0]) * along[0] + (v - point[1]) * along[1]),
        })
    }

    /// CIE 1960 uv of the light; the mired are held to the table's 0..600.
    pub fn uv(self) -> [f64; 2] {
        let mired = self.mired.0.clamp(0.0, 600.0);
        let i = ISOTHERMS.iter().rposition(|row| row[0] <= mired).unwrap_or(0).min(ISOTHERMS.len() - 2);
        let part = (mired - ISOTHERMS[i][0]) / (ISOTHERMS[i + 1][0] - ISOTHERMS[i][0]);
        let (point, along) = between(i, part);
        [point[0] - self.duv * along[0], point[1] - self.duv * along[1]]
    }

    /// The light that gives a white surface this colour, linear sRGB; `None` if no light does.
    pub fn from_srgb(white: Linear) -> Option<Self> {
        let xyz = matrix::apply(&matrix::rgb_to_xyz(&SRGB, D65), white.map(f64::from));
        let sum = xyz[0] + xyz[1] + xyz[2];
        let positive = xyz.iter().all(|&part| part > 0.0);
        if positive { Self::from_uv(uv_of_xy([xyz[0] / sum, xyz[1] / sum])) } else { None }
    }

    /// Colour of a white surface in this light, linear sRGB, green = 1.
    pub fn srgb(self) -> Linear {
        let to_rgb = matrix::inverse(&matrix::rgb_to_xyz(&SRGB, D65));
        let rgb = matrix::apply(&to_rgb, matrix::xyz_of_xy(xy_of_uv(self.uv())));
        rgb.map(|part| (part / rgb[1]) as f32)
    }

    /// The same light, `mired` warmer and `duv` greener.
    #[must_use]
    pub fn shifted(self, mired: f64, duv: f64) -> Self {
        Self { mired: Mired(self.mired.0 + mired), duv: self.duv + duv }
    }
}
