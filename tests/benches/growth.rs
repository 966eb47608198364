//! How the cost of a photo compares with reading it, and how it grows with pixels and plants; one thread, in turns, so that a busy
//! machine slows all alike. Printed if `VARIEGAUGE_GROWTH` is set.

use crate::{encoded, enlarged};
use std::time::Instant;
use variegauge::network::{Network, input_size};
use variegauge::options::{Options, Plants};
use variegauge::photo;
use variegauge::pipeline::{self, Outcome};
use variegauge::segment::propose::{CLOSE, CLOSE_BUDGET, WHOLE};
use variegauge::tissue::witness::{FULL_LOOKS, LONG};

/// Runs of each; the medians count.
const ROUNDS: usize = 11;
/// Columns and rows of the photos, and how often the plant stands beside itself in them.
const PHOTOS: [((u32, u32), u32); 6] =
    [((1152, 864), 1), ((2000, 1500), 1), ((4000, 3000), 1), ((8000, 6000), 1), ((4000, 3000), 2), ((4000, 3000), 4)];
/// Prints a row a photo.
pub(crate) fn print() {
    #[allow(clippy::disallowed_methods, reason = "the rule is for the library")]
    if std::env::var("VARIEGAUGE_GROWTH").is_err() {
        return;
    }
    println!(
        "\nmedians of {ROUNDS}, milliseconds\nmegapixels plants    decode  networks  the rest     whole   rest + decode, whole / decode"
    );
    for (size, across) in PHOTOS {
        row(size, across);
    }
}

fn row(size: (u32, u32), across: u32) {
    let jpeg = encoded(&enlarged(size, across), None);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("photo.jpg");
    std::fs::write(&path, &jpeg).unwrap();
    let options = Options { plants: if across == 1 { Plants::Auto } else { Plants::Many }, ..Options::default() };
    let outcome = pipeline::run(&path, &options).unwrap();
    let mut times = [const { Vec::new() }; 3];
    for _ in 0..ROUNDS {
        times[0].push(timed(|| photo::decode(&jpeg).unwrap()));
        times[1].push(timed(|| looks(&outcome, size, options.plants)));
        times[2].push(timed(|| pipeline::run(&path, &options).unwrap()));
    }
    let [decode, networks, whole] = times.map(|mut times| {
        times.sort_by(f64::total_cmp);
        times[ROUNDS / 2]
    });
    let rest = whole - networks - decode;
    println!(
        "{:>10.1} {:>6} {decode:>9.0} {networks:>9.0} {rest:>9.0} {whole:>9.0} {:>15.1} {:>8.1}",
        f64::from(size.0 * size.1) / 1e6,
        outcome.plants.len(),
        (rest + decode) / decode,
        whole / decode
    );
}

/// The looks that the pipeline takes at this photo, at pictures of one grey: the networks' cost does not hang on what they see.
fn looks(outcome: &Outcome, (width, height): (u32, u32), plants: Plants) {
    let (width, height) = (width as usize, height as usize);
    let look = |network: Network, (w, h): (usize, usize)| {
        let channels = if matches!(network, Network::Tissue) { 4 } else { 3 };
        network.run(vec![0.5; channels * w * h], w, h);
    };
    let parts = if plants == Plants::Many { 5 } else { 1 };
    (0..parts).for_each(|_| look(Network::Outline, input_size(width, height, WHOLE)));
    let bounds: Vec<_> = outcome.plants.iter().map(|plant| plant.rosette.bounds).collect();
    // As many pixels as the budgets of the pipeline allow.
    let within = |long: usize, budget: f64| {
        let wanted: f64 = bounds.iter().map(|b| (b.width.max(b.height) * 6 / 5).min(long).pow(2) as f64).sum();
        (budget / wanted).sqrt().min(1.0)
    };
    let (close, tissue) = (within(CLOSE, CLOSE_BUDGET as f64), within(LONG, FULL_LOOKS * (LONG * LONG) as f64));
    for b in bounds {
        let side = |long: usize, share: f64| ((b.width.max(b.height) * 6 / 5).min(long) as f64 * share) as usize;
        look(Network::Outline, input_size(b.width, b.height, side(CLOSE, close)));
        look(Network::Tissue, input_size(b.width, b.height, side(LONG, tissue)));
    }
}

fn timed<T>(work: impl FnOnce() -> T) -> f64 {
    let start = Instant::now();
    let result = work();
    let time = start.elapsed().as_secs_f64() * 1e3;
    drop(result);
    time
}
