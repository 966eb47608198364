//! `photo::decode` and `photo::read`: orientation, colour, metadata and formats, each against an outside reference.

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder};
use image::{ExtendedColorType, ImageEncoder};
use moxcms::ColorProfile;
use variegauge::error::Error;
use variegauge::photo::{self, Photo, Primaries};

/// A field of an EXIF directory: tag, type (2 text, 3 SHORT, 4 LONG), value bytes little-endian, count.
type Field<'a> = (u16, u16, &'a [u8], u32);

fn text(tag: u16, value: &[u8]) -> Field<'_> {
    (tag, 2, value, value.len() as u32)
}

/// A little-endian EXIF block (TIFF 6.0 section 2) with these fields in its first and its Exif directory.
fn exif(first: &[Field], second: &[Field]) -> Vec<u8> {
    let mut first = first.to_vec();
    let second_at = 8 + 2 + 12 * (first.len() as u32 + 1) + 4;
    let pointer = second_at.to_le_bytes();
    first.push((0x8769, 4, &pointer, 1));
    let mut data_at = second_at + 2 + 12 * second.len() as u32 + 4;
    let (mut block, mut data) = (b"II*\0\x08\0\0\0".to_vec(), Vec::<u8>::new());
    for directory in [first.as_slice(), second] {
        block.extend((directory.len() as u16).to_le_bytes());
        for &(tag, kind, value, count) in directory {
            block.extend(tag.to_le_bytes());
            block.extend(kind.to_le_bytes());
            block.extend(count.to_le_bytes());
            if value.len() <= 4 {
                block.extend(value.iter().copied().chain(std::iter::repeat(0)).take(4));
            } else {
                block.extend(data_at.to_le_bytes());
                data.extend(value);
                data_at += value.len() as u32;
            }
        }
        block.extend([0; 4]);
    }
    block.extend(data);
    block
}

fn orientation(value: u16) -> Vec<u8> {
    exif(&[(0x0112, 3, &value.to_le_bytes(), 1)], &[])
}

fn png(size: (u32, u32), rgb: &[u8], exif: Option<Vec<u8>>, icc: Option<Vec<u8>>) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = PngEncoder::new(&mut file);
    if let Some(block) = exif {
        encoder.set_exif_metadata(block).unwrap();
    }
    if let Some(profile) = icc {
        encoder.set_icc_profile(profile).unwrap();
    }
    encoder.write_image(rgb, size.0, size.1, ExtendedColorType::Rgb8).unwrap();
    file
}

/// An uncompressed RGB TIFF of one strip (TIFF 6.0 section 6), with one more field.
fn tiff((width, height): (u16, u16), rgb: &[u8], extra: (u16, u16)) -> Vec<u8> {
    let strip = 8 + 2 + 12 * 10 + 4;
    let bits = strip + rgb.len() as u32;
    let entries: [(u16, u16, u32, u32); 10] = [
        (256, 3, 1, u32::from(width)),
        (257, 3, 1, u32::from(height)),
        (258, 3, 3, bits),
        (259, 3, 1, 1),
        (262, 3, 1, 2),
        (273, 4, 1, strip),
        (extra.0, 3, 1, u32::from(extra.1)),
        (277, 3, 1, 3),
        (278, 3, 1, u32::from(height)),
        (279, 4, 1, rgb.len() as u32),
    ];
    let mut file = b"II*\0\x08\0\0\0\x0A\0".to_vec();
    for (tag, kind, count, value) in entries {
        file.extend(tag.to_le_bytes());
        file.extend(kind.to_le_bytes());
        file.extend(count.to_le_bytes());
        file.extend(value.to_le_bytes());
    }
    file.extend([0; 4]);
    file.extend(rgb);
    file.extend([8, 0, 8, 0, 8, 0]);
    file
}

fn codes(photo: &Photo) -> Vec<u8> {
    photo.rgb.as_slice().as_flattened().to_vec()
}

fn has_doubt(photo: &Photo, code: &str) -> bool {
    photo.doubts.iter().any(|doubt| doubt.code == code)
}

/// The table of a 2 x 3 picture under the eight values: `fixtures/photo/exif_orientation.json`, computed with Pillow.
fn orientation_table() -> serde_json::Value {
    serde_json::from_str(include_str!("../fixtures/photo/exif_orientation.json")).unwrap()
}

