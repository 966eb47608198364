//! Colour profiles (ICC.1:2022): which primaries the codes have, and conversion where they are neither sRGB nor
//! Display P3.

use moxcms::{
    CicpColorPrimaries, CicpProfile, ColorProfile, DataColorSpace, Layout, MatrixCoefficients, RenderingIntent,
    ToneReprCurve, TransferCharacteristics, Transform8BitExecutor, TransformOptions, Xyzd,
};

use crate::base::doubt::Doubt;
use crate::photo::Primaries;
use crate::photo::limits::MAX_ICC_BYTES;

/// A profile's bytes as found in the file, if they can be a profile at all.
pub(super) type Profile = Option<Vec<u8>>;

/// Largest difference of a colorant (XYZ of D50) to call two the same. sRGB and Display P3 differ by 0.08; profiles
/// of one space written by different makers differ by less than 0.001.
const SAME_COLORANT: f64 = 0.002;
/// Largest difference of a code after the profile's curve and back through the sRGB curve.
const SAME_CODE: f32 = 1.0;

/// Codes that mean sRGB or Display P3 are left as they are; other RGB spaces are converted to Display P3 in place.
/// A profile that cannot be used is left aside with a doubt, and the codes are read as sRGB.
pub(super) fn apply(pixels: &mut [[u8; 3]], profile: Option<&[u8]>, doubts: &mut Vec<Doubt>) -> Primaries {
    let Some(bytes) = profile else { return Primaries::Srgb };
    match read(bytes).and_then(|profile| rgb_profile(pixels, &profile)) {
        Ok(primaries) => primaries,
        Err(why) => {
            doubts.push(unused(why));
            Primaries::Srgb
        }
    }
}

/// The doubt for a profile that is not used.
pub(super) fn unused(why: &str) -> Doubt {
    Doubt::new("bad-profile", format!("the colour profile {why}: the colours are read as sRGB"))
}

fn read(bytes: &[u8]) -> Result<ColorProfile, &'static str> {
    if bytes.len() > MAX_ICC_BYTES {
        return Err("is over the size limit");
    }
    ColorProfile::new_from_slice(bytes).map_err(|_| "is damaged")
}

fn rgb_profile(pixels: &mut [[u8; 3]], profile: &ColorProfile) -> Result<Primaries, &'static str> {
    if profile.color_space != DataColorSpace::Rgb {
        return Err("is not one for RGB pictures");
    }
    let (srgb, p3) = (ColorProfile::new_srgb(), ColorProfile::new_display_p3());
    if profile.is_matrix_shaper() && has_srgb_curve(profile) {
        if same_colorants(profile, &srgb) {
            return Ok(Primaries::Srgb);
        }
        if same_colorants(profile, &p3) {
            return Ok(Primaries::DisplayP3);
        }
    }
    convert(pixels, profile)?;
    Ok(Primaries::DisplayP3)
}

/// Codes with the sRGB curve whose primaries are stated by their number in ITU-T H.273, table 2.
pub(super) fn apply_primaries(pixels: &mut [[u8; 3]], number: u16, doubts: &mut Vec<Doubt>) -> Primaries {
    let color_primaries = match number {
        1 | 2 => return Primaries::Srgb,
        12 => return Primaries::DisplayP3,
        4 => CicpColorPrimaries::Bt470M,
        5 => CicpColorPrimaries::Bt470Bg,
        6 | 7 => CicpColorPrimaries::Bt601,
        9 => CicpColorPrimaries::Bt2020,
        11 => CicpColorPrimaries::Smpte431,
        _ => {
            doubts.push(unused("is not there, and the primaries stated are unknown ones"));
            return Primaries::Srgb;
        }
    };
    let profile = ColorProfile::new_from_cicp(CicpProfile {
        color_primaries,
        transfer_characteristics: TransferCharacteristics::Srgb,
        matrix_coefficients: MatrixCoefficients::Identity,
        full_range: true,
    });
    match convert(pixels, &profile) {
        Ok(()) => Primaries::DisplayP3,
        Err(why) => {
            doubts.push(unused(why));
            Primaries::Srgb
        }
    }
}

/// To Display P3 in place.
fn convert(pixels: &mut [[u8; 3]], profile: &ColorProfile) -> Result<(), &'static str> {
    let transform = to_p3(profile, Layout::Rgb)?;
    // A piece at a time, so that no second copy of the picture is needed.
    let mut before = [[0; 3]; 4096];
    for piece in pixels.chunks_mut(before.len()) {
        let before = &mut before[..piece.len()];
        before.copy_from_slice(piece);
        transform.transform(before.as_flattened(), piece.as_flattened_mut()).map_err(|_| "cannot be applied")?;
    }
    Ok(())
}

/// Ink codes (0 no ink, 255 full ink) as Display P3 codes through a CMYK profile.
pub(super) fn cmyk_to_p3(inks: &[[u8; 4]], profile: &[u8]) -> Result<Vec<[u8; 3]>, &'static str> {
    let profile = read(profile)?;
    if profile.color_space != DataColorSpace::Cmyk {
        return Err("is not one for CMYK pictures");
    }
    let transform = to_p3(&profile, Layout::Rgba)?;
    let mut pixels = vec![[0; 3]; inks.len()];
    transform.transform(inks.as_flattened(), pixels.as_flattened_mut()).map_err(|_| "cannot be applied")?;
    Ok(pixels)
}

fn to_p3(profile: &ColorProfile, layout: Layout) -> Result<std::sync::Arc<Transform8BitExecutor>, &'static str> {
    // Colours are measured, so that the colorimetric table goes before the pleasing one, which stands in where it is
    // the only one (ICC.1:2022, 8.10.2).
    [RenderingIntent::RelativeColorimetric, RenderingIntent::Perceptual]
        .into_iter()
        .find_map(|rendering_intent| {
            let options = TransformOptions { rendering_intent, ..TransformOptions::default() };
            profile.create_transform_8bit(layout, &ColorProfile::new_display_p3(), Layout::Rgb, options).ok()
        })
        .ok_or("cannot be applied")
}

fn same_colorants(a: &ColorProfile, b: &ColorProfile) -> bool {
    let near =
        |p: Xyzd, q: Xyzd| [p.x - q.x, p.y - q.y, p.z - q.z].iter().all(|difference| difference.abs() < SAME_COLORANT);
    near(a.red_colorant, b.red_colorant)
        && near(a.green_colorant, b.green_colorant)
        && near(a.blue_colorant, b.blue_colorant)
}

fn has_srgb_curve(profile: &ColorProfile) -> bool {
    [&profile.red_trc, &profile.green_trc, &profile.blue_trc]
        .into_iter()
        .all(|curve| curve.as_ref().is_some_and(is_srgb_curve))
}

fn is_srgb_curve(curve: &ToneReprCurve) -> bool {
    let Ok(curve) = curve.make_linear_evaluator() else { return false };
    (0..=255u8).all(|code| {
        let code = f32::from(code);
        (encode_srgb(curve.evaluate_value(code / 255.0)) * 255.0 - code).abs() <= SAME_CODE
    })
}

/// IEC 61966-2-1, from linear light 0..1 to the code value 0..1.
fn encode_srgb(linear: f32) -> f32 {
    if linear <= 0.003_130_8 { linear * 12.92 } else { linear.powf(1.0 / 2.4) * 1.055 - 0.055 }
}
