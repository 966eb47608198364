//! Oklab (B. Ottosson, "A perceptual color space for image processing", 2020, matrices of 2021-01-25) and the fast
//! road from 8-bit codes to it.

#![allow(clippy::inline_always, reason = "what is not compiled into a wide loop keeps it from becoming vectors")]

use super::matrix::{self, Matrix};
use super::transfer::{DECODE, encode_fast};
use super::{Linear, Mat3, OkLab};
use crate::base::wide::wide;

/// Linear sRGB to the cone responses of Oklab; the direct matrix of the post, not the detour through XYZ.
pub const LINEAR_SRGB_TO_LMS: Matrix = [
    [0.412_221_470_8, 0.536_332_536_3, 0.051_445_992_9],
    [0.211_903_498_2, 0.680_699_545_1, 0.107_396_956_6],
    [0.088_302_461_9, 0.281_718_837_6, 0.629_978_700_5],
];

/// Cube roots of the cone responses to Oklab.
pub const LMS_CBRT_TO_OKLAB: Matrix = [
    [0.210_454_255_3, 0.793_617_785_0, -0.004_072_046_8],
    [1.977_998_495_1, -2.428_592_205_0, 0.450_593_709_9],
    [0.025_904_037_1, 0.782_771_766_2, -0.808_675_766_0],
];

/// Least cone response. A response below it is black (code 1 gives 1e-5 and more) or outside every real gamut; without
/// the floor the cube root of black runs through denormal numbers, which made it three times slower. Black reads
/// L = 1e-5.
const FLOOR: f32 = 1e-15;

/// Pixels a block: the planes of a block stay in the first-level cache.
const BLOCK: usize = 256;

/// From 8-bit codes of one photo to white-adapted Oklab: primaries, Bradford adaptation and cone matrix are one matrix.
#[derive(Debug, Clone)]
pub struct Converter {
    decode: &'static [f32; 256],
    adapted: Mat3,
    to_lms: Mat3,
    to_oklab: Mat3,
}

impl Converter {
    /// `to_srgb` turns the photo's linear primaries into linear sRGB ([`matrix::to_srgb`]); `white` is a white surface
    /// as the photo shows it, linear sRGB, of which only the chromaticity counts.
    pub fn new(to_srgb: &Matrix, white: Linear) -> Self {
        let adapted = matrix::multiply(&matrix::adapt_srgb(white), to_srgb);
        Self {
            decode: &DECODE,
            adapted: matrix::single(&adapted),
            to_lms: matrix::single(&matrix::multiply(&LINEAR_SRGB_TO_LMS, &adapted)),
            to_oklab: matrix::single(&LMS_CBRT_TO_OKLAB),
        }
    }

    /// One pixel.
    pub fn oklab(&self, code: [u8; 3]) -> OkLab {
        let [l, a, b] = self.lab(code.map(|value| self.decode[usize::from(value)]));
        OkLab::new(l, a, b)
    }

    /// Codes under white light: sRGB codes / 255, 0..=1, as if the light had been D65. One plane a channel, one behind the other.
    ///
    /// # Panics
    /// If `planes` does not hold three values a pixel.
    pub fn adapted_codes(&self, codes: &[[u8; 3]], planes: &mut [f32]) {
        assert_eq!(planes.len(), 3 * codes.len(), "three values a pixel");
        let (p, rest) = planes.split_at_mut(codes.len());
        let (q, r) = rest.split_at_mut(codes.len());
        for (((p, q), r), code) in p.iter_mut().zip(&mut *q).zip(&mut *r).zip(codes) {
            [*p, *q, *r] = code.map(|value| self.decode[usize::from(value)]);
        }
        wide(|| {
            for ((p, q), r) in p.iter_mut().zip(q).zip(r) {
                [*p, *q, *r] = self.adapted.map(|m| m[0] * *p + m[1] * *q + m[2] * *r);
            }
        });
        encode_fast(planes);
    }

    /// A row of pixels: the same numbers as [`Converter::oklab`], several pixels at a time.
    ///
    /// # Panics
    /// If the two slices differ in length.
    pub fn oklab_row(&self, codes: &[[u8; 3]], out: &mut [OkLab]) {
        assert_eq!(codes.len(), out.len(), "one colour a pixel");
        let mut planes = [[0.0f32; BLOCK]; 3];
        for (codes, out) in codes.chunks(BLOCK).zip(out.chunks_mut(BLOCK)) {
            for (i, code) in codes.iter().enumerate() {
                for (plane, &value) in planes.iter_mut().zip(code) {
                    plane[i] = self.decode[usize::from(value)];
                }
            }
            self.block(&mut planes, codes.len());
            let [l, a, b] = &planes;
            for (i, pixel) in out.iter_mut().enumerate() {
                *pixel = OkLab::new(l[i], a[i], b[i]);
            }
        }
    }

