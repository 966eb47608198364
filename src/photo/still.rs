//! PNG, WebP and TIFF through the `image` crate: to 8-bit RGB codes without transparency.

use std::io::Cursor;

use image::codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::{ColorType, ImageDecoder, ImageError, Limits};

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::error::{Error, Result};
use crate::photo::format::PhotoFormat;
use crate::photo::{Decoded, exif, icc, limits, raw};

/// What a decoder may allocate beside the picture itself, in bytes: rows, profiles, text that is never looked at.
const SIDE_MEMORY: u64 = 16_000_000;
/// Zeros in a row that no coded picture holds: the coders spend bits as evenly as they can.
const GAP: usize = 1024;

/// Decodes a PNG.
pub(super) fn png(bytes: &[u8]) -> Result<Decoded> {
    let fail = |error: ImageError| failure(PhotoFormat::Png, &error);
    let mut bounds = Limits::no_limits();
    bounds.max_alloc = Some(SIDE_MEMORY);
    let mut decoder = PngDecoder::with_limits(Cursor::new(bytes), bounds).map_err(fail)?;
    check_size(&decoder)?;
    let mut doubts = Vec::new();
    if decoder.is_apng().map_err(fail)? {
        doubts.push(first_frame());
    }
    let profile = decoder.icc_profile().map_err(fail)?;
    if profile.is_none() && png_has_profile(bytes) {
        doubts.push(icc::unused("is damaged or too large"));
    }
    let metadata = exif::read(decoder.exif_metadata().map_err(fail)?.as_deref());
    finish(PhotoFormat::Png, decoder, metadata, (profile, doubts))
}

/// Whether an `iCCP` chunk stands before the pixels: the decoder is silent about one that it cannot read.
fn png_has_profile(bytes: &[u8]) -> bool {
    let mut rest = &bytes[8..];
    while let Some((head, body)) = rest.split_first_chunk::<8>() {
        let [a, b, c, d, kind @ ..] = *head;
        match &kind {
            b"iCCP" => return true,
            b"IDAT" => return false,
            _ => {}
        }
        // Each chunk ends with a check sum of four bytes.
        let length = u64::from(u32::from_be_bytes([a, b, c, d])) + 4;
        rest = usize::try_from(length).ok().and_then(|length| body.get(length..)).unwrap_or_default();
    }
    false
}

/// Decodes a WebP (its first frame, if it moves).
pub(super) fn webp(bytes: &[u8]) -> Result<Decoded> {
    let fail = |error: ImageError| failure(PhotoFormat::WebP, &error);
    // The container states its own length, and decoders do not all miss what is cut off.
    let declared = bytes.get(4..8).and_then(|field| field.try_into().ok()).map_or(u32::MAX, u32::from_le_bytes);
    if u64::from(declared) + 8 > bytes.len() as u64 || webp_has_a_gap(bytes) {
        return Err(cut_off(PhotoFormat::WebP));
    }
    let mut decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(fail)?;
    check_size(&decoder)?;
    let mut doubts = Vec::new();
    if decoder.has_animation() {
        doubts.push(first_frame());
    }
    let profile = decoder.icc_profile().unwrap_or_else(|_| {
        doubts.push(icc::unused("is damaged"));
        None
    });
    let metadata = exif::read(decoder.exif_metadata().unwrap_or_default().as_deref());
    finish(PhotoFormat::WebP, decoder, metadata, (profile, doubts))
}

/// Whether the picture's data hold a run of zeros, as copies do that broke off after the space was set aside: coded data have
/// no such runs, and the format no check sums.
fn webp_has_a_gap(bytes: &[u8]) -> bool {
    let mut rest = bytes.get(12..).unwrap_or_default();
    while let Some((head, body)) = rest.split_first_chunk::<8>() {
        let [kind @ .., a, b, c, d] = *head;
        let length = u32::from_le_bytes([a, b, c, d]) as usize;
        let data = &body[..length.min(body.len())];
        if matches!(&kind, b"VP8 " | b"VP8L") && data.chunk_by(|a, b| a == b).any(|run| run[0] == 0 && run.len() >= GAP)
        {
            return true;
        }
        // Parts are of even length.
        rest = body.get(length + length % 2..).unwrap_or_default();
    }
    false
}

/// Decodes the first page of a TIFF, or the preview of a camera raw file in its shape.
pub(super) fn tiff(bytes: &[u8]) -> Result<Decoded> {
    let fail = |error: ImageError| failure(PhotoFormat::Tiff, &error);
    let metadata = exif::read_tiff(bytes);
    if metadata.raw {
        return raw::decode(bytes, metadata);
    }
    let mut decoder = TiffDecoder::new(Cursor::new(bytes)).map_err(fail)?;
    check_size(&decoder)?;
    let mut bounds = Limits::no_limits();
    bounds.max_alloc = Some(decoder.total_bytes() * 2 + SIDE_MEMORY);
    decoder.set_limits(bounds).map_err(fail)?;
    let profile = decoder.icc_profile().map_err(fail)?;
    let mut decoded = finish(PhotoFormat::Tiff, decoder, metadata, (profile, Vec::new()))?;
    let blank =
        (0..decoded.rgb.height()).rev().take_while(|&y| decoded.rgb.row(y).iter().all(|code| *code == [0; 3])).count();
    if blank * 100 > decoded.rgb.height() {
        decoded.doubts.push(Doubt::new(
            "damaged-file",
            format!(
                "the lowest {:.0} % of the picture are pure black, as in a file that was not copied to its end",
                100.0 * blank as f64 / decoded.rgb.height() as f64
            ),
        ));
    }
    Ok(decoded)
}

