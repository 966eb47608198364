//! The options of a run as words, with hashes that tell equal ones.

use super::Settings;
use crate::base::hex::hex;
use crate::options::{self, Options};
use crate::standard::Standard;
use sha2::{Digest, Sha256};

impl Settings {
    pub(super) fn new(options: &Options) -> Self {
        let Options { plants, hint, white, scale, card_below, standard } = options;
        let hash =
            short_hash(format!("{plants:?} {hint:?} {white:?} {scale:?} {card_below:?} {standard:?}").as_bytes());
        let Standard { card, bands, .. } = standard;
        let hint = hint.as_ref().map(ToString::to_string);
        let white = white.as_ref().map(ToString::to_string);
        let (px_per_mm, known_length) = match scale {
            Some(options::Scale::PxPerMm(value)) => (Some(*value), None),
            Some(known) => (None, Some(known.to_string())),
            None => (None, None),
        };
        Self {
            plants: plants.name(),
            hint,
            white,
            px_per_mm,
            known_length,
            card_below_mm: *card_below,
            card_paper_lab: card.paper_lab,
            card_check_line_mm: card.check_line_mm,
            band_limits_mm: bands.mm(),
            band_limits_rel: bands.rel(),
            standard_hash: standard_hash(standard),
            hash,
        }
    }
}

/// First 16 hex digits of the SHA-256 of a standard's values, written as JSON: equal for equal values, whatever the comments
/// and the order of the file.
///
/// # Panics
/// Never: numbers, texts and lists of them can be written.
pub fn standard_hash(standard: &Standard) -> String {
    short_hash(&serde_json::to_vec(standard).expect("a standard is numbers and texts"))
}

fn short_hash(bytes: &[u8]) -> String {
    let mut hash = hex(&Sha256::digest(bytes));
    hash.truncate(16);
    hash
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_settings_other_hash() {
        let settings = |scale| Settings::new(&Options { scale, ..Options::default() });
        let known = options::Scale::Known { from: [1.0, 2.0], to: [30.0, 2.0], mm: 5.0 };
        assert_eq!(settings(None).hash, settings(None).hash);
        assert_ne!(settings(None).hash, settings(Some(options::Scale::PxPerMm(10.0))).hash);
        assert_ne!(settings(Some(known)).hash, settings(Some(options::Scale::PxPerMm(5.8))).hash);
        assert_eq!(settings(Some(known)).known_length.as_deref(), Some("1,2 to 30,2 is 5 mm"));
        assert_eq!(settings(None).hash.len(), 16);
    }
}
