//! Cards on sheets of paper: as many as fit, with marks to cut along and lines to measure after printing.

use super::card::{self, Fonts, Label};
use super::draw::{Group, Page, Point, Shape, line};
use super::letters::Letters;
use super::rule;
use crate::card::layout::{Area, Layout};

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 x 297 mm.
    A4,
    /// US Letter, 8.5 x 11 inches.
    Letter,
    /// A page is one card, as label printers want it.
    Single,
}

/// Margin of a sheet that no card lies in, mm: most office printers leave 3 to 5 mm blank.
const MARGIN: f64 = 5.0;

/// Room between cards, mm.
const GAP: f64 = 3.0;

/// Room for the check line below the cards, mm.
const FOOT: f64 = 3.0;

/// Where cut marks begin, from the card's edge, their length and their width, mm: no ink is on the edge of a cut card.
const MARK: (f64, f64, f64) = (0.5, 1.0, 0.1);

/// Length of the check lines, mm.
const CHECK: f64 = 50.0;

/// Height of the capitals of what is written on a sheet, mm.
const NOTE: f64 = 1.8;

/// Distance of the side lines from the cards, and of notes from their lines, mm.
const ASIDE: (f64, f64) = (8.0, 3.0);

const CHECKED: &str = "50 mm - measure after printing; print at 100 %, not 'fit to page'";
const USE: &str =
    "Lay the card flat, level with the soil or the pot's rim, in the same light as the plant. Matt paper.";

/// How cards lie on a sheet.
struct Grid {
    columns: usize,
    rows: usize,
    /// Top left corner of the first card, mm.
    origin: Point,
}

impl Paper {
    /// Width and height, mm; `None` if the page takes the card's size.
    pub fn size(self) -> Option<[f64; 2]> {
        match self {
            Self::A4 => Some([210.0, 297.0]),
            Self::Letter => Some([215.9, 279.4]),
            Self::Single => None,
        }
    }
}

/// Cards on a page.
pub fn per_page(layout: &Layout, paper: Paper) -> usize {
    paper.size().map_or(1, |size| {
        let grid = Grid::new(layout, size);
        grid.columns * grid.rows
    })
}

/// The pages of all labels, in their order: along rows, then down.
pub fn pages(layout: &Layout, labels: &[Label], paper: Paper) -> Vec<Page> {
    let fonts = Fonts::new();
    labels.chunks(per_page(layout, paper)).map(|labels| page(layout, labels, paper, &fonts)).collect()
}

fn page(layout: &Layout, labels: &[Label], paper: Paper, fonts: &Fonts) -> Page {
    let cards = labels.iter().map(|label| card::draw(layout, label, fonts));
    let Some(size) = paper.size() else {
        return Page { width: layout.width, height: layout.height, groups: cards.collect() };
    };
    let grid = Grid::new(layout, size);
    let corners: Vec<Point> = (0..labels.len()).map(|index| grid.corner(layout, index)).collect();
    let mut groups: Vec<Group> = cards.zip(&corners).map(|(card, &corner)| card.moved(corner)).collect();
    let marks = Shape::boxes(corners.iter().flat_map(|&corner| marks(layout, corner)));
    let shapes = [marks].into_iter().chain(notes(&grid, size, &fonts.regular)).collect();
    groups.push(Group { title: None, shapes });
    Page { width: size[0], height: size[1], groups }
}

impl Grid {
    fn new(layout: &Layout, [width, height]: [f64; 2]) -> Self {
        // Not an epsilon less: a card that fits exactly would be lost to rounding.
        let fit = |room: f64, side: f64| (((room + GAP) / (side + GAP) + 1e-9).floor() as usize).max(1);
        let room = [width - 2.0 * MARGIN, height - 2.0 * MARGIN - FOOT];
        let (columns, rows) = (fit(room[0], layout.width), fit(room[1], layout.height));
        let rest = |room: f64, n: usize, side: f64| room - n as f64 * (side + GAP) + GAP;
        let left = MARGIN + rest(room[0], columns, layout.width) / 2.0;
        let top = MARGIN + rest(room[1], rows, layout.height) / 2.0;
        Self { columns, rows, origin: [left, top] }
    }

