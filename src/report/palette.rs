//! A colour and a pattern for each tissue. Colours are those of Okabe and Ito (2002, "Color Universal Design"), which
//! people with any of the common kinds of colour blindness tell apart; patterns tell them apart without colour.

use crate::tissue::class::Tissue;

/// A colour, 8-bit sRGB.
pub(super) type Rgb = [u8; 3];

/// Near black: ground of strips and badges.
pub(super) const DARK: Rgb = [17, 17, 17];
/// Text on [`DARK`].
pub(super) const LIGHT: Rgb = [240, 240, 240];
/// Less important text on [`DARK`]; contrast 8.1 to 1 by the formula of WCAG 2.2.
pub(super) const DIM: Rgb = [170, 170, 170];
/// Warnings on [`DARK`]; Okabe and Ito's yellow.
pub(super) const WARNING: Rgb = [240, 228, 66];

/// How much of the leaf a tint hides, out of 256.
const TINT: u16 = 112;
/// How much of the leaf a line of a pattern hides, out of 256.
const INK: u16 = 215;

/// Colour of a tissue.
pub(super) fn color(tissue: Tissue) -> Rgb {
    match tissue {
        Tissue::Green => [0, 158, 115],
        Tissue::Cream => [240, 228, 66],
        Tissue::Gold => [230, 159, 0],
        Tissue::Red => [204, 121, 167],
        Tissue::Band => [86, 180, 233],
        Tissue::Dead => [213, 94, 0],
        Tissue::Unsure => [150, 150, 150],
    }
}

/// In the words of a grower.
pub(super) fn title(tissue: Tissue) -> &'static str {
    match tissue {
        Tissue::Red => "stress red",
        Tissue::Band => "white band",
        Tissue::Green | Tissue::Cream | Tissue::Gold | Tissue::Dead | Tissue::Unsure => tissue.name(),
    }
}

/// The colour of a tissue's pixel at `x`, `y` whose leaf looks like `leaf`.
pub(super) fn painted(leaf: Rgb, tissue: Tissue, x: usize, y: usize) -> Rgb {
    let color = color(tissue);
    match pattern(tissue, x, y) {
        Some(dark) => mixed(mixed(leaf, color, TINT), if dark { color.map(|c| c / 4) } else { color }, INK),
        None => mixed(leaf, color, TINT),
    }
}

/// `b` over `a`, `part` of 256.
pub(super) fn mixed(a: Rgb, b: Rgb, part: u16) -> Rgb {
    let one = |i: usize| ((u16::from(a[i]) * (256 - part) + u16::from(b[i]) * part) / 256) as u8;
    [one(0), one(1), one(2)]
}

/// Whether a line of the tissue's pattern passes here, and whether it is dark.
fn pattern(tissue: Tissue, x: usize, y: usize) -> Option<bool> {
    let (rising, falling) = ((x + y) % 12 < 3, (x + 12_000 - y) % 12 < 3);
    let dot = |period: usize| {
        let shift = (y / period % 2) * (period / 2);
        let [dx, dy] = [(x + shift) % period, y % period].map(|v| v.abs_diff(period / 2));
        dx * dx + dy * dy <= 5
    };
    match tissue {
        Tissue::Green => None,
        Tissue::Cream => dot(12).then_some(true),
        Tissue::Gold => rising.then_some(true),
        Tissue::Red => falling.then_some(true),
        Tissue::Band => (x % 6 < 2).then_some(false),
        Tissue::Dead => (rising || falling).then_some(true),
        Tissue::Unsure => (y % 8 < 3).then_some(false),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Share of a 24 x 24 patch that is inked.
    fn patch(tissue: Tissue) -> Vec<Rgb> {
        (0..24 * 24).map(|i| painted([128; 3], tissue, i % 24, i / 24)).collect()
    }

    #[test]
    fn no_two_tissues_look_alike_even_in_grey() {
        let shape = |tissue| -> Vec<bool> { (0..576).map(|i| pattern(tissue, i % 24, i / 24).is_some()).collect() };
        for (n, a) in Tissue::ALL.into_iter().enumerate() {
            for b in Tissue::ALL.into_iter().skip(n + 1) {
                assert_ne!(color(a), color(b));
                assert_ne!(shape(a), shape(b), "{a:?} {b:?}");
            }
        }
    }

    #[test]
    fn the_leaf_stays_visible() {
        for tissue in Tissue::ALL {
            let dark: Vec<Rgb> = (0..576).map(|i| painted([0; 3], tissue, i % 24, i / 24)).collect();
            let same = dark.iter().zip(patch(tissue)).filter(|(a, b)| **a == *b).count();
            assert_eq!(same, 0, "{tissue:?}");
        }
    }
}
