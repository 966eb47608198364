//! Corners and scale, with their stated uncertainties.

use crate::scene::{Print, Scene};
use crate::{LONG, LONG_POT, LONGEST, PLAIN, POT, corner_error, only_card, photo};
use variegauge::card::find;

/// Rolls, with a blur each so that all blurs are met without all pairs being drawn.
const VIEWS: [(f64, f64); 4] = [(0.0, 0.5), (33.0, 1.0), (90.0, 1.5), (180.0, 2.0)];

const TILTS: [f64; 4] = [0.0, 20.0, 40.0, 55.0];

/// Corners to 0.07 mm on a card (its code and patches span it; half a pixel is 0.09 mm) and 0.15 mm on a pot label, and the scale to 0.5 % from all sides, and the scale within three standard uncertainties (and 0.05 %,
/// for the scene's own samples and print).
fn seen_from_all_sides(print: &Print, scene: &Scene, number: &str, hardest: f64) {
    for tilt in TILTS {
        for (roll, blur) in VIEWS {
            let scene = Scene { tilt, roll, blur: if tilt > 50.0 { blur.min(hardest) } else { blur }, ..scene.clone() };
            let card = only_card(&scene);
            let what = format!("{number} tilt {tilt} roll {roll} blur {}", scene.blur);
            assert_eq!((card.number.as_str(), card.layout.prefix), (number, print.layout().prefix), "{what}");
            let error = corner_error(&card, &scene, 0);
            let most = if print.layout().patches.is_empty() { 0.15 } else { 0.07 };
            assert!(error <= most, "{what}: corners {error:.3} mm off");
            let ((scale, sd), truth) = (card.px_per_mm(), scene.px_per_mm(0));
            assert!((scale / truth - 1.0).abs() < 0.005, "{what}: {scale} px/mm, true {truth}");
            assert!((scale - truth).abs() < 3.0 * sd + 5e-4 * truth, "{what}: {scale} +- {sd} px/mm, true {truth}");
        }
    }
}

#[test]
fn a_plain_card_is_measured_from_all_sides() {
    seen_from_all_sides(&PLAIN, &Scene::of(&PLAIN), "ZB-0042", 2.0);
}

#[test]
fn a_card_of_a_long_number_is_measured_from_all_sides() {
    seen_from_all_sides(&LONG, &Scene::of(&LONG), "ABCDEFGHIJKLMNOPQRSTUVWX", 2.0);
}

/// A module of version 3 is 0.87 mm, 2.5 pixels at 55 degrees: with a blur of 2 pixels it cannot be read.
#[test]
fn a_card_of_the_longest_number_is_measured_from_all_sides() {
    seen_from_all_sides(&LONGEST, &Scene::of(&LONGEST), "abcdefghijklmnopqrstuvwx", 1.5);
}

/// A pot label's corners lie up to two codes away from its code, so at 55 degrees the blur is kept to 1.5 pixels.
#[test]
fn pot_labels_are_measured_from_all_sides() {
    for (print, number) in [(&POT, "ZB-0042"), (&LONG_POT, "ABCDEFGHIJKLMNOPQRSTUVWX")] {
        seen_from_all_sides(print, &Scene { distance: 130.0, ..Scene::of(print) }, number, 1.5);
    }
}

/// Over 20 photos of one view that differ in noise alone. The noise is strong; other errors stay the same in all of them.
#[test]
fn the_stated_uncertainty_of_the_scale_holds() {
    for (roll, tilt) in [(0.0, 0.0), (25.0, 30.0)] {
        let scene = Scene { tilt, roll, distance: 300.0, noise: 4.0, ..Scene::of(&PLAIN) };
        let (linear, truth) = (scene.linear(), scene.px_per_mm(0));
        let read = |seed| find(&photo(scene.developed(&linear, seed))).cards[0].px_per_mm();
        let scales: Vec<(f64, f64)> = (0..20).map(read).collect();
        let beyond = scales.iter().filter(|(scale, sd)| (scale - truth).abs() > 3.0 * sd).count();
        assert!(beyond <= 1, "{beyond} of 20 beyond three standard uncertainties of {truth}: {scales:?}");
        let root_mean_square = (scales.iter().map(|(scale, _)| (scale - truth).powi(2)).sum::<f64>() / 20.0).sqrt();
        for (_, sd) in scales {
            assert!(sd < 6.0 * root_mean_square && sd < 0.002 * truth, "{sd}, true error {root_mean_square}");
        }
    }
}
