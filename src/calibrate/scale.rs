//! How long a millimetre is at a plant.

use super::Calibrated;
use crate::base::homography::Point;
use crate::base::stats::Interval;
use crate::card::Card;
use crate::options::Scale;

/// Relative standard uncertainty of a stated scale, and standard uncertainty of a stated point, pixels: assumptions.
const STATED: f64 = 0.01;
const POINT: f64 = 1.5;

/// Relative standard uncertainty of printed lengths when the check line was not measured, and when it was (0.2 mm on
/// 50 mm): assumptions.
const PRINTED: f64 = 0.005;
const MEASURED: f64 = 0.003;

/// Height of the leaves' middle above the soil, in diameters of the rosette, with its standard deviation: a rosette of this
/// kind stands about half as high as it is wide. Common practice, no source.
const MID_HEIGHT: (f64, f64) = (0.25, 0.07);

/// Standard deviation of the card's height against soil or rim, where it should lie, mm: an assumption.
const LEVEL_SD: f64 = 4.0;

/// Relative standard deviation of a stated `--card-below`, and its least, mm: assumptions.
const BELOW: (f64, f64) = (0.05, 1.5);

/// Whether the points of a stated length lie in a photo of so many pixels.
pub(super) fn lies_in(scale: Scale, (width, height): (usize, usize)) -> bool {
    let inside = |[x, y]: Point| (0.0..=width as f64).contains(&x) && (0.0..=height as f64).contains(&y);
    match scale {
        Scale::PxPerMm(_) => true,
        Scale::Known { from, to, .. } => inside(from) && inside(to),
    }
}

/// A stated scale with its 95 % interval, pixels a millimetre; `None` if it makes no sense.
pub(super) fn stated(scale: Scale) -> Option<Interval> {
    let (value, sd) = match scale {
        Scale::PxPerMm(value) => (value, STATED * value),
        Scale::Known { from, to, mm } => {
            let pixels = (from[0] - to[0]).hypot(from[1] - to[1]);
            (pixels / mm, (2.0_f64.sqrt() * POINT / mm).hypot(STATED * pixels / mm))
        }
    };
    (value.is_finite() && value > 0.0).then(|| widened(value, 1.96 * sd, 1.96 * sd))
}

fn widened(value: f64, down: f64, up: f64) -> Interval {
    Interval { value, low: (value - down).max(value / 20.0), high: value + up }
}

/// Where a photo's scale comes from, with pixels a millimetre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ScaleSource {
    /// Stated by the user, at the plant.
    Stated(f64),
    /// Along the largest card.
    Card(f64),
}

impl Calibrated {
    /// The photo's scale, if it has one. What holds at a plant says [`Self::px_per_mm_at`].
    pub fn scale(&self) -> Option<ScaleSource> {
        let card = || self.cards.iter().find(|card| card.pose.is_some());
        let along = |card: &Card| ScaleSource::Card(card.px_per_mm().0 / self.print_scale());
        self.stated_scale.map(|stated| ScaleSource::Stated(stated.value)).or_else(|| card().map(along))
    }

    /// Real millimetres a millimetre of a card's layout: a card printed small has small millimetres.
    pub fn print_scale(&self) -> f64 {
        self.print.check_line_mm.map_or(1.0, |line| line / CHECK_LINE)
    }

    /// Pixels a millimetre at a plant seen at `place` with a diameter of `diameter_px`: as stated, or from the card
    /// `card` (of [`Calibrated::cards`]), lifted to the leaves' middle. `None` without both.
    pub fn px_per_mm_at(&self, card: Option<usize>, place: Point, diameter_px: f64) -> Option<Interval> {
        if let Some(stated) = self.stated_scale {
            return Some(stated);
        }
        let card = &self.cards[card?];
        let pose = card.pose.as_ref()?;
        let (flat, flat_sd) = card.px_per_mm();
        let print = self.print_scale();
        let printed = if self.print.check_line_mm.is_some() { MEASURED } else { PRINTED };
        let mut scale = pose.px_per_mm(place, 0.0, 0.0);
        // The height follows from the diameter, which follows from the scale at that height.
        for _ in 0..4 {
            let diameter = diameter_px / scale.value;
            let (height, sd) = match self.card_below {
                Some(below) => (below / print, (BELOW.0 * below.abs()).max(BELOW.1)),
                None => (MID_HEIGHT.0 * diameter, LEVEL_SD.hypot(MID_HEIGHT.1 * diameter)),
            };
            scale = pose.px_per_mm(place, height, sd);
        }
        let common = 1.96 * (flat_sd / flat).hypot(printed);
        let (value, low, high) = (scale.value / print, scale.low / print, scale.high / print);
        let away = |end: f64| (value - end).hypot(common * value);
        (value.is_finite()).then(|| widened(value, away(low), away(high)))
    }
}

/// Length of the printed check line, mm.
const CHECK_LINE: f64 = 50.0;
