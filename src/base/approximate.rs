//! Functions of the library of mathematics as plain arithmetic, which the compiler turns into vectors in `wide` loops.

#![allow(clippy::inline_always, reason = "what is not compiled into a wide loop keeps it from becoming vectors")]

use std::f32::consts::{FRAC_PI_2, LOG2_E, PI};

/// e to the power of `x`, which is at most 80; under -87 as at -87. Off by two ten-millionths of the value: cut into a power of
/// two and a polynomial (S. Moshier, Cephes 2.2, `expf.c`).
#[inline(always)]
pub fn exp(x: f32) -> f32 {
    /// Added and taken away again it rounds to a whole number, which then stands in the lowest bits.
    const ROUND: f32 = 12_582_912.0;
    const LN_2: [f32; 2] = [0.693_359_4, -2.121_944_4e-4];
    const SERIES: [f32; 6] = [1.987_569_1e-4, 1.398_199_9e-3, 8.333_452e-3, 4.166_579_6e-2, 1.666_666_5e-1, 0.5];
    let x = x.max(-87.0);
    let twos = x * LOG2_E + ROUND;
    let whole = twos - ROUND;
    let rest = x - whole * LN_2[0] - whole * LN_2[1];
    let series = SERIES[1..].iter().fold(SERIES[0], |sum, c| sum * rest + c);
    (series * rest * rest + rest + 1.0) * f32::from_bits((twos.to_bits() << 23).wrapping_add(1.0f32.to_bits()))
}

/// Angle of (`x`, `y`) from the x axis, radians, -pi to pi; 0 at the origin. Off by less than 5e-7: M. Abramowitz, I. Stegun 1964,
/// Handbook of Mathematical Functions, 4.4.49, for the eighth of a turn next to an axis.
#[inline(always)]
pub fn atan2(y: f32, x: f32) -> f32 {
    const SERIES: [f32; 9] = [
        0.002_866_225_7,
        -0.016_165_737,
        0.042_909_614,
        -0.075_289_64,
        0.106_562_64,
        -0.142_089,
        0.199_935_51,
        -0.333_331_45,
        1.0,
    ];
    let (far, near) = if x.abs() > y.abs() { (x.abs(), y.abs()) } else { (y.abs(), x.abs()) };
    let slope = near / far.max(f32::MIN_POSITIVE);
    let square = slope * slope;
    let eighth = slope * SERIES[1..].iter().fold(SERIES[0], |sum, c| sum * square + c);
    let quarter = if x.abs() > y.abs() { eighth } else { FRAC_PI_2 - eighth };
    let half = if x < 0.0 { PI - quarter } else { quarter };
    if far > 0.0 { half.copysign(y) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_are_those_of_the_standard_library() {
        let worst = (-870..=800).map(|i| i as f32 / 10.0).map(|x| (exp(x) / x.exp() - 1.0).abs()).fold(0.0, f32::max);
        assert!(worst < 3e-7, "relative error {worst}");
        assert_eq!((exp(0.0), exp(-1e9)), (1.0, exp(-87.0)));
    }

    #[test]
    fn angles_are_those_of_the_standard_library() {
        let places = (0..3600).map(|i| f64::from(i).to_radians() / 10.0).map(|t| (t.sin() as f32, t.cos() as f32));
        let worst = places.map(|(y, x)| (atan2(0.3 * y, 0.3 * x) - (0.3 * y).atan2(0.3 * x)).abs()).fold(0.0, f32::max);
        assert!(worst < 5e-7, "{worst} radians");
        for (y, x) in [(0.0, 0.0), (0.0, 1.0), (0.0, -1.0), (1.0, 0.0), (-1.0, 0.0), (1.0, 1.0), (-1.0, -1.0)] {
            assert!((atan2(y, x) - y.atan2(x)).abs() < 5e-7, "{y} {x}");
        }
    }
}
