//! The markers of a JPEG (ITU-T T.81 annex B), read without decoding: size, limits, EXIF, profile, and whether enough
//! is there for the size that is declared.

use crate::error::{Error, Result};
use crate::photo::limits;

/// What the markers of the first picture in the file say.
#[derive(Debug, Default)]
pub(super) struct Structure<'a> {
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) progressive: bool,
    /// The number of the SOF marker, 0..=15; `None` without one.
    sof: Option<u8>,
    precision: u8,
    /// Identifier, horizontal and vertical sampling factor.
    pub(super) components: Vec<(u8, u8, u8)>,
    /// Colour transform of the Adobe marker (Adobe Technical Note 5116): 0 none, 1 `YCbCr`, 2 YCCK.
    pub(super) adobe: Option<u8>,
    /// EXIF block of the first APP1 that holds one.
    pub(super) exif: Option<&'a [u8]>,
    /// Number, count and bytes of each part of the profile, in the file's order.
    icc: Vec<(u8, u8, &'a [u8])>,
    scans: usize,
    /// Bytes of entropy-coded data.
    scan_bytes: u64,
    restart_interval: u64,
    restarts: u64,
    /// Lowest bit sent so far of each coefficient of each component.
    lowest_bit: Vec<[u8; 64]>,
    /// Where the end-of-image marker stands.
    pub(super) end: Option<usize>,
    /// Bytes that belong to no segment stand between segments.
    pub(super) stray_bytes: bool,
}

const NOT_SENT: u8 = u8::MAX;

impl<'a> Structure<'a> {
    /// Walks the markers up to the end of the first picture, or as far as they go.
    pub(super) fn read(bytes: &'a [u8]) -> Self {
        let mut found = Self::default();
        let mut at = 2;
        while let Some(marker) = next_marker(bytes, at) {
            found.stray_bytes |= marker.skipped;
            at = marker.at + 2;
            match marker.code {
                0xD9 => {
                    found.end = Some(marker.at);
                    break;
                }
                // Stand alone: TEM, RSTn, SOI.
                0x01 | 0xD0..=0xD8 => continue,
                _ => {}
            }
            let length = bytes.get(at..at + 2).map(|pair| usize::from(u16::from_be_bytes([pair[0], pair[1]])));
            let Some(length @ 2..) = length else { continue };
            let Some(body) = bytes.get(at + 2..at + length) else { break };
            at += length;
            found.segment(marker.code, body);
            if marker.code == 0xDA {
                at = found.skip_scan(bytes, at);
            }
        }
        found
    }

    fn segment(&mut self, code: u8, body: &'a [u8]) {
        match code {
            // C4, C8 and CC define tables.
            0xC0..=0xCF if !matches!(code, 0xC4 | 0xC8 | 0xCC) => self.frame(code, body),
            0xDA => self.scan(body),
            0xDD => {
                if let [high, low] = *body {
                    self.restart_interval = u64::from(u16::from_be_bytes([high, low]));
                }
            }
            0xE1 => {
                if let Some(block) = body.strip_prefix(b"Exif\0\0") {
                    self.exif.get_or_insert(block);
                }
            }
            0xE2 => {
                if let Some([number, count, part @ ..]) = body.strip_prefix(b"ICC_PROFILE\0") {
                    self.icc.push((*number, *count, part));
                }
            }
            0xEE if body.starts_with(b"Adobe") => self.adobe = body.get(11).copied(),
            _ => {}
        }
    }

    fn frame(&mut self, code: u8, body: &[u8]) {
        let [precision, h0, h1, w0, w1, _, components @ ..] = body else { return };
        if self.sof.is_some() {
            return;
        }
        self.sof = Some(code - 0xC0);
        self.progressive = code == 0xC2;
        self.precision = *precision;
        self.height = u32::from(u16::from_be_bytes([*h0, *h1]));
        self.width = u32::from(u16::from_be_bytes([*w0, *w1]));
        self.components = components.chunks_exact(3).map(|part| (part[0], part[1] >> 4, part[1] & 15)).collect();
        self.lowest_bit = vec![[NOT_SENT; 64]; self.components.len()];
    }

    /// Notes which bits of which coefficients the scan sends (T.81, B.2.3 and G.1.1.1).
    fn scan(&mut self, body: &[u8]) {
        self.scans += 1;
        let Some((&count, rest)) = body.split_first() else { return };
        let selectors = usize::from(count) * 2;
        let (Some(selected), Some(&[first, last, bits])) = (rest.get(..selectors), rest.get(selectors..)) else {
            return;
        };
        // A sequential scan sends all of them at once, whatever it says.
        let (first, last, bits) = if self.progressive { (first, last, bits) } else { (0, 63, 0) };
        for selector in selected.chunks_exact(2) {
            let component = self.components.iter().position(|&(id, ..)| id == selector[0]);
            let sent = usize::from(first)..=usize::from(last);
            if let Some(coefficients) = component.and_then(|index| self.lowest_bit[index].get_mut(sent)) {
                coefficients.fill(bits & 15);
            }
        }
    }

    /// Where the entropy-coded data that begin at `start` end.
    fn skip_scan(&mut self, bytes: &[u8], start: usize) -> usize {
        let mut at = start;
        let end = loop {
            let Some(step) = bytes[at..].iter().position(|&byte| byte == 0xFF) else { break bytes.len() };
            at += step;
            match bytes.get(at + 1) {
                None => break bytes.len(),
                Some(0xD0..=0xD7) => {
                    self.restarts += 1;
                    at += 2;
                }
                Some(0xFF) => at += 1,
                Some(0xC0..) => break at,
                // A stuffed zero, or a reserved code, which is damage and not an end.
                Some(_) => at += 2,
            }
        };
        self.scan_bytes += (end - start) as u64;
        end
    }

