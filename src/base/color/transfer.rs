//! The sRGB transfer curve (IEC 61966-2-1:1999), shared by sRGB and Display P3.

use std::sync::LazyLock;

/// Linear light, 0..=1, of each 8-bit code.
pub static DECODE: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| decode(code as f64 / 255.0) as f32));

/// Coded values of linear light 0, 1/4096, ... 1: the nearest entry is under 0.41 codes off.
static ENCODE: LazyLock<[f32; 4097]> = LazyLock::new(|| std::array::from_fn(|i| encode(i as f64 / 4096.0) as f32));

/// Coded values of linear light, brought into 0..=1, in place and by table: under 0.41 of a code (1/255) off.
pub fn encode_fast(values: &mut [f32]) {
    let table: &[f32; 4097] = &ENCODE;
    for value in values {
        *value = table[(value.clamp(0.0, 1.0) * 4096.0 + 0.5) as usize];
    }
}

/// Linear light of a coded value 0..=1.
pub fn decode(coded: f64) -> f64 {
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

/// Coded value of linear light 0..=1.
pub fn encode(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_close_to_the_curve() {
        let mut coded: Vec<f32> = (0..100_000).map(|i| (f64::from(i) / 1e5) as f32).collect();
        encode_fast(&mut coded);
        let off = coded.iter().enumerate().map(|(i, &coded)| (f64::from(coded) - encode(i as f64 / 1e5)).abs());
        let worst = off.fold(0.0, f64::max);
        assert!(worst * 255.0 < 0.41, "{} codes", worst * 255.0);
        let mut outside = [7.0, -1.0];
        encode_fast(&mut outside);
        assert!((outside[0] - 1.0).abs() < 1e-6 && outside[1].abs() < 1e-6);
    }
}
