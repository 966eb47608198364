//! HEIC: pixels, orientation, colour and metadata against libheif, which wrote the files; what is cut or forged.
//! `fixtures/README.md` tells how the files were made.

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

use variegauge::base::color::matrix::{D65, DISPLAY_P3, apply, inverse, multiply, rgb_to_xyz};
use variegauge::base::color::transfer::{decode as linear, encode};
use variegauge::base::raster::Raster;
use variegauge::error::Error;
use variegauge::photo::{self, Photo, Primaries};

fn file(name: &str) -> Vec<u8> {
    std::fs::read(format!("fixtures/photo/heic/{name}.heic")).unwrap()
}

fn read(name: &str) -> Photo {
    photo::decode(&file(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// `orientation_1.heic` as libheif 1.23 decodes it.
fn reference() -> Vec<[u8; 3]> {
    let picture = image::open("fixtures/photo/heic/upright.png").unwrap().to_rgb8();
    picture.pixels().map(|pixel| pixel.0).collect()
}

/// Mean and largest difference of codes.
fn difference(seen: &Raster<[u8; 3]>, expected: &[[u8; 3]]) -> (f64, u8) {
    assert_eq!((seen.width(), seen.height()), (128, 96));
    let codes = seen.as_slice().as_flattened().iter().zip(expected.as_flattened());
    let differences: Vec<u8> = codes.map(|(a, b)| a.abs_diff(*b)).collect();
    let mean = differences.iter().copied().map(f64::from).sum::<f64>() / differences.len() as f64;
    (mean, differences.into_iter().max().unwrap())
}

fn doubts(photo: &Photo) -> Vec<&str> {
    photo.doubts.iter().map(|doubt| doubt.code).collect()
}

/// Decoders differ in how they spread the colour of 2 x 2 pixels, at edges by several codes.
#[test]
fn pixels_equal_those_of_libheif() {
    let photo = read("orientation_1");
    let (mean, most) = difference(&photo.rgb, &reference());
    assert!(mean < 0.3 && most < 16, "{mean} {most}");
    assert_eq!((photo.primaries, doubts(&photo)), (Primaries::Srgb, vec![]));
}

/// The picture was turned and mirrored before it was written, and the container says how to undo it. EXIF says the same
/// once more: applied twice, six of the eight would lie wrong, and a wrong one differs by more than 30 codes.
#[test]
fn every_orientation_comes_out_upright_once() {
    for orientation in 1..=8 {
        let photo = read(&format!("orientation_{orientation}"));
        let (mean, _) = difference(&photo.rgb, &reference());
        assert!(mean < 1.5, "{orientation}: {mean}");
        assert_eq!(doubts(&photo), Vec::<&str>::new());
    }
}

#[test]
fn tiles_limited_range_and_ten_bits_give_the_same_picture() {
    for name in ["grid", "limited", "ten_bit", "p3_icc", "p3_nclx"] {
        let (mean, _) = difference(&read(name).rgb, &reference());
        assert!(mean < 1.5, "{name}: {mean}");
    }
}

#[test]
fn exif_inside_is_read() {
    for name in ["orientation_6", "grid"] {
        let photo = read(name);
        assert_eq!(photo.taken_at.as_deref(), Some("2026-02-14T09:15:00+00:00"), "{name}");
        assert_eq!(photo.camera.as_deref(), Some("Kestrel One"));
        assert_eq!(photo.focal_35mm, Some(26.0));
    }
}

#[test]
fn stated_primaries_are_kept_or_converted() {
    assert_eq!(read("p3_nclx").primaries, Primaries::DisplayP3);
    assert_eq!(read("p3_icc").primaries, Primaries::DisplayP3);
    // ITU-R BT.2020 primaries, through linear light to Display P3.
    let bt2020 = rgb_to_xyz(&[[0.708, 0.292], [0.17, 0.797], [0.131, 0.046]], D65);
    let to_p3 = multiply(&inverse(&rgb_to_xyz(&DISPLAY_P3, D65)), &bt2020);
    let photo = read("bt2020_nclx");
    assert_eq!((photo.primaries, doubts(&photo)), (Primaries::DisplayP3, vec![]));
    // Four patches of 32 pixels; the codes that libheif gives, not converted.
    let stored = [[60u8, 98, 47], [201, 180, 90], [160, 61, 50], [89, 120, 139]];
    for (patch, codes) in stored.into_iter().enumerate() {
        let light = apply(&to_p3, codes.map(|code| linear(f64::from(code) / 255.0)));
        let expected = light.map(|part| (encode(part.clamp(0.0, 1.0)) * 255.0).round() as u8);
        let seen = photo.rgb.get(32 * patch + 16, 48);
        assert!(seen.iter().zip(expected).all(|(a, b)| a.abs_diff(b) <= 2), "{seen:?} instead of {expected:?}");
    }
}

#[test]
fn high_dynamic_range_is_refused_with_what_to_do() {
    let Err(Error::Format(text)) = photo::decode(&file("pq")) else { panic!("PQ codes were read as sRGB") };
    assert!(text.contains("HDR"), "{text}");
}

/// The left half is transparent.
#[test]
fn transparent_parts_are_white_with_a_doubt() {
    let photo = read("alpha");
    assert_eq!(doubts(&photo), ["transparent"]);
    assert_eq!(photo.rgb.get(10, 50), [255; 3]);
    assert!(reference()[50 * 128 + 100].iter().zip(photo.rgb.get(100, 50)).all(|(a, b)| a.abs_diff(b) < 16));
}

/// Two ways in which the rest of a copy gets lost: it is not there, or the space was set aside and never filled.
#[test]
fn a_cut_file_is_refused_wherever_it_is_cut() {
    for name in ["orientation_6", "grid", "ten_bit", "p3_icc"] {
        let whole = file(name);
        for percent in [1, 5, 25, 50, 75, 95, 99] {
            let kept = &whole[..whole.len() * percent / 100];
            assert!(photo::decode(kept).is_err(), "{name} at {percent} %");
            let blank = [kept, &vec![0; whole.len() - kept.len()]].concat();
            // The last byte of the coded data may be followed by EXIF; only then may a blank end be harmless.
            if let Ok(photo) = photo::decode(&blank) {
                assert_eq!(photo.rgb, read(name).rgb, "{name} blank from {percent} %");
            }
        }
    }
}

/// A table of 6 bytes an entry that would take 1.5 MB of memory each (ISO/IEC 14496-12, 8.11.3).
#[test]
fn parts_without_a_length_are_refused() {
    let boxed =
        |kind: &[u8; 4], content: &[u8]| [&(content.len() as u32 + 8).to_be_bytes()[..], kind, content].concat();
    let entry = [0, 1, 0, 0, 0xFF, 0xFF];
    let table = [&[0, 0, 0, 0, 0, 0, 0x27, 0x10][..], &entry.repeat(10_000)].concat();
    let handler = [&[0; 8][..], b"pict", &[0; 13]].concat();
    let meta = [&[0; 4][..], &boxed(b"hdlr", &handler), &boxed(b"iloc", &table)].concat();
    let bomb = [boxed(b"ftyp", b"heic\0\0\0\0heic"), boxed(b"meta", &meta)].concat();
    let start = std::time::Instant::now();
    assert!(matches!(photo::decode(&bomb), Err(Error::Damaged(_))));
    assert!(start.elapsed().as_millis() < 100);
}

/// The declared size stands in `ispe` (ISO/IEC 23008-12, 6.5.3) and is believed before anything is decoded.
#[test]
fn forged_sizes_are_refused_from_the_header() {
    let mut forged = file("orientation_1");
    let at = forged.windows(4).position(|four| four == b"ispe").unwrap() + 8;
    forged[at..at + 4].copy_from_slice(&40_000u32.to_be_bytes());
    assert!(matches!(photo::decode(&forged), Err(Error::Limit(_))));
}

/// The grid's own size stands behind its version, flags, rows and columns (ISO/IEC 23008-12, 6.6.2.3): 2 x 2 tiles of
/// 64 pixels cover 128 pixels.
#[test]
fn tiles_that_do_not_make_up_the_picture_are_refused() {
    let whole = file("grid");
    let grid = [0, 0, 1, 1, 0, 128, 0, 96];
    let at = whole.windows(8).position(|eight| eight == grid).unwrap();
    for (width, height) in [(129u16, 96u16), (128, 129), (64, 96), (128, 64)] {
        let mut forged = whole.clone();
        forged[at + 4..at + 8].copy_from_slice(&[width.to_be_bytes(), height.to_be_bytes()].concat());
        assert!(matches!(photo::decode(&forged), Err(Error::Damaged(_))), "{width} x {height}");
    }
}

#[test]
fn avif_is_named_whatever_its_brand() {
    let mut avif = file("orientation_1");
    let at = avif.windows(4).position(|four| four == b"hvc1").unwrap();
    avif[at..at + 4].copy_from_slice(b"av01");
    avif[8..12].copy_from_slice(b"mif1");
    let Err(Error::Format(text)) = photo::decode(&avif) else { panic!("read") };
    assert!(text.contains("AVIF"), "{text}");
}

#[test]
fn the_size_is_known_from_the_container() {
    let path = |name: &str| std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photo/heic").join(name);
    for name in ["grid", "orientation_6", "ten_bit"] {
        let rgb = read(name).rgb;
        assert_eq!(photo::pixels(&path(&format!("{name}.heic"))), Some(rgb.bounds().area() as u64), "{name}");
    }
    assert_eq!(photo::pixels(&path("../../README.md")), None);
}
