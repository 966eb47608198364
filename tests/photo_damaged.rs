//! Photos damaged in a thousand ways, the same on every run: what must be refused is, and nothing panics.

#![allow(clippy::unwrap_used, reason = "a test whose input cannot be built is to fail there")]

mod support;

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use variegauge::base::stats::SplitMix64;
use variegauge::error::Error;
use variegauge::photo;

/// What must come of a damaged photo. `Either` means that both answers can be right, but one must be given.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Expect {
    Read,
    Refused,
    Either,
}
use Expect::{Either, Read, Refused};

/// A segment of a JPEG; a scan's data belong to its start (ITU-T T.81, annex B).
struct Segment {
    code: u8,
    start: usize,
    end: usize,
}

fn segments(jpeg: &[u8]) -> Vec<Segment> {
    let (mut at, mut found) = (2, Vec::new());
    while jpeg[at + 1] != 0xD9 {
        let (code, start) = (jpeg[at + 1], at);
        at += 2 + usize::from(u16::from_be_bytes([jpeg[at + 2], jpeg[at + 3]]));
        while code == 0xDA && (jpeg[at] != 0xFF || matches!(jpeg[at + 1], 0 | 0xD0..=0xD7)) {
            at += 1;
        }
        found.push(Segment { code, start, end: at });
    }
    found.push(Segment { code: 0xD9, start: at, end: at + 2 });
    found
}

/// A photo that decodes, and where its parts lie.
struct Whole<'a> {
    bytes: &'a [u8],
    segments: Vec<Segment>,
    /// First byte of the first scan's data.
    data: usize,
    /// Where the end marker stands.
    end: usize,
}

impl<'a> Whole<'a> {
    fn new(bytes: &'a [u8]) -> Self {
        let segments = segments(bytes);
        let scan = segments.iter().find(|segment| segment.code == 0xDA).unwrap().start;
        let data = scan + 2 + usize::from(u16::from_be_bytes([bytes[scan + 2], bytes[scan + 3]]));
        let end = segments.last().unwrap().start;
        Self { bytes, segments, data, end }
    }

    /// The frame header: its start, and whether it is progressive.
    fn frame(&self) -> (usize, bool) {
        let frame = self.segments.iter().find(|segment| matches!(segment.code, 0xC0..=0xC2)).unwrap();
        (frame.start, frame.code == 0xC2)
    }

