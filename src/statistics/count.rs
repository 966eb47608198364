//! Counts over a time: how many a year, and how many next year.

use super::gamma::{gamma_quantile, ln_gamma};
use crate::base::stats::Interval;

/// Events a unit of time after `count` in `time` > 0, with the 95 % interval of Jeffreys' prior: quantiles of Gamma(count + 1/2,
/// rate `time`), lower end 0 at none (Brown, Cai, `DasGupta` 2003, Statistica Sinica 13:19-49).
pub fn rate(count: usize, time: f64) -> Interval {
    let shape = count as f64 + 0.5;
    let low = if count == 0 { 0.0 } else { gamma_quantile(shape, 0.025) };
    Interval { value: count as f64 / time, low: low / time, high: gamma_quantile(shape, 0.975) / time }
}

/// Events expected in the next unit of time after `count` in `time` > 0: the mean, and the ends within which 95 % of outcomes lie.
/// With Jeffreys' prior the next count is negative binomial of size count + 1/2 and odds `time` to 1 (Gelman et al. 2013, "Bayesian
/// data analysis", section 2.6), which holds both the chance of the year and the unknown rate.
pub fn next(count: usize, time: f64) -> Interval {
    let size = count as f64 + 0.5;
    let stay = time / (time + 1.0);
    let probability = |n: f64| {
        (ln_gamma(n + size) - ln_gamma(size) - ln_gamma(n + 1.0) + size * stay.ln() + n * (1.0 / (time + 1.0)).ln())
            .exp()
    };
    let (mut low, mut n, mut below) = (None, 0.0, 0.0);
    loop {
        below += probability(n);
        if low.is_none() && below > 0.025 {
            low = Some(n);
        }
        if below >= 0.975 || n > 1e5 {
            return Interval { value: size / time, low: low.unwrap_or(0.0), high: n };
        }
        n += 1.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twice the ends are chi-square points of 2 count + 1 degrees of freedom: 3 of them 0.216 and 9.348, one 5.024 (NIST/SEMATECH
    /// e-Handbook, 1.3.6.7.4).
    #[test]
    fn rates_have_chi_square_ends() {
        let one = rate(1, 2.0);
        assert!((one.low - 0.216 / 4.0).abs() < 2e-4 && (one.high - 9.348 / 4.0).abs() < 2e-4, "{one:?}");
        let none = rate(0, 1.0);
        assert!(none.low.abs() < 1e-12 && (none.high - 5.024 / 2.0).abs() < 3e-4, "{none:?}");
    }

    /// Of size 1/2 + 0 and time 1 the counts have the probabilities (2n)! / (n!)² / 4^n / 2^n / √2: 0.7071, 0.1768, 0.0663, 0.0276,
    /// sum 0.978.
    #[test]
    fn the_next_year_is_negative_binomial() {
        let next = next(0, 1.0);
        assert!(
            (next.value - 0.5).abs() < 1e-12 && next.low.abs() < 1e-12 && (next.high - 3.0).abs() < 1e-12,
            "{next:?}"
        );
    }

    /// Drawn at random: as many of the next counts lie within as are said to, or more, as counts are whole.
    #[test]
    fn the_ends_hold_what_they_say() {
        let mut random = crate::base::stats::SplitMix64::new(7);
        let (count, time) = (4, 2.5);
        let ends = next(count, time);
        let drawn = 4000;
        let mut within = 0;
        for _ in 0..drawn {
            let mut rate = gamma_quantile(count as f64 + 0.5, random.unit()) / time;
            let mut n = 0.0;
            // Poisson by its exponential gaps.
            loop {
                rate += (1.0 - random.unit()).ln();
                if rate < 0.0 {
                    break;
                }
                n += 1.0;
            }
            within += usize::from((ends.low..=ends.high).contains(&n));
        }
        let share = within as f64 / f64::from(drawn);
        assert!((0.945..0.99).contains(&share), "{share}");
    }
}