fn grid(value: &serde_json::Value) -> Vec<Vec<u8>> {
    serde_json::from_value(value.clone()).unwrap()
}

fn grey_rgb(grid: &[Vec<u8>]) -> Vec<u8> {
    grid.iter().flatten().flat_map(|&value| [value * 40; 3]).collect()
}

fn check_upright(photo: &Photo, expected: &[Vec<u8>], what: &str) {
    assert_eq!((photo.rgb.width(), photo.rgb.height()), (expected[0].len(), expected.len()), "{what}");
    assert_eq!(codes(photo), grey_rgb(expected), "{what}");
    assert!(photo.doubts.is_empty(), "{what}: {:?}", photo.doubts);
}

#[test]
fn orientation_is_exact_in_png_webp_and_tiff() {
    let table = orientation_table();
    let stored = grey_rgb(&grid(&table["stored"]));
    for value in 1..=8u16 {
        let expected = grid(&table["displayed"][value.to_string()]);
        let png = png((3, 2), &stored, Some(orientation(value)), None);
        check_upright(&photo::decode(&png).unwrap(), &expected, &format!("PNG {value}"));
        let mut webp = Vec::new();
        let mut encoder = WebPEncoder::new_lossless(&mut webp);
        encoder.set_exif_metadata(orientation(value)).unwrap();
        encoder.write_image(&stored, 3, 2, ExtendedColorType::Rgb8).unwrap();
        check_upright(&photo::decode(&webp).unwrap(), &expected, &format!("WebP {value}"));
        let tiff = tiff((3, 2), &stored, (0x0112, value));
        check_upright(&photo::decode(&tiff).unwrap(), &expected, &format!("TIFF {value}"));
    }
}

/// JPEG loses exactness, so that each cell is 16 pixels wide and its middle is looked at.
#[test]
fn orientation_is_applied_once_in_jpeg() {
    let table = orientation_table();
    let stored = grid(&table["stored"]);
    let pixel = |x: usize, y: usize| [stored[y / 16][x / 16] * 40; 3];
    let rgb: Vec<u8> = (0..32).flat_map(|y| (0..48).flat_map(move |x| pixel(x, y))).collect();
    for value in 1..=8u16 {
        let mut file = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut file, 100);
        encoder.set_exif_metadata(orientation(value)).unwrap();
        encoder.write_image(&rgb, 48, 32, ExtendedColorType::Rgb8).unwrap();
        let photo = photo::decode(&file).unwrap();
        let expected = grid(&table["displayed"][value.to_string()]);
        assert_eq!((photo.rgb.width(), photo.rgb.height()), (16 * expected[0].len(), 16 * expected.len()));
        for (y, row) in expected.iter().enumerate() {
            for (x, &cell) in row.iter().enumerate() {
                let seen = photo.rgb.get(16 * x + 8, 16 * y + 8)[0];
                assert!(seen.abs_diff(cell * 40) <= 2, "orientation {value}, cell {x},{y}: {seen}");
            }
        }
    }
}

#[test]
fn impossible_orientations_leave_the_picture_and_are_doubted() {
    let stored = grey_rgb(&grid(&orientation_table()["stored"]));
    let twice = exif(&[(0x0112, 3, &[6, 0], 1), (0x0112, 3, &[3, 0], 1)], &[]);
    let words = exif(&[text(0x0112, b"6\0")], &[]);
    for block in [orientation(0), orientation(9), orientation(65535), twice, words] {
        let photo = photo::decode(&png((3, 2), &stored, Some(block), None)).unwrap();
        assert_eq!(codes(&photo), stored);
        assert!(has_doubt(&photo, "bad-orientation"), "{:?}", photo.doubts);
    }
    let same_twice = exif(&[(0x0112, 3, &[3, 0], 1), (0x0112, 3, &[3, 0], 1)], &[]);
    let as_long = exif(&[(0x0112, 4, &[3, 0, 0, 0], 1)], &[]);
    for block in [same_twice, as_long] {
        let photo = photo::decode(&png((3, 2), &stored, Some(block), None)).unwrap();
        assert!(photo.doubts.is_empty());
        assert_eq!(photo.rgb.get(0, 0), [240; 3], "turned by 180 degrees");
    }
}

