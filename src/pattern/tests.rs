//! Drawn rosettes of known pattern.

use super::name::{LeafNumbers, Name, Numbers, doubts, names};
use super::{Pattern, Tone, read};
use crate::base::color::transfer::encode;
use crate::base::raster::{Raster, Rect};
use crate::base::stats::SplitMix64;
use crate::tissue::TissueMap;
use crate::tissue::class::{PerTissue, Tissue};
use crate::tissue::samples::Samples;
use std::f64::consts::TAU;

/// Linear light of green, cream, gold, red and band tissue under a neutral lamp: model leaves (PROSPECT-D) and a near
/// white band.
fn light(tissue: Tissue) -> [f64; 3] {
    match tissue {
        Tissue::Green => [0.06, 0.10, 0.03],
        Tissue::Cream => [0.58, 0.57, 0.36],
        Tissue::Gold => [0.41, 0.35, 0.06],
        Tissue::Red => [0.20, 0.06, 0.04],
        Tissue::Band => [0.72, 0.69, 0.65],
        Tissue::Dead | Tissue::Unsure => [0.15, 0.10, 0.05],
    }
}

const LEAVES: f64 = 8.0;

/// Part of a leaf's length (0 base, 1 tip) and width (-1..1), and the number of the leaf.
#[derive(Clone, Copy)]
struct Spot {
    t: f64,
    u: f64,
    leaf: f64,
}

/// A rosette seen from above.
#[derive(Clone, Copy)]
struct Drawn {
    /// Sides of the picture, pixels.
    size: usize,
    /// Degrees.
    turn: f64,
    /// Standard deviation of the noise, codes.
    noise: f64,
    bands: bool,
    /// Light of the lamp that the leaf mirrors there; the tissue stage takes it for cream.
    gloss: fn(Spot) -> f64,
    /// Share of the lamp's light that falls there.
    shade: fn(Spot) -> f64,
    tissue: fn(Spot) -> Tissue,
}

/// A green plant with bands.
const PLANT: Drawn =
    Drawn { size: 600, turn: 0.0, noise: 2.0, bands: true, gloss: |_| 0.0, shade: |_| 1.0, tissue: |_| Tissue::Green };

impl Drawn {
    /// Class and light at a place in parts of half the picture's side; `None` beside the plant.
    fn at(&self, x: f64, y: f64) -> Option<(Tissue, [f64; 3])> {
        let angle = y.atan2(x) - self.turn.to_radians();
        let leaf = (angle / TAU * LEAVES).round();
        let off = angle - leaf * TAU / LEAVES;
        let radius = x.hypot(y);
        let (t, side) = (radius * off.cos() / 0.95, radius * off.sin());
        let half = 0.19 * (1.0 - t).max(0.0).powf(0.6);
        let spot = Spot { t, u: side / half, leaf: leaf.rem_euclid(LEAVES) };
        if radius > 0.1 && !(spot.u.abs() < 1.0 && t < 0.98) {
            return None;
        }
        let banded = self.bands && (t / 0.11).fract() < 0.3;
        let tissue = if banded { Tissue::Band } else { (self.tissue)(spot) };
        let gloss = if banded { 0.0 } else { (self.gloss)(spot) };
        Some((
            if gloss > 0.0 { Tissue::Cream } else { tissue },
            light(tissue).map(|l| (l + gloss) * (self.shade)(spot)),
        ))
    }

    fn pattern(&self) -> Pattern {
        let (picture, map, samples) = self.draw();
        read(&picture, &map, &samples, [1.0; 3], Some(0.5))
    }

