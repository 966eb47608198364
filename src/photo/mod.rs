//! Stage 1: a file becomes an upright picture with known primaries. After this stage nobody asks about file format,
//! EXIF orientation, ICC profile or bit depth.

mod exif;
pub mod format;
mod heic;
mod icc;
mod jpeg;
pub mod limits;
mod raw;
mod rotate;
mod still;

use std::io::Read as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use sha2::{Digest as _, Sha256};

use crate::base::doubt::Doubt;
use crate::base::hex::hex;
use crate::base::raster::Raster;
use crate::base::resample::{fit, shrink};
use crate::error::{Error, Result};
use crate::photo::format::PhotoFormat;

/// Primaries of the 8-bit codes. Both use the sRGB transfer curve (IEC 61966-2-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Primaries {
    /// sRGB / ITU-R BT.709.
    Srgb,
    /// Display P3 (phones).
    DisplayP3,
}

/// An upright photo.
#[derive(Debug, Clone)]
pub struct Photo {
    /// Upright pixels, 8-bit codes with the sRGB transfer curve in `primaries`.
    pub rgb: Raster<[u8; 3]>,
    /// The same at most [`OVERVIEW`] pixels long, by area averaging, for all that needs no more.
    pub overview: Raster<[u8; 3]>,
    /// Which primaries the codes mean.
    pub primaries: Primaries,
    /// Capture time as ISO 8601 local time, with zone only if the photo states it; e.g. `2026-01-31T09:15:00`.
    pub taken_at: Option<String>,
    /// Camera make and model.
    pub camera: Option<String>,
    /// Focal length in mm, 35 mm equivalent.
    pub focal_35mm: Option<f32>,
    /// SHA-256 of the file, lower-case hex.
    pub sha256: String,
    /// Caveats found while reading (bad metadata, unknown profile).
    pub doubts: Vec<Doubt>,
}

/// Longer side of a photo's overview, pixels: a module of a label card that fills a third of the photo is 8 pixels there.
pub const OVERVIEW: usize = 1600;

impl Photo {
    /// An upright picture of which nothing else is known.
    pub fn of(rgb: Raster<[u8; 3]>, primaries: Primaries) -> Self {
        let (width, height) = fit(rgb.width(), rgb.height(), OVERVIEW);
        Self {
            overview: shrink(&rgb, rgb.bounds(), width, height),
            rgb,
            primaries,
            taken_at: None,
            camera: None,
            focal_35mm: None,
            sha256: String::new(),
            doubts: Vec::new(),
        }
    }
}

/// What a decoder gives: the picture as stored, with what the file says about it.
struct Decoded {
    rgb: Raster<[u8; 3]>,
    primaries: Primaries,
    metadata: exif::Metadata,
    doubts: Vec<Doubt>,
}

/// Reads and decodes a photo.
///
/// # Errors
/// [`Error::Read`] if the file cannot be read, else as [`decode`].
pub fn read(path: &Path) -> Result<Photo> {
    // Asked before opening: opening a pipe waits for a writer, and a device never ends.
    let about = std::fs::metadata(path).map_err(Error::Read)?;
    if !about.is_file() {
        return Err(Error::Format("this is not a file but a folder or a device".into()));
    }
    limits::check_file(about.len())?;
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(Error::Read)?;
    // The file may grow while it is read.
    file.take(limits::MAX_FILE_BYTES + 1).read_to_end(&mut bytes).map_err(Error::Read)?;
    decode(&bytes)
}

/// Pixels that a photo's header declares, without decoding it; `None` for what has no header that is read.
pub fn pixels(path: &Path) -> Option<u64> {
    let file = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    limits::check_file(file.len()).ok()?;
    let mut head = Vec::new();
    std::fs::File::open(path).ok()?.take(64).read_to_end(&mut head).ok()?;
    let stated = || {
        let (width, height) =
            image::ImageReader::open(path).ok()?.with_guessed_format().ok()?.into_dimensions().ok()?;
        Some(u64::from(width) * u64::from(height))
    };
    let format = format::sniff(&head).ok()?;
    // Those two may hold their tables anywhere.
    let bytes = || std::fs::read(path).ok();
    let pixels = match format {
        PhotoFormat::Heic => catch_unwind(|| heic::pixels(&bytes()?)).ok()?,
        PhotoFormat::Tiff => catch_unwind(|| raw::pixels(&bytes()?)).ok()?.or_else(stated),
        PhotoFormat::Jpeg | PhotoFormat::Png | PhotoFormat::WebP => stated(),
    };
    pixels.filter(|&pixels| pixels <= limits::MAX_PIXELS)
}

/// Decodes a photo from the bytes of its file.
///
/// # Errors
/// [`Error::Format`] for what is no photo or of an unread kind, [`Error::Limit`] beyond the [`limits`],
/// [`Error::Damaged`] for a photo that is cut off, forged or damaged. Bad metadata is a doubt, not an error.
pub fn decode(bytes: &[u8]) -> Result<Photo> {
    limits::check_file(bytes.len() as u64)?;
    let format = format::sniff(bytes)?;
    // A decoder's panic costs one photo and not the batch.
    let decoded = catch_unwind(AssertUnwindSafe(|| match format {
        PhotoFormat::Jpeg => jpeg::decode(bytes),
        PhotoFormat::Png => still::png(bytes),
        PhotoFormat::WebP => still::webp(bytes),
        PhotoFormat::Tiff => still::tiff(bytes),
        PhotoFormat::Heic => heic::decode(bytes),
    }))
    .unwrap_or_else(|_| {
        Err(Error::Damaged(format!("the {} is damaged: copy it again from the camera", format.name())))
    })?;
    let Decoded { rgb, primaries, metadata, mut doubts } = decoded;
    doubts.extend(metadata.doubts);
    Ok(Photo {
        taken_at: metadata.taken_at,
        camera: metadata.camera,
        focal_35mm: metadata.focal_35mm,
        sha256: hex(&Sha256::digest(bytes)),
        doubts,
        ..Photo::of(rotate::upright(rgb, metadata.orientation), primaries)
    })
}
