//! HEIC: the primary picture of a HEIF container (ISO/IEC 23008-12), coded in HEVC (ITU-T H.265), whole or in tiles.
//! Thumbnails, gain maps and depth maps beside it are left aside.
//!
//! The container turns and mirrors the picture itself; an EXIF orientation in it is for information only.

mod check;

use heifer::heifer_isobmff::boxes::{ColorInfo, Property};
use heifer::heifer_isobmff::{self as container, HeifFile, ItemId};
use heifer::{Image, heifer_hevc_dec as hevc};

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::error::{Error, Result};
use crate::photo::format::{self, PhotoFormat};
use crate::photo::still::{self, over_white, to_8_bit};
use crate::photo::{Decoded, Primaries, exif, icc, limits};

/// Decodes the primary picture.
pub(super) fn decode(bytes: &[u8]) -> Result<Decoded> {
    check::tables(bytes)?;
    let file = HeifFile::parse(bytes).map_err(failure)?;
    let coded = coded_items(&file)?;
    let stated = check::pictures(&file, &coded)?;
    let colour = colour(&file, &coded).or(stated).unwrap_or(UNSPECIFIED);
    // Photos are decoded side by side already.
    let options = heifer::Options { max_threads: 1, max_pixels: limits::MAX_PIXELS };
    let image = heifer::decode_rgba8(bytes, &options).map_err(failure)?;
    let mut doubts = Vec::new();
    let mut pixels = opaque(&image, &mut doubts);
    let primaries = match file.icc_profile(file.primary_id) {
        Ok(Some(profile)) => icc::apply(&mut pixels, Some(profile), &mut doubts),
        _ => stated_colour(&mut pixels, colour, &mut doubts)?,
    };
    let rgb = Raster::from_vec(image.width as usize, image.height as usize, pixels);
    Ok(Decoded { rgb, primaries, metadata: metadata(&file), doubts })
}

/// Pixels of the primary picture, as the container declares them.
pub(super) fn pixels(bytes: &[u8]) -> Option<u64> {
    check::tables(bytes).ok()?;
    let file = HeifFile::parse(bytes).ok()?;
    let (width, height) = match file.grid(file.primary_id) {
        Ok(grid) => (grid.output_width, grid.output_height),
        Err(_) => file.image_size(file.primary_id).ok()??,
    };
    Some(u64::from(width) * u64::from(height))
}

/// The items whose coded pictures make up the primary picture: itself, or its tiles.
fn coded_items(file: &HeifFile) -> Result<Vec<ItemId>> {
    let primary = file.primary_item().map_err(failure)?;
    let items = match &primary.item_type.0 {
        b"grid" => file.referenced_items(primary.id, b"dimg").to_vec(),
        _ => vec![primary.id],
    };
    for &id in &items {
        let kind = file.item(id).map_err(failure)?.item_type;
        match &kind.0 {
            b"hvc1" => {}
            b"av01" => return Err(format::avif()),
            _ => return Err(not_read(&format!("its picture is of the kind {kind}"))),
        }
    }
    Ok(items)
}

/// Colour primaries and transfer curve as numbers of ITU-T H.273.
type Colour = (u16, u16);

/// H.273: the file does not say, which means sRGB (ISO/IEC 23000-22, 7.3.6.4).
const UNSPECIFIED: Colour = (2, 2);

/// What the container says about the picture's colour, of itself or of its first tile.
fn colour(file: &HeifFile, coded: &[ItemId]) -> Option<Colour> {
    [file.primary_id].iter().chain(coded.first()).find_map(|&id| {
        file.item_properties(id).ok()?.find_map(|property| {
            let Property::Color(ColorInfo::Nclx { primaries, transfer, .. }) = property else { return None };
            Some((*primaries, *transfer))
        })
    })
}

/// Codes without a profile. Curves made for ordinary screens are read as sRGB's, as viewers do.
fn stated_colour(pixels: &mut [[u8; 3]], (primaries, transfer): Colour, doubts: &mut Vec<Doubt>) -> Result<Primaries> {
    match transfer {
        // BT.709, unspecified, BT.601, xvYCC, sRGB, BT.2020.
        1 | 2 | 6 | 11 | 13 | 14 | 15 => {}
        16 | 18 => {
            return Err(Error::Format(
                "this HEIC holds high dynamic range (PQ or HLG): switch HDR off in the camera, or save it as JPEG"
                    .into(),
            ));
        }
        _ => doubts.push(icc::unused("is not there, and the tone curve stated is an unusual one")),
    }
    Ok(icc::apply_primaries(pixels, primaries, doubts))
}

/// 8-bit codes without transparency.
fn opaque(image: &Image<u8>, doubts: &mut Vec<Doubt>) -> Vec<[u8; 3]> {
    let mut transparent = false;
    let pixels = image.data.chunks_exact(4).map(|pixel| {
        let rgb = [pixel[0], pixel[1], pixel[2]];
        if pixel[3] == u8::MAX {
            return rgb;
        }
        transparent = true;
        rgb.map(|code| to_8_bit(over_white(u16::from(code) * 257, u16::from(pixel[3]) * 257)))
    });
    let pixels = pixels.collect();
    if transparent {
        doubts.push(still::transparent());
    }
    pixels
}

fn metadata(file: &HeifFile) -> exif::Metadata {
    let block = file.exif(file.primary_id).unwrap_or_default();
    let mut metadata = exif::read(block.as_deref());
    metadata.orientation = 1;
    metadata.doubts.retain(|doubt| doubt.code != exif::BAD_ORIENTATION);
    metadata
}

fn not_read(why: &str) -> Error {
    Error::Format(format!("this kind of HEIC is not read ({why}): save it as JPEG"))
}

fn damaged(error: &impl std::fmt::Display) -> Error {
    let detail = exif::printable(error.to_string().as_bytes(), 80);
    Error::Damaged(format!("the HEIC is damaged ({detail}): copy it again from the camera"))
}

fn failure(error: impl Into<heifer::Error>) -> Error {
    use container::Error as Container;
    use hevc::Error as Hevc;
    let error = error.into();
    match &error {
        heifer::Error::Container(Container::UnexpectedEof) | heifer::Error::Hevc(Hevc::UnexpectedEof) => {
            still::cut_off(PhotoFormat::Heic)
        }
        heifer::Error::Container(Container::Unimplemented(why)) | heifer::Error::Hevc(Hevc::Unimplemented(why)) => {
            not_read(why)
        }
        heifer::Error::Unsupported(why) => not_read(&exif::printable(why.as_bytes(), 80)),
        heifer::Error::Container(_) | heifer::Error::Hevc(_) | heifer::Error::Encode(_) | heifer::Error::Invalid(_) => {
            damaged(&error)
        }
    }
}
