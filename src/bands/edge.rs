//! What blur does to the width of a bright bar, and how it is undone.

/// A bright bar seen through Gaussian blur of standard deviation 1: its width where the profile crosses half of its own
/// peak, and its true width. Closed form: a bar under Gaussian blur is the difference of two normal distributions (the test
/// integrates it).
const HALF_PEAK: [(f64, f64); 8] = [
    (2.0 * 1.385_68, 2.0),
    (2.5 * 1.208_41, 2.5),
    (3.0 * 1.110_86, 3.0),
    (3.5 * 1.057_25, 3.5),
    (4.0 * 1.028_50, 4.0),
    (5.0 * 1.006_23, 5.0),
    (6.0 * 1.001_13, 6.0),
    (8.0 * 1.000_02, 8.0),
];

/// Widths under this many standard deviations of the blur are refused: there the correction takes a fifth of what is seen and
/// half of an error of the blur goes into the width (same closed form).
pub(super) const LEAST_SIGMAS: f64 = 2.5;

/// True width of a bar that is `seen` wide at half of its own peak, under Gaussian blur of `sigma`; the units are free.
/// Outside the table nothing is known: wider bars are as they seem, narrower ones shrink as the narrowest of the table.
pub(super) fn unblurred(seen: f64, sigma: f64) -> f64 {
    if sigma <= 0.0 {
        return seen;
    }
    let ratio = seen / sigma;
    let (first, last) = (HALF_PEAK[0], HALF_PEAK[HALF_PEAK.len() - 1]);
    if ratio >= last.0 {
        return seen;
    }
    if ratio <= first.0 {
        return seen * first.1 / first.0;
    }
    let above = HALF_PEAK.iter().position(|&(at, _)| at > ratio).unwrap_or(HALF_PEAK.len() - 1);
    let (low, high) = (HALF_PEAK[above - 1], HALF_PEAK[above]);
    sigma * (low.1 + (ratio - low.0) / (high.0 - low.0) * (high.1 - low.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Width at half of the peak of a bar under Gaussian blur, by its own formula: the profile is the difference of two normal
    /// distributions, here integrated step by step.
    fn half_peak(width: f64) -> f64 {
        let level = |x: f64| {
            let n = 4000;
            let step = width / f64::from(n);
            (0..n).map(|i| (-0.5 * (x + width / 2.0 - (f64::from(i) + 0.5) * step).powi(2)).exp() * step).sum::<f64>()
        };
        let half = level(0.0) / 2.0;
        let (mut low, mut high) = (0.0, width + 5.0);
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if level(middle) > half { low = middle } else { high = middle }
        }
        2.0 * low
    }

    #[test]
    fn blur_is_undone_to_a_hundredth() {
        for width in [2.5, 2.8, 3.3, 4.5, 6.5, 12.0] {
            let back = unblurred(1.7 * half_peak(width), 1.7) / 1.7;
            assert!((back / width - 1.0).abs() < 0.01, "{width}: {back}");
        }
        assert!((unblurred(7.0, 0.0) - 7.0).abs() < 1e-12);
    }
}
