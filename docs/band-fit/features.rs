//! Writes what the program sees of the bands in photos as CSV, one row a band and one a pair of neighbours, for `fit.py`:
//! `cargo run --release --example band_features -- PHOTO... > features.csv`.

#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a tool for the command line")]

use std::path::Path;
use variegauge::options::Options;
use variegauge::pipeline::{self, Outcome};

fn main() {
    println!("photo,x,y,width,height,px_per_mm,tilt_deg,length_over_width,kind,width_px,other_px,crossings");
    for photo in std::env::args_os().skip(1) {
        let path = Path::new(&photo);
        match pipeline::run(path, &Options::default()) {
            Ok(outcome) => rows(&path.file_stem().unwrap_or_default().to_string_lossy(), &outcome),
            Err(error) => eprintln!("{}: {error}", path.display()),
        }
    }
}

fn rows(name: &str, outcome: &Outcome) {
    let number = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
    let tilt = outcome.calibrated.cards.first().and_then(|card| card.pose.as_ref()).map(|pose| pose.tilt_deg().0);
    for plant in &outcome.plants {
        let (at, bands) = (plant.rosette.bounds, &plant.bands);
        let scale = plant.measures.px_per_mm.map(|scale| scale.value);
        let plant = [number(scale), number(tilt), number(bands.length_over_width)].join(",");
        let start = format!("{name},{},{},{},{},{plant}", at.x, at.y, at.width, at.height);
        for band in &bands.bands {
            println!("{start},band,{},{},{}", band.width_px, band.length_px, band.crossings);
        }
        for pair in &bands.pairs {
            println!("{start},pair,{},{},{}", pair.width_px, pair.pitch_px, pair.crossings);
        }
    }
}
