//! What a photo says about itself (EXIF 2.32). Every value is validated, and nothing here ever fails a photo: a bad
//! value is left out with a doubt.

use std::panic::{AssertUnwindSafe, catch_unwind};

use ::exif::{Context, Exif, In, Reader, Tag, Value};

use crate::base::doubt::Doubt;
use crate::photo::limits::MAX_EXIF_BYTES;

/// TIFF 6.0, `NewSubfileType`.
const NEW_SUBFILE_TYPE: Tag = Tag(Context::Tiff, 254);
/// Adobe DNG 1.7, `DNGVersion`.
const DNG_VERSION: Tag = Tag(Context::Tiff, 50706);

/// The doubt of an orientation that cannot be used.
pub(super) const BAD_ORIENTATION: &str = "bad-orientation";

/// What the photo says about itself, as far as it is used.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Metadata {
    /// EXIF orientation 1..=8.
    pub(super) orientation: u8,
    /// ISO 8601 local time, with the zone only if the photo states it.
    pub(super) taken_at: Option<String>,
    /// Make and model.
    pub(super) camera: Option<String>,
    /// mm, 35 mm equivalent.
    pub(super) focal_35mm: Option<f32>,
    /// A camera raw file: a DNG, or the first picture is a reduced copy of another one in the file (TIFF tag 254, bit 0).
    pub(super) raw: bool,
    /// What was left out and why.
    pub(super) doubts: Vec<Doubt>,
}

impl Metadata {
    fn none() -> Self {
        Self { orientation: 1, taken_at: None, camera: None, focal_35mm: None, raw: false, doubts: Vec::new() }
    }
}

/// Reads an EXIF block (from its byte-order mark on) of a JPEG, PNG or WebP.
pub(super) fn read(block: Option<&[u8]>) -> Metadata {
    match block {
        None => Metadata::none(),
        Some(block) if block.len() > MAX_EXIF_BYTES => {
            let mut metadata = Metadata::none();
            metadata.doubts.push(Doubt::new(
                "bad-metadata",
                format!("the EXIF data have {} bytes, over the limit of {MAX_EXIF_BYTES}: not used", block.len()),
            ));
            metadata
        }
        Some(block) => read_tiff(block),
    }
}

/// Reads the tags of a whole TIFF file, or of an EXIF block, which is built like one.
pub(super) fn read_tiff(bytes: &[u8]) -> Metadata {
    // PNG and WebP writers often keep the prefix that only JPEG asks for.
    let bytes = bytes.strip_prefix(b"Exif\0\0").unwrap_or(bytes);
    // A panic in the reader must not cost the photo.
    catch_unwind(AssertUnwindSafe(|| parse(bytes.to_vec()))).unwrap_or_else(|_| unreadable())
}

fn unreadable() -> Metadata {
    let mut metadata = Metadata::none();
    metadata.doubts.push(Doubt::new("bad-metadata", "the EXIF data cannot be read: not used"));
    metadata
}

fn parse(bytes: Vec<u8>) -> Metadata {
    let mut partly = false;
    let exif = Reader::new()
        .continue_on_error(true)
        .read_raw(bytes)
        .or_else(|error| error.distill_partial_result(|_| partly = true));
    let Ok(exif) = exif else { return unreadable() };
    let mut doubts = Vec::new();
    // Common writers leave out the empty link at a list's end: no matter, as long as what is used here was found.
    let used = [Tag::Orientation, Tag::DateTimeOriginal];
    if partly && used.iter().any(|&tag| value(&exif, tag).is_none()) {
        doubts.push(Doubt::new("bad-metadata", "some EXIF data are damaged: only the readable part is used"));
    }
    Metadata {
        orientation: orientation(&exif, &mut doubts),
        taken_at: taken_at(&exif, &mut doubts),
        camera: camera(&exif),
        focal_35mm: focal_35mm(&exif),
        raw: value(&exif, DNG_VERSION).is_some() || uint(&exif, NEW_SUBFILE_TYPE).is_some_and(|kind| kind & 1 == 1),
        doubts,
    }
}

