//! The nursery's own standard, a TOML file. What is shipped is `default.toml`: all defaults, each with its meaning and where it
//! comes from; there is no other place for them. A nursery's file is laid over it.

mod check;
mod explain;
mod sections;

pub use explain::explain;
pub use sections::{
    Bands, Card, Condition, Green, Mother, Names, Outlook, Photo, Ranges, Red, Score, Sell, Sides, Size, Weights,
};

use crate::error::{Error, Result};
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;
use toml::Spanned;
use toml::de::{DeTable, DeValue, Deserializer};

/// The standard that is shipped, with its comments.
pub const SHIPPED: &str = include_str!("default.toml");

static DEFAULT: LazyLock<Standard> =
    LazyLock::new(|| Standard::parse("").expect("the tests read the shipped standard"));

/// All that a standard says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Standard {
    /// Printed label cards.
    pub card: Card,
    /// Names of band widths.
    pub bands: Bands,
    /// Green capacity.
    pub green: Green,
    /// One-sided plants.
    pub sides: Sides,
    /// Stress red.
    pub red: Red,
    /// Dead leaf.
    pub condition: Condition,
    /// Size.
    pub size: Size,
    /// What a photo must tell.
    pub photo: Photo,
    /// The score.
    pub score: Score,
    /// What is asked of a mother.
    pub mother: Mother,
    /// What is asked of a plant to be sold.
    pub sell: Sell,
    /// What decisions are called.
    pub names: Names,
    /// Growth outlook.
    pub outlook: Outlook,
}

/// The shipped standard.
impl Default for Standard {
    fn default() -> Self {
        DEFAULT.clone()
    }
}

/// The shipped classes.
impl Default for Bands {
    fn default() -> Self {
        DEFAULT.bands
    }
}

impl Standard {
    /// Reads the text of a standard file and lays it over the shipped one.
    ///
    /// # Errors
    /// It is no TOML, has keys that no standard has, or values that cannot be: with the line and what would be right.
    pub fn parse(text: &str) -> Result<Self> {
        let at = |place: Option<usize>, told: &str| Error::Standard(placed(text, place, told));
        let toml = |error: &toml::de::Error| at(error.span().map(|span| span.start), error.message());
        let said = DeTable::parse(text).map_err(|error| toml(&error))?.into_inner();
        let mut whole = DeTable::parse(SHIPPED).map_err(|error| toml(&error))?;
        lay_over(whole.get_mut(), said.clone()).map_err(|(place, told)| at(Some(place), &told))?;
        let standard = Self::deserialize(Deserializer::from(whole)).map_err(|error| toml(&error))?;
        match check::fault(&standard) {
            None => Ok(standard),
            Some((path, told)) => {
                let place = find(&said, path).map(|value| value.span().start);
                Err(at(place, &format!("{path} {told}")))
            }
        }
    }
}

/// `told` with the line of the text that it is about, if that is known.
fn placed(text: &str, place: Option<usize>, told: &str) -> String {
    match place.and_then(|place| text.get(..place)) {
        Some(before) => format!("line {}: {told}", 1 + before.matches('\n').count()),
        None => told.into(),
    }
}

/// Puts the values of `said` in the place of those of `base`, section by section.
///
/// # Errors
/// A section is no table (a list of its values would be taken as one): where, and what it must be.
fn lay_over<'a>(base: &mut DeTable<'a>, said: DeTable<'a>) -> std::result::Result<(), (usize, String)> {
    for (key, mut value) in said {
        let place = value.span().start;
        match (base.get_mut(key.as_ref().as_ref()).map(Spanned::get_mut), value.get_mut()) {
            (Some(DeValue::Table(base)), DeValue::Table(said)) => lay_over(base, std::mem::take(said))?,
            (Some(DeValue::Table(_)), _) => return Err((place, format!("{} must be a section", key.as_ref()))),
            _ => {
                base.insert(key, value);
            }
        }
    }
    Ok(())
}

