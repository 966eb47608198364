//! One card.

use super::draw::{Group, Shape};
use super::letters::Letters;
use super::{code, rule};
use crate::base::color::transfer;
use crate::card::layout::{INK, Layout, PAPER, TextLine};
use crate::card::number::PlantNumber;

/// Height of the smallest capitals that a name is shrunk to, mm: about the smallest print on a seed packet.
const SMALLEST: f64 = 1.2;

/// What a card is printed for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The plant's number.
    pub number: PlantNumber,
    /// The plant's name.
    pub name: Option<String>,
}

/// A name as it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printed {
    /// The letters that are printed.
    pub text: String,
    /// Letters that cannot be printed, each once.
    pub missing: String,
    /// Whether the end was cut off because it would have been too small to read.
    pub cut: bool,
}

/// The fonts of a card.
pub(super) struct Fonts {
    pub(super) bold: Letters,
    pub(super) regular: Letters,
}

impl Fonts {
    pub(super) fn new() -> Self {
        Self { bold: Letters::bold(), regular: Letters::regular() }
    }
}

impl Label {
    /// Number and name on one line.
    pub fn title(&self) -> String {
        match &self.name {
            Some(name) => format!("{} {name}", self.number),
            None => self.number.to_string(),
        }
    }
}

/// What is printed of a name on a layout.
pub fn printed(layout: &Layout, name: &str) -> Printed {
    fitted(&Letters::regular(), layout.name, name)
}

fn fitted(letters: &Letters, line: TextLine, name: &str) -> Printed {
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (known, unknown): (String, String) = words(name).chars().partition(|&letter| letters.has(letter));
    let mut missing = String::new();
    missing
        .extend(unknown.chars().enumerate().filter(|&(i, c)| !unknown.chars().take(i).any(|d| d == c)).map(|(_, c)| c));
    let mut text = words(&known);
    let small = |text: &str| letters.fitting(text, line.height, line.width) < SMALLEST;
    let cut = small(&text);
    if cut {
        let mut kept: Vec<char> = text.chars().collect();
        while small(&text) && kept.pop().is_some() {
            text = format!("{}…", kept.iter().collect::<String>().trim_end());
        }
    }
    Printed { text, missing, cut }
}

/// The level at which a printer makes a patch reflect `reflectance`, on the sRGB curve: light reflected, relative to bare
/// paper. A printer keeps such a grey neutral, but its reflectance only roughly: paper, ink and driver all bend the curve.
/// What is lighter than paper is bare paper, what is darker than ink is full ink.
fn level(reflectance: f64) -> f64 {
    match reflectance {
        ..=INK => 0.0,
        PAPER.. => 1.0,
        between => transfer::encode(between / PAPER),
    }
}

/// Draws a card with its top left corner in the page's.
pub(super) fn draw(layout: &Layout, label: &Label, fonts: &Fonts) -> Group {
    let mut shapes = vec![code::draw(layout, &label.number)];
    shapes.push(text(&fonts.bold, label.number.as_str(), layout.number));
    if let Some(name) = &label.name {
        let name = fitted(&fonts.regular, layout.name, name).text;
        shapes.extend((!name.is_empty()).then(|| text(&fonts.regular, &name, layout.name)));
    }
    for patch in layout.patches {
        let grey = level(patch.reflectance);
        shapes.extend((grey < 1.0).then(|| Shape { grey, ..Shape::boxes([patch.area]) }));
    }
    if let Some(lines) = layout.rule {
        shapes.extend(rule::draw(lines, &fonts.regular));
    }
    Group { title: Some(label.title()), shapes }
}

/// A text on its line, no wider than the line.
fn text(letters: &Letters, text: &str, line: TextLine) -> Shape {
    let height = letters.fitting(text, line.height, line.width);
    Shape::black(letters.line(text, height).steps).moved([line.x, line.y + height])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{CARD, POT_LABEL};

    #[test]
    fn a_name_is_shrunk_before_it_is_cut() {
        let short = printed(&CARD, "Zebra, best rosette of the tray");
        assert_eq!((short.text.as_str(), short.cut), ("Zebra, best rosette of the tray", false));
        let long = printed(&CARD, &"Zebra ".repeat(40));
        assert!(long.cut && long.text.ends_with('…'), "{long:?}");
        let letters = Letters::regular();
        assert!(letters.line(&long.text, SMALLEST).width <= CARD.name.width);
        assert!(letters.line(&long.text, SMALLEST).width > CARD.name.width - 3.0, "no more is cut than must be");
        assert!(printed(&POT_LABEL, "Zebra, best rosette of the tray").cut);
    }

    #[test]
    fn letters_without_outlines_are_left_out_and_named_once() {
        let name = printed(&CARD, "Haworthia 植物 'Grün'\n植 x");
        assert_eq!(name, Printed { text: "Haworthia 'Grün' x".into(), missing: "植物".into(), cut: false });
        let none = Label { number: "7".parse().unwrap(), name: Some("植物".into()) };
        let bare = Label { name: None, ..none.clone() };
        let fonts = Fonts::new();
        assert_eq!(draw(&CARD, &none, &fonts).shapes, draw(&CARD, &bare, &fonts).shapes);
    }

    /// 0.18 is mid grey: code 118 of the sRGB curve on a paper that reflects all (from memory), here over 0.84.
    #[test]
    fn greys_are_relative_to_the_paper() {
        assert!((level(0.18 * PAPER) * 255.0 - 118.0).abs() < 1.0);
        assert!((level(PAPER) - 1.0).abs() < 1e-9 && (level(0.90) - 1.0).abs() < 1e-9);
        assert!(level(0.03).abs() < 1e-9);
    }

    #[test]
    fn bare_paper_is_not_drawn() {
        let bare = Label { number: "7".parse().unwrap(), name: None };
        let greys = draw(&CARD, &bare, &Fonts::new()).shapes;
        assert!(greys.iter().all(|shape| shape.grey < 1.0));
        assert_eq!(greys.iter().filter(|shape| shape.grey > 0.0).count(), 4);
    }
}
