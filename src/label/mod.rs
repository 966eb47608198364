//! Stage 3a: which label card belongs to which plant.

use crate::base::doubt::Doubt;
use crate::base::homography::Point;
use crate::calibrate::Calibrated;
use crate::card::Card;
use crate::card::number::PlantNumber;
use crate::segment::Rosette;

/// A second card (or plant) that is nearer than this by the distance of the first, and this many mm, makes the choice
/// ambiguous: common practice, no source.
const CLEARLY: (f64, f64) = (1.5, 15.0);

/// Blur of a card, mm, and how many times the plant's blur it is, from which the two cannot be at one distance: judgement.
const DEFOCUS: (f64, f64) = (0.2, 1.8);

/// A plant's card.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Label {
    /// The plant's number, from its own card.
    pub number: Option<PlantNumber>,
    /// The card nearest to it, in [`Calibrated::cards`]: its own, or another whose scale holds for it.
    /// `None` too for a plant behind the horizon of all cards.
    pub card: Option<usize>,
    /// Caveats.
    pub doubts: Vec<Doubt>,
}

/// A label for each rosette: each card goes to one plant at most, the nearest pairs first, distances being taken in the
/// card's plane from the card's edge to the plant's.
pub fn labels(calibrated: &Calibrated, rosettes: &[Rosette]) -> Vec<Label> {
    let cards = &calibrated.cards;
    let plants: Vec<Plant> = rosettes.iter().map(Plant::new).collect();
    let distances: Vec<Vec<f64>> =
        plants.iter().map(|plant| cards.iter().map(|card| distance(card, plant)).collect()).collect();
    let own = matched(&distances);
    let label = |plant: usize| {
        let row = &distances[plant];
        let seen = (0..cards.len()).filter(|&card| row[card].is_finite());
        let nearest = seen.min_by(|&a, &b| row[a].total_cmp(&row[b]));
        let mut label = Label { card: own[plant].or(nearest), ..Label::default() };
        label.doubts.extend(label.card.and_then(|card| defocus(&cards[card], &rosettes[plant])));
        if let Some(card) = own[plant] {
            label.number = Some(cards[card].number.clone());
            label.doubts.extend(ambiguity(&distances, cards, plant, card));
        }
        label
    };
    (0..plants.len()).map(label).collect()
}

/// The card of each plant: the nearest pair first, until one side is used up.
fn matched(distances: &[Vec<f64>]) -> Vec<Option<usize>> {
    let mut pairs: Vec<(usize, usize)> =
        distances.iter().enumerate().flat_map(|(plant, row)| (0..row.len()).map(move |card| (plant, card))).collect();
    pairs.retain(|&(plant, card)| distances[plant][card].is_finite());
    pairs.sort_by(|&(p, c), &(q, d)| distances[p][c].total_cmp(&distances[q][d]));
    let mut own = vec![None; distances.len()];
    for (plant, card) in pairs {
        if own[plant].is_none() && !own.contains(&Some(card)) {
            own[plant] = Some(card);
        }
    }
    own
}

/// A doubt if another card is about as near to the plant, or another plant about as near to the card.
fn ambiguity(distances: &[Vec<f64>], cards: &[Card], plant: usize, card: usize) -> Option<Doubt> {
    let near = |distance: f64| {
        let first = distances[plant][card];
        distance < first * CLEARLY.0 || distance < first + CLEARLY.1
    };
    let number = &cards[card].number;
    let doubt = |text: String| Some(Doubt::new("card-ambiguous", text));
    if let Some(other) = (0..cards.len()).find(|&other| other != card && near(distances[plant][other])) {
        let second = &cards[other].number;
        return doubt(if second == number {
            format!("two label cards {number} lie near this plant")
        } else {
            format!("the label card {second} lies about as near as {number}; check the number")
        });
    }
    let other = (0..distances.len()).find(|&other| other != plant && near(distances[other][card]))?;
    doubt(format!("the label card {number} lies about as near to plant {} as to this one; check the number", other + 1))
}

/// A doubt if the card is out of focus and the plant is not: it then lies at another distance, and its scale is not the
/// plant's.
fn defocus(card: &Card, rosette: &Rosette) -> Option<Doubt> {
    let (card_blur, plant_blur) = (card.blur_px?, rosette.blur_px?);
    let off = card_blur / card.px_per_mm().0 > DEFOCUS.0 && card_blur > DEFOCUS.1 * plant_blur;
    off.then(|| {
        Doubt::new(
            "card-defocus",
            format!(
                "the label card {} is out of focus and the plant is not, so it lies at another distance and sizes in mm may be \
                 far off; lay it level with the soil, or say with --card-below how far it lies under the leaves' middle",
                card.number
            ),
        )
    })
}

/// A plant as a disc.
struct Plant {
    centre: Point,
    radius: f64,
}

impl Plant {
    fn new(rosette: &Rosette) -> Self {
        let (pixels, [x, y]) = rosette.mask.centre().unwrap_or_default();
        let corner = [rosette.bounds.x, rosette.bounds.y].map(|v| v as f64 + 0.5);
        Self { centre: [corner[0] + x, corner[1] + y], radius: (pixels as f64 / std::f64::consts::PI).sqrt() }
    }
}

/// Distance from the card's edge to the plant's, mm in the card's plane; infinite beyond the horizon.
fn distance(card: &Card, plant: &Plant) -> f64 {
    let area = card.layout.area();
    let [x, y] = card.map().inverse().apply(plant.centre);
    if !card.map().same_side([x, y], area.centre()) {
        return f64::INFINITY;
    }
    let outside = |value: f64, length: f64| (-value).max(value - length).max(0.0);
    let gap = outside(x, area.width).hypot(outside(y, area.height));
    let [[a, b], [c, d]] = card.map().derivative([x, y]);
    (gap - plant.radius / (a * d - b * c).abs().sqrt()).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_pairs_come_first() {
        // Plant 0 is nearer to both cards; plant 1 gets what is left, plant 2 nothing.
        let distances = [vec![10.0, 5.0], vec![12.0, 9.0], vec![50.0, f64::INFINITY]];
        assert_eq!(matched(&distances), [Some(1), Some(0), None]);
        assert_eq!(matched(&[vec![f64::INFINITY]]), [None]);
    }
}
