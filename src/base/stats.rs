//! Small statistics: intervals, quantiles, a deterministic random generator.

use serde::Serialize;

/// A value with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// Best value.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end of the 95 % interval.
    pub high: f64,
}

impl Interval {
    /// A value that is known.
    pub fn exact(value: f64) -> Self {
        Self { value, low: value, high: value }
    }

    /// The quotient by a positive value that is known to its own interval, such as mm from pixels and pixels a mm; ends
    /// are taken at their worst, so the interval is rather wide.
    #[must_use]
    pub fn over(self, divisor: Self) -> Self {
        Self { value: self.value / divisor.value, low: self.low / divisor.high, high: self.high / divisor.low }
    }
}

/// The `p`-quantile (0..=1) by linear interpolation between order statistics (type 7 of Hyndman and Fan 1996, The
/// American Statistician 50:361-365). Brings `values` into another order; `None` when empty.
pub fn quantile(values: &mut [f64], p: f64) -> Option<f64> {
    let last = values.len().checked_sub(1)?;
    let at = p.clamp(0.0, 1.0) * last as f64;
    let below = at.floor() as usize;
    let (_, &mut lower, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    let upper = above.iter().copied().min_by(f64::total_cmp).unwrap_or(lower);
    Some(lower + (at - below as f64) * (upper - lower))
}

/// `SplitMix64` (Steele, Lea, Flood 2014, OOPSLA): the same numbers on every machine and for every number of threads.
#[derive(Debug, Clone)]
pub struct SplitMix64(u64);

impl SplitMix64 {
    /// A generator that always gives the same row of numbers for one seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 random bits.
    pub fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in `0..n` (n > 0).
    pub fn below(&mut self, n: usize) -> usize {
        ((u128::from(self.next_u64()) * n as u128) >> 64) as usize
    }

    /// Standard normal (Box, Muller 1958, Ann. Math. Stat. 29:610-611).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quotient_holds_both_errors() {
        let scale = Interval { value: 10.0, low: 8.0, high: 12.5 };
        let mm = Interval { value: 50.0, low: 40.0, high: 60.0 }.over(scale);
        assert_eq!(mm, Interval { value: 5.0, low: 3.2, high: 7.5 });
        assert_eq!(Interval::exact(50.0).over(scale), Interval { value: 5.0, low: 4.0, high: 6.25 });
    }

    #[test]
    fn quantile_interpolates() {
        let mut v = [3.0, 1.0, 2.0, 4.0];
        assert_eq!(quantile(&mut v, 0.5), Some(2.5));
        assert_eq!(quantile(&mut v, 0.0), Some(1.0));
        assert_eq!(quantile(&mut [], 0.5), None);
    }

    /// First outputs of `SplitMix64` for seed 1234567, as printed on rosettacode.org, "Pseudo-random numbers/Splitmix64"
    /// (from memory).
    #[test]
    fn splitmix_matches_published_outputs() {
        let mut r = SplitMix64::new(1_234_567);
        assert_eq!(r.next_u64(), 6_457_827_717_110_365_317);
        assert_eq!(r.next_u64(), 3_203_168_211_198_807_973);
    }
}