    /// Light is averaged over 4 x 4 places a pixel.
    fn draw(&self) -> (Raster<[u8; 3]>, TissueMap, Samples) {
        let mut random = SplitMix64::new(7);
        let (mut codes, mut classes, mut tile) = (Vec::new(), Vec::new(), PerTissue::<f64>::default());
        for i in 0..self.size * self.size {
            let place = |v: usize, part: usize| (v as f64 + (part as f64 + 0.5) / 4.0) * 2.0 / self.size as f64 - 1.0;
            let (x, y) = (i % self.size, i / self.size);
            let parts: Vec<_> = (0..16).map(|k| self.at(place(x, k % 4), place(y, k / 4))).collect();
            let mut sum = [0.0; 3];
            for part in &parts {
                let light = part.map_or([0.08; 3], |(_, light)| light);
                sum.iter_mut().zip(light).for_each(|(s, l)| *s += 0.7 * l / 16.0);
            }
            codes.push(sum.map(|v| (encode(v) * 255.0 + self.noise * random.normal()).clamp(0.0, 255.0) as u8));
            let middle = self.at(place(x, 2), place(y, 2)).map(|(class, _)| class);
            classes.push(middle);
            if middle.is_some() {
                parts.iter().flatten().for_each(|&(class, _)| tile[class] += 1.0 / 16.0);
            }
        }
        let bounds = Rect { x: 0, y: 0, width: self.size, height: self.size };
        let tissue = Raster::from_vec(self.size, self.size, classes);
        let map = TissueMap { bounds, tissue, clipped: 0.0, shadow: 0.0 };
        (
            Raster::from_vec(self.size, self.size, codes),
            map,
            Samples { tiles: vec![tile], disputed: 0.0, readings: vec![] },
        )
    }
}

fn when(pale: bool, colour: Tissue) -> Tissue {
    if pale { colour } else { Tissue::Green }
}

/// `n` pale lines a leaf, pale on `share` of the width.
fn lines(u: f64, n: f64, share: f64) -> bool {
    (f64::midpoint(u, 1.0) * n).fract() < share
}

/// Discs of 0.4 of a leaf's width, strewn.
fn splash(spot: Spot) -> Tissue {
    let mut random = SplitMix64::new(100 + spot.leaf as u64);
    let hit = (0..14).any(|_| {
        let (t, u) = (random.unit(), random.unit() * 2.0 - 1.0);
        ((spot.t - t) / 0.075).hypot((spot.u - u) / 0.4) < 1.0
    });
    when(hit, Tissue::Cream)
}

type Painted = (Name, Tone, fn(Spot) -> Tissue);

const PATTERNS: [Painted; 9] = [
    (Name::BandedOnly, Tone::None, |_| Tissue::Green),
    (Name::Striate, Tone::Albo, |s| when(lines(s.u, 3.0, 0.35), Tissue::Cream)),
    (Name::Striate, Tone::Aureo, |s| when(lines(s.u, 4.0, 0.5), Tissue::Gold)),
    (Name::FinelyStriate, Tone::Albo, |s| when(lines(s.u, 11.0, 0.5), Tissue::Cream)),
    (Name::Sectorial, Tone::Aureo, |s| when(s.leaf < 4.0, Tissue::Gold)),
    (Name::Mediovariegated, Tone::Aureo, |s| when(s.u.abs() < 0.4, Tissue::Gold)),
    (Name::Marginate, Tone::Albo, |s| when(s.u.abs() > 0.6, Tissue::Cream)),
    (Name::Splashed, Tone::Albo, splash),
    (Name::AllPale, Tone::Aureo, |_| Tissue::Gold),
];

#[test]
fn patterns_are_named_whatever_the_turn_size_and_noise() {
    for (name, tone, tissue) in PATTERNS {
        for (size, turn, noise) in [(450, 0.0, 2.0), (600, 25.0, 4.0), (900, 200.0, 6.0)] {
            let pattern = Drawn { size, turn, noise, tissue, ..PLANT }.pattern();
            let said = format!("{name:?} at {size} px, {turn} degrees: {:?} {:?}", pattern.names, pattern.numbers);
            assert_eq!((pattern.name, pattern.tone), (Some(name), Some(tone)), "{said}");
            assert!(pattern.names.iter().map(|(_, p)| p).sum::<f64>() <= 1.0 + 1e-9, "{said}");
        }
    }
}

/// Red hides what is under it, and is left out: leaves with red tips keep their name.
#[test]
fn red_tips_change_no_name() {
    let tissue = |s: Spot| if s.t > 0.6 { Tissue::Red } else { when(s.u.abs() < 0.4, Tissue::Gold) };
    let pattern = Drawn { size: 700, turn: 10.0, tissue, ..PLANT }.pattern();
    assert_eq!(pattern.name, Some(Name::Mediovariegated), "{:?}", pattern.numbers);
}

#[test]
fn lines_finer_than_a_pixel_are_fine_and_not_counted() {
    let tissue = |s: Spot| when(lines(s.u, 100.0, 0.5), Tissue::Gold);
    let pattern = Drawn { size: 500, turn: 3.0, tissue, ..PLANT }.pattern();
    assert_eq!(pattern.name, Some(Name::FinelyStriate), "{:?}", pattern.numbers);
    assert_eq!((pattern.stripes.count, pattern.stripes.width_px), (None, None));
}

