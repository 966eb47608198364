//! Rules: the card's, and the lines of a sheet that tell whether it was printed at its true size.

use super::draw::{Point, Shape, line};
use super::letters::Letters;
use crate::card::layout::Rule;

/// Width of base line and ticks, mm.
pub(super) const LINE: f64 = 0.15;

/// Lengths of ticks, mm: each, each fifth, each tenth.
const TICKS: [f64; 3] = [1.6, 2.6, 4.0];

/// Height of the numbers and their distance from the ticks above, mm.
const NUMBERS: (f64, f64) = (2.0, 0.4);

/// Half the length of the ticks at the ends of a check line, mm.
const END: f64 = 1.0;

/// The rule of a card, with numbers below its long ticks.
pub(super) fn draw(rule: Rule, letters: &Letters) -> Vec<Shape> {
    let last = rule.length.round() as usize;
    let at = |millimetre: usize| rule.x + millimetre as f64;
    let length = |millimetre: usize| match (millimetre % 10, millimetre % 5) {
        (0, _) => TICKS[2],
        (_, 0) => TICKS[1],
        _ => TICKS[0],
    };
    // Lines touch but do not overlap: some viewers darken the edges of what is filled twice.
    let tick = |n: usize| line([at(n), rule.y + LINE / 2.0], [at(n), rule.y + length(n)], LINE);
    let base = line([rule.x - LINE / 2.0, rule.y], [rule.x + rule.length + LINE / 2.0, rule.y], LINE);
    let lines = Shape::boxes((0..=last).map(tick).chain([base]));
    let numbers = (0..=last).step_by(10).map(|n| {
        let number = letters.line(&n.to_string(), NUMBERS.0);
        let place = [at(n) - number.width / 2.0, rule.y + TICKS[2] + NUMBERS.1 + NUMBERS.0];
        Shape::black(number.steps).moved(place)
    });
    [lines].into_iter().chain(numbers).collect()
}

/// A line of `length` mm to the right from `from`, with a tick at each end; the length is from tick to tick.
pub(super) fn check([x, y]: Point, length: f64) -> Shape {
    let end = |x: f64| line([x, y - END], [x, y + END], LINE);
    let between = line([x + LINE / 2.0, y], [x + length - LINE / 2.0, y], LINE);
    Shape::boxes([between, end(x), end(x + length)])
}
