//! Rules: the card's, and the lines of a sheet that tell whether it was printed at its true size.

use super::draw::{Point, Shape, line};
use super::letters::Letters;
use crate::card::layout::{Area, Rule};

/// Width of base line and ticks, mm.
pub(super) const LINE: f64 = 0.15;

/// Lengths of ticks, mm: each, each fifth, each tenth.
const TICKS: [f64; 3] = [1.6, 2.6, 4.0];

/// Height of the numbers and their distance from the ticks below, mm.
const NUMBERS: (f64, f64) = (2.0, 0.4);

/// Half the length of the ticks at the ends of a check line, mm.
const END: f64 = 1.0;

/// The rule of a card, with numbers above its long ticks; a number that would stand in the code's quiet zone `keep` is
/// left out.
pub(super) fn draw(rule: Rule, keep: Area, letters: &Letters) -> Vec<Shape> {
    let last = rule.length.round() as usize;
    let at = |millimetre: usize| rule.x + millimetre as f64;
    let length = |millimetre: usize| match (millimetre % 10, millimetre % 5) {
        (0, _) => TICKS[2],
        (_, 0) => TICKS[1],
        _ => TICKS[0],
    };
    // Lines touch but do not overlap: some viewers darken the edges of what is filled twice.
    let tick = |n: usize| line([at(n), rule.y - LINE / 2.0], [at(n), rule.y - length(n)], LINE);
    let base = line([rule.x - LINE / 2.0, rule.y], [rule.x + rule.length + LINE / 2.0, rule.y], LINE);
    let lines = Shape::boxes((0..=last).map(tick).chain([base]));
    let numbers = (0..=last).step_by(10).filter_map(|n| {
        let number = letters.line(&n.to_string(), NUMBERS.0);
        let (x, y) = (at(n) - number.width / 2.0, rule.y - TICKS[2] - NUMBERS.1);
        let area = Area { x, y: y - NUMBERS.0, width: number.width, height: NUMBERS.0 };
        apart(area, keep).then(|| Shape::black(number.steps).moved([x, y]))
    });
    [lines].into_iter().chain(numbers).collect()
}

/// A line of `length` mm to the right from `from`, with a tick at each end; the length is from tick to tick.
pub(super) fn check([x, y]: Point, length: f64) -> Shape {
    let end = |x: f64| line([x, y - END], [x, y + END], LINE);
    let between = line([x + LINE / 2.0, y], [x + length - LINE / 2.0, y], LINE);
    Shape::boxes([between, end(x), end(x + length)])
}

fn apart(a: Area, b: Area) -> bool {
    a.x + a.width <= b.x || b.x + b.width <= a.x || a.y + a.height <= b.y || b.y + b.height <= a.y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::CARD;
    use crate::print::code;

    #[test]
    fn numbers_stand_above_long_ticks_but_not_in_the_quiet_zone() {
        let letters = Letters::regular();
        let nowhere = Area { x: -9.0, y: -9.0, width: 1.0, height: 1.0 };
        let rule = CARD.rule.unwrap();
        assert_eq!(draw(rule, nowhere, &letters).len(), 1 + 6);
        assert_eq!(draw(rule, code::quiet_zone(&CARD), &letters).len(), 1 + 4, "0 and 10 lie below the code");
    }
}