fn with_exif(first: &[Field], second: &[Field]) -> Photo {
    photo::decode(&png((1, 1), &[9, 9, 9], Some(exif(first, second)), None)).unwrap()
}

/// Tags and meaning of blanks: EXIF 2.32, 4.6.5.
#[test]
fn capture_time_states_a_zone_only_if_the_photo_does() {
    let local = with_exif(&[], &[text(0x9003, b"2026:01:31 09:15:00\0")]);
    assert_eq!(local.taken_at.as_deref(), Some("2026-01-31T09:15:00"));
    let zoned = with_exif(&[], &[text(0x9003, b"2026:01:31 09:15:00\0"), text(0x9011, b"+02:00\0")]);
    assert_eq!(zoned.taken_at.as_deref(), Some("2026-01-31T09:15:00+02:00"));
    let odd_zone = with_exif(&[], &[text(0x9003, b"2026:01:31 09:15:00\0"), text(0x9011, b"+25:00\0")]);
    assert_eq!(odd_zone.taken_at.as_deref(), Some("2026-01-31T09:15:00"));
    let blank = with_exif(&[], &[text(0x9003, b"    :  :     :  :  \0")]);
    assert!(blank.taken_at.is_none() && blank.doubts.is_empty(), "blank means unknown");
    let impossible = with_exif(&[], &[text(0x9003, b"2024:13:45 99:99:99\0")]);
    assert!(impossible.taken_at.is_none() && has_doubt(&impossible, "bad-date"));
}

#[test]
fn camera_and_lens_are_cleaned() {
    let photo =
        with_exif(&[text(0x010F, b"Acme\x1b[31m\0"), text(0x0110, b"Zebra \xFF7\0")], &[(0xA405, 3, &[26, 0], 1)]);
    assert_eq!(photo.camera.as_deref(), Some("Acme[31m Zebra \u{FFFD}7"));
    assert_eq!(photo.focal_35mm, Some(26.0));
    let repeated = with_exif(&[text(0x010F, b"Acme\0"), text(0x0110, b"ACME Zebra\0")], &[(0xA405, 3, &[0, 0], 1)]);
    assert_eq!((repeated.camera.as_deref(), repeated.focal_35mm), (Some("ACME Zebra"), None));
}

/// One bad field must not cost the others (libexif issue 183).
#[test]
fn damaged_exif_is_a_doubt_and_the_rest_is_used() {
    let block = exif(&[(0x0110, 2, &[0; 5], u32::MAX), (0x0112, 3, &[3, 0], 1)], &[]);
    let photo = photo::decode(&png((2, 1), &[1, 1, 1, 2, 2, 2], Some(block), None)).unwrap();
    assert!(has_doubt(&photo, "bad-metadata"));
    assert_eq!(codes(&photo), [2, 2, 2, 1, 1, 1]);
    let huge = photo::decode(&png((1, 1), &[5, 5, 5], Some(vec![0; 1_000_001]), None)).unwrap();
    assert!(has_doubt(&huge, "bad-metadata"));
}

/// IEC 61966-2-1.
fn decode_srgb(code: u8) -> f64 {
    let value = f64::from(code) / 255.0;
    if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
}

