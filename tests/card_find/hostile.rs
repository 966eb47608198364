//! Codes of others, many codes, and pictures without a card.

use crate::scene::{Laid, Print, Scene};
use crate::{PLAIN, calibrated, card_doubts, photo, with_focal};
use proptest::prelude::*;
use qrcodegen::{QrCode, QrCodeEcc};
use std::time::{Duration, Instant};
use variegauge::base::homography::Homography;
use variegauge::base::raster::Raster;
use variegauge::base::stats::SplitMix64;
use variegauge::calibrate::{Options, calibrate};
use variegauge::card::find;
use variegauge::card::layout::CARD;
use variegauge::photo::Photo;

const FOREIGN: [&str; 3] = ["https://example.com/a", "two words of text", "VG1:../../x"];

#[test]
fn codes_of_others_are_no_cards() {
    for text in FOREIGN {
        let found = calibrated(&Scene::of(&Print::of_code(&CARD, text)));
        assert_eq!((found.cards.len(), card_doubts(&found)), (0, vec!["card-foreign"]), "{text}");
    }
    let places = [[-60.0, -40.0], [60.0, -40.0], [60.0, 45.0], [-60.0, 45.0]];
    let prints = FOREIGN.map(|text| Print::of_code(&CARD, text)).into_iter().chain([PLAIN.clone()]);
    let cards = prints.zip(places).map(|(print, at)| Laid::flat(&print, at)).collect();
    let scene = Scene { cards, distance: 280.0, size: [1200, 900], ..Scene::default() };
    let found = find(&photo(scene.photo()));
    assert_eq!((found.cards.len(), found.foreign), (1, 3));
    let doubt = calibrated(&scene).doubts.into_iter().find(|doubt| doubt.code == "card-foreign").unwrap();
    assert!(doubt.text.starts_with("3 QR codes") && !doubt.text.contains("example"), "{}", doubt.text);
}

/// A code with its quiet zone, its modules `scale` pixels, in a picture.
fn draw(picture: &mut Raster<[u8; 3]>, [left, top]: [usize; 2], text: &str, scale: usize) {
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).unwrap();
    let side = code.size() as usize * scale;
    for y in 0..side + 8 * scale {
        for x in 0..side + 8 * scale {
            let module = |v: usize| (v / scale) as i32 - 4;
            let value = if code.get_module(module(x), module(y)) { 40 } else { 220 };
            picture.set(left + x, top + y, [value; 3]);
        }
    }
}

/// 200 codes, five of them cards'. The cards' codes alone are there, so they are read and perhaps not measured.
#[test]
fn hundreds_of_codes_take_little_time() {
    let mut picture = Raster::filled(3000, 2000, [128_u8; 3]);
    for i in 0..200 {
        let text = if i % 40 == 7 { format!("VG1:ZB-{i}") } else { format!("HTTPS://EXAMPLE.COM/{i}") };
        draw(&mut picture, [20 + i % 20 * 148, 40 + i / 20 * 190], &text, 4);
    }
    let start = Instant::now();
    let found = find(&photo(picture));
    let took = start.elapsed();
    assert!(took < Duration::from_secs(20), "{took:?}");
    assert_eq!(found.cards.len() + found.unmeasured.len(), 5);
    assert!(found.foreign >= 190 && found.foreign <= 195, "{} foreign codes", found.foreign);
}

/// Finder patterns without codes behind them: each three may belong together, and all threes are many.
#[test]
fn hundreds_of_finder_patterns_take_little_time() {
    let mut picture = Raster::filled(1600, 1200, [200_u8; 3]);
    for i in 0..300 {
        let [left, top] = [20 + i % 20 * 78, 20 + i / 20 * 78];
        for y in 0..35 {
            for x in 0..35 {
                let ring = |v: usize| (v / 5).min(6 - v / 5);
                let light = ring(x).min(ring(y)) == 1;
                picture.set(left + x, top + y, [if light { 200 } else { 30 }; 3]);
            }
        }
    }
    let start = Instant::now();
    let found = find(&photo(picture));
    let took = start.elapsed();
    assert!(took < Duration::from_secs(20), "{took:?}");
    assert!(found.cards.is_empty() && found.foreign == 0);
}