    /// Top left corner of a card, mm.
    fn corner(&self, layout: &Layout, index: usize) -> Point {
        let (row, column) = (index / self.columns, index % self.columns);
        [self.origin[0] + column as f64 * (layout.width + GAP), self.origin[1] + row as f64 * (layout.height + GAP)]
    }
}

/// Cut marks at a card's four corners, two each.
fn marks(layout: &Layout, [left, top]: Point) -> impl Iterator<Item = Area> {
    let card = Area { x: left, y: top, ..layout.area() };
    let middle = card.centre();
    card.corners().into_iter().flat_map(move |[x, y]| {
        let (outward, [from, to]) = ([(x - middle[0]).signum(), (y - middle[1]).signum()], [MARK.0, MARK.0 + MARK.1]);
        let flat = line([x + outward[0] * from, y], [x + outward[0] * to, y], MARK.2);
        let upright = line([x, y + outward[1] * from], [x, y + outward[1] * to], MARK.2);
        [flat, upright]
    })
}

/// A check line below the cards and one at their left, and at their right what the cards are for.
fn notes(grid: &Grid, [width, height]: [f64; 2], letters: &Letters) -> Vec<Shape> {
    let text = |text: &str| {
        let line = letters.line(text, NOTE);
        (Shape::black(line.steps), line.width)
    };
    let (left, foot, middle) = (grid.origin[0], height - MARGIN - 1.0, height / 2.0);
    let ((note, _), (side, length), (usage, long)) = (text(CHECKED), text(CHECKED), text(USE));
    vec![
        rule::check([left, foot], CHECK),
        note.moved([left + CHECK + ASIDE.1, foot + NOTE / 2.0]),
        rule::check([0.0, 0.0], CHECK).turned().moved([left - ASIDE.0, middle + CHECK / 2.0]),
        side.turned().moved([left - ASIDE.0 - ASIDE.1, middle + length / 2.0]),
        usage.turned().moved([width - left + ASIDE.0, middle + long / 2.0]),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{CARD, POT_LABEL};

    fn labels(n: usize) -> Vec<Label> {
        (0..n).map(|i| Label { number: format!("ZB-{i:04}").parse().unwrap(), name: None }).collect()
    }

    /// Counted by hand: 2 x 85.6 + 3 <= 200, 5 x 54 + 12 <= 287; Letter 4 x 54 + 9 <= 269.4; labels 3 x 50 + 6, 10 x 25 + 27.
    #[test]
    fn a_sheet_holds_as_many_cards_as_fit() {
        let counts = [(&CARD, Paper::A4, 10), (&CARD, Paper::Letter, 8), (&CARD, Paper::Single, 1)];
        let labels = [(&POT_LABEL, Paper::A4, 30), (&POT_LABEL, Paper::Letter, 27), (&POT_LABEL, Paper::Single, 1)];
        for (layout, paper, count) in counts.into_iter().chain(labels) {
            assert_eq!(per_page(layout, paper), count, "{} {paper:?}", layout.prefix);
        }
    }

    #[test]
    fn pages_are_as_many_as_needed() {
        for (cards, sheets) in [(0, 0), (1, 1), (10, 1), (11, 2), (20, 2), (21, 3)] {
            assert_eq!(pages(&CARD, &labels(cards), Paper::A4).len(), sheets);
        }
        assert_eq!(pages(&POT_LABEL, &labels(3), Paper::Single).len(), 3);
    }

    #[test]
    fn cards_keep_the_margins_and_each_other_free() {
        for (layout, paper) in
            [(&CARD, Paper::A4), (&CARD, Paper::Letter), (&POT_LABEL, Paper::A4), (&POT_LABEL, Paper::Letter)]
        {
            let size = paper.size().unwrap();
            let grid = Grid::new(layout, size);
            let last = grid.corner(layout, per_page(layout, paper) - 1);
            let far = [last[0] + layout.width, last[1] + layout.height];
            for axis in 0..2 {
                assert!(grid.origin[axis] >= MARGIN && far[axis] <= size[axis] - MARGIN, "{paper:?}");
            }
            let next = grid.corner(layout, 1);
            assert!((next[0] - grid.origin[0] - layout.width - GAP).abs() < 1e-9);
        }
    }
}
