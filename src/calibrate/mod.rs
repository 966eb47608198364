//! Stage 2: white point and scale.

use crate::base::color::{Linear, OkLab};
use crate::base::doubt::Doubt;
use crate::photo::Photo;

/// Where the white point comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhiteSource {
    /// Grey patches of a label card.
    Card,
    /// Estimated from the picture.
    Estimated,
    /// Stated by the user.
    Given,
}

/// The white point and how sure it is.
#[derive(Debug, Clone)]
pub struct White {
    /// Where it comes from.
    pub source: WhiteSource,
    /// A perfect white surface as the camera recorded it, linear sRGB, green = 1. [1,1,1]: the camera's own balance holds.
    pub rgb: Linear,
    /// Standard uncertainty along the daylight locus, mired (reciprocal megakelvin).
    pub mired_sd: f64,
    /// Standard uncertainty across the locus (green-magenta), in CIE 1960 uv distance.
    pub duv_sd: f64,
}

/// A photo whose colours and lengths can be read.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The upright photo.
    pub photo: Photo,
    /// Its white point.
    pub white: White,
    /// Pixels a millimetre at the plant, if known.
    pub px_per_mm: Option<f64>,
    /// Caveats.
    pub doubts: Vec<Doubt>,
}

impl Calibrated {
    /// White-adapted Oklab of one pixel's codes (reference path; stages use a `Converter` made once a photo).
    pub fn oklab(&self, _code: [u8; 3]) -> OkLab {
        OkLab::new(0.0, 0.0, 0.0)
    }
}

impl White {
    /// Stub.
    pub fn samples(&self, n: usize) -> Vec<Linear> {
        let mut r = crate::base::stats::SplitMix64::new(7);
        (0..n)
            .map(|i| {
                if i == 0 {
                    self.rgb
                } else {
                    let m = (r.normal() * self.mired_sd) as f32;
                    let t = (r.normal() * self.duv_sd) as f32;
                    [self.rgb[0] * (1.0 + m * 0.0035 + t * 8.0), 1.0, self.rgb[2] * (1.0 - m * 0.0055 + t * 8.0)]
                }
            })
            .collect()
    }
}
