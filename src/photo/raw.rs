//! Camera raw files built like TIFF (Adobe DNG 1.7 and its kin): not the sensor data, but the JPEG of the whole picture
//! that the camera developed and put beside them.

use crate::base::doubt::Doubt;
use crate::error::{Error, Result};
use crate::photo::{Decoded, exif, icc, jpeg};

/// Fewest pixels of a preview that is measured. Phones store 12 megapixels or a thumbnail, cameras from 1.6 megapixels
/// on; on less, bands are a few pixels wide.
const FEWEST_PIXELS: u64 = 1_500_000;
/// Most directories that are looked through.
const MOST_DIRECTORIES: usize = 32;

/// Decodes the largest preview. `metadata` is that of the first directory, whose orientation holds for all of them.
pub(super) fn decode(bytes: &[u8], metadata: exif::Metadata) -> Result<Decoded> {
    let Some(preview) = largest(bytes) else {
        let missing = previews(bytes).iter().any(|preview| preview.jpeg.is_empty());
        return Err(if missing {
            Error::Damaged("the camera raw file is cut off: copy it again from the camera".into())
        } else {
            Error::Format("this is a camera raw file, which is not read: save it as JPEG or PNG".into())
        });
    };
    let mut decoded = jpeg::decode(preview.jpeg)?;
    decoded.metadata = metadata;
    decoded.doubts.push(Doubt::new(
        "raw-preview",
        "this is a camera raw file: the JPEG that the camera put beside the sensor data is measured",
    ));
    if preview.wide_colour {
        decoded.doubts.push(icc::unused("is not sRGB by the file's word, and not known"));
    }
    Ok(decoded)
}

/// Pixels of the preview that is measured.
pub(super) fn pixels(bytes: &[u8]) -> Option<u64> {
    largest(bytes).map(|preview| jpeg::pixels_stated(preview.jpeg))
}

fn largest(bytes: &[u8]) -> Option<Preview<'_>> {
    let largest = previews(bytes).into_iter().max_by_key(|preview| jpeg::pixels_stated(preview.jpeg));
    largest.filter(|preview| jpeg::pixels_stated(preview.jpeg) >= FEWEST_PIXELS)
}

struct Preview<'a> {
    /// Empty if the file ends before it.
    jpeg: &'a [u8],
    /// `PreviewColorSpace` says Adobe RGB or `ProPhoto`.
    wide_colour: bool,
}

fn previews(bytes: &[u8]) -> Vec<Preview<'_>> {
    let tiff = Tiff { bytes, little: bytes.starts_with(b"II") };
    let mut directories: Vec<usize> = tiff.number(4, 4).into_iter().collect();
    let (mut at, mut found) = (0, Vec::new());
    while let Some(&directory) = directories.get(at) {
        at += 1;
        found.extend(tiff.preview(directory));
        let next = tiff.number(directory, 2).and_then(|entries| tiff.number(directory + 2 + 12 * entries, 4));
        let new = tiff.values(directory, 330).into_iter().chain(next).filter(|&offset| offset != 0);
        directories.extend(new.take(MOST_DIRECTORIES.saturating_sub(directories.len())));
    }
    found
}

/// A TIFF 6.0 file, as far as its directories go.
struct Tiff<'a> {
    bytes: &'a [u8],
    little: bool,
}

impl<'a> Tiff<'a> {
    /// The number of 2 or 4 bytes at an offset.
    fn number(&self, at: usize, size: usize) -> Option<usize> {
        let field = self.bytes.get(at..at.checked_add(size)?)?;
        let join = |sum, &byte| sum << 8 | usize::from(byte);
        Some(if self.little { field.iter().rev().fold(0, join) } else { field.iter().fold(0, join) })
    }

    /// The values of a SHORT, LONG or IFD field; none without it.
    fn values(&self, directory: usize, tag: usize) -> Vec<usize> {
        let read = || -> Option<Vec<usize>> {
            let entries = self.number(directory, 2)?;
            let entry =
                (0..entries).map(|entry| directory + 2 + 12 * entry).find(|&at| self.number(at, 2) == Some(tag))?;
            let size = if self.number(entry + 2, 2)? == 3 { 2 } else { 4 };
            let count = self.number(entry + 4, 4)?.min(MOST_DIRECTORIES);
            let start = if size * count <= 4 { entry + 8 } else { self.number(entry + 8, 4)? };
            (0..count).map(|index| self.number(start + size * index, size)).collect()
        };
        read().unwrap_or_default()
    }

    /// The whole JPEG of a directory that says it is a preview (`NewSubfileType`, bit 0).
    fn preview(&self, directory: usize) -> Option<Preview<'a>> {
        let one = |tag| match self.values(directory, tag)[..] {
            [value] => Some(value),
            _ => None,
        };
        let jpeg = matches!(one(259)?, 6 | 7) && one(254)? & 1 == 1;
        // A strip of its own, or the fields of TIFF 6.0 section 22.
        let (start, length) = one(273).zip(one(279)).or_else(|| one(513).zip(one(514)))?;
        let data = self.bytes.get(start..start.checked_add(length)?).unwrap_or_default();
        (jpeg && (data.is_empty() || data.starts_with(&[0xFF, 0xD8])))
            .then(|| Preview { jpeg: data, wide_colour: matches!(one(50970), Some(3 | 4)) })
    }
}
