//! Files that mean harm or came to harm: each gives a photo or one clear line, never a panic, and a photo of which a
//! part is missing is never read as whole.

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

use std::time::Instant;

use variegauge::base::stats::SplitMix64;
use variegauge::error::{Error, Result};
use variegauge::photo::{self, Photo};

const BASELINE: &[u8] = include_bytes!("../fixtures/hostile/jpeg__peacock.default.jpeg");
const PROGRESSIVE: &[u8] = include_bytes!("../fixtures/hostile/jpeg__peacock.progressive.jpeg");
const RESTARTS: &[u8] = include_bytes!("../fixtures/hostile/jpeg__restarts.jpg");
const GREY: &[u8] = include_bytes!("../fixtures/hostile/jpeg__hopper_gray.jpg");
const PHONE: &[u8] = include_bytes!("../fixtures/photo/phone_p3.jpg");

/// What is wrong with each, and where it is from: `fixtures/hostile/index.csv`.
#[test]
fn every_hostile_file_does_as_its_index_says() {
    let mut index = csv::Reader::from_path("fixtures/hostile/index.csv").unwrap();
    let mut counts = [0; 3];
    for row in index.records() {
        let row = row.unwrap();
        let (file, expected) = (&row[0], &row[1]);
        let result = photo::read(&std::path::Path::new("fixtures/hostile").join(file));
        check_line(file, &result);
        match expected {
            "decodes" => {
                assert!(result.is_ok(), "{file}: {:?}", result.err());
                counts[0] += 1;
            }
            "error" => {
                assert!(result.is_err(), "{file} was read");
                counts[1] += 1;
            }
            "either" => counts[2] += 1,
            other => panic!("{file}: unknown expectation {other}"),
        }
    }
    assert_eq!(counts, [116, 83, 89], "decodes, error, either: the index is whole");
}

/// One line that fits a terminal and holds nothing that steers it.
fn check_line(file: &str, result: &Result<Photo>) {
    let texts = match result {
        Ok(photo) => photo.doubts.iter().map(|doubt| doubt.text.clone()).collect(),
        Err(error) => vec![error.to_string()],
    };
    for text in texts {
        assert!(text.chars().count() <= 200 && !text.chars().any(char::is_control), "{file}: {text:?}");
    }
}

/// Where the first scan's data begin and where the end marker stands (T.81 annex B).
fn first_picture(jpeg: &[u8]) -> (usize, usize) {
    let (mut at, mut data) = (2, None);
    loop {
        while jpeg[at] != 0xFF || matches!(jpeg[at + 1], 0 | 0xFF | 0xD0..=0xD7) {
            at += 1;
        }
        match jpeg[at + 1] {
            0xD9 => return (data.unwrap(), at),
            code => {
                at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
                if code == 0xDA {
                    data.get_or_insert(at);
                }
            }
        }
    }
}

/// Four ways in which the rest of a photo gets lost: it is not there; an end marker was put there; the space was set
/// aside and never filled; both.
#[test]
fn a_cut_photo_is_refused_wherever_it_is_cut() {
    let mut refused = 0;
    for (name, jpeg) in
        [("baseline", BASELINE), ("progressive", PROGRESSIVE), ("restarts", RESTARTS), ("grey", GREY), ("phone", PHONE)]
    {
        let (data, end) = first_picture(jpeg);
        for percent in [1, 5, 25, 50, 75, 95, 99] {
            let kept = &jpeg[..data + (end - data) * percent / 100];
            let blank = vec![0; end - kept.len()];
            let eoi: &[u8] = &[0xFF, 0xD9];
            for (way, file) in [
                ("cut", kept.to_vec()),
                ("cut, end marker", [kept, eoi].concat()),
                ("blank", [kept, &blank].concat()),
                ("blank, end marker", [kept, &blank, eoi].concat()),
            ] {
                let result = photo::decode(&file);
                assert!(matches!(result, Err(Error::Damaged(_))), "{name} at {percent} %, {way}: {result:?}");
                refused += 1;
            }
        }
    }
    assert_eq!(refused, 5 * 7 * 4);
}

