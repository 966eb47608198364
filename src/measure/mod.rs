//! Stage 5: fractions and lengths with their intervals.

use crate::base::stats::Interval;
use crate::tissue::class::PerTissue;

/// What was measured on one plant. Fractions are 0..1; definitions in `docs/science.md`.
#[derive(Debug, Clone)]
pub struct Measures {
    /// Leaf pixels, all classes.
    pub pixels: usize,
    /// Largest extent of the outline (Feret diameter), pixels.
    pub diameter_px: f64,
    /// The same in mm, if the scale is known.
    pub diameter_mm: Option<f64>,
    /// Share of each tissue of all visible leaf, sums to 1.
    pub tissue: PerTissue<f64>,
    /// Green / living leaf; `None` without living leaf.
    pub green_fraction: Option<Interval>,
    /// (Cream + gold) / living leaf.
    pub pale_fraction: Option<Interval>,
    /// Red / living leaf.
    pub red_fraction: Option<Interval>,
    /// Green / (green + cream + gold).
    pub green_capacity: Option<Interval>,
}
