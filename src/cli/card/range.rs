//! Plant numbers as they are asked for: one, or all from one to another.

use std::str::FromStr;
use variegauge::card::number::PlantNumber;

/// Most cards at once.
pub(in crate::cli) const MOST: usize = 2000;

/// One plant number, or a range `ZB-0040..ZB-0059` with both ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::cli) struct Numbers(pub(in crate::cli) Vec<PlantNumber>);

impl FromStr for Numbers {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let Some((first, last)) = text.split_once("..") else {
            return Ok(Self(vec![number(text)?]));
        };
        let (first, last) = (number(first)?, number(last)?);
        let (prefix, digits) = split(first.as_str());
        let (other, end) = split(last.as_str());
        if digits.is_empty() || end.is_empty() {
            return Err("a range counts digits at the end, as in ZB-0040..ZB-0059".into());
        }
        if prefix != other {
            return Err(format!("a range has one beginning, but `{prefix}` and `{other}` differ"));
        }
        // 24 digits at most: within 128 bits.
        let [from, to] = [digits, end].map(|digits| digits.parse::<u128>().map_err(|error| error.to_string()));
        let ((from, to), width) = ((from?, to?), digits.len());
        if from > to {
            return Err(format!("the range runs backwards; write {last}..{first}"));
        }
        if format!("{to:0width$}") != end {
            return Err("write both ends of the range with as many digits".into());
        }
        if to - from >= MOST as u128 {
            return Err(format!("more than {MOST} cards; print fewer at a time"));
        }
        (from..=to).map(|n| number(&format!("{prefix}{n:0width$}"))).collect::<Result<_, _>>().map(Self)
    }
}

fn number(text: &str) -> Result<PlantNumber, String> {
    text.parse().map_err(|error| format!("{error}"))
}

/// What comes before the digits at the end, and the digits.
fn split(text: &str) -> (&str, &str) {
    text.split_at(text.trim_end_matches(|c: char| c.is_ascii_digit()).len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(text: &str) -> Result<Vec<String>, String> {
        text.parse().map(|Numbers(numbers)| numbers.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn digits_at_the_end_count_up_and_keep_their_width() {
        assert_eq!(texts("ZB-0009..ZB-0011").unwrap(), ["ZB-0009", "ZB-0010", "ZB-0011"]);
        assert_eq!(texts("9..11").unwrap(), ["9", "10", "11"]);
        assert_eq!(texts("A1B08..A1B08").unwrap(), ["A1B08"]);
        assert_eq!(texts("ZB-98..ZB-101").unwrap().last().unwrap(), "ZB-101");
        assert_eq!(texts("a.7").unwrap(), ["a.7"]);
        assert_eq!(texts("1..2000").unwrap().len(), MOST);
    }

    #[test]
    fn what_cannot_be_counted_is_refused_with_a_reason() {
        for (wrong, word) in [
            ("ZB-0059..ZB-0040", "backwards; write ZB-0040..ZB-0059"),
            ("ZB-1..ZC-2", "`ZB-` and `ZC-`"),
            ("ZB..ZC", "digits"),
            ("ZB-1..ZB", "digits"),
            ("ZB-8..ZB-0012", "as many digits"),
            ("ZB-0008..ZB-12", "as many digits"),
            ("1..2001", "2000"),
            ("0..999999999999999999999999", "2000"),
            ("ZB-1..", "plant number"),
            ("1...3", "plant number"),
            ("ZB 1", "plant number"),
            ("", "plant number"),
        ] {
            let error = texts(wrong).unwrap_err();
            assert!(error.contains(word), "{wrong}: {error}");
        }
    }
}