#[test]
fn what_follows_a_whole_photo_does_not_matter() {
    let expected = photo::decode(BASELINE).unwrap();
    assert!(expected.doubts.is_empty());
    let film = b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom".repeat(100);
    for (name, tail) in
        [("text", b"trailing".as_slice()), ("another JPEG", PHONE), ("a film", &film), ("zeros", &[0; 5000])]
    {
        let photo = photo::decode(&[BASELINE, tail].concat()).unwrap();
        assert_eq!(photo.rgb, expected.rgb, "{name}");
        assert!(photo.doubts.is_empty(), "{name}");
    }
    let unended = photo::decode(&BASELINE[..BASELINE.len() - 2]).unwrap();
    assert_eq!(unended.rgb, expected.rgb);
    assert!(unended.doubts.iter().any(|doubt| doubt.code == "damaged-file"));
}

/// The decoder gets another end than the file's: that must not change a pixel. Reference: the `image` crate, which
/// gives the same decoder the file as it is.
#[test]
fn whole_photos_decode_to_the_same_pixels_as_elsewhere() {
    for (name, jpeg) in
        [("baseline", BASELINE), ("progressive", PROGRESSIVE), ("restarts", RESTARTS), ("grey", GREY), ("phone", PHONE)]
    {
        let other = image::load_from_memory_with_format(jpeg, image::ImageFormat::Jpeg).unwrap().to_rgb8();
        assert_eq!(photo::decode(jpeg).unwrap().rgb.as_slice().as_flattened(), other.as_raw(), "{name}");
    }
}

/// A bottom that costs almost no bits leaves the decoder, which reads ahead, at the end of the data early.
#[test]
fn flat_bottom_is_not_taken_for_a_cut() {
    for height in [8, 9, 64, 200] {
        let picture = image::RgbImage::from_fn(64, height, |x, y| {
            image::Rgb(if y < 5 { [(x * 4) as u8, (y * 40) as u8, 90] } else { [255; 3] })
        });
        let mut file = Vec::new();
        picture.write_with_encoder(image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 90)).unwrap();
        assert!(photo::decode(&file).unwrap().doubts.is_empty(), "{height}");
    }
}

/// A PNG's last chunk, of twelve bytes, holds nothing of the picture.
#[test]
fn cut_png_webp_and_tiff_are_refused() {
    for (name, end) in [
        ("png__basn2c16.png", 12),
        ("png__F-exif-chunk-early.png", 12),
        ("webp__1_webp_a.webp", 0),
        ("webp__hopper.webp", 0),
        ("tiff__flower-rgb-contig-08.tif", 0),
    ] {
        let whole = std::fs::read(format!("fixtures/hostile/{name}")).unwrap();
        assert!(photo::decode(&whole).is_ok(), "{name}");
        for percent in [1, 5, 25, 50, 75, 95, 99] {
            let result = photo::decode(&whole[..(whole.len() - end) * percent / 100]);
            assert!(result.is_err(), "{name} at {percent} % was read");
        }
    }
}

/// Flips bits, overwrites, cuts, drops or doubles a piece: what storage and transfer do to files.
fn mutate(file: &[u8], random: &mut SplitMix64) -> Vec<u8> {
    let mut file = file.to_vec();
    for _ in 0..=random.below(4) {
        // A drop or a cut may have left nothing to change.
        if file.len() < 8 {
            return file;
        }
        let at = random.below(file.len());
        let length = 1 + random.below((file.len() - at).min(64));
        match random.below(6) {
            0 | 1 => file[at] ^= 1 << random.below(8),
            2 => file[at] = random.next_u64() as u8,
            3 => file.truncate(at),
            4 => drop(file.drain(at..at + length)),
            _ => {
                let piece = file[at..at + length].to_vec();
                file.splice(at..at, piece);
            }
        }
    }
    file
}

/// The segments of a JPEG's header without the `dropped`-th (markers with lengths: T.81, B.1.1.4).
fn without_segment(jpeg: &[u8], dropped: usize) -> Option<Vec<u8>> {
    let mut at = 2;
    for _ in 0..dropped {
        at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        if jpeg[at + 1] == 0xDA {
            return None;
        }
    }
    let length = 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
    Some([&jpeg[..at], &jpeg[at + length..]].concat())
}

