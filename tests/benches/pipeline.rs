//! What the stages and a whole photo of 12 megapixels cost on one thread; `docs/performance.md` says how to read it.
//!
//! Calls the stages through the same functions as the pipeline.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark fails like a test and prints its figures")]

mod growth;
mod peer;

use divan::{Bencher, Divan};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use image::{DynamicImage, ImageEncoder, RgbImage};
use std::sync::LazyLock;
use variegauge::bands::{self, View};
use variegauge::base::stats::SplitMix64;
use variegauge::calibrate::{self, Calibrated, calibrate, estimate_white};
use variegauge::measure::measure;
use variegauge::options::{Options, Plants};
use variegauge::pattern;
use variegauge::photo::{self, Photo};
use variegauge::pipeline::{self, Outcome, Plant};
use variegauge::record::PhotoRecord;
use variegauge::report::overlay;
use variegauge::segment;
use variegauge::tissue::samples::Samples;
use variegauge::tissue::{self, TissueMap};

/// Columns and rows of the photo as stored: 12 megapixels, as phones take them.
const SIZE: (u32, u32) = (4000, 3000);
/// Quality of the photo's JPEG.
const QUALITY: u8 = 90;
/// Largest grain, in codes.
const GRAIN: usize = 5;

/// The photo with what each stage starts from, made once and outside all timings.
struct Subject {
    jpeg: Vec<u8>,
    photo: Photo,
    calibrated: Calibrated,
    outcome: Outcome,
    record: PhotoRecord,
}

impl Subject {
    fn on_plant(&self, x: usize, y: usize) -> bool {
        self.outcome.plants.iter().any(|plant| plant.rosette.covers(x, y))
    }
}

static SUBJECT: LazyLock<Subject> = LazyLock::new(|| {
    let jpeg = jpeg(None);
    let photo = photo::decode(&jpeg).unwrap();
    let options = Options::default();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("photo.jpg");
    std::fs::write(&path, &jpeg).unwrap();
    let outcome = pipeline::run(&path, &options).unwrap();
    Subject {
        calibrated: calibrate(photo.clone(), &calibrate::Options::default()),
        record: PhotoRecord::graded("photo.jpg", "photo", &outcome, &options),
        jpeg,
        photo,
        outcome,
    }
});

static ENLARGED: LazyLock<DynamicImage> = LazyLock::new(|| enlarged(SIZE, 1));

/// A demo photo, `across` times beside and below itself, enlarged to `size`, with grain: enlarging smooths it away, and
/// without it a photo decodes faster than any camera's.
fn enlarged(size: (u32, u32), across: u32) -> DynamicImage {
    let demo = image::open(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/ZB-0207.jpg")).unwrap();
    let tile = resize(&demo.to_rgb8(), size.0 / across, size.1 / across, FilterType::CatmullRom);
    let mut enlarged = RgbImage::from_fn(size.0, size.1, |x, y| *tile.get_pixel(x % tile.width(), y % tile.height()));
    let mut random = SplitMix64::new(1);
    for pixel in enlarged.pixels_mut() {
        let grain = random.below(2 * GRAIN + 1) as i16 - GRAIN as i16;
        pixel.0 = pixel.0.map(|code| (i16::from(code) + grain).clamp(0, 255) as u8);
    }
    enlarged.into()
}

/// The photo as a file, with an EXIF orientation if one is given.
fn jpeg(orientation: Option<u8>) -> Vec<u8> {
    encoded(&ENLARGED, orientation)
}

fn encoded(picture: &DynamicImage, orientation: Option<u8>) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut file, QUALITY);
    if let Some(orientation) = orientation {
        // Big-endian TIFF with one entry: tag 0x0112, SHORT, one value (EXIF 2.32, 4.6).
        let block = [b"MM\0\x2A\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0", &[orientation][..], &[0; 6]].concat();
        encoder.set_exif_metadata(block).unwrap();
    }
    picture.write_with_encoder(encoder).unwrap();
    file
}