/// The value at a path such as `score.weights.balance`.
fn find<'t, 'a>(table: &'t DeTable<'a>, path: &str) -> Option<&'t Spanned<DeValue<'a>>> {
    match path.split_once('.') {
        None => table.get(path),
        Some((section, rest)) => find(table.get(section)?.as_ref().as_table()?, rest),
    }
}

#[cfg(test)]
#[allow(clippy::float_cmp, reason = "numbers are read, not computed")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The shipped file with a piece of it replaced.
        #[test]
        fn no_text_makes_it_panic(from in 0..SHIPPED.len(), length in 0..200usize, piece in "[\\PC\n=\\[\\]\"0-9.]{0,12}") {
            let to = (from + length).min(SHIPPED.len());
            let text = format!("{}{piece}{}", &SHIPPED[..from], &SHIPPED[to..]);
            prop_assert_eq!(Standard::parse(&text).is_ok(), explain(&text).is_ok());
        }
    }

    #[test]
    fn what_is_said_is_read_and_the_rest_stays_as_shipped() {
        let standard = Standard::parse("[card]\npaper_lab = [94.0, 0.5, -6]\n[green]\nfloor = 0.3\n").unwrap();
        let mut expected = Standard::default();
        expected.card.paper_lab = Some([94.0, 0.5, -6.0]);
        expected.green.floor = 0.3;
        assert_eq!(standard, expected);
        let weights = Standard::parse("[score]\nweights = { balance = 50 }").unwrap().score.weights;
        assert_eq!(weights, Weights { balance: 50.0, ..Standard::default().score.weights });
        assert_eq!(Standard::parse("bands.wide_from_mm = 1.5").unwrap().bands.wide_from_mm, 1.5);
    }

    #[test]
    fn the_shipped_file_is_the_default() {
        assert_eq!(Standard::parse(SHIPPED).unwrap(), Standard::default());
        assert_eq!(Standard::default().green.floor, 0.20);
        assert_eq!(Standard::default().card, Card::default());
    }

    #[test]
    fn mistakes_are_told_with_their_place() {
        for (text, told) in [
            ("\ngreen = [0.3, 0.1, 0.95]", "line 2: green must be a section"),
            ("[score]\nweights = [1, 1, 1, 1, 1]", "weights must be a section"),
            ("[card]\npaper = [94, 0, 0]", "line 2: unknown field `paper`"),
            ("\n[cards]", "line 2: unknown field `cards`"),
            ("[card]\ncheck_line_mm = \"49\"", "line 2"),
            ("[card]\ncheck_line_mm = nan", "line 2: card.check_line_mm must be 45 to 55"),
            ("[card]\ncheck_line_mm = 4.94", "45 to 55"),
            ("[card]\npaper_lab = [0.94, 0, 0]", "L 70 to 100"),
            ("[card]\npaper_lab = [94, 0]", "line 2"),
            ("[bands]\nwide_from_mm = 2.5", "line 2: bands.wide_from_mm must rise"),
            ("[bands]\nextra_wide_from_mm = nan", "must rise"),
            ("green = 0.3", "line 1"),
            ("[green]\n\nfloor = 20", "line 3: green.floor must be 0 to 1"),
            ("[green]\nfloor = 0.95", "line 2: green.floor must lie between"),
            ("[green]\nall_pale_under = 0.3", "green.floor must lie between"),
            ("[score.ranges]\nbalance = [0.2, 0.7, 0.4, 0.9]", "line 2: score.ranges.balance must rise"),
            ("[score.weights]\nbands = -1", "line 2: score.weights.bands"),
            ("[mother]\ngreen = [0.8, 0.3]", "line 2: mother.green must rise"),
            ("[mother]\nscore_from = 30", "line 2: mother.score_from"),
            ("[names]\nsell = \"\"", "line 2: names.sell must be"),
            ("[names]\nsell = \"a\\u001bb\"", "line 2: names.sell must be"),
            ("[outlook]\nbreak_even = [0.2, 1.0]", "line 2: outlook.break_even"),
            ("{}", "line 1"),
        ] {
            let error = Standard::parse(text).unwrap_err().to_string();
            assert!(error.contains(told), "{text}: {error}");
        }
    }
}
