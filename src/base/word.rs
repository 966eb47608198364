//! Words of the program's own (`graded`, `no-scale`), written in its source and read back from its files.

use serde::{Deserialize, Deserializer};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

/// A word that lives as long as the program.
pub type Word = &'static str;

/// Reads a word back.
pub fn read<'de, D: Deserializer<'de>>(from: D) -> Result<Word, D::Error> {
    String::deserialize(from).map(kept)
}

/// Reads a word that may be missing.
pub fn read_option<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Word>, D::Error> {
    Option::<String>::deserialize(from).map(|word| word.map(kept))
}

/// Reads a map whose keys are words.
pub fn read_keys<'de, D: Deserializer<'de>, V: Deserialize<'de>>(from: D) -> Result<BTreeMap<Word, V>, D::Error> {
    let map = BTreeMap::<String, V>::deserialize(from)?;
    Ok(map.into_iter().map(|(word, value)| (kept(word), value)).collect())
}

/// The same word as one that is never freed; each different one is kept once, and files hold few different ones.
fn kept(word: String) -> Word {
    static WORDS: Mutex<BTreeSet<Word>> = Mutex::new(BTreeSet::new());
    let mut words = WORDS.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = words.get(word.as_str()) {
        return known;
    }
    let word: Word = word.leak();
    words.insert(word);
    word
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_words_are_kept_once() {
        let [a, b] = ["some word"; 2].map(|word| kept(word.to_owned()));
        assert!(std::ptr::eq(a, b));
        assert_ne!(kept("another".into()), a);
    }
}
