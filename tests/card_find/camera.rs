//! Tilt, distance, and the scale above the card.

use crate::scene::Scene;
use crate::{PLAIN, only_card, photo, with_focal};
use variegauge::card::{Pose, find};

/// What a stated uncertainty leaves out: the card is 0.02 mm true, the tilt near 0 is a length without a sign.
const TILT_FLOOR: f64 = 0.6;
const DISTANCE_FLOOR: f64 = 0.005;

fn check(pose: &Pose, scene: &Scene) {
    let ((tilt, tilt_sd), (distance, sd)) = (pose.tilt_deg(), pose.distance_mm());
    let truth = scene.distance_to(scene.cards[0].at);
    assert!((tilt - scene.tilt).abs() <= 2.0 * tilt_sd + TILT_FLOOR, "tilt {tilt} +- {tilt_sd}, true {}", scene.tilt);
    assert!((distance - truth).abs() <= 2.0 * sd + DISTANCE_FLOOR * truth, "{distance} +- {sd} mm, true {truth}");
}

#[test]
fn the_camera_is_where_it_was() {
    for tilt in [0.0, 20.0, 40.0, 55.0] {
        for roll in [0.0, 130.0] {
            let scene = Scene { tilt, roll, aim: [8.0, -5.0], ..Scene::of(&PLAIN) };
            let pose = only_card(&scene).pose.unwrap();
            check(&pose, &scene);
            let ((_, tilt_sd), (distance, sd)) = (pose.tilt_deg(), pose.distance_mm());
            // EXIF states the focal length to 4 %.
            assert!(tilt_sd < 1.0 && sd < 0.042 * distance, "{tilt_sd} {sd} of {distance}");
        }
    }
}

/// Without EXIF a tilted card tells the focal length, and one seen from straight above tells that it does not.
#[test]
fn a_tilted_card_tells_the_focal_length() {
    let tilted = Scene { tilt: 40.0, roll: 20.0, ..Scene::of(&PLAIN) };
    let pose = find(&photo(tilted.photo())).cards.remove(0).pose.unwrap();
    check(&pose, &tilted);
    assert!(pose.distance_mm().1 < 0.05 * 200.0, "{:?}", pose.distance_mm());
    let straight = Scene::of(&PLAIN);
    let pose = find(&photo(straight.photo())).cards.remove(0).pose.unwrap();
    check(&pose, &straight);
    assert!(pose.distance_mm().1 > 0.2 * 200.0, "{:?}", pose.distance_mm());
}

/// A wrong EXIF focal length (a crop that kept the tag) moves distances in proportion where nothing contradicts it.
#[test]
fn the_stated_focal_length_is_used() {
    let scene = Scene::of(&PLAIN);
    let pose = find(&with_focal(scene.photo(), 2.0 * scene.focal_35mm())).cards.remove(0).pose.unwrap();
    assert!((pose.distance_mm().0 / 400.0 - 1.0).abs() < 0.02, "{:?}", pose.distance_mm());
}

/// `fixtures/card/pinhole_height_bias.csv`: Z / (Z - h); at Z 400 and h 30 a thing looks 8.11 % larger than on the card.
#[test]
fn things_above_the_card_look_larger() {
    let table = csv::Reader::from_reader(&include_bytes!("../../fixtures/card/pinhole_height_bias.csv")[..])
        .deserialize()
        .collect::<Result<Vec<[f64; 4]>, _>>()
        .unwrap();
    assert!(table.iter().any(|row| row[..2] == [400.0, 30.0] && (row[3] - 8.11).abs() < 0.01));
    for distance in [200.0, 300.0, 400.0, 600.0] {
        // The focal length grows with the distance, as when a small thing fills the picture.
        let scene = Scene { distance, focal: 5.5 * distance, ..Scene::of(&PLAIN) };
        let pose = only_card(&scene).pose.unwrap();
        let rows: Vec<&[f64; 4]> = table.iter().filter(|row| (row[0] - distance).abs() < 0.5).collect();
        assert_eq!(rows.len(), 8);
        let (place, flat) = (scene.pixel([12.0, 7.0]), pose.px_per_mm(scene.pixel([12.0, 7.0]), 0.0, 0.0));
        for [_, height, apparent, percent] in rows {
            let seen = pose.px_per_mm(place, *height, 0.0);
            let truth = scene.focal / (distance - height);
            assert!((seen.value / truth - 1.0).abs() < 0.003, "Z {distance} h {height}: {seen:?}, true {truth}");
            // The ratio hangs on the distance, so on EXIF's 4 %; its median is what is tested.
            let ratio = seen.value / flat.value;
            assert!((ratio / apparent - 1.0).abs() < 0.003, "Z {distance} h {height}: {ratio}, {percent} % expected");
            assert!(seen.low <= truth && truth <= seen.high, "{seen:?} {truth}");
        }
    }
}

/// What faces the camera beside the middle of a tilted view: focal length by depth along the axis.
#[test]
fn the_scale_far_from_the_card_follows_the_plane() {
    let scene = Scene { tilt: 35.0, roll: 60.0, ..Scene::of(&PLAIN) };
    let pose = only_card(&scene).pose.unwrap();
    for (place, height) in [([0.0, 0.0], 0.0), ([50.0, -60.0], 0.0), ([-60.0, 60.0], 0.0), ([30.0, -20.0], 25.0)] {
        let seen = pose.px_per_mm(scene.pixel_above(place, height), height, 0.0);
        let truth = scene.focal / scene.depth_above(place, height);
        assert!((seen.value / truth - 1.0).abs() < 0.01, "{place:?} {height}: {seen:?}, true {truth}");
    }
}

/// An uncertain height makes the interval wider, as far as the height changes the scale.
#[test]
fn an_uncertain_height_widens_the_scale() {
    let scene = Scene { tilt: 40.0, ..Scene::of(&PLAIN) };
    let pose = only_card(&scene).pose.unwrap();
    let place = scene.pixel([0.0; 2]);
    let (sure, unsure) = (pose.px_per_mm(place, 20.0, 0.0), pose.px_per_mm(place, 20.0, 5.0));
    let width = |interval: variegauge::base::stats::Interval| interval.high - interval.low;
    let foot = 200.0 * scene.tilt.to_radians().cos();
    let expected = 2.0 * 1.96 * 5.0 / (foot - 20.0) * unsure.value;
    assert!((unsure.value / sure.value - 1.0).abs() < 0.01);
    assert!((0.85..1.25).contains(&(width(unsure) / expected)), "{} {expected} {}", width(unsure), width(sure));
}
