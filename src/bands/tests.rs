//! Drawn leaves of known bands.

use super::*;
use crate::base::color::transfer::encode;
use crate::base::raster::Rect;
use crate::base::stats::SplitMix64;

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
    /// Length of a piece of a band; 0 for unbroken bands.
    piece: f64,
}

impl Default for Drawn {
    fn default() -> Self {
        Self { side: 600, width: 12.0, pitch: 30.0, turn: 20.0, sigma: 1.0, noise: 2.0, piece: 0.0 }
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
        let at = (along + 0.37 * number * self.pitch).rem_euclid(self.pitch) - self.pitch / 2.0;
        let whole = self.piece <= 0.0 || beside.rem_euclid(self.piece) < 0.6 * self.piece;
        Some(if whole { covered(at, self.width, self.sigma) } else { 0.0 })
    }

    fn draw(&self) -> (Raster<[u8; 3]>, Rosette, TissueMap) {
        let mut random = SplitMix64::new(7);
        let (mut picture, mut tissue) =
            (Raster::filled(self.side, self.side, [90; 3]), Raster::filled(self.side, self.side, None));
        let radius = self.side as f64 / 2.0 - 4.0;
        for y in 0..self.side {
            for x in 0..self.side {
                let (u, v) = (x as f64 + 0.5 - self.side as f64 / 2.0, y as f64 + 0.5 - self.side as f64 / 2.0);
                let Some(band) = self.band(u, v).filter(|_| u.hypot(v) < radius) else { continue };
                let light = [0, 1, 2].map(|k| LEAF[k] + band * (BAND[k] - LEAF[k]));
                let code = light.map(|l| (255.0 * encode(l) + self.noise * random.normal()).round() as u8);
                picture.set(x, y, code);
                tissue.set(x, y, Some(if band > 0.5 { Tissue::Band } else { Tissue::Green }));
            }
        }
        let bounds = Rect { x: 0, y: 0, width: self.side, height: self.side };
        let mask = tissue.map(|t: Option<Tissue>| t.is_some());
        let rosette = Rosette { bounds, mask, confidence: 1.0, blur_px: Some(self.sigma), doubts: Vec::new() };
        (picture, rosette, TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 })
    }

    fn read(&self, px_per_mm: f64) -> Bands {
        let (picture, rosette, tissue) = self.draw();
        let scale = Interval { value: px_per_mm, low: px_per_mm, high: px_per_mm };
        let view = View { px_per_mm: Some(scale), tilt_deg: None };
        read(&picture, &rosette, &tissue, view, &BandLimits::default())
    }
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
    assert_eq!(code(Drawn { side: 120, width: 20.0, pitch: 60.0, ..Drawn::default() }), Some("bands-few"));
}

#[test]
fn without_scale_there_are_no_millimetres_but_the_ratio() {
    let (picture, rosette, tissue) = Drawn::default().draw();
    let bands = read(&picture, &rosette, &tissue, View::default(), &BandLimits::default());
    assert!(bands.width_mm.is_none() && bands.pitch_mm.is_none() && bands.class.is_none());
    assert!(near(bands.duty, 0.4, 0.03), "{:?}", bands.duty);
    let steep = View { tilt_deg: Some(70.0), ..View::default() };
    let bands = read(&picture, &rosette, &tissue, steep, &BandLimits::default());
    assert_eq!((bands.duty, bands.doubts[0].code), (None, "bands-tilted"));
}

#[test]
fn classes_begin_at_their_limits() {
    let limits = BandLimits::default();
    let named = [0.79, 0.8, 1.2, 2.0].map(|mm| BandClass::of(mm, &limits).name());
    assert_eq!(named, ["narrow", "standard", "wide", "extra wide"]);
}
