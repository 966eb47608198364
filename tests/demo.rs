//! The demo photos against the truth of the scenes they were rendered from. `fixtures/demo/truth.csv` was counted in the
//! scenes' class and plant masks (`fixtures/README.md`), not with this program.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

use serde::Deserialize;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use variegauge::base::raster::Rect;
use variegauge::options::Options;
use variegauge::pipeline::{self, Plant};

/// A plant of the scene; box in pixels of the upright photo.
#[derive(Deserialize)]
struct Truth {
    photo: String,
    x: usize,
    y: usize,
    width: usize,
    height: usize,
    green_fraction: f64,
    pale_fraction: f64,
    red_fraction: f64,
    green_capacity: f64,
}

/// The largest error of a fraction that is let pass. 0.15 was set for green before measuring; pale and red were held to
/// it afterwards.
const TOLERANCE: f64 = 0.15;
/// The standard's floor of green capacity.
const FLOOR: f64 = 0.20;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo")
}

fn truths() -> Vec<Truth> {
    csv::Reader::from_path(folder().join("truth.csv")).unwrap().deserialize().map(Result::unwrap).collect()
}

/// Intersection over union of two boxes.
fn overlap(a: Rect, b: Rect) -> f64 {
    let side = |low: usize, high: usize| high.saturating_sub(low) as f64;
    let both = side(a.x.max(b.x), a.right().min(b.right())) * side(a.y.max(b.y), a.bottom().min(b.bottom()));
    both / ((a.width * a.height + b.width * b.height) as f64 - both)
}

/// What is wrong with a measured plant.
fn faults(truth: &Truth, plant: &Plant) -> Vec<String> {
    let measures = &plant.measures;
    let fractions = [
        ("green", measures.green_fraction, truth.green_fraction),
        ("pale", measures.pale_fraction, truth.pale_fraction),
        ("red", measures.red_fraction, truth.red_fraction),
    ];
    let mut faults = Vec::new();
    for (name, got, want) in fractions {
        let got = got.map_or(f64::NAN, |interval| interval.value);
        // Written so that a missing number (NaN) is a fault.
        if (got - want).abs() > TOLERANCE || got.is_nan() {
            faults.push(format!("{} {name}: {got:.2}, truth {want:.2}", truth.photo));
        }
    }
    let flagged = plant.grade.flags.iter().any(|flag| flag.code == "too-pale");
    if flagged != (truth.green_capacity < FLOOR) {
        faults.push(format!("{} too pale: {flagged}, true capacity {:.2}", truth.photo, truth.green_capacity));
    }
    faults
}

#[test]
fn demo_photos_measure_what_was_rendered() {
    let truths = truths();
    let photos: BTreeSet<&String> = truths.iter().map(|truth| &truth.photo).collect();
    let mut wrong = Vec::new();
    for photo in photos {
        let outcome = pipeline::run(&folder().join(photo), &Options::default()).unwrap();
        let scene: Vec<&Truth> = truths.iter().filter(|truth| truth.photo == *photo).collect();
        if outcome.plants.len() != scene.len() {
            wrong.push(format!("{photo}: {} plants, truth {}", outcome.plants.len(), scene.len()));
        }
        for truth in scene {
            let place = Rect { x: truth.x, y: truth.y, width: truth.width, height: truth.height };
            // Boxes this alike belong to one plant: no two plants of the demo overlap by half.
            match outcome.plants.iter().find(|plant| overlap(plant.rosette.bounds, place) > 0.5) {
                Some(plant) => wrong.extend(faults(truth, plant)),
                None => wrong.push(format!("{photo}: no plant at {place:?}")),
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_demo_photo_has_its_truth() {
    let known: BTreeSet<String> = truths().into_iter().map(|truth| truth.photo).collect();
    let names = std::fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    assert_eq!(
        names.filter(|name| Path::new(name).extension().is_some_and(|e| e == "jpg")).collect::<BTreeSet<_>>(),
        known
    );
}
