//! Stage 2: white point and scale. After this stage nobody asks what is white.

mod estimate;
#[cfg(test)]
mod tests;
mod tiles;
mod white;

pub use white::{White, WhiteChoice, WhiteSource};

use crate::base::color::matrix::{self, Matrix};
use crate::base::color::oklab::Converter;
use crate::base::color::{Linear, OkLab};
use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::photo::{Photo, Primaries};

/// Half-width of the white point's 95 % interval, mired, beyond which a photo is marked: within 20 mired the green share
/// of a plant reads right to a few points, at 40 it does not (`docs/science.md`, "White point").
const MOST_MIRED: f64 = 20.0;

/// What the user may state about white and scale.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Where white comes from. Default: [`WhiteChoice::Auto`].
    pub white: WhiteChoice,
    /// Pixels a millimetre at the plant, if the user knows it. Default: none.
    pub px_per_mm: Option<f64>,
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
    /// The road from this photo's codes to white-adapted Oklab. Make it once, use it for all pixels.
    pub fn converter(&self) -> Converter {
        self.converter_for(self.white.rgb)
    }

    /// The same under another white (one of [`White::samples`]), to see what the white point's uncertainty does.
    pub fn converter_for(&self, white: Linear) -> Converter {
        Converter::new(&to_srgb(self.photo.primaries), white)
    }

    /// White-adapted Oklab of one pixel's codes. Builds a converter each time: for single pixels only.
    pub fn oklab(&self, code: [u8; 3]) -> OkLab {
        self.converter().oklab(code)
    }
}

/// Finds white and scale. Never fails: what stays uncertain is said in the doubts and in the white's own uncertainty.
pub fn calibrate(photo: Photo, options: &Options) -> Calibrated {
    let mut doubts = Vec::new();
    let white = match white::given(&photo, options.white) {
        Ok(Some(white)) => white,
        Ok(None) => estimate::from_picture(&photo),
        Err(doubt) => {
            doubts.push(doubt);
            estimate::from_picture(&photo)
        }
    };
    let px_per_mm = options.px_per_mm.filter(|scale| scale.is_finite() && *scale > 0.0);
    if px_per_mm.is_none() {
        doubts.push(Doubt::new(
            "no-scale",
            "the scale is unknown, so there are no millimetres; put a label card beside the plant or give --px-per-mm",
        ));
    }
    with_white_doubt(Calibrated { photo, white, px_per_mm, doubts })
}

/// Looks again at an estimated white once the plants are known (`plants`: 0 background, k = plant k), so that a pale or
/// red plant no longer passes for many pale or red surfaces. A white that was given or read from a card stays.
///
/// # Panics
/// If `plants` is not as large as the photo.
pub fn refine_white(mut calibrated: Calibrated, plants: &Raster<u8>) -> Calibrated {
    assert_eq!(plants.bounds(), calibrated.photo.rgb.bounds(), "a plants mask as large as the photo");
    match calibrated.white.source {
        WhiteSource::Card | WhiteSource::Given => calibrated,
        WhiteSource::Estimated => {
            calibrated.white = estimate::with_plants(&calibrated.photo, plants);
            with_white_doubt(calibrated)
        }
    }
}

/// Linear light in a photo's primaries to linear sRGB.
fn to_srgb(primaries: Primaries) -> Matrix {
    match primaries {
        Primaries::Srgb => matrix::IDENTITY,
        Primaries::DisplayP3 => matrix::to_srgb(&matrix::DISPLAY_P3),
    }
}

/// Sets or removes the doubt about white.
fn with_white_doubt(mut calibrated: Calibrated) -> Calibrated {
    const CODE: &str = "white-uncertain";
    calibrated.doubts.retain(|doubt| doubt.code != CODE);
    let half = 1.96 * calibrated.white.mired_sd;
    if half > MOST_MIRED {
        calibrated.doubts.push(Doubt::new(
            CODE,
            format!(
                "the colour of the light is known to +-{half:.0} mired only (beyond {MOST_MIRED:.0}, green, cream and gold \
                 run into each other); put a white card beside the plant or point --white at something neutral"
            ),
        ));
    }
    calibrated
}
