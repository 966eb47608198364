//! The nursery's own standard, a TOML file. So far it holds what was measured on the printed label cards, and what bands are
//! called by their width.

use crate::error::{Error, Result};
use crate::options::{BandLimits, CardPrint};
use serde::Deserialize;

/// All that a standard file says.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Standard {
    /// The section `[card]`.
    pub card: Card,
    /// The section `[bands]`.
    pub bands: Bands,
}

/// What bands are called by their width; what is not said stays at its default.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Bands {
    /// Standard from this width, mm.
    pub standard_from_mm: Option<f64>,
    /// Wide from this width, mm.
    pub wide_from_mm: Option<f64>,
    /// Extra wide from this width, mm.
    pub extra_wide_from_mm: Option<f64>,
    /// Standard from this width in parts of the pitch, where no width in mm is known.
    pub standard_from_rel: Option<f64>,
    /// Wide, parts of the pitch.
    pub wide_from_rel: Option<f64>,
    /// Extra wide, parts of the pitch.
    pub extra_wide_from_rel: Option<f64>,
}

/// What was measured on the printed label cards.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Card {
    /// Colour of the bare paper: CIELAB `[L, a, b]` under D50, 2 degree observer.
    pub paper_lab: Option<[f64; 3]>,
    /// Length of the 50 mm check line, mm.
    pub check_line_mm: Option<f64>,
}

/// Lightness of paper, and most of its a and b: anything else is no white paper.
const LIGHTNESS: std::ops::RangeInclusive<f64> = 70.0..=100.0;
const TINT: f64 = 20.0;

/// Length of a check line that came from a 50 mm one: beyond 10 % the printer was told to fit the page.
const CHECK_LINE: std::ops::RangeInclusive<f64> = 45.0..=55.0;

/// No band is this wide, mm: a limit beyond it was meant in other units.
const WIDEST_MM: f64 = 50.0;

impl Standard {
    /// Reads the text of a standard file.
    ///
    /// # Errors
    /// It is no TOML, has keys that no standard has, or values that cannot be: with line, column and what would be right.
    pub fn parse(text: &str) -> Result<Self> {
        let standard: Self = toml::from_str(text).map_err(|error: toml::de::Error| {
            let line = error.span().map_or(1, |span| 1 + text[..span.start].matches('\n').count());
            Error::Standard(format!("line {line}: {}", error.message()))
        })?;
        let wrong = |text: &str| Err(Error::Standard(format!("[card] {text}")));
        let sound = |[l, a, b]: [f64; 3]| LIGHTNESS.contains(&l) && a.abs() <= TINT && b.abs() <= TINT;
        if standard.card.paper_lab.is_some_and(|lab| !sound(lab)) {
            return wrong("paper_lab must be [L, a, b] of white paper: L 70 to 100, a and b -20 to 20");
        }
        if standard.card.check_line_mm.is_some_and(|mm| !CHECK_LINE.contains(&mm)) {
            return wrong("check_line_mm must be 45 to 55; print the cards again at 100 %");
        }
        let limits = BandLimits::from(standard.bands);
        for (limits, unit, most) in [(limits.mm(), "mm", WIDEST_MM), (limits.rel(), "rel", 1.0)] {
            let rising = [0.0, limits[0], limits[1], limits[2], most];
            if rising.windows(2).any(|pair| pair[0].partial_cmp(&pair[1]) != Some(std::cmp::Ordering::Less)) {
                return Err(Error::Standard(format!(
                    "[bands] standard_from_{unit}, wide_from_{unit} and extra_wide_from_{unit} must rise, between 0 and {most}"
                )));
            }
        }
        Ok(standard)
    }
}

impl From<Bands> for BandLimits {
    fn from(bands: Bands) -> Self {
        let usual = Self::default();
        Self {
            standard_from_mm: bands.standard_from_mm.unwrap_or(usual.standard_from_mm),
            wide_from_mm: bands.wide_from_mm.unwrap_or(usual.wide_from_mm),
            extra_wide_from_mm: bands.extra_wide_from_mm.unwrap_or(usual.extra_wide_from_mm),
            standard_from_rel: bands.standard_from_rel.unwrap_or(usual.standard_from_rel),
            wide_from_rel: bands.wide_from_rel.unwrap_or(usual.wide_from_rel),
            extra_wide_from_rel: bands.extra_wide_from_rel.unwrap_or(usual.extra_wide_from_rel),
        }
    }
}

impl From<Card> for CardPrint {
    fn from(card: Card) -> Self {
        Self { paper_lab: card.paper_lab, check_line_mm: card.check_line_mm }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_is_read_and_the_rest_is_unknown() {
        let standard = Standard::parse("[card]\npaper_lab = [94.0, 0.5, -6]\ncheck_line_mm = 49.4\n").unwrap();
        let card = Card { paper_lab: Some([94.0, 0.5, -6.0]), check_line_mm: Some(49.4) };
        assert_eq!(standard, Standard { card, ..Standard::default() });
        assert_eq!(Standard::parse("").unwrap(), Standard::default());
    }

    #[test]
    fn limits_of_bands_that_are_not_said_stay() {
        let limits = BandLimits::from(Standard::parse("[bands]\nwide_from_mm = 1.5\n").unwrap().bands);
        assert_eq!(limits, BandLimits { wide_from_mm: 1.5, ..BandLimits::default() });
    }

    #[test]
    fn mistakes_are_told_with_their_place() {
        for (text, told) in [
            ("[card]\npaper = [94, 0, 0]", "paper"),
            ("[cards]", "cards"),
            ("[card]\ncheck_line_mm = \"49\"", "line 2"),
            ("[card]\ncheck_line_mm = nan", "45 to 55"),
            ("[card]\ncheck_line_mm = 4.94", "45 to 55"),
            ("[card]\npaper_lab = [0.94, 0, 0]", "L 70 to 100"),
            ("[card]\npaper_lab = [94, 0]", "line 2"),
            ("[bands]\nwide_from_mm = 2.5", "must rise"),
            ("[bands]\nextra_wide_from_mm = nan", "must rise"),
            ("[bands]\nwide_from_rel = 0.1", "must rise"),
            ("[bands]\nextra_wide_from_rel = 1.2", "between 0 and 1"),
            ("{}", "line 1"),
        ] {
            let error = Standard::parse(text).unwrap_err().to_string();
            assert!(error.contains(told), "{text}: {error}");
        }
    }
}