#[test]
fn noise_makes_no_stripes() {
    for (name, colour) in [(Name::BandedOnly, Tissue::Green), (Name::AllPale, Tissue::Cream)] {
        let tissue = if colour == Tissue::Green { |_: Spot| Tissue::Green } else { |_: Spot| Tissue::Cream };
        for noise in [0.0, 12.0, 25.0] {
            let pattern = Drawn { noise, tissue, ..PLANT }.pattern();
            let leaf = pattern.numbers.leaf.unwrap();
            assert_eq!(pattern.name, Some(name), "noise {noise}: {:?}", pattern.numbers);
            assert!(leaf.contrast < 0.1, "noise {noise}: {leaf:?}");
        }
    }
}

#[test]
fn a_plant_without_bands_is_plain_and_a_striped_one_keeps_its_name() {
    let drawn = |tissue| Drawn { turn: 12.0, bands: false, tissue, ..PLANT };
    assert_eq!(drawn(|_| Tissue::Green).pattern().name, Some(Name::Plain));
    assert_eq!(drawn(|s| when(lines(s.u, 3.0, 0.35), Tissue::Cream)).pattern().name, Some(Name::Striate));
    assert_eq!(drawn(|_| Tissue::Gold).pattern().name, Some(Name::AllPale));
}

/// Three stripes of 0.35 of a third of the width: half the pixels, half the width in pixels.
#[test]
fn stripes_have_their_number_and_width() {
    let tissue = |s: Spot| when(lines(s.u, 3.0, 0.35), Tissue::Cream);
    let widths = [600, 1200].map(|size| {
        let pattern = Drawn { size, turn: 7.0, tissue, ..PLANT }.pattern();
        let stripes = pattern.stripes;
        assert_eq!(stripes.count, Some(3));
        assert!((stripes.share.unwrap() - 0.35).abs() < 0.06, "{stripes:?}");
        assert!((stripes.lines.unwrap() - 3.0).abs() < 0.8, "{stripes:?}");
        let width = stripes.width_px.unwrap();
        // Leaves are at most 0.19 of the side wide, half as wide near the tip.
        let widest = 0.19 * size as f64 * 0.35 / 3.0;
        assert!(width.value < 1.05 * widest && width.value > 0.5 * widest, "{width:?} of {widest}");
        assert!(width.low <= width.value && width.value <= width.high);
        // Three lines and two gaps of 0.65 of a third: centres a third of the width apart.
        let spacing = stripes.spacing_px.unwrap();
        assert!((spacing.value / width.value * 0.35 - 1.0).abs() < 0.15, "{spacing:?} {width:?}");
        assert!(spacing.low <= spacing.value && spacing.value <= spacing.high);
        width.value
    });
    assert!((widths[1] / widths[0] - 2.0).abs() < 0.2, "{widths:?}");
}

#[test]
fn evenness_tells_sides_from_stripes() {
    let even = |tissue| Drawn { noise: 0.0, tissue, ..PLANT }.pattern().evenness;
    let sided = even(|s: Spot| when(s.leaf < 4.0, Tissue::Gold)).unwrap();
    let striped = even(|s: Spot| when(lines(s.u, 3.0, 0.35), Tissue::Cream)).unwrap();
    assert!(sided.around < 0.2 && sided.leaves < 0.3, "{sided:?}");
    assert!(striped.around > 0.9 && striped.leaves > 0.8, "{striped:?}");
    assert_eq!(even(|_| Tissue::Green), None);
}

/// Gloss in stripes, patches and margins is brighter than the leaf, and is taken for cream; the lamp's own colour gives it
/// away. So does the leaf's own colour where one flank is in shade.
#[test]
fn gloss_and_shade_are_no_pattern() {
    let glosses: [fn(Spot) -> f64; 4] = [
        |s| if lines(s.u, 3.0, 0.35) { 0.4 } else { 0.0 },
        |s| if s.u.abs() > 0.6 { 0.4 } else { 0.0 },
        |s| if splash(s) == Tissue::Cream { 0.3 } else { 0.0 },
        |s| 0.1 + 0.3 * s.t,
    ];
    for (number, gloss) in glosses.into_iter().enumerate() {
        let pattern = Drawn { gloss, ..PLANT }.pattern();
        let said = format!("{number}: {:?} {:?}", pattern.names, pattern.numbers);
        assert!(pattern.name.is_none_or(|name| !name.variegated()), "{said}");
    }
    let pattern = Drawn { shade: |s| if s.u > 0.0 { 0.4 } else { 1.0 }, ..PLANT }.pattern();
    assert_eq!(pattern.name, Some(Name::BandedOnly), "{:?}", pattern.numbers);
}

