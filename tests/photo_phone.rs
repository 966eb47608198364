//! What phones put around a photo: gain maps, second pictures, films; and camera raw files with the picture inside.
//! The files are put together here as their makers do.

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

use image::codecs::jpeg::JpegEncoder;
use variegauge::base::raster::Raster;
use variegauge::error::Error;
use variegauge::photo::{self, Photo};

const PLAIN: &[u8] = include_bytes!("../fixtures/hostile/jpeg__peacock.default.jpeg");
const SECOND: &[u8] = include_bytes!("../fixtures/hostile/jpeg__restarts.jpg");

/// A segment of a JPEG (ITU-T T.81, B.1.1.4).
fn segment(code: u8, body: &[u8]) -> Vec<u8> {
    [&[0xFF, code][..], &(body.len() as u16 + 2).to_be_bytes(), body].concat()
}

/// The plain photo with segments behind its first marker, and what follows its end.
fn with(segments: &[Vec<u8>], tail: &[u8]) -> Vec<u8> {
    [&PLAIN[..2], &segments.concat(), &PLAIN[2..], tail].concat()
}

fn xmp(items: &str) -> Vec<u8> {
    let packet = format!(
        "http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF \
         xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\"><rdf:Description \
         xmlns:Container=\"http://ns.google.com/photos/1.0/container/\" \
         xmlns:Item=\"http://ns.google.com/photos/1.0/container/item/\"><Container:Directory><rdf:Seq>\
         <rdf:li Item:Mime=\"image/jpeg\" Item:Semantic=\"Primary\"/>{items}\
         </rdf:Seq></Container:Directory></rdf:Description></rdf:RDF></x:xmpmeta>"
    );
    segment(0xE1, packet.as_bytes())
}

/// Multi-Picture Format (CIPA DC-007): an index of two pictures, sizes and offsets as their makers fill them in.
fn mpf(first: u32, second: u32, kind: u32) -> Vec<u8> {
    let mut index = b"MPF\0MM\0*\0\0\0\x08\0\x03".to_vec();
    let fields: [(u16, u16, u32, [u8; 4]); 3] =
        [(0xB000, 7, 4, *b"0100"), (0xB001, 4, 1, 2u32.to_be_bytes()), (0xB002, 7, 32, 50u32.to_be_bytes())];
    for (tag, form, count, value) in fields {
        index.extend(tag.to_be_bytes());
        index.extend(form.to_be_bytes());
        index.extend(count.to_be_bytes());
        index.extend(value);
    }
    index.extend([0; 4]);
    // The offset of the second picture counts from the byte-order mark, 10 bytes into this segment, itself at byte 2.
    for (kind, size, offset) in [(0x0003_0000 | kind, first, 0), (0, second, first - 10)] {
        for part in [kind, size, offset] {
            index.extend(part.to_be_bytes());
        }
        index.extend([0; 4]);
    }
    segment(0xE2, &index)
}

/// A photo behind whose end a second one follows, which its index names.
fn two_pictures(kind: u32, others: &[Vec<u8>]) -> Vec<u8> {
    let length = with(&[&[mpf(0x7FFF, 0, kind)], others].concat(), &[]).len() as u32;
    with(&[&[mpf(length, SECOND.len() as u32, kind)], others].concat(), SECOND)
}

#[test]
fn the_first_picture_counts_and_nothing_is_doubted() {
    let plain = photo::decode(PLAIN).unwrap();
    let film = [&b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom\0\0\0\x0Cmdat"[..], &[0xFF, 0xD8, 0xFF, 0xDA]].concat();
    let gain_map =
        xmp(&format!("<rdf:li Item:Mime=\"image/jpeg\" Item:Semantic=\"GainMap\" Item:Length=\"{}\"/>", SECOND.len()));
    let motion =
        xmp(&format!("<rdf:li Item:Mime=\"video/mp4\" Item:Semantic=\"MotionPhoto\" Item:Length=\"{}\"/>", film.len()));
    for (name, file) in [
        ("gain map", two_pictures(0, &[gain_map])),
        ("motion photo", with(&[motion], &film)),
        ("stereo MPO", two_pictures(2, &[])),
        ("motion photo with zeros at its end", with(&[], &[&film[..], &[0; 700]].concat())),
    ] {
        let Photo { rgb, doubts, .. } = photo::decode(&file).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!((rgb, doubts), (plain.rgb.clone(), vec![]), "{name}");
    }
}

/// The rest of the file does not stand in for what the first picture lacks.
#[test]
fn a_cut_first_picture_is_refused_whatever_follows() {
    let cut = &PLAIN[..PLAIN.len() * 3 / 4];
    for tail in [SECOND, PLAIN, b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom"] {
        let result = photo::decode(&[cut, tail].concat());
        assert!(result.is_err(), "{} bytes: {:?}", tail.len(), result.map(|photo| photo.doubts));
    }
}

fn jpeg(width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| image::Rgb([(x / 8) as u8, (y / 5) as u8, 90]));
    let mut file = Vec::new();
    picture.write_with_encoder(JpegEncoder::new_with_quality(&mut file, 90)).unwrap();
    file
}