/// A panic inside a decoder would be caught and look like an error, so that it is counted by its message.
#[test]
fn mutations_never_panic() {
    use std::sync::atomic::{AtomicUsize, Ordering};
    static PANICS: AtomicUsize = AtomicUsize::new(0);
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        PANICS.fetch_add(1, Ordering::Relaxed);
        usual(info);
    }));
    let webp = std::fs::read("fixtures/hostile/webp__hopper.webp").unwrap();
    let png = std::fs::read("fixtures/hostile/png__basn6a08.png").unwrap();
    let tiff = std::fs::read("fixtures/hostile/exif__kamadak_yaminabe.tif").unwrap();
    let date = std::fs::read("fixtures/hostile/exif_hostile__date_good.jpg").unwrap();
    let mut random = SplitMix64::new(1);
    for seed_file in [BASELINE, PROGRESSIVE, &date, &webp, &png, &tiff] {
        for turn in 0..400 {
            let file = mutate(seed_file, &mut random);
            check_line(&format!("mutation {turn}"), &photo::decode(&file));
        }
    }
    for dropped in 0.. {
        let Some(file) = without_segment(BASELINE, dropped) else { break };
        check_line(&format!("without segment {dropped}"), &photo::decode(&file));
    }
    assert_eq!(PANICS.load(Ordering::Relaxed), 0);
}

/// The same JPEG with another size in its frame header (T.81, B.2.2).
fn resized(jpeg: &[u8], width: u16, height: u16) -> Vec<u8> {
    let mut file = jpeg.to_vec();
    let frame = file.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    file[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    file[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    file
}

#[test]
fn forged_sizes_are_refused_from_the_header() {
    let start = Instant::now();
    for (width, height) in [(6000, 4000), (12_000, 8_000), (1000, 1000)] {
        let result = photo::decode(&resized(BASELINE, width, height));
        assert!(matches!(result, Err(Error::Damaged(_))), "{width} x {height}: {result:?}");
    }
    for (width, height) in [(12_000, 9_000), (65_500, 65_500), (30_001, 1)] {
        let result = photo::decode(&resized(BASELINE, width, height));
        assert!(matches!(result, Err(Error::Limit(_))), "{width} x {height}: {result:?}");
    }
    // Decoding 24 megapixels alone would take longer, also on a busy machine.
    assert!(start.elapsed().as_millis() < 500, "{:?}", start.elapsed());
}

/// The JPEG without its APP1 segments, as far as its header goes (T.81, annex B).
fn without_exif(jpeg: &[u8]) -> Option<Vec<u8>> {
    let (mut at, mut bare) = (2, jpeg[..2].to_vec());
    while *jpeg.get(at + 1)? != 0xDA {
        let length = jpeg.get(at + 2..at + 4)?;
        let end = at + 2 + usize::from(u16::from_be_bytes([length[0], length[1]]));
        if jpeg[at + 1] != 0xE1 {
            bare.extend(jpeg.get(at..end)?);
        }
        at = end;
    }
    bare.extend(&jpeg[at..]);
    Some(bare)
}

/// However bad EXIF is, the picture is the same, turned at most.
#[test]
fn exif_never_changes_the_picture() {
    let mut compared = 0;
    for entry in std::fs::read_dir("fixtures/hostile").unwrap() {
        let path = entry.unwrap().path();
        let file = std::fs::read(&path).unwrap();
        let named = path.file_name().unwrap().to_str().unwrap().starts_with("exif");
        let Some(bare) = (named && file.starts_with(&[0xFF, 0xD8])).then(|| without_exif(&file)).flatten() else {
            continue;
        };
        let pixels = |file: &[u8]| {
            photo::decode(file).ok().map(|photo| {
                let mut pixels = photo.rgb.as_slice().to_vec();
                pixels.sort_unstable();
                pixels
            })
        };
        assert_eq!(pixels(&file), pixels(&bare), "{}", path.display());
        compared += 1;
    }
    assert!(compared >= 40, "{compared}");
}

/// The page that growers read states the limits that the code keeps.
#[test]
fn documented_limits_are_the_real_ones() {
    assert!(include_str!("../docs/limits.md").contains(&photo::limits::limits_text()));
}

#[test]
fn too_many_scans_are_refused() {
    let (_, end) = first_picture(PROGRESSIVE);
    let scan = PROGRESSIVE.windows(2).rposition(|pair| pair == [0xFF, 0xDA]).unwrap();
    let file = [&PROGRESSIVE[..end], &PROGRESSIVE[scan..end].repeat(100), &PROGRESSIVE[end..]].concat();
    let result = photo::decode(&file);
    assert!(matches!(result, Err(Error::Limit(_))), "{result:?}");
}
