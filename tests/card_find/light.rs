//! White point, exposure and what is said of the light.

use crate::scene::Scene;
use crate::{PLAIN, calibrated, card_doubts, photo};
use variegauge::base::color::light::{Light, Mired};
use variegauge::base::color::matrix;
use variegauge::calibrate::{Options, White, WhiteSource, calibrate};
use variegauge::options::CardPrint;

/// A light of so many kelvin, as a camera balanced for D65 shows it.
fn light(kelvin: f64) -> [f64; 3] {
    Light { mired: Mired(1e6 / kelvin), duv: 0.001 }.srgb().map(f64::from)
}

/// Mired and duv of a white beside those of the true light.
fn error(white: &White, truth: [f64; 3]) -> (f64, f64) {
    let [seen, truth] = [white.rgb, truth.map(|part| part as f32)].map(|rgb| Light::from_srgb(rgb).unwrap());
    (seen.mired.0 - truth.mired.0, seen.duv - truth.duv)
}

#[test]
fn white_and_exposure_are_the_light_s() {
    for (kelvin, exposure) in [(3000.0, 0.4), (4000.0, 0.7), (5500.0, 0.8), (6500.0, 0.5), (7500.0, 0.3)] {
        let white = light(kelvin);
        let found = calibrated(&Scene { white, exposure, tilt: 25.0, ..Scene::of(&PLAIN) });
        assert_eq!(found.white.source, WhiteSource::Card);
        let (mired, duv) = error(&found.white, white);
        assert!(mired.abs() < 2.0 && duv.abs() < 0.0008, "{kelvin} K: {mired} mired, {duv} off");
        assert!(mired.abs() < 2.0 * found.white.mired_sd && found.white.mired_sd < 8.0, "{:?}", found.white);
        let measured = found.exposure.unwrap();
        assert!((measured / exposure - 1.0).abs() < 0.05, "{kelvin} K: exposure {measured}, true {exposure}");
        assert_eq!(card_doubts(&found), [""; 0]);
    }
}

/// What is burnt out does not count: with 1.4 the paper is, with 2.2 the next patch too; the paper then tells no exposure.
#[test]
fn burnt_paper_leaves_the_dark_patches() {
    for exposure in [1.4, 2.2] {
        let white = light(4000.0);
        let found = calibrated(&Scene { white, exposure, ..Scene::of(&PLAIN) });
        assert_eq!((found.white.source, found.exposure), (WhiteSource::Card, None), "{exposure}");
        let (mired, duv) = error(&found.white, white);
        assert!(mired.abs() < 4.0 && duv.abs() < 0.0015, "{exposure}: {mired} mired, {duv} off");
    }
}

/// All patches are burnt out, and the code is not yet: it is read, and white is estimated.
#[test]
fn a_burnt_card_gives_its_number_only() {
    let scene = Scene { exposure: 14.0, ..Scene::of(&PLAIN) };
    let found = calibrated(&scene);
    assert_eq!(found.cards.len(), 1, "{:?}", found.doubts);
    assert_eq!((found.cards[0].number.as_str(), found.exposure), ("ZB-0042", None));
    assert_eq!(found.white.source, WhiteSource::Estimated);
    // The ink's edges are eaten by light, which is told too.
    assert!(card_doubts(&found).contains(&"card-burnt"), "{:?}", found.doubts);
}

#[test]
fn nothing_seen_is_an_estimated_white() {
    let found = calibrated(&Scene::default());
    assert_eq!((found.white.source, found.exposure, found.cards.len()), (WhiteSource::Estimated, None, 0));
    assert_eq!(card_doubts(&found), [""; 0]);
}

/// Paper of CIELAB L* 94, b* -6 under D65, linear sRGB, green = 1 (CIE 15; the program's matrices).
fn bluish() -> [f32; 3] {
    let f = (94.0 + 16.0) / 116.0_f64;
    let xyz = [f, f, f + 6.0 / 200.0].map(|f| f.powi(3));
    let d65 = matrix::xyz_of_xy(matrix::D65);
    let to_rgb = matrix::inverse(&matrix::rgb_to_xyz(&matrix::SRGB, matrix::D65));
    let [r, g, b] = matrix::apply(&to_rgb, [xyz[0] * d65[0], xyz[1] * d65[1], xyz[2] * d65[2]]);
    [(r / g) as f32, 1.0, (b / g) as f32]
}

