//! Text as outlines, so that no viewer and no printer needs a font.

use super::draw::{Point, Step};
use ab_glyph::{Font, FontRef, GlyphId, OutlineCurve};

/// A font whose heights are those of its capitals.
pub struct Letters {
    font: FontRef<'static>,
    /// Height of a capital, font units.
    capital: f64,
}

/// A line of text as outlines, ink from x = 0 rightwards, base line at y = 0, mm.
pub struct Line {
    /// The outlines.
    pub steps: Vec<Step>,
    /// Width of the ink.
    pub width: f64,
}

impl Letters {
    /// `DejaVu` Sans.
    pub fn regular() -> Self {
        Self::new(dejavu::sans::regular())
    }

    /// `DejaVu` Sans Bold.
    pub fn bold() -> Self {
        Self::new(dejavu::sans::bold())
    }

    fn new(bytes: &'static [u8]) -> Self {
        let font = FontRef::try_from_slice(bytes).expect("the font is part of the program");
        let capital = font.outline(font.glyph_id('H')).expect("the font has capitals").bounds;
        Self { capital: f64::from(capital.min.y.max(capital.max.y)), font }
    }

    /// Whether a letter can be printed as it should look. Letters of scripts that run from right to left are in the font,
    /// but would stand in the wrong order and unjoined; signs that turn the direction of writing have no place on a card.
    pub fn has(&self, letter: char) -> bool {
        let right_to_left = matches!(letter, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{feff}');
        let invisible = matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}');
        let id = self.font.glyph_id(letter);
        let drawn = letter == ' ' || self.font.outline(id).is_some();
        id != GlyphId(0) && drawn && !right_to_left && !invisible && !letter.is_control()
    }

    /// A line of text whose capitals are `height` mm high.
    pub fn line(&self, text: &str, height: f64) -> Line {
        let scale = height / self.capital;
        let (mut steps, mut pen, mut last) = (Vec::new(), 0.0, None);
        let (mut left, mut right) = (f64::INFINITY, f64::NEG_INFINITY);
        for id in text.chars().map(|letter| self.font.glyph_id(letter)) {
            pen += last.map_or(0.0, |last| f64::from(self.font.kern_unscaled(last, id)));
            if let Some(outline) = self.font.outline(id) {
                left = left.min(pen + f64::from(outline.bounds.min.x));
                right = right.max(pen + f64::from(outline.bounds.max.x));
                let place = |p: &ab_glyph::Point| [(pen + f64::from(p.x)) * scale, -f64::from(p.y) * scale];
                steps.extend(closed(&outline.curves, place));
            }
            pen += f64::from(self.font.h_advance_unscaled(id));
            last = Some(id);
        }
        if steps.is_empty() {
            return Line { steps, width: 0.0 };
        }
        let shift = |[x, y]: Point| [x - left * scale, y];
        let steps = steps.into_iter().map(|step| step.mapped(shift)).collect();
        Line { steps, width: (right - left) * scale }
    }

    /// The greatest height up to `height` at which a line is at most `width` wide, mm.
    pub fn fitting(&self, text: &str, height: f64, width: f64) -> f64 {
        let full = self.line(text, height).width;
        if full <= width { height } else { height * width / full }
    }
}

/// The outlines of a letter: a new one begins where a curve does not go on from the last.
fn closed(curves: &[OutlineCurve], place: impl Fn(&ab_glyph::Point) -> Point) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut end = None;
    for curve in curves {
        let (from, to, step) = match curve {
            OutlineCurve::Line(a, b) => (a, b, Step::Line(place(b))),
            OutlineCurve::Quad(a, b, c) => (a, c, Step::Curve(raised([a, b, c].map(&place)))),
            OutlineCurve::Cubic(a, b, c, d) => (a, d, Step::Curve([b, c, d].map(&place))),
        };
        if end != Some(*from) {
            steps.extend(end.map(|_| Step::Close));
            steps.push(Step::Move(place(from)));
        }
        steps.push(step);
        end = Some(*to);
    }
    steps.extend(end.map(|_| Step::Close));
    steps
}

/// A quadratic curve as a cubic one, exactly: its control points lie two thirds of the way to the quadratic's.
fn raised([a, b, c]: [Point; 3]) -> [Point; 3] {
    let toward = |from: Point| std::array::from_fn(|i| from[i] + (b[i] - from[i]) * 2.0 / 3.0);
    [toward(a), toward(c), c]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(steps: &[Step]) -> Vec<Point> {
        let ends = steps.iter().filter_map(|step| match step {
            Step::Move(p) | Step::Line(p) | Step::Curve([_, _, p]) => Some(*p),
            Step::Close => None,
        });
        ends.collect()
    }

    #[test]
    fn capitals_have_the_height_and_ink_begins_at_the_left() {
        for letters in [Letters::regular(), Letters::bold()] {
            let line = letters.line("HIH", 7.0);
            let points = points(&line.steps);
            let edge = |axis: usize, pick: fn(f64, f64) -> f64| points.iter().map(|p| p[axis]).reduce(pick).unwrap();
            assert!(edge(0, f64::min).abs() < 1e-6 && (edge(0, f64::max) - line.width).abs() < 1e-6);
            assert!((edge(1, f64::min) + 7.0).abs() < 1e-6 && edge(1, f64::max).abs() < 1e-6);
        }
    }

    #[test]
    fn a_long_line_shrinks_to_its_room_and_a_short_one_stays() {
        let letters = Letters::bold();
        assert!((letters.fitting("7", 7.0, 46.4) - 7.0).abs() < 1e-9);
        let long = "WWWWWWWWWWWWWWWWWWWWWWWW";
        let height = letters.fitting(long, 7.0, 46.4);
        assert!(height < 2.0 && (letters.line(long, height).width - 46.4).abs() < 1e-6);
    }

    /// Each contour of `8` (outside, two holes) is closed.
    #[test]
    fn outlines_are_closed() {
        let steps = Letters::regular().line("8", 1.0).steps;
        let count = |wanted: fn(&Step) -> bool| steps.iter().filter(|step| wanted(step)).count();
        assert_eq!(count(|step| matches!(step, Step::Move(_))), 3);
        assert_eq!(count(|step| *step == Step::Close), 3);
    }

    #[test]
    fn letters_that_would_look_wrong_are_known() {
        let letters = Letters::regular();
        assert!("Zebra Grün Żółw Ελλάς Мир 'x' × & <".chars().all(|letter| letters.has(letter)));
        for letter in ['植', 'ش', 'ש', '\u{202e}', '\u{200b}', '\n', '\u{1b}', '\u{feff}', '\u{e000}'] {
            assert!(!letters.has(letter), "{letter:?}");
        }
        assert!(letters.line("  ", 1.0).steps.is_empty());
    }

    #[test]
    fn a_raised_curve_runs_through_the_same_middle() {
        let [a, b, c] = [[0.0, 0.0], [1.0, 2.0], [4.0, 0.0]];
        let [p, q, end] = raised([a, b, c]);
        for i in 0..2 {
            let quadratic = (a[i] + 2.0 * b[i] + c[i]) / 4.0;
            let cubic: f64 = (a[i] + 3.0 * p[i] + 3.0 * q[i] + end[i]) / 8.0;
            assert!((quadratic - cubic).abs() < 1e-12);
        }
    }
}