fn first_frame() -> Doubt {
    Doubt::new("first-frame", "the file is an animation: only its first picture is measured")
}

/// The doubt for a picture that was laid over white.
pub(super) fn transparent() -> Doubt {
    Doubt::new("transparent", "parts of the picture are transparent: they are measured as white")
}

fn check_size(decoder: &impl ImageDecoder) -> Result<()> {
    let (width, height) = decoder.dimensions();
    limits::check_size(width, height)
}

/// The refusal of a file that ends too early.
pub(super) fn cut_off(format: PhotoFormat) -> Error {
    Error::Damaged(format!("the {} is cut off: copy it again from the camera", format.name()))
}

fn not_read(format: PhotoFormat) -> Error {
    Error::Format(format!("this kind of {} is not read: save it as JPEG or as 8-bit RGB", format.name()))
}

fn failure(format: PhotoFormat, error: &ImageError) -> Error {
    let name = format.name();
    match error {
        ImageError::IoError(_) => cut_off(format),
        ImageError::Unsupported(_) => not_read(format),
        ImageError::Limits(_) => Error::Limit(format!("the {name} asks for more memory than a photo needs")),
        ImageError::Decoding(_) | ImageError::Encoding(_) | ImageError::Parameter(_) => Error::Damaged(format!(
            "the {name} is damaged ({}): copy it again from the camera",
            exif::printable(error.to_string().as_bytes(), 80)
        )),
    }
}

fn finish(
    format: PhotoFormat,
    decoder: impl ImageDecoder,
    metadata: exif::Metadata,
    (profile, mut doubts): (icc::Profile, Vec<Doubt>),
) -> Result<Decoded> {
    let (width, height) = decoder.dimensions();
    // Floating-point files state no transfer curve, so that their values cannot be told from sRGB codes.
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        return Err(not_read(format));
    }
    let (mut pixels, transparent) = rgb8(decoder).map_err(|error| failure(format, &error))?;
    if transparent {
        doubts.push(self::transparent());
    }
    let primaries = icc::apply(&mut pixels, profile.as_deref(), &mut doubts);
    let rgb = Raster::from_vec(width as usize, height as usize, pixels);
    Ok(Decoded { rgb, primaries, metadata, doubts })
}

/// 8-bit RGB codes of whatever the decoder gives, and whether a pixel was not wholly opaque.
fn rgb8(decoder: impl ImageDecoder) -> image::ImageResult<(Vec<[u8; 3]>, bool)> {
    let (width, height) = decoder.dimensions();
    let color = decoder.color_type();
    if color == ColorType::Rgb8 {
        let mut pixels = vec![[0; 3]; width as usize * height as usize];
        decoder.read_image(pixels.as_flattened_mut())?;
        return Ok((pixels, false));
    }
    let mut codes = vec![0; usize::try_from(decoder.total_bytes()).expect("the size is within limits")];
    decoder.read_image(&mut codes)?;
    let (bytes, channels) = (usize::from(color.bytes_per_pixel()), usize::from(color.channel_count()));
    let mut transparent = false;
    let pixels = codes.chunks_exact(bytes).map(|pixel| {
        let code = |channel: usize| match bytes / channels {
            1 => u16::from(pixel[channel]) * 257,
            _ => u16::from_ne_bytes([pixel[2 * channel], pixel[2 * channel + 1]]),
        };
        let rgb = if color.has_color() { [code(0), code(1), code(2)] } else { [code(0); 3] };
        let alpha = if color.has_alpha() { code(channels - 1) } else { u16::MAX };
        transparent |= alpha != u16::MAX;
        rgb.map(|code| to_8_bit(over_white(code, alpha)))
    });
    let pixels = pixels.collect();
    Ok((pixels, transparent))
}

/// The nearest 8-bit code of a 16-bit one (65535 = 255 * 257).
pub(super) fn to_8_bit(code: u16) -> u8 {
    ((u32::from(code) + 128) / 257) as u8
}

/// Laid over white, in code values, as viewers do.
pub(super) fn over_white(code: u16, alpha: u16) -> u16 {
    const FULL: u64 = 65535;
    let (code, alpha) = (u64::from(code), u64::from(alpha));
    ((code * alpha + FULL * (FULL - alpha) + FULL / 2) / FULL) as u16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_bits_round_to_the_nearest_code() {
        for code in 0..=u16::MAX {
            assert_eq!(to_8_bit(code), (f64::from(code) / 257.0).round() as u8, "{code}");
        }
    }

    #[test]
    fn alpha_lies_over_white() {
        assert_eq!(over_white(1234, u16::MAX), 1234);
        assert_eq!(over_white(1234, 0), u16::MAX);
        assert_eq!(over_white(0, 32768), 32767);
    }
}