/// Most of the leaf unsure: no name, and the reason.
#[test]
fn what_cannot_be_read_has_no_name() {
    let tissue = |s: Spot| if s.u.abs() < 0.8 { Tissue::Unsure } else { when(s.u > 0.0, Tissue::Cream) };
    let pattern = Drawn { tissue, ..PLANT }.pattern();
    assert_eq!((pattern.name, pattern.tone, pattern.stripes.count), (None, None, None), "{:?}", pattern.numbers);
    let doubt = pattern.doubts.iter().find(|d| d.code == "pattern-unsure").unwrap();
    assert!(doubt.text.contains("too little"), "{}", doubt.text);
}

/// Leaves 0 to 3 are gold: with the turn their middle lies 67.5 degrees clockwise from the right, and turns on.
#[test]
fn halves_tell_the_poorer_side() {
    for (size, turn) in [(400, 0.0), (600, 100.0), (900, 200.0)] {
        let tissue = |s: Spot| when(s.leaf < 4.0, Tissue::Gold);
        let pattern = Drawn { size, turn, tissue, ..PLANT }.pattern();
        let (halves, side) = (pattern.halves.unwrap(), pattern.pale_side.unwrap());
        assert!(halves.weak < 0.1 && halves.strong > 0.9, "{halves:?}");
        assert!((side.share - 0.5).abs() < 0.1 && side.explained > 0.6, "{side:?}");
        for deg in [halves.weak_deg, side.deg] {
            let off = (deg + 67.5 + turn + 180.0).rem_euclid(360.0) - 180.0;
            assert!(off.abs() < 20.0, "{size} {turn}: {halves:?} {side:?}");
        }
    }
    let third = Drawn { tissue: |s: Spot| when(s.leaf < 3.0, Tissue::Gold), ..PLANT }.pattern();
    let (halves, side) = (third.halves.unwrap(), third.pale_side.unwrap());
    assert!(side.weak < 0.2 && side.strong > 0.95, "the pale side alone: {side:?}");
    assert!(halves.weak > side.weak + 0.05, "a half has green leaves too: {halves:?}");
    let halves = |tissue| Drawn { tissue, ..PLANT }.pattern().halves.unwrap();
    let green = halves(|_| Tissue::Green);
    assert!((green.weak, green.strong) == (1.0, 1.0), "{green:?}");
    let even = halves(|s| when(lines(s.u, 3.0, 0.35), Tissue::Cream));
    assert!(even.strong - even.weak < 0.05 && (even.weak - 0.65).abs() < 0.06, "{even:?}");
}

/// As many lines as part one middle stripe from several: half a chance each, and the doubt names both.
#[test]
fn a_plant_between_two_names_says_so() {
    let pattern = Drawn { size: 450, tissue: PATTERNS[5].2, ..PLANT }.pattern();
    let sure = pattern.numbers;
    let leaf = LeafNumbers { lines: 2.07, middle: 0.9, ..sure.leaf.unwrap() };
    let between = names(&Numbers { leaf: Some(leaf), ..sure });
    let said = doubts(&between, &sure, None);
    assert_eq!([between[0].0, between[1].0].map(|n| n == Name::Mediovariegated || n == Name::Striate), [true; 2]);
    assert!(said.iter().any(|d| d.code == "pattern-unsure" && d.text.contains("striate")), "{between:?}");
    assert!(pattern.doubts.iter().all(|d| d.code != "pattern-unsure"), "{:?}", pattern.names);
}

/// Hardly any pixels: no panic, a name all the same.
#[test]
fn a_tiny_plant_has_a_name() {
    for size in [1, 2, 9, 30] {
        let pattern = Drawn { size, noise: 0.0, ..PLANT }.pattern();
        assert!(pattern.names.iter().all(|(_, p)| p.is_finite()), "{size}: {:?}", pattern.names);
    }
}
