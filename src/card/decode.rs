//! QR codes in one look at a photo, by two decoders: one is better in strong perspective, the other when codes are small
//! or blurred. Codes that neither can read may still have been found by their finder patterns.

use crate::base::homography::Point;
use crate::base::raster::Raster;
use rxing::common::HybridBinarizer;
use rxing::multi::MultipleBarcodeReader;
use rxing::qrcode::cpp_port::QrReader;
use rxing::qrcode::cpp_port::detector::{FindFinderPatterns, GenerateFinderPatternSets};
use rxing::{BarcodeFormat, BinaryBitmap, DecodeHints, Luma8Source};
use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Most finder patterns, three at a time, that are tried.
const TRIPLES: usize = 40;

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
    /// Centres of finder patterns that may belong to one code: top left, top right, bottom left; likelier ones first.
    pub(super) triples: Vec<[Point; 3]>,
    /// Whether something was taken for a code and could not be read.
    pub(super) unread: bool,
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
    let mut seen = Seen::default();
    let mut decoder = quircs::Quirc::default();
    for code in decoder.identify(grey.width(), grey.height(), grey.as_slice()).flatten() {
        match code.decode() {
            Ok(data) => {
                let corners = code.corners.map(|corner| [f64::from(corner.x) + 0.5, f64::from(corner.y) + 0.5]);
                seen.codes.push(Code { text: data.payload, corners });
            }
            Err(_) => seen.unread = true,
        }
    }
    seen
}

/// The decoder for small and blurred codes.
fn small(grey: &Raster<u8>) -> Seen {
    let (width, height) = (grey.width() as u32, grey.height() as u32);
    let Ok(source) = Luma8Source::new_with_slice(grey.as_slice(), width, height) else { return Seen::default() };
    let mut bitmap = BinaryBitmap::new(HybridBinarizer::new(source));
    let sets = GenerateFinderPatternSets(&mut FindFinderPatterns(bitmap.get_black_matrix(), true, 0));
    let place = |point: rxing::Point| [f64::from(point.x), f64::from(point.y)];
    let triples = sets.iter().take(TRIPLES).map(|set| [place(set.tl.p), place(set.tr.p), place(set.bl.p)]).collect();
    let hints = DecodeHints {
        TryHarder: Some(true),
        PossibleFormats: Some(HashSet::from([BarcodeFormat::QR_CODE])),
        ..DecodeHints::default()
    };
    let read = QrReader.decode_multiple_with_hints(&mut bitmap, &hints).unwrap_or_default();
    let codes = read.iter().filter_map(|code| {
        let points: Vec<Point> = code.getPoints().iter().map(|&point| place(point)).collect();
        // They come row by row.
        let [tl, tr, bl, br] = points.try_into().ok()?;
        Some(Code { text: code.getText().as_bytes().to_vec(), corners: [tl, tr, br, bl] })
    });
    Seen { codes: codes.collect(), triples, unread: false }
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
