//! Which format a file has, by its first bytes and never by its name.

use crate::error::{Error, Result};

/// A photo format that we read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhotoFormat {
    /// JPEG (ITU-T T.81), with JFIF, EXIF, MPO or motion-photo parts around it.
    Jpeg,
    /// PNG (W3C Portable Network Graphics).
    Png,
    /// WebP (RIFF container).
    WebP,
    /// TIFF 6.0 and `BigTIFF`.
    Tiff,
    /// HEIF container (ISO/IEC 23008-12) with a picture coded in HEVC, as phones write it.
    Heic,
}

/// Brands of files that may hold an HEVC picture (ISO/IEC 23008-12, annex B; `mif1` and the like leave the codec open).
const HEIC_BRANDS: [&[u8; 4]; 10] =
    [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2", b"msf1", b"miaf"];

impl PhotoFormat {
    /// Every format, in the order in which messages name them.
    pub const ALL: [Self; 5] = [Self::Jpeg, Self::Heic, Self::Png, Self::WebP, Self::Tiff];

    /// Name for people.
    pub fn name(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::WebP => "WebP",
            Self::Tiff => "TIFF",
            Self::Heic => "HEIC",
        }
    }

    fn matches(self, bytes: &[u8]) -> bool {
        match self {
            Self::Jpeg => bytes.starts_with(&[0xFF, 0xD8]),
            Self::Png => bytes.starts_with(b"\x89PNG\r\n\x1a\n"),
            Self::WebP => bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP"),
            Self::Tiff => {
                [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"].iter().any(|magic| bytes.starts_with(*magic))
                    && bytes.get(8..10) != Some(b"CR")
            }
            Self::Heic => HEIC_BRANDS.iter().any(|brand| is_iso_media(bytes) && bytes.get(8..12) == Some(*brand)),
        }
    }
}

/// The format of a file with these first bytes, or an error that says what it looks like and what to do.
pub fn sniff(bytes: &[u8]) -> Result<PhotoFormat> {
    if bytes.is_empty() {
        return Err(Error::Format("the file is empty: copy it again from the camera".into()));
    }
    PhotoFormat::ALL
        .into_iter()
        .find(|format| format.matches(bytes))
        .ok_or_else(|| Error::Format(format!("this is {}", looks_like(bytes))))
}

const CONVERT: &str = "save it as JPEG or PNG";

/// What a file that we do not read looks like, and what to do about it.
fn looks_like(bytes: &[u8]) -> String {
    if let Some(kind) = iso_media(bytes) {
        return kind;
    }
    let known: &[(&[u8], &str)] = &[
        (b"GIF8", "a GIF picture"),
        (b"BM", "a BMP picture"),
        (b"\0\0\x01\0", "an icon file"),
        (b"\xFF\x0A", "a JPEG XL picture"),
        (b"\0\0\0\x0CJXL ", "a JPEG XL picture"),
        (b"\0\0\0\x0CjP  ", "a JPEG 2000 picture"),
        (b"\xFF\x4F\xFF\x51", "a JPEG 2000 picture"),
        (b"8BPS", "a Photoshop document"),
        (b"II*\0", "a camera raw file"),
        (b"IIRO", "a camera raw file"),
        (b"IIU\0", "a camera raw file"),
        (b"FUJIFILM", "a camera raw file"),
    ];
    if let Some((_, name)) = known.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return format!("{name}, which is not read: {CONVERT}");
    }
    not_a_picture(bytes).to_owned()
}

const AVIF: &str = "an AVIF picture, which is not read";

/// The refusal of an AVIF whose brand leaves the codec open.
pub(super) fn avif() -> Error {
    Error::Format(format!("this is {AVIF}: {CONVERT}"))
}

fn is_iso_media(bytes: &[u8]) -> bool {
    bytes.get(4..8) == Some(b"ftyp")
}