    /// Linear planes to Oklab planes, in place. Plain loops over arrays, which the compiler turns into vector code.
    fn block(&self, planes: &mut [[f32; BLOCK]; 3], len: usize) {
        let [p, q, r] = planes;
        wide(|| {
            for ((p, q), r) in p[..len].iter_mut().zip(&mut q[..len]).zip(&mut r[..len]) {
                [*p, *q, *r] = self.lab([*p, *q, *r]);
            }
        });
    }

    /// Linear light to Oklab.
    #[inline(always)]
    fn lab(&self, light: [f32; 3]) -> [f32; 3] {
        let apply = |m: &Mat3, v: [f32; 3]| m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
        apply(&self.to_oklab, apply(&self.to_lms, light).map(cube_root))
    }
}

/// From Oklab under one white to Oklab under another.
#[derive(Debug, Clone)]
pub struct Relight {
    to_lms_cbrt: Mat3,
    between: Mat3,
    to_oklab: Mat3,
}

impl Relight {
    /// Colours that `from` made, as `to` would have made them.
    pub fn new(from: &Converter, to: &Converter) -> Self {
        let double = |m: &Mat3| m.map(|row| row.map(f64::from));
        let back = matrix::inverse(&double(&from.to_lms));
        Self {
            to_lms_cbrt: matrix::single(&matrix::inverse(&LMS_CBRT_TO_OKLAB)),
            between: matrix::single(&matrix::multiply(&double(&to.to_lms), &back)),
            to_oklab: matrix::single(&LMS_CBRT_TO_OKLAB),
        }
    }

    /// One colour.
    #[inline(always)]
    pub fn oklab(&self, colour: OkLab) -> OkLab {
        let apply = |m: &Mat3, v: [f32; 3]| m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
        let lms = apply(&self.to_lms_cbrt, [colour.l, colour.a, colour.b]).map(|v| v * v * v);
        let [l, a, b] = apply(&self.to_oklab, apply(&self.between, lms).map(cube_root));
        OkLab::new(l, a, b)
    }
}

/// Cube root of `x` raised to [`FLOOR`]: a third of the exponent as first guess (FreeBSD msun `s_cbrtf.c`, good to 5
/// bits), then two Newton steps.
#[inline(always)]
fn cube_root(x: f32) -> f32 {
    let x = x.max(FLOOR);
    let guess = f32::from_bits(x.to_bits() / 3 + 709_958_130);
    let step = |y: f32| (2.0 * y + x / (y * y)) * (1.0 / 3.0);
    step(step(guess))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::color::matrix::IDENTITY;

    /// Turning colours from one white to another is reading the photo again under the other.
    #[test]
    fn relighting_equals_reading_again() {
        let from = Converter::new(&IDENTITY, [1.1, 1.0, 0.8]);
        let to = Converter::new(&IDENTITY, [0.9, 1.0, 1.2]);
        let relight = Relight::new(&from, &to);
        for code in [[40, 90, 30], [200, 190, 120], [120, 40, 60], [250, 250, 250]] {
            let (turned, read) = (relight.oklab(from.oklab(code)), to.oklab(code));
            let off = (turned.l - read.l).abs().max((turned.a - read.a).abs()).max((turned.b - read.b).abs());
            assert!(off < 1e-4, "{code:?}: {off}");
        }
    }

    /// The white itself becomes white; under a white of equal parts nothing changes.
    #[test]
    fn adapted_codes_are_those_under_white_light() {
        let same = Converter::new(&IDENTITY, [1.0, 1.0, 1.0]);
        let adapted = |converter: &Converter, code| {
            let mut planes = [0.0; 3];
            converter.adapted_codes(&[code], &mut planes);
            planes
        };
        for (got, want) in adapted(&same, [40, 90, 200]).into_iter().zip([40.0, 90.0, 200.0]) {
            assert!((got * 255.0 - want).abs() < 0.6, "{got}");
        }
        let linear = |c: u8| DECODE[usize::from(c)];
        let warm = Converter::new(&IDENTITY, [linear(230), linear(200), linear(150)]);
        let [r, g, b] = adapted(&warm, [230, 200, 150]);
        assert!((r - g).abs() < 0.01 && (g - b).abs() < 0.01, "{r} {g} {b}");
    }

    /// Against the standard library, over every size that a photo can hold.
    #[test]
    fn cube_root_is_good_to_two_millionths() {
        let worst = (1..40_000)
            .map(|i| (i as f32 / 10_000.0).powi(3))
            .map(|x| (cube_root(x) / x.cbrt() - 1.0).abs())
            .fold(0.0, f32::max);
        assert!(worst < 2e-6, "relative error {worst}");
        assert!((cube_root(0.0) - 1e-5).abs() < 1e-9);
        assert!((cube_root(-1.0) - 1e-5).abs() < 1e-9);
    }
}
