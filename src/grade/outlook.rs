//! Growth outlook: an estimate of the pace beside a plain green sister.

use crate::base::stats::Interval;

/// Pace in parts of a plain green sister's, 0 to 1. Sugar made grows with green leaf in a straight line and respiration does
/// not change (measured on leaves of Hedera helix), so growth is `(g - b) / (1 - b)` with the break-even `b`. The ends of the range
/// are the ends of green capacity with the less kind and the kinder break-even.
pub(super) fn pace(green: Interval, [kind, unkind]: [f64; 2]) -> Interval {
    let pace = |green: f64, stop: f64| ((green - stop) / (1.0 - stop)).clamp(0.0, 1.0);
    Interval {
        value: pace(green.value, f64::midpoint(kind, unkind)),
        low: pace(green.low, unkind),
        high: pace(green.high, kind),
    }
}
