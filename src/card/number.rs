//! Plant numbers, as the nursery gives them and as a code states them.

use super::layout::{LAYOUTS, Layout};
use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// Most characters of a plant number.
pub const LONGEST: usize = 24;

/// A plant's number: 1 to 24 ASCII letters, digits, `-`, `.` and `_`, a letter or digit first and last. Safe in file names,
/// tables, pages and on a terminal, whoever printed the code it came from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlantNumber(String);

/// A text that is no plant number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "a plant number is 1 to {LONGEST} letters a-z or A-Z, digits, `-`, `.` or `_`, with a letter or digit first and last"
)]
pub struct NotANumber;

impl PlantNumber {
    /// The number as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for PlantNumber {
    type Err = NotANumber;

    fn from_str(text: &str) -> Result<Self, NotANumber> {
        let bytes = text.as_bytes();
        let ends = [bytes.first(), bytes.last()];
        let sound = (1..=LONGEST).contains(&bytes.len())
            && bytes.iter().all(|byte| byte.is_ascii_alphanumeric() || b"-._".contains(byte))
            && ends.into_iter().flatten().all(u8::is_ascii_alphanumeric);
        if sound { Ok(Self(text.to_owned())) } else { Err(NotANumber) }
    }
}

impl fmt::Display for PlantNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The text of a card's QR code.
pub fn payload(layout: &Layout, number: &PlantNumber) -> String {
    format!("{}{number}", layout.prefix)
}

/// What a QR code's bytes say, if they are those of a card: its layout and the plant's number. The bytes come from
/// anyone's printer and are trusted in nothing.
pub fn parse_payload(bytes: &[u8]) -> Option<(&'static Layout, PlantNumber)> {
    let text = std::str::from_utf8(bytes).ok()?;
    LAYOUTS.into_iter().find_map(|layout| Some((layout, text.strip_prefix(layout.prefix)?.parse().ok()?)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{CARD, POT_LABEL};

    #[test]
    fn a_payload_comes_back() {
        for layout in [&CARD, &POT_LABEL] {
            for text in ["ZB-0042", "7", "a_b.c-D", "ABCDEFGHIJKLMNOPQRSTUVWX"] {
                let number: PlantNumber = text.parse().unwrap();
                assert_eq!(parse_payload(payload(layout, &number).as_bytes()), Some((layout, number)));
            }
        }
    }

    #[test]
    fn other_payloads_are_foreign() {
        let long = format!("VG1:{}", "A".repeat(25));
        for text in [
            "",
            "VG1",
            "VG1:",
            "vg1:ZB-1",
            "VG3:ZB-1",
            "ZB-0042",
            "https://example.com/VG1:ZB-1",
            "VG1:../../etc",
            "VG1:-1",
            "VG1:1-",
            "VG1:ZB 1",
            "VG1:=1+1",
            "VG1:ZB\u{202e}1",
            "VG1:\u{1b}[31m",
            &long,
        ] {
            assert_eq!(parse_payload(text.as_bytes()), None, "{text:?}");
        }
        assert_eq!(parse_payload(b"VG1:\xff"), None);
    }
}