    fn cut(&self, percent: usize) -> &'a [u8] {
        &self.bytes[..self.data + (self.end - self.data) * percent / 100]
    }

    /// With some bytes written over.
    fn patched(&self, at: usize, with: &[u8]) -> Vec<u8> {
        let mut bytes = self.bytes.to_vec();
        bytes[at..at + with.len()].copy_from_slice(with);
        bytes
    }

    /// Damage at the places that matter, each once.
    fn fixed(&self) -> Vec<(String, Vec<u8>, Expect)> {
        let (bytes, end, (frame, progressive)) = (self.bytes, self.end, self.frame());
        // A progressive photo without its end marker is not told from one that lost the end of its last scan.
        let unended = if progressive { Either } else { Read };
        let mut all = vec![
            ("no end marker".into(), bytes[..end].to_vec(), unended),
            ("zeros behind".into(), [bytes, &[0; 1000]].concat(), Read),
            ("twice".into(), bytes.repeat(2), Read),
            ("a byte before".into(), [&[0], bytes].concat(), Refused),
        ];
        let starts = self.segments.iter().map(|segment| segment.start).filter(|&start| start < end);
        for length in [0, 1, 2, 3, 10, self.data - 1, self.data, self.data + 1].into_iter().chain(starts) {
            // The last scan of a progressive photo may hold next to nothing: that one is tried in `cut_photos`.
            all.push((format!("{length} bytes"), bytes[..length].to_vec(), Refused));
        }
        for (width, height, expect) in
            [(0u16, 100u16, Refused), (100, 0, Refused), (65535, 65535, Refused), (65535, 1, Either), (1, 1, Either)]
        {
            let size = [height.to_be_bytes(), width.to_be_bytes()].concat();
            all.push((format!("size {width} x {height}"), self.patched(frame + 5, &size), expect));
        }
        for (at, values) in [(1, &[0xC1, 0xC3, 0xC9, 0xCF][..]), (4, &[0, 1, 12, 255]), (9, &[0, 2, 5, 255])] {
            all.extend(
                values.iter().map(|&v| (format!("frame byte {at} {v}"), self.patched(frame + at, &[v]), Either)),
            );
        }
        for segment in self.segments.iter().filter(|segment| !matches!(segment.code, 0xDA | 0xD9)) {
            let Segment { code, start, end } = *segment;
            let without = if matches!(code, 0xE0..=0xEF | 0xFE) { Read } else { Either };
            all.push((format!("without {code:X}"), [&bytes[..start], &bytes[end..]].concat(), without));
            all.push((format!("{code:X} twice"), [&bytes[..end], &bytes[start..]].concat(), Either));
            for length in [0u16, 1, 2, 0xFFFF] {
                all.push((format!("{code:X} of {length}"), self.patched(start + 2, &length.to_be_bytes()), Either));
            }
        }
        all
    }

    /// What storage and transfer do to files.
    fn random(&self, random: &mut SplitMix64) -> (String, Vec<u8>, Expect) {
        let (bytes, end) = (self.bytes, self.end);
        let at = random.below(bytes.len());
        let piece = (at + 1 + random.below(512)).min(bytes.len());
        let mut flipped = |first: usize, count: usize| {
            let mut copy = bytes.to_vec();
            for _ in 0..=random.below(8) {
                copy[first + random.below(count)] ^= 1 << random.below(8);
            }
            copy
        };
        match piece % 6 {
            0 => (format!("cut at {at}"), bytes[..at].to_vec(), if at + 64 < end { Refused } else { Either }),
            1 => ("bits of the headers".into(), flipped(2, self.data - 2), Either),
            2 => ("bits of the scan".into(), flipped(self.data, end - self.data), Either),
            3 => (format!("zeros from {at}"), self.patched(at, &vec![0; piece - at]), Either),
            4 => (format!("lost from {at}"), [&bytes[..at], &bytes[piece..]].concat(), Either),
            _ => (format!("doubled from {at}"), [&bytes[..piece], &bytes[at..]].concat(), Either),
        }
    }

    fn damaged(&self, seed: u64, count: usize) -> Vec<(String, Vec<u8>, Expect)> {
        let mut random = SplitMix64::new(seed);
        let mut all = self.fixed();
        while all.len() < count {
            all.push(self.random(&mut random));
        }
        all.truncate(count);
        all
    }
}

/// A panic inside a decoder is caught and looks like an error, so that it is counted by its message.
fn count_panics() -> &'static AtomicUsize {
    static PANICS: AtomicUsize = AtomicUsize::new(0);
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        PANICS.fetch_add(1, Ordering::Relaxed);
        usual(info);
    }));
    &PANICS
}

const SEEDS: [&str; 3] = [
    "fixtures/hostile/jpeg__peacock.default.jpeg",
    "fixtures/hostile/jpeg__peacock.progressive.jpeg",
    "fixtures/photo/phone_p3.jpg",
];

#[test]
fn damaged_photos_never_panic_and_are_refused_where_a_part_is_missing() {
    let panics = count_panics();
    for path in SEEDS {
        let bytes = std::fs::read(path).unwrap();
        Whole::new(&bytes).damaged(1, 400).par_iter().for_each(|(how, file, expect)| {
            let result = photo::decode(file);
            match expect {
                Read => assert!(result.is_ok(), "{path}, {how}: {:?}", result.err()),
                Refused => assert!(result.is_err(), "{path}, {how}: read"),
                Either => {}
            }
        });
    }
    assert_eq!(panics.load(Ordering::Relaxed), 0);
}

/// A sample of the same through the built command: a record for each, no measurement where a part is missing.
#[test]
fn damaged_photos_cost_the_command_nothing_but_themselves() {
    let bench = support::Bench::new();
    let mut expected = Vec::new();
    for (seed, path) in SEEDS.iter().enumerate() {
        let bytes = std::fs::read(path).unwrap();
        for (turn, (how, file, expect)) in Whole::new(&bytes).damaged(1, 400).into_iter().enumerate().step_by(20) {
            let name = format!("{seed}-{turn:03}.jpg");
            bench.put(&name, file);
            expected.push((name, how, expect));
        }
    }
    let run = bench.run(&["grade", ".", "--jsonl", "-", "--quiet"]);
    assert!(run.code == 1 && !run.stderr.contains("panicked"), "{}", run.stderr);
    let records: Vec<serde_json::Value> = run.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(records.len(), expected.len());
    for (record, (name, how, expect)) in records.iter().zip(expected) {
        assert_eq!(record["file"], name.as_str());
        assert!(expect != Refused || record["status"] == "failed", "{name}, {how}: {record}");
    }
}