#[test]
fn pictures_without_a_card_have_none() {
    let mut random = SplitMix64::new(5);
    let mut texture = |n: usize| (0..n).map(|_| [random.below(256) as u8; 3]).collect::<Vec<_>>();
    let checks = |cell: usize| {
        let dark = move |x: usize, y: usize| (x / cell + y / cell).is_multiple_of(2);
        let all = (0..600).flat_map(|y| (0..800).map(move |x| if dark(x, y) { [20; 3] } else { [230; 3] }));
        Raster::from_vec(800, 600, all.collect())
    };
    let pictures = [
        Raster::from_vec(800, 600, texture(800 * 600)),
        checks(1),
        checks(9),
        checks(50),
        Raster::filled(800, 600, [0; 3]),
        Raster::filled(800, 600, [255; 3]),
        Raster::filled(1, 1, [90; 3]),
        Raster::from_vec(20, 3000, texture(20 * 3000)),
        Raster::from_vec(3000, 20, texture(20 * 3000)),
        Raster::from_vec(2, 2, texture(4)),
    ];
    for (i, picture) in pictures.into_iter().enumerate() {
        let found = find(&with_focal(picture.clone(), 26.0));
        assert_eq!((found.cards.len(), found.foreign, found.unmeasured.len()), (0, 0, 0), "picture {i}");
        let calibrated = calibrate(photo(picture), &Options::default());
        assert!(calibrated.white.rgb.iter().all(|part| part.is_finite()), "picture {i}");
    }
}

/// EXIF may state any number; one that no camera has counts as none.
#[test]
fn a_senseless_focal_length_is_not_used() {
    let picture = Scene::of(&PLAIN).photo();
    let distance = |focal_35mm| {
        find(&Photo { focal_35mm, ..photo(picture.clone()) }).cards[0].pose.as_ref().unwrap().distance_mm()
    };
    let unknown = distance(None);
    for focal in [0.0, -26.0, f32::NAN, f32::INFINITY, 1e-30, 1e30] {
        assert_eq!(distance(Some(focal)).0.to_bits(), unknown.0.to_bits(), "{focal}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_small_picture_is_a_panic(width in 1_usize..90, height in 1_usize..90, cell in 1_usize..9, seed: u64) {
        let grain = |x: usize, y: usize| SplitMix64::new(seed ^ (x / cell * 1000 + y / cell) as u64).next_u64();
        let code = |x: usize, y: usize| if grain(x, y) & 1 == 0 { [25; 3] } else { [225; 3] };
        let all = (0..height).flat_map(|y| (0..width).map(move |x| code(x, y))).collect();
        let found = find(&photo(Raster::from_vec(width, height, all)));
        prop_assert!(found.cards.is_empty());
    }

    /// From the plane to the picture and back, for cards of all views.
    #[test]
    fn there_and_back(tilt in 0.0..60.0_f64, roll in 0.0..360.0_f64, x in -40.0..40.0_f64, y in -25.0..25.0_f64) {
        let scene = Scene { tilt, roll, ..Scene::of(&PLAIN) };
        let map = Homography::from_pairs(CARD.area().corners(), scene.corners(0)).unwrap();
        let on_card = [x + CARD.width / 2.0, y + CARD.height / 2.0];
        let (seen, truth) = (map.apply(on_card), scene.pixel([x, y]));
        prop_assert!((seen[0] - truth[0]).hypot(seen[1] - truth[1]) < 1e-6, "{seen:?} {truth:?}");
        let back = map.inverse().apply(seen);
        prop_assert!((back[0] - on_card[0]).hypot(back[1] - on_card[1]) < 1e-8, "{back:?}");
    }
}
