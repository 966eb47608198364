//! Drawn leaves of known bands.

use super::*;
use crate::base::color::transfer::encode;
use crate::base::raster::Rect;
use crate::base::stats::SplitMix64;
use proptest::prelude::*;

/// What is drawn: parallel leaves with bands across, all facing the camera. Lengths in pixels.
#[derive(Clone, Copy)]
struct Drawn {
    side: usize,
    width: f64,
    pitch: f64,
    /// Direction of the leaves, degrees.
    turn: f64,
    /// Blur, standard deviation.
    sigma: f64,
    /// Noise, standard deviation in codes.
    noise: f64,
    /// Length of a piece of a band with the gap after it, 0.4 of it; 0 for unbroken bands.
    piece: f64,
    /// Height of the waves of a band's centre line, one a leaf.
    wave: f64,
}

impl Default for Drawn {
    fn default() -> Self {
        Self { side: 600, width: 12.0, pitch: 30.0, turn: 20.0, sigma: 1.0, noise: 2.0, piece: 0.0, wave: 0.0 }
    }
}

/// Linear light of leaf and band.
const LEAF: [f64; 3] = [0.06, 0.12, 0.03];
const BAND: [f64; 3] = [0.5, 0.48, 0.44];

/// Share of an interval around 0 of the given width that a blurred pixel at `at` sees.
fn covered(at: f64, width: f64, sigma: f64) -> f64 {
    // Within 1e-4 of the normal distribution (logistic form of Bowling et al. 2009).
    let below = |x: f64| 1.0 / (1.0 + (-(0.070_56 * x.powi(3) + 1.597_6 * x)).exp());
    below((at + width / 2.0) / sigma) - below((at - width / 2.0) / sigma)
}

impl Drawn {
    /// How much of a place is band, 0..1, and whether it is leaf at all.
    fn band(&self, x: f64, y: f64) -> Option<f64> {
        let (sin, cos) = self.turn.to_radians().sin_cos();
        let (along, across) = (x * cos + y * sin, y * cos - x * sin);
        // Leaves 4 widths broad, half a width apart.
        let (leaf, gap) = (4.0 * self.width, 0.5 * self.width);
        let beside = across.rem_euclid(leaf + gap) - gap;
        if beside < 0.0 {
            return None;
        }
        let number = (across / (leaf + gap)).floor();
        let wave = self.wave * (std::f64::consts::TAU * beside / leaf).cos();
        let at = (along + wave + 0.37 * number * self.pitch).rem_euclid(self.pitch) - self.pitch / 2.0;
        let whole = self.piece <= 0.0 || beside.rem_euclid(self.piece) < 0.6 * self.piece;
        Some(if whole { covered(at, self.width, self.sigma) } else { 0.0 })
    }

    fn draw(&self) -> (Raster<[u8; 3]>, Rosette, TissueMap) {
        draw(self.side, self.sigma, self.noise, |x, y| self.band(x, y))
    }

    fn read(&self, px_per_mm: f64) -> Bands {
        let (picture, rosette, tissue) = self.draw();
        let scale = Interval { value: px_per_mm, low: px_per_mm, high: px_per_mm };
        let view = View { px_per_mm: Some(scale), tilt_deg: None };
        read(&picture, &rosette, &tissue, view, &BandLimits::default())
    }
}

/// Draws a round plant by how much of each place (from its middle) is band; `None` where there is no leaf.
fn draw(
    side: usize,
    sigma: f64,
    noise: f64,
    band: impl Fn(f64, f64) -> Option<f64>,
) -> (Raster<[u8; 3]>, Rosette, TissueMap) {
    let mut random = SplitMix64::new(7);
    let (mut picture, mut tissue) = (Raster::filled(side, side, [90; 3]), Raster::filled(side, side, None));
    let radius = side as f64 / 2.0 - 4.0;
    for y in 0..side {
        for x in 0..side {
            let (u, v) = (x as f64 + 0.5 - side as f64 / 2.0, y as f64 + 0.5 - side as f64 / 2.0);
            let Some(band) = band(u, v).filter(|_| u.hypot(v) < radius) else { continue };
            let light = [0, 1, 2].map(|k| LEAF[k] + band * (BAND[k] - LEAF[k]));
            let code = light.map(|l| (255.0 * encode(l) + noise * random.normal()).round() as u8);
            picture.set(x, y, code);
            tissue.set(x, y, Some(if band > 0.5 { Tissue::Band } else { Tissue::Green }));
        }
    }
    let bounds = Rect { x: 0, y: 0, width: side, height: side };
    let mask = tissue.map(|t: Option<Tissue>| t.is_some());
    let rosette = Rosette { bounds, mask, confidence: 1.0, blur_px: Some(sigma), doubts: Vec::new() };
    (picture, rosette, TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 })
}

