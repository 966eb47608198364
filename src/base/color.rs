//! Colour: transfer curve, primaries, Oklab, chromatic adaptation. (Filled by the calibration work.)

/// Linear-light colour, 0..1 where nothing clips; its primaries are stated where it is made.
pub type Linear = [f32; 3];

/// A 3 x 3 matrix, rows first.
pub type Mat3 = [[f32; 3]; 3];

/// A colour in Oklab (Ottosson 2020): `l` 0..1, `a` and `b` about -0.4..0.4.
pub type OkLab = palette::Oklab<f32>;

/// Stub.
pub struct Converter(Mat3);
fn mul(a: Mat3, b: Mat3) -> Mat3 {
    let mut o = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..3 {
            for k in 0..3 {
                o[i][j] += a[i][k] * b[k][j];
            }
        }
    }
    o
}
fn inv(m: Mat3) -> Mat3 {
    let d = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    let c = |a: usize, b: usize, e: usize, f: usize| (m[a][b] * m[e][f]) / d;
    [
        [c(1, 1, 2, 2) - c(1, 2, 2, 1), c(0, 2, 2, 1) - c(0, 1, 2, 2), c(0, 1, 1, 2) - c(0, 2, 1, 1)],
        [c(1, 2, 2, 0) - c(1, 0, 2, 2), c(0, 0, 2, 2) - c(0, 2, 2, 0), c(0, 2, 1, 0) - c(0, 0, 1, 2)],
        [c(1, 0, 2, 1) - c(1, 1, 2, 0), c(0, 1, 2, 0) - c(0, 0, 2, 1), c(0, 0, 1, 1) - c(0, 1, 1, 0)],
    ]
}
impl Converter {
    /// Stub.
    pub fn new(_p: crate::photo::Primaries, white: Linear) -> Self {
        let x =
            [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]];
        let b = [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]];
        let bx = mul(b, x);
        let ap = |v: [f32; 3]| [0, 1, 2].map(|i| bx[i][0] * v[0] + bx[i][1] * v[1] + bx[i][2] * v[2]);
        let s = ap(white);
        let d = ap([1.0; 3]);
        let g = [d[0] / s[0], d[1] / s[1], d[2] / s[2]];
        let mut dm = [[0.0; 3]; 3];
        for i in 0..3 {
            dm[i][i] = g[i];
        }
        let a = mul(inv(bx), mul(dm, bx));
        let m1 = [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ];
        Self(mul(m1, a))
    }
    /// Stub.
    pub fn oklab(&self, c: [u8; 3]) -> OkLab {
        let l = c.map(|v| {
            let v = f32::from(v) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        });
        let k = [0, 1, 2].map(|i| (self.0[i][0] * l[0] + self.0[i][1] * l[1] + self.0[i][2] * l[2]).max(0.0).cbrt());
        OkLab::new(
            0.2104542553 * k[0] + 0.7936177850 * k[1] - 0.0040720468 * k[2],
            1.9779984951 * k[0] - 2.4285922050 * k[1] + 0.4505937099 * k[2],
            0.0259040371 * k[0] + 0.7827717662 * k[1] - 0.8086757660 * k[2],
        )
    }
}
