//! JPEG. A photo that is cut off, forged or damaged in its picture data is refused, although decoders would fill the
//! missing part with grey or smear and say nothing.
//!
//! How that is found, at the price of one decoding:
//! - markers: fewer bits than the declared size must cost, missing restart markers, bits that no progressive scan sends;
//! - the decoder is strict, so that it reports data that end too early. It is given the data with another end than
//!   their end marker, because at the marker it fills what is missing with zeros (a cut file to which one was added);
//! - the last row of the picture must have been written.

mod ink;
mod structure;

use std::borrow::Cow;

use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::error::{Error, Result};
use crate::photo::jpeg::structure::{Structure, cut_off};
use crate::photo::{Decoded, exif, icc, limits};

/// Decodes the first picture of a JPEG file.
pub(super) fn decode(bytes: &[u8]) -> Result<Decoded> {
    let structure = Structure::read(bytes);
    structure.check()?;
    let mut doubts = Vec::new();
    if structure.end.is_none() {
        if ends_blank(bytes) {
            return Err(cut_off());
        }
        doubts.push(damaged("its end marker is missing"));
    }
    if structure.stray_bytes {
        doubts.push(damaged("stray bytes stand between its parts"));
    }
    let profile = structure.profile().unwrap_or_else(|why| {
        doubts.push(icc::unused(why));
        None
    });
    let (pixels, primaries) = if structure.components.len() == 4 {
        let raw = pixels::<4>(bytes, &structure, &mut doubts)?;
        ink::to_rgb(raw, structure.adobe, profile.as_deref(), &mut doubts)
    } else {
        let mut pixels = pixels::<3>(bytes, &structure, &mut doubts)?;
        let primaries = icc::apply(&mut pixels, profile.as_deref(), &mut doubts);
        (pixels, primaries)
    };
    let rgb = Raster::from_vec(structure.width as usize, structure.height as usize, pixels);
    Ok(Decoded { rgb, primaries, metadata: exif::read(structure.exif), doubts })
}

/// The size that a JPEG declares, in pixels.
pub(super) fn pixels_stated(bytes: &[u8]) -> u64 {
    let structure = Structure::read(bytes);
    u64::from(structure.width) * u64::from(structure.height)
}

fn damaged(what: &str) -> Doubt {
    Doubt::new("damaged-file", format!("the JPEG is slightly damaged, {what}, but the whole picture is there"))
}

/// Whether the file ends in a long run of zeros, as copies do that broke off after the space was set aside.
fn ends_blank(bytes: &[u8]) -> bool {
    bytes.last_chunk::<512>().is_some_and(|tail| tail.iter().all(|&byte| byte == 0))
}

/// Pixels of `N` channels: RGB, or four raw inks.
fn pixels<const N: usize>(bytes: &[u8], structure: &Structure, doubts: &mut Vec<Doubt>) -> Result<Vec<[u8; N]>> {
    let input = open_ended(bytes, structure);
    match run(&input, structure, true) {
        Ok(pixels) => Ok(pixels),
        Err(Stop::Early) => Err(cut_off()),
        // What a progressive decoder leaves out when it stops is spread over the whole picture.
        Err(Stop::Codec(error)) if structure.progressive => Err(refusal(&error)),
        Err(Stop::Codec(_)) => {
            let pixels = run::<N>(&input, structure, false).map_err(|stop| match stop {
                Stop::Early => lost(),
                Stop::Codec(error) => refusal(&error),
            })?;
            doubts.push(damaged("its picture data break a rule of the format"));
            Ok(pixels)
        }
    }
}

/// The first picture with another end than its end marker, at which the decoder would fill what is missing with zeros:
/// - sequential: the end of the data, which a strict decoder reports if it still needs bits;
/// - progressive: an unknown marker that it reports inside a scan and passes over behind one, then an end marker.
///
/// The decoder reads up to eight bytes ahead; eight zeros keep it from meeting that end when nothing is missing.
fn open_ended<'a>(bytes: &'a [u8], structure: &Structure) -> Cow<'a, [u8]> {
    const AHEAD: &[u8] = &[0; 8];
    const UNKNOWN_THEN_END: &[u8] = &[0xFF, 0x02, 0x00, 0x02, 0xFF, 0xD9];
    match structure.end {
        // Behind the last restart interval a progressive decoder wants a marker that it knows.
        Some(end) if structure.progressive && structure.has_restarts() => Cow::Borrowed(&bytes[..end + 2]),
        Some(end) if structure.progressive => Cow::Owned([&bytes[..end], AHEAD, UNKNOWN_THEN_END].concat()),
        Some(end) => Cow::Owned([&bytes[..end], AHEAD].concat()),
        None => Cow::Borrowed(bytes),
    }
}

enum Stop {
    /// The data end before the picture does.
    Early,
    Codec(DecodeErrors),
}

fn run<const N: usize>(bytes: &[u8], structure: &Structure, strict: bool) -> std::result::Result<Vec<[u8; N]>, Stop> {
    let options = DecoderOptions::default()
        .set_max_width(limits::MAX_SIDE as usize)
        .set_max_height(limits::MAX_SIDE as usize)
        .jpeg_set_max_scans(limits::MAX_SCANS)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    // Headers are always read leniently: strictness there refuses photos that every viewer opens.
    decoder.decode_headers().map_err(Stop::Codec)?;
    let (width, height) = (structure.width as usize, structure.height as usize);
    if decoder.dimensions() != Some((width, height)) {
        return Err(Stop::Codec(DecodeErrors::FormatStatic("two sizes are declared")));
    }
    let space = match decoder.input_colorspace() {
        Some(space) if N == 4 => space,
        _ => ColorSpace::RGB,
    };
    decoder.set_options(options.jpeg_set_out_colorspace(space).set_strict_mode(strict));
    let mut pixels = vec![[0; N]; width * height];
    let last_row = width * (height - 1);
    mark(&mut pixels[last_row..]);
    let marked = pixels[last_row..].to_vec();
    decoder.decode_into(pixels.as_flattened_mut()).map_err(stop)?;
    // A lenient decoder fills with middle grey what it could not decode.
    if !strict && pixels[last_row..].iter().all(|pixel| *pixel == [128; N]) {
        return Err(Stop::Early);
    }
    if pixels[last_row..] == marked {
        return Err(Stop::Early);
    }
    Ok(pixels)
}

/// Codes that no photo has in its last row, to see whether the decoder has come so far.
fn mark<const N: usize>(row: &mut [[u8; N]]) {
    for (x, pixel) in row.iter_mut().enumerate() {
        *pixel = std::array::from_fn(|channel| (x * 89 + channel * 151) as u8);
    }
}

/// The decoder's words for data that end too early, as of zune-jpeg 0.5.15; the tests hold it to them.
fn stop(error: DecodeErrors) -> Stop {
    if matches!(error, DecodeErrors::ExhaustedData | DecodeErrors::FormatStatic("Premature end of buffer")) {
        Stop::Early
    } else {
        Stop::Codec(error)
    }
}

fn lost() -> Error {
    Error::Damaged("the JPEG is damaged, a part of the picture is lost: copy it again from the camera".into())
}

fn refusal(error: &DecodeErrors) -> Error {
    let detail = exif::printable(error.to_string().as_bytes(), 80);
    Error::Damaged(format!("the JPEG is damaged ({detail}): copy it again from the camera"))
}