fn near(got: Option<f64>, want: f64, tolerance: f64) -> bool {
    got.is_some_and(|got| (got / want - 1.0).abs() <= tolerance)
}

#[test]
fn known_bands_are_measured_whichever_way_they_lie() {
    for turn in [0.0, 20.0, 45.0, 90.0, 133.0] {
        let bands = Drawn { turn, ..Drawn::default() }.read(10.0);
        assert!(near(bands.width_px, 12.0, 0.02), "{turn}: {:?}", bands.width_px);
        assert!(near(bands.pitch_px, 30.0, 0.02), "{turn}: {:?}", bands.pitch_px);
        assert_eq!(bands.class, Some(BandClass::Wide), "{turn}: 1.2 mm within 2 %: {:?}", bands.width_mm);
    }
}

#[test]
fn narrow_and_wide_bands_keep_their_width_under_blur_and_noise() {
    for (width, pitch, sigma, noise) in [
        (6.0, 18.0, 0.5, 0.0),
        (6.0, 18.0, 2.0, 2.0),
        (8.0, 40.0, 2.5, 4.0),
        (20.0, 44.0, 1.0, 6.0),
        (24.0, 60.0, 6.0, 3.0),
    ] {
        let bands = Drawn { width, pitch, sigma, noise, ..Drawn::default() }.read(10.0);
        assert!(near(bands.width_px, width, 0.05), "{width} {sigma}: {:?} {:?}", bands.width_px, bands.doubts);
        assert!(near(bands.pitch_px, pitch, 0.02), "{width} {sigma}: {:?}", bands.pitch_px);
    }
}

#[test]
fn half_the_pixels_give_the_same_millimetres() {
    let fine = Drawn { side: 800, width: 16.0, pitch: 40.0, sigma: 1.6, ..Drawn::default() }.read(20.0);
    let coarse = Drawn { side: 400, width: 8.0, pitch: 20.0, sigma: 0.8, ..Drawn::default() }.read(10.0);
    let (fine, coarse) = (fine.width_mm.unwrap(), coarse.width_mm.unwrap());
    assert!((fine.value / coarse.value - 1.0).abs() < 0.04, "{fine:?} {coarse:?}");
    assert!(coarse.low < fine.value && fine.value < coarse.high);
}

#[test]
fn what_cannot_be_measured_says_why() {
    let code = |drawn: Drawn| {
        let bands = drawn.read(10.0);
        assert!(bands.width_mm.is_none() && bands.class.is_none(), "{:?}", bands.width_mm);
        bands.doubts.first().map(|doubt| doubt.code)
    };
    assert_eq!(code(Drawn { side: 300, width: 3.4, pitch: 9.0, sigma: 0.5, ..Drawn::default() }), Some("bands-small"));
    assert_eq!(code(Drawn { width: 10.0, pitch: 40.0, sigma: 4.5, ..Drawn::default() }), Some("bands-blurred"));
    assert_eq!(code(Drawn { piece: 30.0, ..Drawn::default() }), Some("bands-separate"));
    assert_eq!(code(Drawn { side: 150, width: 20.0, pitch: 45.0, ..Drawn::default() }), Some("bands-few"));
}

#[test]
fn without_scale_there_are_no_millimetres_but_the_ratio() {
    let (picture, rosette, tissue) = Drawn { width: 14.0, pitch: 31.0, ..Drawn::default() }.draw();
    let bands = read(&picture, &rosette, &tissue, View::default(), &BandLimits::default());
    assert!(bands.width_mm.is_none() && bands.pitch_mm.is_none());
    assert_eq!(bands.class, Some(BandClass::Wide), "by duty");
    assert!(near(bands.duty, 14.0 / 31.0, 0.03), "{:?}", bands.duty);
    let steep = View { tilt_deg: Some(70.0), ..View::default() };
    let bands = read(&picture, &rosette, &tissue, steep, &BandLimits::default());
    assert_eq!((bands.duty, bands.doubts[0].code), (None, "bands-tilted"));
}

#[test]
fn classes_begin_at_their_limits() {
    let limits = BandLimits::default();
    let named = |limits: [f64; 3]| {
        let [standard, wide, extra] = limits;
        [0.99 * standard, standard, wide, extra].map(|width| BandClass::of(width, limits).name())
    };
    assert_eq!(named(limits.mm()), ["narrow", "standard", "wide", "extra wide"]);
    assert_eq!(named(limits.rel()), ["narrow", "standard", "wide", "extra wide"]);
}

