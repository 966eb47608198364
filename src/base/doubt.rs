//! Caveats that travel with a measurement.

use super::word::{self, Word};
use serde::{Deserialize, Serialize};

/// A caveat of a photo or a plant: the measurement stands, the reader must know this.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubt {
    /// What is doubtful, as a word that programs can compare, e.g. `no-scale`.
    #[serde(deserialize_with = "word::read")]
    pub code: Word,
    /// The same for people: what, how much, what to do.
    pub text: String,
}

impl Doubt {
    /// A doubt with its word and its sentence.
    pub fn new(code: &'static str, text: impl Into<String>) -> Self {
        Self { code, text: text.into() }
    }
}
