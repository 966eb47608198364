//! QR codes in one look at a photo, by two decoders: one is better in strong perspective, the other when codes are small
//! or blurred. Codes that neither can read may still have been found by their finder patterns. Textures that are full of
//! finder-like spots cost no more than so many tries.

use crate::base::homography::Point;
use crate::base::raster::Raster;
use rxing::common::cpp_essentials::DecoderResult;
use rxing::common::{BitMatrix, DetectorRXingResult, HybridBinarizer};
use rxing::qrcode::cpp_port::decoder::Decode;
use rxing::qrcode::cpp_port::detector::{FindFinderPatterns, FinderPatternSet, GenerateFinderPatternSets, SampleQR};
use rxing::{BinaryBitmap, Luma8Source};
use std::cmp::Reverse;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Most finder patterns that are put together, the largest: enough for hundreds of codes.
const PATTERNS: usize = 1500;

/// Most sets of three that are tried, and how many may fail.
const SETS: (usize, usize) = (6000, 3000);

/// Most sets that are handed on unread.
const TRIPLES: usize = 24;

/// A QR code as a decoder saw it; lengths in pixels of the picture that was looked at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Code {
    /// Its bytes, from anyone's printer.
    pub(super) text: Vec<u8>,
    /// Its outer corners, good to about half a module: top left, top right, bottom right, bottom left.
    pub(super) corners: [Point; 4],
}

/// What one look shows. A decoder that panics has seen nothing.
#[derive(Debug, Default)]
pub(super) struct Seen {
    /// Codes that were read; the same code may be there twice.
    pub(super) codes: Vec<Code>,
    /// Centres of finder patterns that may belong to one code and were not read: top left, top right, bottom left;
    /// likelier ones first.
    pub(super) triples: Vec<[Point; 3]>,
}

/// Looks for codes in a picture of grey codes.
pub(super) fn look(grey: &Raster<u8>) -> Seen {
    let guarded = |read: fn(&Raster<u8>) -> Seen| catch_unwind(AssertUnwindSafe(|| read(grey))).unwrap_or_default();
    let (mut seen, other) = (guarded(perspective), guarded(small));
    seen.codes.extend(other.codes);
    seen.triples = other.triples;
    seen
}

/// The decoder for strong perspective.
fn perspective(grey: &Raster<u8>) -> Seen {
    let mut decoder = quircs::Quirc::default();
    let codes = decoder.identify(grey.width(), grey.height(), grey.as_slice()).flatten().take(SETS.0);
    let read = codes.filter_map(|code| {
        let corners = code.corners.map(|corner| [f64::from(corner.x) + 0.5, f64::from(corner.y) + 0.5]);
        Some(Code { text: code.decode().ok()?.payload, corners })
    });
    Seen { codes: read.collect(), ..Seen::default() }
}

/// The decoder for small and blurred codes.
fn small(grey: &Raster<u8>) -> Seen {
    let (width, height) = (grey.width() as u32, grey.height() as u32);
    let Ok(source) = Luma8Source::new_with_slice(grey.as_slice(), width, height) else { return Seen::default() };
    let bitmap = BinaryBitmap::new(HybridBinarizer::new(source));
    let black = bitmap.get_black_matrix();
    let mut patterns = FindFinderPatterns(black, true, 0);
    patterns.sort_by_key(|pattern| Reverse(pattern.size));
    patterns.truncate(PATTERNS);
    let sets = GenerateFinderPatternSets(&mut patterns);
    let place = |point: rxing::Point| [f64::from(point.x), f64::from(point.y)];
    let (mut seen, mut used, mut failed) = (Seen::default(), Vec::new(), 0);
    for set in sets.iter().take(SETS.0) {
        if failed == SETS.1 {
            break;
        }
        let parts = [set.tl, set.tr, set.bl];
        if parts.iter().any(|part| used.contains(part)) {
            continue;
        }
        if let Some(code) = read(black, set) {
            seen.codes.push(code);
            used.extend(parts);
        } else {
            failed += 1;
            seen.triples.extend((seen.triples.len() < TRIPLES).then(|| parts.map(|part| place(part.p))));
        }
    }
    seen
}

/// Reads the code of three finder patterns.
fn read(black: &BitMatrix, set: &FinderPatternSet) -> Option<Code> {
    let sampled = SampleQR(black, set).ok()?;
    let decoded = Decode(sampled.getBits()).ok().filter(DecoderResult::isValid)?;
    let points: Vec<Point> = sampled.getPoints().iter().map(|point| [f64::from(point.x), f64::from(point.y)]).collect();
    // They come row by row.
    let [tl, tr, bl, br] = points.try_into().ok()?;
    Some(Code { text: decoded.text().as_bytes().to_vec(), corners: [tl, tr, br, bl] })
}

/// What a code says whose modules' light is known, row by row.
pub(super) fn read_modules(grey: &Raster<f64>) -> Option<Vec<u8>> {
    let n = grey.width();
    let mut code = quircs::Code { size: n as i32, ..quircs::Code::default() };
    for y in 0..n {
        for x in 0..n {
            // Halfway between the lightest and the darkest module near by, so that shade does not matter.
            let near = |v: usize| v.saturating_sub(3)..(v + 4).min(n);
            let around = near(y).flat_map(|v| near(x).map(move |u| grey.get(u, v)));
            let (least, most) = around.fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
            if grey.get(x, y) < f64::midpoint(least, most) {
                let bit = y * n + x;
                code.cell_bitmap[bit / 8] |= 1 << (bit % 8);
            }
        }
    }
    catch_unwind(AssertUnwindSafe(|| code.decode().ok().map(|data| data.payload))).ok().flatten()
}
