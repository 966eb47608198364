//! Shares of few: k of n, with intervals that are sound for small n (Brown, Cai, `DasGupta` 2001, Statistical Science 16:101-133).

use super::gamma::beta_quantile;
use crate::base::stats::Interval;

/// Normal quantile of 95 % intervals.
const Z: f64 = 1.959_963_984_540_054;

/// `k` of `n` with Wilson's 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22:209-212); `None` of none.
pub fn wilson(k: usize, n: usize) -> Option<Interval> {
    let (k, n, z2) = (k as f64, n as f64, Z * Z);
    let value = k / n;
    let centre = (k + z2 / 2.0) / (n + z2);
    let half = Z / (n + z2) * (n * value * (1.0 - value) + z2 / 4.0).sqrt();
    (n > 0.0).then(|| Interval { value, low: (centre - half).max(0.0), high: (centre + half).min(1.0) })
}

/// `k` of `n` with Jeffreys' 95 % interval: quantiles of Beta(k + 1/2, n - k + 1/2), with the ends 0 at k = 0 and 1 at k = n
/// (Brown, Cai, `DasGupta` 2001, section 4.1.2); `None` of none.
pub fn jeffreys(k: usize, n: usize) -> Option<Interval> {
    let (a, b) = (k as f64 + 0.5, n.checked_sub(k)? as f64 + 0.5);
    let low = if k == 0 { 0.0 } else { beta_quantile(a, b, 0.025) };
    let high = if k == n { 1.0 } else { beta_quantile(a, b, 0.975) };
    (n > 0).then(|| Interval { value: k as f64 / n as f64, low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All k of n to 12 at 95 %, computed with statsmodels, and the printed examples of Newcombe 1998: `fixtures/README.md`.
    #[test]
    fn both_are_those_of_the_tables() {
        let table = include_str!("../../fixtures/statistics/binomial_intervals.csv");
        let mut rows = 0;
        for row in csv::Reader::from_reader(table.as_bytes()).deserialize() {
            let row: std::collections::BTreeMap<String, String> = row.unwrap();
            let number = |name: &str| row[name].parse::<f64>().unwrap();
            if number("conf") < 0.949 || number("conf") > 0.951 {
                continue;
            }
            let (k, n) = (number("k") as usize, number("n") as usize);
            let wilson = wilson(k, n).unwrap();
            let jeffreys = jeffreys(k, n).unwrap();
            for (got, name) in [
                (wilson.low, "wilson_lo"),
                (wilson.high, "wilson_hi"),
                (jeffreys.low, "jeffreys_lo"),
                (jeffreys.high, "jeffreys_hi"),
            ] {
                assert!((got - number(name)).abs() < 6e-9, "{k} of {n}, {name}: {got} {}", number(name));
            }
            rows += 1;
        }
        assert!(rows > 90, "{rows}");
        assert!(super::wilson(0, 0).is_none() && super::jeffreys(0, 0).is_none());
    }

    /// Newcombe 1998, Statistics in Medicine 17:857-872, table I, method 3: the printed four decimals.
    #[test]
    fn newcombe_s_examples_to_the_printed_digits() {
        for (k, n, low, high) in
            [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]
        {
            let got = wilson(k, n).unwrap();
            assert!((got.low - low).abs() < 5e-5 && (got.high - high).abs() < 5e-5, "{got:?}");
        }
    }

    #[test]
    fn one_of_one_does_not_stand_above_eight_of_ten() {
        assert!(wilson(1, 1).unwrap().low < wilson(8, 10).unwrap().low);
        assert!(jeffreys(1, 1).unwrap().low < jeffreys(8, 10).unwrap().low);
    }
}
