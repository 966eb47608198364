//! Label cards found in photos that a known camera took: what the program says against what is true.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

#[path = "../picture/mod.rs"]
#[allow(dead_code, reason = "only the drawing is needed here")]
mod picture;
#[path = "../scene/mod.rs"]
mod scene;

mod blur;
mod camera;
mod geometry;
mod hostile;
mod labels;
mod light;
mod several;

use scene::{Print, Scene};
use std::sync::{Arc, LazyLock};
use variegauge::base::homography::Point;
use variegauge::base::raster::Raster;
use variegauge::calibrate::{Calibrated, Options, calibrate};
use variegauge::card::layout::{CARD, POT_LABEL};
use variegauge::card::{Card, find};
use variegauge::photo::{Photo, Primaries};

/// A card with a code of version 1, and cards of the longest numbers: version 2, and version 3 for small letters.
static PLAIN: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&CARD, "ZB-0042"));
static LONG: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&CARD, "ABCDEFGHIJKLMNOPQRSTUVWX"));
static LONGEST: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&CARD, "abcdefghijklmnopqrstuvwx"));
static POT: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&POT_LABEL, "ZB-0042"));
static LONG_POT: LazyLock<Arc<Print>> = LazyLock::new(|| Print::new(&POT_LABEL, "ABCDEFGHIJKLMNOPQRSTUVWX"));

/// The one card that a scene shows, its focal length being stated in EXIF.
#[track_caller]
fn only_card(scene: &Scene) -> Card {
    let mut found = find(&taken(scene));
    assert_eq!(found.cards.len(), 1, "cards found; tilt {} roll {} blur {}", scene.tilt, scene.roll, scene.blur);
    found.cards.remove(0)
}

/// Mean distance of four corners from the true ones, mm on the card.
fn corner_error(card: &Card, scene: &Scene, which: usize) -> f64 {
    let true_corners: [Point; 4] = scene.corners(which);
    let apart = card.corners().into_iter().zip(true_corners).map(|([a, b], [c, d])| (a - c).hypot(b - d));
    apart.sum::<f64>() / 4.0 / scene.px_per_mm(which)
}

/// A picture as a photo without EXIF.
fn photo(rgb: Raster<[u8; 3]>) -> Photo {
    Photo::of(rgb, Primaries::Srgb)
}

/// A picture as a photo whose EXIF states the focal length.
fn with_focal(rgb: Raster<[u8; 3]>, focal_35mm: f32) -> Photo {
    Photo { focal_35mm: Some(focal_35mm), ..photo(rgb) }
}

/// A scene's photo.
fn taken(scene: &Scene) -> Photo {
    with_focal(scene.photo(), scene.focal_35mm())
}

/// The same, calibrated with nothing stated.
fn calibrated(scene: &Scene) -> Calibrated {
    calibrate(taken(scene), &Options::default())
}

/// The words of a photo's doubts about cards.
fn card_doubts(calibrated: &Calibrated) -> Vec<&'static str> {
    calibrated.doubts.iter().map(|doubt| doubt.code).filter(|code| code.starts_with("card-")).collect()
}
