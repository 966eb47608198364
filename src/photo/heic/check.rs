//! What is checked before a picture is decoded: tables that would grow in memory, sizes over the limits, and coded data
//! of which a part was lost. A decoder fills a gap with something and may say nothing.

use heifer::heifer_hevc_dec::nal::NalUnit;
use heifer::heifer_hevc_dec::params::{ParameterSets, Vui};
use heifer::heifer_isobmff::boxes::Grid;
use heifer::heifer_isobmff::{BoxIter, HeifFile, ItemId};

use super::{Colour, damaged, failure};
use crate::error::{Error, Result};
use crate::photo::format::PhotoFormat;
use crate::photo::{limits, still};

/// Most bytes of the tables that list the parts of the file; a photo of 200 tiles has 10,000.
const MAX_TABLES: usize = 64_000;

/// Refuses a catalogue that is small in the file and huge in memory, and a file that ends inside a box.
pub(super) fn tables(bytes: &[u8]) -> Result<()> {
    for part in BoxIter::new(bytes) {
        let part = part.map_err(failure)?;
        if part.header.box_type.0 != *b"meta" {
            continue;
        }
        let mut length = 0;
        for table in BoxIter::new(part.content.get(4..).unwrap_or_default()) {
            let table = table.map_err(failure)?;
            let kind = &table.header.box_type.0;
            if [b"iinf", b"iloc", b"iref"].contains(&kind) {
                length += table.content.len();
            }
            // Extents without a length take no room in the file, but in memory (ISO/IEC 14496-12, 8.11.3).
            if kind == b"iloc" && table.content.get(4).is_some_and(|sizes| sizes % 16 == 0) {
                return Err(damaged(&"parts without a length"));
            }
        }
        if part.content.len() > limits::MAX_ICC_BYTES || length > MAX_TABLES {
            return Err(Error::Limit("the HEIC lists more parts than a photo has".into()));
        }
    }
    Ok(())
}

/// Checks the declared size, and the coded pictures that make it up. Gives the colour that they state, if any.
pub(super) fn pictures(file: &HeifFile, coded: &[ItemId]) -> Result<Option<Colour>> {
    let (width, height) = match file.grid(file.primary_id) {
        Ok(grid) => {
            covered(file, &grid, coded)?;
            (grid.output_width, grid.output_height)
        }
        Err(_) => file.image_size(file.primary_id).map_err(failure)?.unwrap_or((1, 1)),
    };
    limits::check_size(width, height)?;
    let (mut pixels, mut colour) = (0, None);
    for &id in coded {
        let stream = stream(file, id)?;
        pixels += stream.pixels;
        // Tiles reach over the edge of the picture.
        if pixels > limits::MAX_PIXELS / 4 * 5 {
            return Err(Error::Limit("the HEIC holds more tiles than a picture within the limits has".into()));
        }
        colour = colour.or(stream.colour);
    }
    Ok(colour)
}

/// Whether the tiles, all as large as the first, cover the picture, none of them lying outside it. A decoder leaves the
/// rest black.
fn covered(file: &HeifFile, grid: &Grid, tiles: &[ItemId]) -> Result<()> {
    let first = *tiles.first().ok_or_else(|| damaged(&"no tiles"))?;
    let (across, down) = file.image_size(first).map_err(failure)?.unwrap_or_default();
    let covers = |tiles: u16, side: u32, whole: u32| {
        let (tiles, side, whole) = (u64::from(tiles), u64::from(side), u64::from(whole));
        tiles * side >= whole && (tiles - 1) * side < whole
    };
    if covers(grid.columns, across, grid.output_width) && covers(grid.rows, down, grid.output_height) {
        Ok(())
    } else {
        Err(damaged(&"its tiles do not make up the picture"))
    }
}

/// What the headers of a coded picture say (H.265, 7.3.2.2 and annex E).
#[derive(Default)]
struct Stream {
    pixels: u64,
    colour: Option<Colour>,
}

fn stream(file: &HeifFile, id: ItemId) -> Result<Stream> {
    let config = file.hevc_config(id).map_err(failure)?.ok_or_else(|| damaged(&"no decoder settings"))?;
    let data = file.item_data(id).map_err(failure)?;
    let (mut sets, mut found) = (ParameterSets::default(), Stream::default());
    let units = units(&data, usize::from(config.nal_length_size))?;
    for unit in config.nal_units.iter().map(Vec::as_slice).chain(units) {
        let unit = NalUnit::parse(unit).map_err(failure)?;
        if !sets.add(&unit).map_err(failure)? {
            continue;
        }
        for header in sets.sps.iter().flatten() {
            let (width, height) = (header.pic_width_in_luma_samples, header.pic_height_in_luma_samples);
            limits::check_size(width, height)?;
            found.pixels = found.pixels.max(u64::from(width) * u64::from(height));
            found.colour = found.colour.or(header.vui.as_ref().and_then(stated));
        }
    }
    Ok(found)
}

fn stated(vui: &Vui) -> Option<Colour> {
    (vui.colour_primaries != 2).then_some((u16::from(vui.colour_primaries), u16::from(vui.transfer_characteristics)))
}

/// The units of a coded picture, each behind its length (ISO/IEC 14496-15).
fn units(data: &[u8], length_size: usize) -> Result<Vec<&[u8]>> {
    let (mut rest, mut units) = (data, Vec::new());
    while !rest.is_empty() {
        let unit = rest.split_at_checked(length_size).and_then(|(length, rest)| {
            rest.split_at_checked(length.iter().fold(0, |sum, &byte| sum << 8 | usize::from(byte)))
        });
        let Some((unit, after)) = unit.filter(|(unit, _)| is_whole(unit)) else {
            return Err(still::cut_off(PhotoFormat::Heic));
        };
        units.push(unit);
        rest = after;
    }
    if units.is_empty() { Err(still::cut_off(PhotoFormat::Heic)) } else { Ok(units) }
}

/// Whether no piece of a unit was replaced by zeros, as copies do that broke off after the space was set aside: two
/// zeros are never followed by 0, 1 or 2, and the last byte is never zero (H.265, 7.4.2).
fn is_whole(unit: &[u8]) -> bool {
    unit.last().is_some_and(|&byte| byte != 0) && !unit.windows(3).any(|three| matches!(three, [0, 0, 0..=2]))
}
