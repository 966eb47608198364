//! Several cards, and cards of which a part is missing, covered or bent.

use crate::scene::{Laid, Print, Scene};
use crate::{LONG, PLAIN, POT, calibrated, card_doubts, corner_error, only_card, photo, taken};
use variegauge::base::raster::Raster;
use variegauge::calibrate::WhiteSource;
use variegauge::card::find;
use variegauge::card::layout::CARD;

#[test]
fn three_cards_keep_their_numbers_and_their_places() {
    let turned = Laid { turned: 70.0, ..Laid::flat(&LONG, [60.0, 5.0]) };
    let cards = vec![Laid::flat(&PLAIN, [-50.0, -50.0]), turned, Laid::flat(&POT, [-45.0, 40.0])];
    let scene = Scene { cards, tilt: 20.0, distance: 230.0, size: [1200, 900], ..Scene::default() };
    let found = find(&taken(&scene));
    assert_eq!((found.cards.len(), found.foreign, found.unmeasured.len()), (3, 0, 0));
    for (which, laid) in scene.cards.iter().enumerate() {
        let nearest =
            found.cards.iter().min_by(|a, b| corner_error(a, &scene, which).total_cmp(&corner_error(b, &scene, which)));
        let card = nearest.unwrap();
        let error = corner_error(card, &scene, which);
        assert!(error < 0.15, "{which}: corners {error} mm off");
        assert_eq!(card.layout.prefix, laid.print.layout().prefix);
        assert_eq!(card.number.as_str(), ["ZB-0042", "ABCDEFGHIJKLMNOPQRSTUVWX", "ZB-0042"][which]);
    }
}

#[test]
fn two_cards_of_one_number_are_two_cards() {
    let cards = vec![Laid::flat(&PLAIN, [-46.0, 0.0]), Laid { turned: 180.0, ..Laid::flat(&PLAIN, [46.0, 0.0]) }];
    let scene = Scene { cards, distance: 250.0, ..Scene::default() };
    let found = calibrated(&scene);
    assert_eq!(found.cards.iter().map(|card| card.number.as_str()).collect::<Vec<_>>(), ["ZB-0042"; 2]);
    let middles: Vec<f64> = found.cards.iter().map(|card| card.map().apply(CARD.area().centre())[0]).collect();
    assert!((middles[0] - middles[1]).abs() > 300.0, "{middles:?}");
}

/// The right third lies outside the picture: three patches are left.
#[test]
fn a_cut_off_card_is_read_by_what_is_left() {
    let scene = Scene { aim: [-0.5 * 85.6 + 57.0 - 500.0 / 5.5, 0.0], tilt: 10.0, roll: 0.0, ..Scene::of(&PLAIN) };
    let truth = scene.corners(0);
    let share = (1000.0 - truth[0][0]) / (truth[1][0] - truth[0][0]);
    assert!((0.6..0.7).contains(&share), "{share} of the card is in the picture");
    let found = calibrated(&scene);
    let card = &found.cards[0];
    assert_eq!(card.number.as_str(), "ZB-0042");
    assert!(card.corners()[1][0] > 1000.0 && card.corners()[2][0] > 1000.0);
    let error = corner_error(card, &scene, 0);
    assert!(error < 0.3, "corners {error} mm off");
    assert_eq!(found.white.source, WhiteSource::Card);
    let exposure = found.exposure.unwrap();
    assert!((exposure / scene.exposure - 1.0).abs() < 0.05, "{exposure}");
}

/// A dark leaf, a pointed oval, over the patches and the rule; its shade is where it lies only.
#[test]
fn a_leaf_over_the_card_is_left_out() {
    let leaf = |[x, y]: [f64; 2]| {
        let across = (x + y - 16.0) / 2.0_f64.sqrt();
        let along = (x - y) / 2.0_f64.sqrt();
        (across.abs() < 6.0 * (1.0 - (along / 40.0).powi(2))).then_some(0.06)
    };
    let scene = Scene { cover: leaf, tilt: 15.0, roll: 10.0, ..Scene::of(&PLAIN) };
    let card = only_card(&scene);
    let error = corner_error(&card, &scene, 0);
    assert!(error < 0.06, "corners {error} mm off");
    let ((scale, _), truth) = (card.px_per_mm(), scene.px_per_mm(0));
    assert!((scale / truth - 1.0).abs() < 0.003, "{scale}, true {truth}");
    let found = calibrated(&scene);
    assert_eq!(found.white.source, WhiteSource::Card);
    assert!((found.exposure.unwrap() / scene.exposure - 1.0).abs() < 0.05);
}

/// A corner of the code is covered; its error correction bridges that.
#[test]
fn a_leaf_tip_over_the_code_is_bridged() {
    let tip = |[x, y]: [f64; 2]| ((x + 15.0).hypot(y - 1.0) < 4.0).then_some(0.06);
    let scene = Scene { cover: tip, ..Scene::of(&PLAIN) };
    let error = corner_error(&only_card(&scene), &scene, 0);
    assert!(error < 0.06, "corners {error} mm off");
}