fn encode_srgb(linear: f64) -> f64 {
    255.0 * if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// Linear Display P3 to linear sRGB, derived from the primaries (SMPTE EG 432-1 with D65; IEC 61966-2-1) with
/// colour-science 0.4.7.
const P3_TO_SRGB: [[f64; 3]; 3] = [
    [1.224_940_176_280_559_4, -0.224_940_176_280_559_94, 0.0],
    [-0.042_056_954_709_688_16, 1.042_056_954_709_688_5, 0.0],
    [-0.019_637_554_590_334_443, -0.078_636_045_550_631_85, 1.098_273_600_140_966_3],
];

/// The pairs are what moxcms 0.9 and qcms 0.3 agree on for the same codes.
#[test]
fn display_p3_codes_are_kept_and_mean_p3() {
    let profile = ColorProfile::new_display_p3().encode().unwrap();
    for (p3, srgb) in [([60, 98, 48], [46, 99, 41]), ([228, 214, 150], [231, 213, 141])] {
        let photo = photo::decode(&png((1, 1), &p3, None, Some(profile.clone()))).unwrap();
        assert_eq!(photo.primaries, Primaries::DisplayP3);
        assert_eq!(codes(&photo), p3, "codes of a known space are not touched");
        assert!(photo.doubts.is_empty());
        let linear = photo.rgb.get(0, 0).map(decode_srgb);
        for (row, expected) in P3_TO_SRGB.iter().zip(srgb) {
            let seen = encode_srgb(row.iter().zip(linear).map(|(a, b)| a * b).sum());
            assert!((seen - f64::from(expected)).abs() <= 1.0, "{p3:?}: {seen} instead of {expected}");
        }
    }
}

/// A phone's file with a P3 profile, a gain map behind the picture and a zone. Values: Pillow 13; hash: `sha256sum`
/// (GNU coreutils 9.1).
#[test]
fn phone_photo_with_p3_and_gain_map() {
    let photo = photo::decode(include_bytes!("../fixtures/photo/phone_p3.jpg")).unwrap();
    assert_eq!((photo.rgb.width(), photo.rgb.height()), (403, 302));
    assert_eq!(photo.primaries, Primaries::DisplayP3);
    assert_eq!(photo.taken_at.as_deref(), Some("2022-08-24T20:07:42+00:00"));
    assert_eq!(photo.camera.as_deref(), Some("Google Pixel 4a"));
    assert!(photo.doubts.is_empty(), "{:?}", photo.doubts);
    assert_eq!(photo.sha256, "9736405ab8541bdd749af2ef62a5c48aee067f73c9e248dd4b57550e7faa0cdd");
}

#[test]
fn srgb_profile_changes_nothing() {
    let profile = ColorProfile::new_srgb().encode().unwrap();
    let photo = photo::decode(&png((1, 1), &[60, 98, 48], None, Some(profile))).unwrap();
    assert_eq!((photo.primaries, codes(&photo)), (Primaries::Srgb, vec![60, 98, 48]));
    assert!(photo.doubts.is_empty());
}

/// Expected codes: `LittleCMS` 2.19 through Pillow 13, relative colorimetric, without its speed-ups, on the same
/// profiles.
#[test]
fn other_rgb_profiles_are_converted_to_p3() {
    let adobe: &[([u8; 3], [u8; 3])] = &[
        ([0, 0, 0], [0, 0, 0]),
        ([255, 255, 255], [255, 255, 255]),
        ([128, 128, 128], [129, 129, 129]),
        ([60, 98, 48], [48, 97, 47]),
        ([200, 180, 90], [204, 182, 98]),
        ([160, 60, 50], [171, 67, 53]),
        ([90, 120, 140], [84, 120, 140]),
    ];
    let prophoto: &[([u8; 3], [u8; 3])] = &[
        ([128, 128, 128], [146, 146, 146]),
        ([60, 98, 48], [56, 123, 57]),
        ([200, 180, 90], [233, 191, 103]),
        ([160, 60, 50], [213, 38, 67]),
        ([90, 120, 140], [73, 142, 158]),
    ];
    for (profile, pairs) in [(ColorProfile::new_adobe_rgb(), adobe), (ColorProfile::new_pro_photo_rgb(), prophoto)] {
        for (stored, expected) in pairs {
            let photo = photo::decode(&png((1, 1), stored, None, Some(profile.encode().unwrap()))).unwrap();
            assert_eq!(photo.primaries, Primaries::DisplayP3);
            let near = codes(&photo).iter().zip(expected).all(|(seen, expected)| seen.abs_diff(*expected) <= 1);
            assert!(near, "{stored:?}: {:?} instead of {expected:?}", codes(&photo));
        }
    }
}

#[test]
fn unusable_profiles_are_a_doubt_and_read_as_srgb() {
    let grey = ColorProfile::new_gray_with_gamma(2.2).encode().unwrap();
    let broken = b"not a profile".to_vec();
    for profile in [grey, broken, vec![0; 4_000_001]] {
        let photo = photo::decode(&png((1, 1), &[1, 2, 3], None, Some(profile))).unwrap();
        assert_eq!((photo.primaries, codes(&photo)), (Primaries::Srgb, vec![1, 2, 3]));
        assert!(has_doubt(&photo, "bad-profile"));
    }
}

/// Expected codes: `LittleCMS` 2.19 through Pillow 13, on the eight patches before they became a JPEG. The profile's
/// table has two points an ink, between which engines interpolate differently: hence 6 codes.
#[test]
fn cmyk_goes_through_its_profile() {
    let photo = photo::decode(include_bytes!("../fixtures/photo/cmyk_profile.jpg")).unwrap();
    assert_eq!(photo.primaries, Primaries::DisplayP3);
    let expected: [[u8; 3]; 8] = [
        [255, 255, 255],
        [134, 208, 238],
        [232, 116, 193],
        [251, 246, 129],
        [152, 191, 121],
        [228, 235, 189],
        [100, 100, 100],
        [225, 150, 147],
    ];
    for (patch, expected) in expected.iter().enumerate() {
        let seen = photo.rgb.get(16 * patch + 8, 8);
        assert!(seen.iter().zip(expected).all(|(a, b)| a.abs_diff(*b) <= 6), "{seen:?} instead of {expected:?}");
    }
}

/// Expected codes: Pillow 13, `Image.convert("RGB")`.
#[test]
fn cmyk_without_profile_is_read_plainly_with_a_doubt() {
    let photo = photo::decode(include_bytes!("../fixtures/hostile/jpeg__jpg-cmyk-2.jpg")).unwrap();
    assert!(has_doubt(&photo, "bad-profile"));
    for ((x, y), expected) in [((128, 128), [170u8, 89, 180]), ((20, 20), [255; 3])] {
        let seen = photo.rgb.get(x, y);
        assert!(seen.iter().zip(expected).all(|(a, b)| a.abs_diff(b) <= 2), "{seen:?} instead of {expected:?}");
    }
}

/// Expected: definition (65535 = 255 * 257; transparent parts lie over white).
#[test]
fn sixteen_bits_grey_and_alpha_become_eight_bit_rgb() {
    let decode = |codes: &[u8], color| {
        let mut file = Vec::new();
        PngEncoder::new(&mut file).write_image(codes, 1, 1, color).unwrap();
        photo::decode(&file).unwrap()
    };
    let wide: Vec<u8> = [128u16, 129, 65535].into_iter().flat_map(u16::to_ne_bytes).collect();
    assert_eq!(codes(&decode(&wide, ExtendedColorType::Rgb16)), [0, 1, 255]);
    assert_eq!(codes(&decode(&[77], ExtendedColorType::L8)), [77; 3]);
    let opaque = decode(&[10, 20, 30, 255], ExtendedColorType::Rgba8);
    assert_eq!((codes(&opaque), opaque.doubts.len()), (vec![10, 20, 30], 0));
    let fifth = decode(&[0, 100, 255, 51], ExtendedColorType::Rgba8);
    assert_eq!(codes(&fifth), [204, 224, 255]);
    assert!(has_doubt(&fifth, "transparent"));
}

#[test]
fn read_goes_by_content_and_refuses_what_is_no_photo_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("plant.jpg");
    std::fs::write(&path, png((1, 1), &[1, 2, 3], None, None)).unwrap();
    assert_eq!(codes(&photo::read(&path).unwrap()), [1, 2, 3], "a PNG named .jpg");
    assert!(matches!(photo::read(folder.path()), Err(Error::Format(_))), "a folder");
    assert!(matches!(photo::read(&folder.path().join("missing")), Err(Error::Read(_))));
    // A sparse file takes no disk space.
    let large = std::fs::File::create(&path).unwrap();
    large.set_len(photo::limits::MAX_FILE_BYTES + 1).unwrap();
    assert!(matches!(photo::read(&path), Err(Error::Limit(_))));
}

/// A DNG and most other raw files are TIFFs whose first picture is a small preview (TIFF 6.0, tag 254, bit 0).
#[test]
fn camera_raw_is_not_read_as_its_preview() {
    assert!(photo::decode(&tiff((3, 2), &[7; 18], (254, 0))).is_ok());
    let Err(Error::Format(text)) = photo::decode(&tiff((3, 2), &[7; 18], (254, 1))) else {
        panic!("a preview was read");
    };
    assert!(text.contains("raw"), "{text}");
}
