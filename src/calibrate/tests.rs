//! Drawn benches under known lights: grey things, soil and leaves, so that the right answer is known.

use super::*;
use crate::base::color::light::Light;
use crate::base::color::transfer;
use crate::base::raster::{Raster, Rect};

/// A photo in which no plants are known.
fn calibrate(photo: Photo, options: &Options) -> Calibrated {
    estimate_white(super::calibrate(photo, options), |_, _| false)
}

/// Linear reflectances under a neutral light: white plastic, grey gravel, dark grey pot, soil, wood, green leaf, gold
/// leaf (invented, inside the ranges of `docs/science.md`).
const WHITE: [f64; 3] = [0.70, 0.70, 0.70];
const GRAVEL: [f64; 3] = [0.30, 0.30, 0.30];
const POT: [f64; 3] = [0.08, 0.08, 0.08];
const SOIL: [f64; 3] = [0.12, 0.08, 0.05];
const WOOD: [f64; 3] = [0.40, 0.27, 0.16];
const LEAF: [f64; 3] = [0.10, 0.17, 0.06];
const GOLD: [f64; 3] = [0.55, 0.45, 0.12];

fn photo(rgb: Raster<[u8; 3]>, primaries: Primaries) -> Photo {
    Photo::of(rgb, primaries)
}

/// 8-bit code of a surface in a light.
fn code(surface: [f64; 3], white: Linear) -> [u8; 3] {
    std::array::from_fn(|i| (255.0 * transfer::encode((surface[i] * f64::from(white[i])).min(1.0))).round() as u8)
}

/// A photo of 400 x 300 in vertical stripes of `surfaces`, seen in a light.
fn bench(surfaces: &[[f64; 3]], white: Linear) -> Photo {
    let row: Vec<[u8; 3]> = (0..400).map(|x| code(surfaces[x * surfaces.len() / 400], white)).collect();
    photo(Raster::from_vec(400, 300, row.repeat(300)), Primaries::Srgb)
}

fn camera() -> Light {
    Light::from_srgb([1.0; 3]).unwrap()
}

/// Shift of a white from the camera's balance, mired and duv.
fn shift(white: &White) -> (f64, f64) {
    let light = Light::from_srgb(white.rgb).unwrap();
    (light.mired.0 - camera().mired.0, light.duv - camera().duv)
}

fn codes_of(calibrated: &Calibrated) -> Vec<&str> {
    calibrated.doubts.iter().map(|doubt| doubt.code).collect()
}

#[test]
fn grey_things_show_the_light() {
    for (mired, duv) in [(0.0, 0.0), (-20.0, 0.003), (20.0, -0.004), (30.0, 0.0)] {
        let white = camera().shifted(mired, duv).srgb();
        let found = calibrate(bench(&[WHITE, GRAVEL, POT, SOIL, WOOD, LEAF], white), &Options::default());
        assert_eq!(found.white.source, WhiteSource::Estimated);
        let (m, d) = shift(&found.white);
        assert!((m - mired).abs() < 5.0, "{mired} mired read as {m}");
        assert!((d - duv).abs() < 0.0015, "{duv} duv read as {d}");
        assert!(found.white.mired_sd < 10.0 && found.white.duv_sd < 0.003, "{:?}", found.white);
        assert_eq!(codes_of(&found), ["no-scale"]);
    }
}

/// Without a neutral thing nothing is known but the prior: the answer stays near the camera's balance and says so.
#[test]
fn wood_and_leaves_alone_leave_doubt() {
    let found = calibrate(bench(&[SOIL, WOOD, LEAF, GOLD], [1.0; 3]), &Options::default());
    let (m, _) = shift(&found.white);
    assert!(m.abs() < 1.96 * found.white.mired_sd, "{m} with {}", found.white.mired_sd);
    assert_eq!(codes_of(&found), ["no-scale", "white-uncertain"]);
    assert!(found.doubts[1].text.contains("+-"), "{}", found.doubts[1].text);
}

#[test]
fn black_or_burnt_photos_give_the_prior() {
    for value in [0, 255] {
        let found = calibrate(photo(Raster::filled(200, 100, [value; 3]), Primaries::Srgb), &Options::default());
        assert!((15.0..22.0).contains(&found.white.mired_sd), "{:?}", found.white);
        assert!(codes_of(&found).contains(&"white-uncertain"));
    }
    let tiny = calibrate(photo(Raster::filled(1, 1, [90; 3]), Primaries::Srgb), &Options::default());
    assert!(tiny.white.rgb.iter().all(|part| part.is_finite()));
}

/// Clipped highlights have lost their colour; they are left out.
#[test]
fn burnt_highlights_do_not_count() {
    let white = camera().shifted(40.0, 0.0).srgb();
    let found = calibrate(bench(&[[3.0; 3], [3.0; 3], GRAVEL, POT, SOIL, LEAF], white), &Options::default());
    assert!((shift(&found.white).0 - 40.0).abs() < 8.0, "{:?}", shift(&found.white));
}

/// One stop less light, the same white.
#[test]
fn exposure_does_not_matter() {
    let surfaces = [WHITE, GRAVEL, SOIL, WOOD, LEAF];
    let white = camera().shifted(25.0, 0.0).srgb();
    let darker = white.map(|part| part / 2.0);
    let options = Options::default();
    let (a, b) = (calibrate(bench(&surfaces, white), &options), calibrate(bench(&surfaces, darker), &options));
    assert!((shift(&a.white).0 - shift(&b.white).0).abs() < 1.5);
}