/// HEIC, AVIF and films share the ISO base media container (ISO/IEC 14496-12): `ftyp` and a brand.
fn iso_media(bytes: &[u8]) -> Option<String> {
    if !is_iso_media(bytes) {
        return None;
    }
    Some(match bytes.get(8..12)? {
        b"avif" | b"avis" => format!("{AVIF}: {CONVERT}"),
        b"crx " => format!("a camera raw file, which is not read: {CONVERT}"),
        b"isom" | b"iso2" | b"mp41" | b"mp42" | b"avc1" | b"qt  " | b"M4V " | b"3gp4" | b"3gp5" | b"3gp6" => {
            "a film, not a photo: take a still photo as JPEG".into()
        }
        _ => format!("a picture or film of an unknown kind, which is not read: {CONVERT}"),
    })
}

fn not_a_picture(bytes: &[u8]) -> &'static str {
    let start = bytes[..bytes.len().min(1024)].trim_ascii_start();
    let starts = |text: &str| start.get(..text.len()).is_some_and(|head| head.eq_ignore_ascii_case(text.as_bytes()));
    if starts("%PDF") {
        "a PDF document: save its picture as JPEG or PNG"
    } else if starts("PK\x03\x04") || starts("PK\x05\x06") {
        "a ZIP archive: unpack it and give the photos"
    } else if starts("%!PS") {
        "a PostScript drawing, not a photo"
    } else if starts("<svg") || starts("<?xml") {
        "an SVG or XML text, not a photo"
    } else if starts("<!doctype") || starts("<html") || starts("<head") {
        "a web page, perhaps a failed download: download the photo again"
    } else if bytes.len() < 16 && !is_text(bytes) {
        "too short to be a photo: copy it again from the camera"
    } else if is_text(start) {
        "a text, not a photo"
    } else {
        "no picture format that is known here: JPEG, HEIC, PNG, WebP and TIFF are read"
    }
}

fn is_text(bytes: &[u8]) -> bool {
    // A cut in the middle of a character at the end of the window is not a sign of binary data.
    let valid = match std::str::from_utf8(bytes) {
        Ok(_) => true,
        Err(error) => error.error_len().is_none(),
    };
    valid && !bytes.iter().any(|byte| byte.is_ascii_control() && !byte.is_ascii_whitespace())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_by_content() {
        assert_eq!(sniff(b"\xFF\xD8\xFF\xE0").unwrap(), PhotoFormat::Jpeg);
        assert_eq!(sniff(b"\x89PNG\r\n\x1a\n\0\0").unwrap(), PhotoFormat::Png);
        assert_eq!(sniff(b"RIFF\x10\0\0\0WEBPVP8 ").unwrap(), PhotoFormat::WebP);
        assert_eq!(sniff(b"II*\0\x08\0\0\0").unwrap(), PhotoFormat::Tiff);
        assert_eq!(sniff(b"MM\0*\0\0\0\x08").unwrap(), PhotoFormat::Tiff);
        assert_eq!(sniff(b"\0\0\0\x18ftypheic\0\0\0\0").unwrap(), PhotoFormat::Heic);
        assert_eq!(sniff(b"\0\0\0\x18ftypmif1\0\0\0\0").unwrap(), PhotoFormat::Heic);
    }

    #[test]
    fn others_are_named_in_one_line() {
        let cases: &[(&[u8], &str)] = &[
            (b"", "empty"),
            (b"\0\0\0\x18ftypavif\0\0\0\0", "AVIF"),
            (b"\0\0\0\x18ftypqt  \0\0\0\0", "film"),
            (b"GIF89a\x01\0\x01\0", "GIF"),
            (b"  <svg xmlns=\"http://www.w3.org/2000/svg\"/>", "SVG"),
            (b"PK\x03\x04\x14\0\0\0", "ZIP"),
            (b"%PDF-1.7\n", "PDF"),
            (b"<!DOCTYPE html><html>", "web page"),
            (b"hello\n", "text"),
            (b"II*\0\x10\0\0\0CR\x02\0", "raw"),
            (b"\x07", "short"),
            (b"\x07\x01\x02\x03\xFF\x07\x01\x02\x03\xFF\x07\x01\x02\x03\xFF\x07\x01\x02\x03\xFF", "no picture format"),
        ];
        for (bytes, word) in cases {
            let text = sniff(bytes).unwrap_err().to_string();
            assert!(text.contains(word), "{word:?} in {text:?}");
            assert!(!text.contains('\n') && text.len() <= 200, "{text}");
        }
    }
}
