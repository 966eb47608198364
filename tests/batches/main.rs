//! Long batches through the built command: folders full of traps, interruptions, full disks, folders that are watched.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod inputs;
#[cfg(unix)]
mod outputs;
mod resume;
#[cfg(unix)]
mod signals;
#[path = "../support/mod.rs"]
mod support;
#[cfg(unix)]
mod traps;
#[cfg(unix)]
mod watch;

use std::path::{Path, PathBuf};
use support::Bench;

/// A photo with one plant.
fn plant() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/ZB-5142.jpg")
}

/// A photo of a plain colour: it takes its time and is refused. Each number is another file.
fn plain(number: u8, width: u32) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let picture = image::RgbImage::from_pixel(width, width * 3 / 4, image::Rgb([90, 140, 60]));
    picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    numbered(&bytes.into_inner(), number)
}

/// The same picture in another file: a comment stands after the start of the image (ITU-T T.81, B.2.4.5).
fn numbered(jpeg: &[u8], number: u8) -> Vec<u8> {
    [&jpeg[..2], &[0xFF, 0xFE, 0, 3, number], &jpeg[2..]].concat()
}

/// A folder `in` with `count` plain photos, a plant and a file that is no photo.
fn batch(count: u8, width: u32) -> Bench {
    let bench = Bench::new();
    for number in 0..count {
        bench.put(&format!("in/IMG_{number}.jpg"), plain(number, width));
    }
    bench.put("in/IMG_3_plant.jpg", std::fs::read(plant()).unwrap());
    bench.put("in/text.jpg", "hello\n");
    bench
}

#[test]
fn a_bound_of_memory_changes_no_row_and_tells_of_photos_beyond_it() {
    let bench = batch(3, 200);
    let free = bench.run(&["grade", "in", "--csv", "a.csv"]);
    let bound = bench.run(&["grade", "in", "--csv", "b.csv", "--memory", "100M", "--jobs", "4"]);
    assert_eq!((free.code, bound.code), (1, 1));
    assert_eq!(bench.text("a.csv"), bench.text("b.csv"));
    assert!(bound.stderr.contains("in/IMG_3_plant.jpg: needs about 144 MB, more than --memory"), "{}", bound.stderr);
    assert!(!bench.run(&["grade", "in", "--memory", "0.2G"]).stderr.contains("needs about"));
}