/// A gold plant that fills the photo passes for a warm light until it is known to be a plant.
#[test]
fn a_known_gold_plant_is_no_warm_light() {
    let surfaces = [GOLD, GOLD, GOLD, GOLD, GOLD, GOLD, GOLD, GRAVEL];
    let first = calibrate(bench(&surfaces, [1.0; 3]), &Options::default());
    let (before, sd) = (shift(&first.white).0, first.white.mired_sd);
    let refined = estimate_white(first, |x, _| x < 350);
    assert!(shift(&refined.white).0.abs() < before.abs(), "{before} became {:?}", shift(&refined.white));
    assert!(shift(&refined.white).0.abs() < 6.0 && refined.white.mired_sd < sd);
    let uncertain = codes_of(&refined).iter().filter(|code| **code == "white-uncertain").count();
    assert_eq!(uncertain, usize::from(1.96 * refined.white.mired_sd > 20.0));
}

#[test]
fn a_given_white_becomes_neutral_and_stays() {
    for primaries in [Primaries::Srgb, Primaries::DisplayP3] {
        let options = Options {
            white: WhiteChoice::Given { code: [220, 200, 170] },
            scale: Some(Scale::PxPerMm(12.5)),
            ..Options::default()
        };
        let found = calibrate(photo(Raster::filled(40, 30, [90, 120, 60]), primaries), &options);
        assert_eq!(found.white.source, WhiteSource::Given);
        let grey = found.oklab([220, 200, 170]);
        assert!(grey.a.hypot(grey.b) < 1e-4, "{grey:?}");
        assert_eq!((found.scale(), found.doubts.len()), (Some(ScaleSource::Stated(12.5)), 0));
        let white = found.white.rgb;
        let refined = estimate_white(found, |_, _| true);
        assert_eq!(refined.white.rgb.map(f32::to_bits), white.map(f32::to_bits));
    }
}

#[test]
fn a_spot_is_read_where_it_can_be() {
    let white = camera().shifted(30.0, 0.002).srgb();
    let spot = |rect| Options { white: WhiteChoice::Spot(rect), ..Options::default() };
    // The first of four stripes is white paper, the second burnt out.
    let surfaces = [WHITE, [3.0; 3], SOIL, LEAF];
    let good = calibrate(bench(&surfaces, white), &spot(Rect { x: 10, y: 10, width: 60, height: 60 }));
    assert_eq!(good.white.source, WhiteSource::Given);
    let (m, d) = shift(&good.white);
    assert!((m - 30.0).abs() < 1.0 && (d - 0.002).abs() < 3e-4, "{m} {d}");
    let bad = [
        Rect { x: 110, y: 10, width: 60, height: 60 },
        Rect { x: 4000, y: 0, width: 9, height: 9 },
        Rect { x: 10, y: 10, width: 0, height: 5 },
        Rect { x: usize::MAX, y: usize::MAX, width: usize::MAX, height: usize::MAX },
    ];
    for rect in bad {
        let found = calibrate(bench(&surfaces, white), &spot(rect));
        assert_eq!(found.white.source, WhiteSource::Estimated);
        assert!(codes_of(&found).contains(&"white-unusable"), "{rect:?}");
    }
}

#[test]
fn a_senseless_scale_is_none() {
    for scale in [0.0, -3.0, f64::NAN, f64::INFINITY] {
        let options = Options { scale: Some(Scale::PxPerMm(scale)), ..Options::default() };
        let found = calibrate(bench(&[GRAVEL], [1.0; 3]), &options);
        assert_eq!(found.scale(), None);
        assert!(codes_of(&found).contains(&"no-scale"));
    }
}

/// The samples' spread is the stated uncertainty, and the first is the estimate.
#[test]
fn samples_spread_as_stated() {
    let white = White::new(WhiteSource::Estimated, camera().shifted(10.0, 0.001), 12.0, 0.002);
    let samples = white.samples(33);
    assert_eq!(samples.len(), 33);
    assert_eq!(samples[0].map(f32::to_bits), white.rgb.map(f32::to_bits));
    assert_eq!(samples, white.samples(33));
    let shifts: Vec<Light> = samples[1..].iter().map(|&rgb| Light::from_srgb(rgb).unwrap()).collect();
    let spread = |of: &dyn Fn(&Light) -> f64| {
        let mean = shifts.iter().map(of).sum::<f64>() / 32.0;
        (mean, (shifts.iter().map(|light| (of(light) - mean).powi(2)).sum::<f64>() / 32.0).sqrt())
    };
    let (mired, mired_sd) = spread(&|light| light.mired.0 - camera().mired.0);
    let (duv, duv_sd) = spread(&|light| light.duv - camera().duv);
    assert!((mired - 10.0).abs() < 0.2 && (mired_sd / 12.0 - 1.0).abs() < 0.05, "{mired} +- {mired_sd}");
    assert!((duv - 0.001).abs() < 5e-5 && (duv_sd / 0.002 - 1.0).abs() < 0.05, "{duv} +- {duv_sd}");
    assert!(white.samples(0).is_empty());
    assert_eq!(white.samples(1).len(), 1);
}