fn main() {
    Divan::default().sample_count(11).sample_size(1).config_with_args().main();
    if std::env::args().all(|word| !word.starts_with("--list") && word != "--test") {
        growth::print();
        peer::compare(|| jpeg(None));
    }
}

#[divan::bench]
fn a_decode(bencher: Bencher) {
    let subject = &*SUBJECT;
    bencher.bench_local(|| photo::decode(&subject.jpeg).unwrap());
}

#[divan::bench]
fn a_decode_turned(bencher: Bencher) {
    let turned = jpeg(Some(6));
    bencher.bench_local(|| photo::decode(&turned).unwrap());
}

#[divan::bench]
fn b_calibrate(bencher: Bencher) {
    let subject = &*SUBJECT;
    let input = || subject.photo.clone();
    bencher.with_inputs(input).bench_local_values(|photo| calibrate(photo, &calibrate::Options::default()));
}

#[divan::bench]
fn c_outlines(bencher: Bencher) {
    let subject = &*SUBJECT;
    bencher.bench_local(|| segment::rosettes(&subject.calibrated, Plants::Auto, None).unwrap());
}

#[divan::bench]
fn d_estimate_white(bencher: Bencher) {
    let subject = &*SUBJECT;
    let input = || subject.calibrated.clone();
    bencher
        .with_inputs(input)
        .bench_local_values(|calibrated| estimate_white(calibrated, |x, y| subject.on_plant(x, y)));
}

#[divan::bench]
fn e_tissue(bencher: Bencher) {
    bencher.bench_local(readings);
}

#[divan::bench]
fn f_measure(bencher: Bencher) {
    let calibrated = &SUBJECT.outcome.calibrated;
    let scale = |place, diameter| calibrated.px_per_mm_at(None, place, diameter);
    let readings = readings();
    bencher.bench_local(|| readings.iter().map(|(map, samples)| measure(map, samples, scale)).collect::<Vec<_>>());
}

#[divan::bench]
fn f_pattern(bencher: Bencher) {
    let picture = &SUBJECT.outcome.calibrated.photo.rgb;
    let readings = readings();
    let read = |(map, samples): &(TissueMap, Samples)| pattern::read(picture, map, samples, [1.0; 3], None);
    bencher.bench_local(|| readings.iter().map(read).collect::<Vec<_>>());
}

#[divan::bench]
fn f_bands(bencher: Bencher) {
    let Outcome { calibrated, plants } = &SUBJECT.outcome;
    let limits = Options::default().standard.bands;
    let read =
        |plant: &Plant| bands::read(&calibrated.photo.rgb, &plant.rosette, &plant.tissue, View::default(), &limits);
    bencher.bench_local(|| plants.iter().map(read).collect::<Vec<_>>());
}

/// Tissue of all plants, with the repeated readings of their colours.
fn readings() -> Vec<(TissueMap, Samples)> {
    let Outcome { calibrated, plants } = &SUBJECT.outcome;
    let rosettes: Vec<_> = plants.iter().map(|plant| plant.rosette.clone()).collect();
    let closeness = tissue::closeness(&rosettes);
    rosettes.iter().map(|rosette| tissue::read(calibrated, rosette, closeness)).collect()
}

#[divan::bench]
fn g_record(bencher: Bencher) {
    let subject = &*SUBJECT;
    let options = Options::default();
    bencher.bench_local(|| PhotoRecord::graded("photo.jpg", "photo", &subject.outcome, &options));
}

#[divan::bench]
fn h_overlay(bencher: Bencher) {
    let subject = &*SUBJECT;
    let maps: Vec<&TissueMap> = subject.outcome.plants.iter().map(|plant| &plant.tissue).collect();
    bencher.bench_local(|| {
        let picture = overlay::draw(&subject.photo.rgb, &maps, &subject.record);
        let mut file = Vec::new();
        overlay::write(&picture, &mut file).unwrap();
        file
    });
}

#[divan::bench]
fn whole_photo(bencher: Bencher) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("photo.jpg");
    std::fs::write(&path, &SUBJECT.jpeg).unwrap();
    bencher.bench_local(|| pipeline::run(&path, &Options::default()).unwrap());
}