    /// Refuses what is over the limits, of a kind that is not read, or certainly not whole.
    pub(super) fn check(&self) -> Result<()> {
        let Some(sof) = self.sof else {
            return Err(cut_off());
        };
        limits::check_size(self.width, self.height)?;
        if sof > 2 || self.precision != 8 {
            return Err(Error::Format(
                "this kind of JPEG (lossless, arithmetic or 12-bit) is not read: save it as an ordinary JPEG".into(),
            ));
        }
        // zune-jpeg 0.5.15 decodes these to wrong colours and says nothing.
        if !self.progressive && self.scans > 1 && self.most_samples().1 > 1 {
            return Err(Error::Format(
                "this kind of JPEG (a scan for each colour, with halved colour rows) is not read: save it again".into(),
            ));
        }
        if self.scans > limits::MAX_SCANS {
            return Err(Error::Limit(format!("the JPEG has {} scans; the limit is {}", self.scans, limits::MAX_SCANS)));
        }
        let too_few = self.scan_bytes * 8 < self.fewest_bits() || self.restarts < self.fewest_restarts();
        // Without its end marker a progressive JPEG is not told from one that lost the end of its last scan.
        if too_few || !self.is_complete() || (self.progressive && self.end.is_none()) {
            return Err(cut_off());
        }
        Ok(())
    }

    /// The fewest bits that the entropy-coded data can have: with Huffman codes of at least one bit, a block costs a
    /// DC and an AC code in sequential mode and a DC code in progressive mode (T.81, F.1.2 and G.1.2).
    fn fewest_bits(&self) -> u64 {
        let (across, down) = self.most_samples();
        let blocks: u64 = self
            .components
            .iter()
            .map(|&(_, h, v)| {
                let side = |size: u32, factor: u8, most: u8| {
                    (u64::from(size) * u64::from(factor)).div_ceil(u64::from(most)).div_ceil(8)
                };
                side(self.width, h, across) * side(self.height, v, down)
            })
            .sum();
        blocks * if self.progressive { 1 } else { 2 }
    }

    /// The restart markers that must stand in a single sequential scan (T.81, B.2.4.4).
    fn fewest_restarts(&self) -> u64 {
        if self.restart_interval == 0 || self.progressive || self.scans != 1 {
            return 0;
        }
        // A scan of one component is not interleaved, whatever its sampling factors are.
        let (across, down) = if self.components.len() == 1 { (1, 1) } else { self.most_samples() };
        let units = u64::from(self.width).div_ceil(8 * u64::from(across))
            * u64::from(self.height).div_ceil(8 * u64::from(down));
        (units - 1) / self.restart_interval
    }

    fn most_samples(&self) -> (u8, u8) {
        let across = self.components.iter().map(|&(_, h, _)| h).max().unwrap_or(1).max(1);
        let down = self.components.iter().map(|&(_, _, v)| v).max().unwrap_or(1).max(1);
        (across, down)
    }

    /// Whether a scan was sent for every bit of every coefficient.
    fn is_complete(&self) -> bool {
        self.lowest_bit.iter().all(|coefficients| coefficients.iter().all(|&bit| bit == 0))
    }

    /// Whether restart markers stand in the data.
    pub(super) fn has_restarts(&self) -> bool {
        self.restart_interval > 0
    }

    /// The profile put together from its parts (ICC.1:2022 B.4): `None` without one, an error if parts are missing,
    /// double or too many.
    pub(super) fn profile(&self) -> std::result::Result<Option<Vec<u8>>, &'static str> {
        let Some(&(_, count, _)) = self.icc.first() else { return Ok(None) };
        if self.icc.iter().map(|(_, _, part)| part.len()).sum::<usize>() > limits::MAX_ICC_BYTES {
            return Err("is over the size limit");
        }
        let mut parts = self.icc.clone();
        parts.sort_by_key(|&(number, ..)| number);
        let whole = parts.len() == usize::from(count)
            && parts.iter().zip(1..).all(|(&(number, of, _), expected)| of == count && usize::from(number) == expected);
        if !whole {
            return Err("is damaged");
        }
        Ok(Some(parts.iter().flat_map(|(_, _, part)| part.iter().copied()).collect()))
    }
}

/// The refusal of a JPEG that lacks a part of its picture.
pub(super) fn cut_off() -> Error {
    Error::Damaged("the JPEG is cut off, a part of the picture is missing: copy it again from the camera".into())
}

struct Marker {
    at: usize,
    code: u8,
    skipped: bool,
}

/// The next marker at or after `at`; fill bytes (0xFF) before it are part of it.
fn next_marker(bytes: &[u8], at: usize) -> Option<Marker> {
    let mut from = at;
    loop {
        let found = from + bytes.get(from..)?.iter().position(|&byte| byte == 0xFF)?;
        let code = *bytes.get(found + 1)?;
        match code {
            0x00 => from = found + 2,
            0xFF => from = found + 1,
            _ => return Some(Marker { at: found, code, skipped: bytes[at..found].iter().any(|&byte| byte != 0xFF) }),
        }
    }
}