/// A container whose parts are not told apart here: any bytes may change.
#[test]
fn damaged_heic_never_panics() {
    let panics = count_panics();
    for name in ["orientation_6", "grid", "ten_bit", "alpha"] {
        let whole = std::fs::read(format!("fixtures/photo/heic/{name}.heic")).unwrap();
        let mut random = SplitMix64::new(1);
        let files: Vec<Vec<u8>> = (0..400)
            .map(|turn| {
                let mut file = whole.clone();
                let reach = if turn % 2 == 0 { file.len() } else { 700 };
                for _ in 0..=random.below(4) {
                    file[random.below(reach)] = random.next_u64() as u8;
                }
                file
            })
            .collect();
        files.par_iter().for_each(|file| drop(photo::decode(file)));
    }
    assert_eq!(panics.load(Ordering::Relaxed), 0);
}

/// Sound JPEGs of the fixtures, of more than a kilobyte.
fn twenty_photos() -> Vec<PathBuf> {
    let mut index = csv::Reader::from_path("fixtures/hostile/index.csv").unwrap();
    let hostile = index.records().map(Result::unwrap).filter(|row| &row[1] == "decodes");
    let hostile = hostile.map(|row| PathBuf::from("fixtures/hostile").join(&row[0]));
    let demo = std::fs::read_dir("fixtures/demo").unwrap().map(|entry| entry.unwrap().path());
    let sound = |path: &PathBuf| {
        let bytes = std::fs::read(path).unwrap();
        bytes.starts_with(&[0xFF, 0xD8]) && photo::decode(&bytes).is_ok_and(|photo| photo.doubts.is_empty())
    };
    let photos = demo.chain(hostile).filter(|path| std::fs::metadata(path).unwrap().len() > 2_000);
    photos.filter(sound).take(20).collect()
}

#[test]
fn cut_photos_are_refused_and_never_read_as_whole() {
    let photos = twenty_photos();
    assert_eq!(photos.len(), 20);
    let refused: usize = photos
        .par_iter()
        .map(|path| {
            let bytes = std::fs::read(path).unwrap();
            let whole = Whole::new(&bytes);
            let cuts = [1, 5, 25, 50, 75, 95, 99];
            for percent in cuts {
                let result = photo::decode(whole.cut(percent));
                assert!(matches!(result, Err(Error::Damaged(_))), "{} at {percent} %", path.display());
            }
            cuts.len()
        })
        .sum();
    assert_eq!(refused, 140);
}

/// A grainy picture as lossless WebP and as plain TIFF.
fn grainy() -> [Vec<u8>; 2] {
    let mut random = SplitMix64::new(5);
    let codes = (0..300 * 200 * 3).map(|_| 20 + random.below(200) as u8).collect();
    let picture = image::DynamicImage::from(image::RgbImage::from_raw(300, 200, codes).unwrap());
    [image::ImageFormat::WebP, image::ImageFormat::Tiff].map(|format| {
        let mut file = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut file, format).unwrap();
        file.into_inner()
    })
}

/// Copies that broke off after the space was set aside: these formats have no check sums.
#[test]
fn zeros_in_place_of_data_are_seen() {
    let [webp, tiff] = grainy();
    for percent in [30, 60, 95] {
        let mut blanked = webp.clone();
        let from = webp.len() * percent / 100;
        blanked[from..].fill(0);
        assert!(matches!(photo::decode(&blanked), Err(Error::Damaged(_))), "WebP from {percent} %");
        let mut hole = webp.clone();
        hole[from..from + 1500].fill(0);
        assert!(matches!(photo::decode(&hole), Err(Error::Damaged(_))), "a hole in a WebP at {percent} %");
    }
    let rgb = photo::decode(&tiff).unwrap().rgb;
    let first = rgb.row(0).as_flattened();
    let start = tiff.windows(first.len()).position(|window| window == first).unwrap();
    let mut blanked = tiff.clone();
    blanked[start + 120 * first.len()..start + 200 * first.len()].fill(0);
    let doubts = photo::decode(&blanked).unwrap().doubts;
    assert!(doubts.iter().any(|doubt| doubt.code == "damaged-file" && doubt.text.contains("40 %")), "{doubts:?}");
    assert!(photo::decode(&webp).is_ok_and(|photo| photo.doubts.is_empty()));
    assert!(photo::decode(&tiff).is_ok_and(|photo| photo.doubts.is_empty()));
}
