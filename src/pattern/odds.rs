//! Probabilities from thresholds.

/// A threshold: half sure at `at`, 73 % at one `width` beyond.
pub(super) struct Threshold {
    pub at: f64,
    pub width: f64,
}

impl Threshold {
    /// By how many widths `value` is over.
    pub(super) fn over(&self, value: f64) -> f64 {
        (value - self.at) / self.width
    }

    /// Probability that `value` is over.
    pub(super) fn passed(&self, value: f64) -> f64 {
        chance(self.over(value))
    }

    /// Probability that `value` is under.
    pub(super) fn missed(&self, value: f64) -> f64 {
        chance(-self.over(value))
    }
}

/// Logistic curve.
pub(super) fn chance(odds: f64) -> f64 {
    1.0 / (1.0 + (-odds).exp())
}