/// One value, parsed only now: thousands of fields may point at the same megabyte.
fn value(exif: &Exif, tag: Tag) -> Option<&Value> {
    exif.get_field(tag, In::PRIMARY).map(|field| &field.value)
}

fn uint(exif: &Exif, tag: Tag) -> Option<u32> {
    value(exif, tag)?.get_uint(0)
}

/// 1..=8; anything else, and tags that contradict each other, count as 1 (as stored) with a doubt.
fn orientation(exif: &Exif, doubts: &mut Vec<Doubt>) -> u8 {
    if value(exif, Tag::Orientation).is_none() {
        return 1;
    }
    match uint(exif, Tag::Orientation) {
        Some(value @ 1..=8) if !is_contradicted(exif, Tag::Orientation) => value as u8,
        _ => {
            doubts.push(Doubt::new(
                BAD_ORIENTATION,
                "the EXIF orientation is not a single number from 1 to 8: the picture is taken as it is stored",
            ));
            1
        }
    }
}

/// Whether the first directory states this tag more than once, and not always the same. (TIFF 6.0 section 2: a tag
/// stands once; the reader keeps only the last.)
fn is_contradicted(exif: &Exif, tag: Tag) -> bool {
    let bytes = exif.buf();
    let short = |at: usize| {
        let pair = bytes.get(at..at + 2)?.try_into().ok()?;
        Some(if exif.little_endian() { u16::from_le_bytes(pair) } else { u16::from_be_bytes(pair) })
    };
    let long = |at: usize| {
        let four = bytes.get(at..at + 4)?.try_into().ok()?;
        Some(if exif.little_endian() { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
    };
    let Some(start) = long(4).map(|offset| offset as usize) else { return false };
    let entries = usize::from(short(start).unwrap_or(0));
    let mut stated = (0..entries)
        .map(|entry| start + 2 + 12 * entry)
        .filter(|&at| short(at) == Some(tag.number()))
        .map(|at| bytes.get(at..at + 12));
    let first = stated.next();
    stated.any(|other| Some(other) != first)
}

fn text(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    let Value::Ascii(parts) = value(exif, tag)? else { return None };
    parts.first().map(Vec::as_slice)
}

/// `DateTimeOriginal` (0x9003) with `OffsetTimeOriginal` (0x9011). Blank means unknown (EXIF 2.32, 4.6.5), so that is
/// no doubt.
fn taken_at(exif: &Exif, doubts: &mut Vec<Doubt>) -> Option<String> {
    let stated = text(exif, Tag::DateTimeOriginal)?;
    if stated.iter().all(|byte| matches!(byte, b' ' | b':' | 0)) {
        return None;
    }
    let Some(local) = iso_date_time(stated) else {
        doubts.push(Doubt::new(
            "bad-date",
            format!("the EXIF capture time \"{}\" is no possible date and time: not used", printable(stated, 30)),
        ));
        return None;
    };
    let zone = text(exif, Tag::OffsetTimeOriginal).and_then(iso_offset).unwrap_or_default();
    Some(local + &zone)
}

/// `YYYY:MM:DD HH:MM:SS` as ISO 8601, if such a moment exists. Digital photos are younger than 1990; leap seconds are
/// refused because most readers of dates refuse them.
fn iso_date_time(stated: &[u8]) -> Option<String> {
    let stated = std::str::from_utf8(stated).ok()?.trim_end_matches(['\0', ' ']);
    let shape = stated.len() == 19
        && stated.bytes().enumerate().all(|(at, byte)| match at {
            4 | 7 | 13 | 16 => byte == b':',
            10 => byte == b' ',
            _ => byte.is_ascii_digit(),
        });
    if !shape {
        return None;
    }
    let number = |from: usize, to: usize| stated[from..to].parse::<u32>().ok();
    let (year, month, day) = (number(0, 4)?, number(5, 7)?, number(8, 10)?);
    let (hour, minute, second) = (number(11, 13)?, number(14, 16)?, number(17, 19)?);
    let possible = (1990..2100).contains(&year)
        && (1..=12).contains(&month)
        && (1..=days_in_month(year, month)).contains(&day)
        && hour < 24
        && minute < 60
        && second < 60;
    possible.then(|| format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}"))
}

fn days_in_month(year: u32, month: u32) -> u32 {
    let leap = year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
    match month {
        2 => 28 + u32::from(leap),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// `+HH:MM` or `-HH:MM`, if such a zone exists (UTC-12:00 to UTC+14:00).
fn iso_offset(stated: &[u8]) -> Option<String> {
    let stated = std::str::from_utf8(stated).ok()?.trim_end_matches(['\0', ' ']);
    let (sign, clock) = stated.split_at_checked(1)?;
    let (hour, minute) = clock.split_once(':')?;
    if clock.len() != 5 || hour.len() != 2 || !clock.bytes().all(|byte| byte == b':' || byte.is_ascii_digit()) {
        return None;
    }
    let (hours, minutes) = (hour.parse::<u32>().ok()?, minute.parse::<u32>().ok()?);
    let most = match sign {
        "+" => 14 * 60,
        "-" => 12 * 60,
        _ => return None,
    };
    (minutes < 60 && hours * 60 + minutes <= most).then(|| stated.to_owned())
}

/// Make (0x010F) and model (0x0110); many models repeat the make.
fn camera(exif: &Exif) -> Option<String> {
    let part = |tag| text(exif, tag).map(|bytes| printable(bytes, 64)).filter(|part| !part.is_empty());
    match (part(Tag::Make), part(Tag::Model)) {
        (Some(make), Some(model)) if !model.to_lowercase().starts_with(&make.to_lowercase()) => {
            Some(format!("{make} {model}"))
        }
        (make, model) => model.or(make),
    }
}

/// `FocalLengthIn35mmFilm` (0xA405) in mm; 0 means unknown (EXIF 2.32, 4.6.5), and no lens is longer than 5 m.
fn focal_35mm(exif: &Exif) -> Option<f32> {
    uint(exif, Tag::FocalLengthIn35mmFilm).filter(|mm| (1..=5000).contains(mm)).map(|mm| mm as f32)
}

/// Text of a file made safe to print: no control characters, no marks that turn the writing direction, at most `most`
/// characters.
pub(super) fn printable(bytes: &[u8], most: usize) -> String {
    let text = String::from_utf8_lossy(bytes);
    let kept: String = text
        .chars()
        .filter(|&c| {
            !c.is_control() && !matches!(c, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
        })
        .take(most)
        .collect();
    kept.trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_possible_moments() {
        for (stated, expected) in [
            ("2024:12:24 10:11:12", Some("2024-12-24T10:11:12")),
            ("2024:02:29 00:00:00", Some("2024-02-29T00:00:00")),
            ("2023:02:29 00:00:00", None),
            ("2100:02:28 00:00:00", None),
            ("2024:13:45 99:99:99", None),
            ("0000:00:00 00:00:00", None),
            ("2016:12:31 23:59:60", None),
            ("2024-02-30T25:61:61", None),
            ("2024:1:1 10:00:00", None),
            ("2024:12:24 10:11:12\0", Some("2024-12-24T10:11:12")),
        ] {
            assert_eq!(iso_date_time(stated.as_bytes()).as_deref(), expected, "{stated}");
        }
    }

    #[test]
    fn only_possible_zones() {
        for good in ["+01:00", "-03:30", "+14:00", "-12:00", "+00:00"] {
            assert_eq!(iso_offset(good.as_bytes()).as_deref(), Some(good));
        }
        for bad in ["+14:01", "-12:01", "01:00", "+1:00", "+01:60", "   :  ", "", "Z", "+0１:00"] {
            assert_eq!(iso_offset(bad.as_bytes()), None, "{bad}");
        }
    }

    #[test]
    fn text_is_made_printable() {
        assert_eq!(printable("Can\x1b[31mon\u{202E}\0 ".as_bytes(), 64), "Can[31mon");
        assert_eq!(printable(b"abcdef", 3), "abc");
    }
}
