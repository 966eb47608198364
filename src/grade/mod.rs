//! Stage 6: flags by the standard.

/// Something the grower must know about the plant, with the number that tripped it.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// As a word that programs can compare, e.g. `too-pale`.
    pub code: &'static str,
    /// For people.
    pub text: String,
    /// The measured number.
    pub value: f64,
    /// The standard's limit.
    pub limit: f64,
}

/// The grade of one plant.
#[derive(Debug, Clone, Default)]
pub struct Grade {
    /// What tripped.
    pub flags: Vec<Flag>,
}
