//! JPEGs of four inks: CMYK and YCCK.

use crate::base::doubt::Doubt;
use crate::photo::{Primaries, icc};

/// RGB codes of a picture of four components, as a decoder gives them raw. `adobe` is the colour transform of the
/// Adobe marker, whose writers store inks inverted (Adobe Technical Note 5116; libjpeg, "CMYK files").
pub(super) fn to_rgb(
    mut raw: Vec<[u8; 4]>,
    adobe: Option<u8>,
    profile: Option<&[u8]>,
    doubts: &mut Vec<Doubt>,
) -> (Vec<[u8; 3]>, Primaries) {
    if adobe == Some(2) {
        for pixel in &mut raw {
            *pixel = ycck_to_stored_cmyk(*pixel);
        }
    }
    if adobe.is_some() {
        for code in raw.as_flattened_mut() {
            *code = 255 - *code;
        }
    }
    let why = match profile.map(|profile| icc::cmyk_to_p3(&raw, profile)) {
        Some(Ok(pixels)) => return (pixels, Primaries::DisplayP3),
        Some(Err(why)) => why,
        None => "is missing, and the inks are not known",
    };
    doubts.push(icc::unused(why));
    (raw.into_iter().map(plain).collect(), Primaries::Srgb)
}

/// YCCK holds the colour whose complement the inks are (ITU-T T.871 for the luma weights).
fn ycck_to_stored_cmyk([y, cb, cr, k]: [u8; 4]) -> [u8; 4] {
    let (y, cb, cr) = (f32::from(y), f32::from(cb) - 128.0, f32::from(cr) - 128.0);
    let ink = |colour: f32| 255 - colour.round().clamp(0.0, 255.0) as u8;
    [ink(y + 1.402 * cr), ink(y - 0.344_136 * cb - 0.714_136 * cr), ink(y + 1.772 * cb), k]
}

/// Inks as ideal filters: what is left of white light.
fn plain([c, m, y, k]: [u8; 4]) -> [u8; 3] {
    [c, m, y].map(|ink| ((u32::from(255 - ink) * u32::from(255 - k) + 127) / 255) as u8)
}
