//! Blur across the card's edges.

use crate::scene::Scene;
use crate::{PLAIN, POT, only_card};

/// A pixel takes in light over its whole square, which blurs as a box of variance 1/12 does; the scene's nine samples a
/// pixel make that box.
const PIXEL: f64 = 1.0 / 12.0;

#[test]
fn blur_is_that_of_the_camera() {
    for (tilt, roll) in [(0.0, 0.0), (0.0, 30.0), (40.0, 100.0)] {
        for blur in [0.8_f64, 1.2, 2.0, 3.0] {
            let scene = Scene { tilt, roll, blur, ..Scene::of(&PLAIN) };
            let (seen, truth) = (only_card(&scene).blur_px.unwrap(), (blur * blur + PIXEL).sqrt());
            assert!((seen / truth - 1.0).abs() < 0.08, "tilt {tilt} roll {roll}: {seen}, true {truth}");
        }
    }
}

/// Where the paper is burnt out its edges are cut off, and a label without patches has no edges to tell blur from.
#[test]
fn blur_is_not_told_where_it_cannot_be() {
    let burnt = Scene { exposure: 1.4, ..Scene::of(&PLAIN) };
    assert_eq!(only_card(&burnt).blur_px, None);
    let pot = Scene { distance: 130.0, ..Scene::of(&POT) };
    assert_eq!(only_card(&pot).blur_px, None);
}