#[test]
fn waves_of_a_band_are_measured_in_its_widths() {
    let straight = Drawn::default().read(10.0).waviness.unwrap();
    let wavy = Drawn { wave: 3.0, ..Drawn::default() }.read(10.0).waviness.unwrap();
    assert!(straight < 0.05, "{straight}");
    // Root mean square of a cosine of 3 pixels in widths of 12, less what is lost at the ends and by lines beside each other.
    let want = 0.75 * 3.0 / 2f64.sqrt() / 12.0;
    assert!(near(Some(wavy), want, 0.2), "{wavy} {want}");
}

#[test]
fn continuity_tells_pieces_from_bands() {
    let whole = Drawn::default().read(10.0);
    assert!(whole.continuity.unwrap() > 0.97, "{:?}", whole.continuity);
    let pieces = Drawn { piece: 30.0, ..Drawn::default() }.read(10.0);
    assert!(near(pieces.continuity, 0.6, 0.1), "{:?}", pieces.continuity);
}

#[test]
fn the_bands_of_a_leaf_are_found_together() {
    let bands = Drawn { turn: 0.0, ..Drawn::default() }.read(10.0);
    // Leaves 48 pixels broad, 54 apart, on a disc of 592 pixels.
    let long: Vec<&Leaf> = bands.leaves.iter().filter(|leaf| leaf.bands.len() > 10).collect();
    assert!((8..=11).contains(&long.len()), "{} of {}", long.len(), bands.leaves.len());
    assert!(long.iter().all(|leaf| near(leaf.pitch_px, 30.0, 0.03) && near(leaf.facing, 1.0, 0.05)));
    assert!(long.iter().all(|leaf| near(Some(leaf.length_px), 48.0, 0.15)), "{:?}", long[0].length_px);
    assert!(near(bands.cover, 0.4, 0.05), "{:?}", bands.cover);
}

/// What is no band: no count and no width.
#[test]
fn textures_glare_and_stripes_are_no_bands() {
    let mut random = SplitMix64::new(3);
    let mut spots = |n: usize, side: f64, sizes: [f64; 2]| -> Vec<[f64; 3]> {
        let place = |random: &mut SplitMix64| side * (random.unit() - 0.5);
        (0..n)
            .map(|_| [place(&mut random), place(&mut random), sizes[0] + (sizes[1] - sizes[0]) * random.unit()])
            .collect()
    };
    let (glare, grain) = (spots(60, 600.0, [6.0, 30.0]), spots(160, 250.0, [4.0, 9.0]));
    let bloom = |spots: &[[f64; 3]], x: f64, y: f64| {
        let light = spots.iter().map(|[u, v, size]| (-0.5 * ((x - u).hypot(y - v) / size).powi(2)).exp());
        light.sum::<f64>().min(1.0)
    };
    // Leaves 60 broad with two stripes of 12 along each.
    let striped = |x: f64, _: f64| {
        let beside = x.rem_euclid(66.0) - 6.0;
        (beside >= 0.0).then(|| covered(beside - 15.0, 12.0, 1.0) + covered(beside - 45.0, 12.0, 1.0))
    };
    let count = |(picture, rosette, tissue): (Raster<[u8; 3]>, Rosette, TissueMap)| {
        let bands = read(&picture, &rosette, &tissue, View::default(), &BandLimits::default());
        (bands.bands.len(), bands.doubts.len())
    };
    assert_eq!(count(draw(600, 1.0, 2.0, |x, y| Some(bloom(&glare, x, y)))), (0, 0), "glare");
    assert_eq!(count(draw(600, 1.0, 2.0, striped)), (0, 0), "stripes");
    assert_eq!(count(draw(250, 1.0, 2.0, |x, y| Some(bloom(&grain, x, y)))), (0, 0), "grain");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn any_bands_keep_their_measures(
        width in 6.0..24.0f64, duty in 0.2..0.5f64, turn in 0.0..180.0f64, blur in 0.05..0.3f64, noise in 0.0..4.0f64,
    ) {
        let sigma = blur * width;
        let pitch = width / duty;
        // Leaf between the bands must show beyond the blur.
        prop_assume!(pitch - width > 4.0 * sigma);
        let side = (14.0 * pitch) as usize;
        let bands = Drawn { side, width, pitch, turn, sigma, noise, ..Drawn::default() }.read(10.0);
        prop_assert!(near(bands.width_px, width, 0.07), "{:?} {:?}", bands.width_px, bands.doubts);
        prop_assert!(near(bands.pitch_px, pitch, 0.03), "{:?}", bands.pitch_px);
    }
}
