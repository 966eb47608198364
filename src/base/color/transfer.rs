//! The sRGB transfer curve (IEC 61966-2-1:1999), shared by sRGB and Display P3.

use std::sync::LazyLock;

/// Linear light, 0..=1, of each 8-bit code.
pub static DECODE: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|code| decode(code as f64 / 255.0) as f32));

/// Linear light of a coded value 0..=1.
pub fn decode(coded: f64) -> f64 {
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

/// Coded value of linear light 0..=1.
pub fn encode(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}