/// A DNG (Adobe DNG 1.7) whose first directory holds sensor data, or a thumbnail, and whose sub-directory a JPEG.
fn dng(preview: &[u8], orientation: u32) -> Vec<u8> {
    const SUB: u32 = 8 + 2 + 12 * 4 + 4;
    const DATA: u32 = SUB + 2 + 12 * 5 + 4;
    let directory = |fields: &[(u16, u16, u32, u32)]| {
        let mut bytes = (fields.len() as u16).to_le_bytes().to_vec();
        for (tag, form, count, value) in fields {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(form.to_le_bytes());
            bytes.extend(count.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend([0; 4]);
        bytes
    };
    let first = directory(&[(254, 4, 1, 0), (274, 3, 1, orientation), (330, 4, 1, SUB), (50706, 1, 4, 0x0000_0401)]);
    let length = preview.len() as u32;
    let sub = directory(&[(254, 4, 1, 1), (259, 3, 1, 7), (273, 4, 1, DATA), (279, 4, 1, length), (50970, 4, 1, 2)]);
    [b"II*\0\x08\0\0\0".as_slice(), &first, &sub, preview].concat()
}

#[test]
fn a_raw_files_whole_picture_is_read_and_turned_as_the_file_says() {
    let preview = jpeg(1500, 1001);
    let expected = photo::decode(&preview).unwrap();
    let photo = photo::decode(&dng(&preview, 3)).unwrap();
    let mut turned: Vec<[u8; 3]> = expected.rgb.as_slice().to_vec();
    turned.reverse();
    assert_eq!(photo.rgb, Raster::from_vec(1500, 1001, turned));
    assert_eq!(photo.doubts.iter().map(|doubt| doubt.code).collect::<Vec<_>>(), ["raw-preview"]);
}

#[test]
fn a_raw_file_with_a_thumbnail_or_a_cut_picture_is_refused() {
    let Err(Error::Format(text)) = photo::decode(&dng(&jpeg(256, 171), 1)) else { panic!("a thumbnail was read") };
    assert!(text.contains("raw"), "{text}");
    let whole = dng(&jpeg(1500, 1001), 1);
    for percent in [1, 25, 75, 99] {
        let Err(Error::Damaged(text)) = photo::decode(&whole[..whole.len() * percent / 100]) else {
            panic!("{percent} % were not told as cut off")
        };
        assert!(percent == 1 || text.contains("cut off"), "{percent} %: {text}");
    }
}

/// What bounds the memory of a batch is the picture that is measured, not the thumbnail in front of it.
#[test]
fn the_size_of_a_raw_file_is_that_of_its_preview() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dng");
    std::fs::write(&path, dng(&jpeg(1500, 1001), 1)).unwrap();
    assert_eq!(photo::pixels(&path), Some(1500 * 1001));
}

/// Directories that point at each other end.
#[test]
fn loops_of_directories_end() {
    let mut looped = dng(&jpeg(64, 64), 1);
    let sub = 8 + 2 + 12 * 4 + 4;
    looped[8 + 2 + 12 * 2 + 8..][..4].copy_from_slice(&8u32.to_le_bytes());
    looped[sub - 4..sub].copy_from_slice(&8u32.to_le_bytes());
    assert!(matches!(photo::decode(&looped), Err(Error::Format(_))));
}