/// Under D65 such paper has xy 0.3021, 0.3179, which is 7250 K or 15.9 mired too cool by the polynomial of `McCamy` 1992
/// (Color Res. Appl. 17:142-144; from memory), unless its colour was stated.
#[test]
fn bluish_paper_is_corrected_when_its_colour_is_stated() {
    let (truth, paper) = ([1.0; 3], bluish());
    // The ink is a thin grey filter over the paper: the whole card sends the light's colour times the paper's.
    let white = [0, 1, 2].map(|i| truth[i] * f64::from(paper[i]));
    let picture = Scene { white, exposure: 0.6, ..Scene::of(&PLAIN) }.photo();
    let plain = calibrate(photo(picture.clone()), &Options::default());
    let (unknown, _) = error(&plain.white, truth);
    assert!((-17.0..-14.8).contains(&unknown), "{unknown} mired");
    let print = CardPrint { paper_lab: Some([94.0, 0.0, -6.0]), ..CardPrint::default() };
    let stated = calibrate(photo(picture), &Options { print, ..Options::default() });
    let (mired, duv) = error(&stated.white, truth);
    assert!(mired.abs() < 2.0 && duv.abs() < 0.0008, "{mired} mired, {duv}");
    assert!(stated.white.mired_sd < plain.white.mired_sd);
}

#[test]
fn a_shadow_over_the_card_is_told() {
    let doubts = |light| card_doubts(&calibrated(&Scene { light, ..Scene::of(&PLAIN) }));
    assert_eq!(doubts(|[x, _]| if x > 10.0 { 0.4 } else { 1.0 }), ["card-shade"]);
    // A lamp on one side: 25 % from edge to edge.
    assert_eq!(doubts(|[x, _]| 1.0 + 0.0025 * x), [""; 0]);
}

/// The reading, too, keeps to the brighter part or the darker, and not to the border.
#[test]
fn a_shadow_s_edge_leaves_number_white_and_scale() {
    let white = light(4500.0);
    let light = |[x, y]: [f64; 2]| if x + 0.4 * y > -18.0 { 0.35 } else { 1.0 };
    let scene = Scene { white, light, tilt: 15.0, ..Scene::of(&PLAIN) };
    let found = calibrated(&scene);
    assert_eq!(found.cards.len(), 1);
    let (scale, truth) = (found.cards[0].px_per_mm().0, scene.px_per_mm(0));
    assert!((scale / truth - 1.0).abs() < 0.005, "{scale}, true {truth}");
    let (mired, _) = error(&found.white, white);
    assert!(mired.abs() < 3.0, "{mired}");
}

/// A lamp mirrored in two patches burns them out: their rims have lost their colour, the others have not.
#[test]
fn glare_that_burns_two_patches_is_left_out() {
    let white = light(3500.0);
    let glare = |[x, y]: [f64; 2]| 3.0 * (-((x - 5.0) / 6.0).powi(2) - ((y + 2.0) / 6.0).powi(2)).exp();
    let scene = Scene { white, glare, exposure: 0.45, ..Scene::of(&PLAIN) };
    let found = calibrated(&scene);
    assert_eq!(found.white.source, WhiteSource::Card);
    let clipped = found.cards[0].neutrals.iter().filter(|part| !part.paper && part.clipped > 0.02).count();
    assert!((1..=4).contains(&clipped), "{clipped} patches are burnt");
    let (mired, _) = error(&found.white, white);
    assert!(mired.abs() < 2.0, "{mired}");
    let (scale, truth) = (found.cards[0].px_per_mm().0, scene.px_per_mm(0));
    assert!((scale / truth - 1.0).abs() < 0.003, "{scale}, true {truth}");
}
