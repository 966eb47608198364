//! Which card belongs to which plant, in perspective.

use crate::scene::{Laid, Print, Scene};
use crate::{calibrated, card_doubts};
use std::sync::{Arc, LazyLock};
use variegauge::base::homography::Point;
use variegauge::base::raster::{Raster, Rect};
use variegauge::calibrate::Calibrated;
use variegauge::card::layout::CARD;
use variegauge::card::number::PlantNumber;
use variegauge::label::{Label, labels};
use variegauge::segment::Rosette;

static A: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&CARD, "A-1"));
static B: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&CARD, "B-2"));

/// A round plant of a radius in pixels.
fn plant_at([x, y]: Point, radius: usize) -> Rosette {
    let side = 2 * radius + 1;
    let from = |v: usize| v as f64 - radius as f64;
    let inside = |i: usize| from(i % side).hypot(from(i / side)) <= radius as f64;
    Rosette {
        bounds: Rect { x: x as usize - radius, y: y as usize - radius, width: side, height: side },
        mask: Raster::from_vec(side, side, (0..side * side).map(inside).collect()),
        confidence: 1.0,
        blur_px: None,
        doubts: Vec::new(),
    }
}

/// Two cards, the second far behind the first.
fn two_cards() -> (Scene, Calibrated) {
    let cards = vec![Laid::flat(&A, [0.0, -60.0]), Laid::flat(&B, [0.0, 110.0])];
    let scene =
        Scene { cards, tilt: 50.0, roll: 180.0, distance: 330.0, size: [1200, 900], blur: 0.5, ..Scene::default() };
    let found = calibrated(&scene);
    let numbers: Vec<String> = found.cards.iter().map(|card| card.number.to_string()).collect();
    assert_eq!((numbers, card_doubts(&found)), (vec!["A-1".into(), "B-2".into()], Vec::new()));
    (scene, found)
}

fn said(labels: &[Label]) -> Vec<(Option<&str>, Option<usize>, Vec<&'static str>)> {
    let doubts = |label: &Label| label.doubts.iter().map(|doubt| doubt.code).collect();
    labels.iter().map(|l| (l.number.as_ref().map(PlantNumber::as_str), l.card, doubts(l))).collect()
}

/// The first plant lies 10 mm right of the near card, the second 10 mm left of the far one.
#[test]
fn each_plant_has_the_card_beside_it() {
    let (scene, found) = two_cards();
    let plants = [plant_at(scene.pixel([73.0, -60.0]), 60), plant_at(scene.pixel([-68.0, 110.0]), 30)];
    let labels = labels(&found, &plants);
    assert_eq!(said(&labels), [(Some("A-1"), Some(0), vec![]), (Some("B-2"), Some(1), vec![])]);
}

/// In the picture the plant is nearer to the far card, on the table to the near one: perspective draws the far side close.
#[test]
fn distances_are_those_on_the_table() {
    let (scene, found) = two_cards();
    // The cards' edges towards each other lie at -33 and 83.
    let (near, far, place) = (-33.0, 83.0, 20.0);
    let pixels = |edge: f64| (scene.pixel([0.0, edge])[1] - scene.pixel([0.0, place])[1]).abs();
    assert!(pixels(far) < pixels(near), "{} {}", pixels(far), pixels(near));
    assert!(place - near < far - place);
    let labels = labels(&found, &[plant_at(scene.pixel([0.0, place]), 8)]);
    assert_eq!(said(&labels), [(Some("A-1"), Some(0), vec!["card-ambiguous"])]);
    assert!(labels[0].doubts[0].text.contains("B-2"), "{}", labels[0].doubts[0].text);
}

#[test]
fn a_second_plant_near_the_card_is_told() {
    let (scene, found) = two_cards();
    let plants = [plant_at(scene.pixel([65.0, -60.0]), 50), plant_at(scene.pixel([-68.0, -60.0]), 50)];
    let labels = labels(&found, &plants);
    assert_eq!(labels[0].number.as_ref().unwrap().as_str(), "A-1");
    assert_eq!(said(&labels)[0].2, ["card-ambiguous"]);
    assert!(labels[0].doubts[0].text.contains("plant 2"), "{}", labels[0].doubts[0].text);
}

/// One card for two plants: the nearer takes the number, the other only the scale.
#[test]
fn one_card_gives_its_number_once() {
    let scene = Scene { tilt: 20.0, distance: 260.0, ..Scene::of(&A) };
    let found = calibrated(&scene);
    let plants = [plant_at(scene.pixel([95.0, 0.0]), 20), plant_at(scene.pixel([-50.0, 30.0]), 20)];
    let labels = labels(&found, &plants);
    assert_eq!(said(&labels), [(None, Some(0), vec![]), (Some("A-1"), Some(0), vec![])]);
}

/// A plant seen above the table's horizon has no place on the table.
#[test]
fn a_plant_behind_the_horizon_has_no_card() {
    let scene = Scene { tilt: 62.0, roll: 180.0, distance: 330.0, size: [1000, 1500], blur: 0.5, ..Scene::of(&A) };
    let horizon = 750.0 - scene.focal * (90.0_f64 - scene.tilt).to_radians().tan();
    assert!(horizon > 100.0, "{horizon}");
    let found = calibrated(&scene);
    let labels = labels(&found, &[plant_at([500.0, horizon - 60.0], 30), plant_at([500.0, 600.0], 30)]);
    assert_eq!(labels[0].number, None);
    assert_eq!(labels[0].card, None, "a card's scale holds for nothing behind its horizon");
    assert_eq!(labels[1].number.as_ref().unwrap().as_str(), "A-1");
}

#[test]
fn no_cards_or_no_plants_are_no_labels() {
    let none = calibrated(&Scene::default());
    assert_eq!(labels(&none, &[plant_at([300.0, 300.0], 30)]), [Label::default()]);
    assert!(labels(&two_cards().1, &[]).is_empty());
}