/// A card bent so that its middle stands 4 mm high is 1 to 2 % larger than one on the table. It need not be told, but the
/// scale at a plant beside it (100 mm wide, its leaves' middle at a quarter of that) holds within its interval (it is up to 6 % off: the bend
/// passes for perspective).
#[test]
fn a_bent_card_leaves_the_plant_s_scale_right() {
    for (tilt, roll) in [(0.0, 0.0), (30.0, 40.0), (45.0, 90.0)] {
        let bent = Laid { sagitta: 4.0, ..Laid::flat(&PLAIN, [0.0; 2]) };
        let scene = Scene { cards: vec![bent], tilt, roll, ..Scene::default() };
        let found = calibrated(&scene);
        let truth = scene.focal / scene.depth_above([0.0, 60.0], 25.0);
        let seen = found.px_per_mm_at(Some(0), scene.pixel_above([0.0, 60.0], 25.0), 100.0 * truth).unwrap();
        assert!(seen.low <= truth && truth <= seen.high, "tilt {tilt}: {seen:?}, true {truth}");
        assert!((seen.value / truth - 1.0).abs() < 0.08, "tilt {tilt}: {seen:?}, true {truth}");
    }
}

/// From straight above, the far patches do not lie where the code alone would have them. Seen at a slant the bend passes for
/// perspective and is not told.
#[test]
fn a_bent_card_seen_from_above_is_told() {
    let bent = Laid { sagitta: 4.0, ..Laid::flat(&PLAIN, [0.0; 2]) };
    let found = calibrated(&Scene { cards: vec![bent], ..Scene::default() });
    assert_eq!(card_doubts(&found), ["card-bent"]);
}

#[test]
fn flat_cards_are_not_called_bent() {
    for tilt in [0.0, 30.0, 50.0] {
        let found = calibrated(&Scene { tilt, roll: 15.0, blur: 1.5, noise: 3.0, ..Scene::of(&PLAIN) });
        assert_eq!((found.cards.len(), card_doubts(&found).len()), (1, 0), "{:?}", found.doubts);
    }
}

/// The largest card comes first, whose white and scale are used.
#[test]
fn the_largest_card_comes_first() {
    let cards = vec![Laid::flat(&POT, [-50.0, -40.0]), Laid::flat(&Print::new(&CARD, "B.2"), [20.0, 20.0])];
    let scene = Scene { cards, ..Scene::default() };
    let numbers: Vec<String> = calibrated(&scene).cards.iter().map(|card| card.number.to_string()).collect();
    assert_eq!(numbers, ["B.2", "ZB-0042"]);
}

/// All of the card but its code lies under something: what is there is neither white nor grey.
#[test]
fn white_is_not_taken_from_what_covers_the_card() {
    for level in [0.06, 0.3, 0.8] {
        let cover = match level {
            0.06 => |[x, _]: [f64; 2]| (x > -9.8).then_some(0.06),
            0.3 => |[x, _]: [f64; 2]| (x > -9.8).then_some(0.3),
            _ => |[x, _]: [f64; 2]| (x > -9.8).then_some(0.8),
        };
        let found = calibrated(&Scene { cover, tilt: 15.0, ..Scene::of(&PLAIN) });
        assert_eq!(found.cards.len(), 1, "{level}");
        assert_eq!((found.white.source, found.exposure), (WhiteSource::Estimated, None), "{level}");
        assert!(card_doubts(&found).contains(&"card-burnt"), "{level}: {:?}", found.doubts);
    }
}

#[test]
fn a_mirrored_photo_is_told_and_its_card_not_used() {
    let picture = Scene { tilt: 10.0, ..Scene::of(&PLAIN) }.photo();
    let (width, height) = (picture.width(), picture.height());
    let turned = (0..height).flat_map(|y| picture.row(y).iter().rev().copied().collect::<Vec<_>>()).collect();
    let mirrored = Raster::from_vec(width, height, turned);
    let found = find(&photo(mirrored));
    assert_eq!((found.cards.len(), found.mirrored.len()), (0, 1));
    assert_eq!(find(&photo(picture)).mirrored.len(), 0);
}

/// Its modules are under three pixels wide in the photo, and one in the overview that is looked at first.
#[test]
fn a_card_that_is_small_in_a_large_photo_is_read() {
    for roll in [0.0, 17.0] {
        let far = Scene { size: [4000, 3000], focal: 4400.0, distance: 1900.0, roll, ..Scene::of(&PLAIN) };
        assert!((far.px_per_mm(0) - 2.3).abs() < 0.02, "{}", far.px_per_mm(0));
        assert_eq!(only_card(&far).number.as_str(), "ZB-0042");
    }
}
