//! Trends of few points that need not be normal: the Theil-Sen slope and the Mann-Kendall test.

use crate::base::stats::{Interval, quantile};

/// Fewest points that can show a trend at 5 %: the smallest two-sided probability of 4 points is 0.083, of 5 points 0.017.
pub const FEWEST: usize = 5;

/// Most points whose probability is counted exactly.
const MOST_EXACT: usize = 60;

/// Normal quantile of 95 % intervals.
const Z: f64 = 1.959_963_984_540_054;

/// A straight line through points, and whether they rise or fall at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Median of the slopes of all pairs (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379-1389) with Sen's 95 % interval.
    pub slope: Interval,
    /// Median of y less slope times median of x.
    pub intercept: f64,
    /// Rising pairs less falling pairs (Mann 1945, Econometrica 13:245-259).
    pub rises: i64,
    /// Kendall's tau-a: `rises` in parts of all pairs.
    pub tau: f64,
    /// Two-sided probability of so many rises or falls without a trend.
    pub p: f64,
    /// Whether `p` is counted (Kendall 1975, "Rank correlation methods") and not that of the normal distribution with correction
    /// for ties and continuity.
    pub exact: bool,
    /// Points.
    pub points: usize,
}

/// The trend of points `[x, y]`; `None` of fewer than two, or all at one x.
pub fn trend(points: &[[f64; 2]]) -> Option<Trend> {
    let n = points.len();
    let pairs = || (0..n).flat_map(move |i| (i + 1..n).map(move |j| (points[i], points[j])));
    let mut slopes: Vec<f64> = pairs()
        .filter(|([x1, _], [x2, _])| x1 < x2 || x2 < x1)
        .map(|([x1, y1], [x2, y2])| (y2 - y1) / (x2 - x1))
        .collect();
    let middle = quantile(&mut slopes, 0.5)?;
    slopes.sort_by(f64::total_cmp);
    let rises: i64 = pairs().map(|([x1, y1], [x2, y2])| sign(x2 - x1) * sign(y2 - y1)).sum();
    let [ties_x, ties_y] = [0, 1].map(|axis| tied(points.iter().map(|point| point[axis]).collect()));
    let variance = ((n * (n - 1) * (2 * n + 5)) as f64 - ties_x.1 - ties_y.1) / 18.0;
    let exact = !ties_x.0 && !ties_y.0 && n <= MOST_EXACT;
    let median = |axis: usize| quantile(&mut points.iter().map(|point| point[axis]).collect::<Vec<_>>(), 0.5);
    Some(Trend {
        slope: ends(middle, &slopes, variance.sqrt()),
        intercept: median(1)? - middle * median(0)?,
        rises,
        tau: rises as f64 / (n * (n - 1) / 2) as f64,
        p: if exact { counted(n, rises) } else { normal(rises, variance) },
        exact,
        points: n,
    })
}

fn sign(difference: f64) -> i64 {
    i64::from(difference > 0.0) - i64::from(difference < 0.0)
}

/// Whether values are tied, and the sum of t (t - 1) (2 t + 5) over the groups of t equal values.
fn tied(mut values: Vec<f64>) -> (bool, f64) {
    values.sort_by(f64::total_cmp);
    let groups = values.chunk_by(|a, b| a.total_cmp(b).is_eq()).map(<[f64]>::len);
    groups.filter(|&t| t > 1).fold((false, 0.0), |(_, sum), t| (true, sum + (t * (t - 1) * (2 * t + 5)) as f64))
}

/// Sen's interval: slopes, in order, so far from the middle as the spread of `rises` tells.
fn ends(value: f64, slopes: &[f64], sd: f64) -> Interval {
    let (n, reach) = (slopes.len() as f64, Z * sd);
    let low = (f64::midpoint(n, -reach).round() - 1.0).max(0.0) as usize;
    let high = (f64::midpoint(n, reach).round() as usize).min(slopes.len() - 1);
    Interval { value, low: slopes[low].min(value), high: slopes[high].max(value) }
}

/// Share of the orders of `n` values with at least so many rises more than falls, or falls more than rises. Orders are counted by
/// their inversions: a further value adds 0 to its rank (Kendall 1975, chapter 5).
fn counted(n: usize, rises: i64) -> f64 {
    let mut shares = vec![1.0];
    for further in 2..=n {
        let mut next = vec![0.0; shares.len() + further - 1];
        for (inversions, share) in shares.iter().enumerate() {
            next[inversions..inversions + further].iter_mut().for_each(|sum| *sum += share / further as f64);
        }
        shares = next;
    }
    let pairs = (n * (n - 1) / 2) as i64;
    let far = |inversions: i64| (pairs - 2 * inversions).abs() >= rises.abs();
    (0..).zip(&shares).filter(|(inversions, _)| far(*inversions)).map(|(_, share)| share).sum::<f64>().min(1.0)
}

/// Two-sided probability by the normal distribution, with a step of one for continuity.
fn normal(rises: i64, variance: f64) -> f64 {
    if rises == 0 || variance <= 0.0 {
        return 1.0;
    }
    let z = (rises.abs() - 1) as f64 / variance.sqrt();
    1.0 - super::gamma::gamma_p(0.5, z * z / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    fn examples() -> serde_json::Map<String, Value> {
        serde_json::from_str(include_str!("../../fixtures/statistics/trend_examples.json")).unwrap()
    }

    fn numbers(value: &Value) -> Vec<f64> {
        value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
    }

    fn of(example: &Value) -> Trend {
        let points: Vec<[f64; 2]> =
            numbers(&example["x"]).into_iter().zip(numbers(&example["y"])).map(|(x, y)| [x, y]).collect();
        trend(&points).unwrap()
    }

    /// Book examples (Helsel, Hirsch; Hollander, Wolfe) and two made-up series with ties and uneven dates, computed with scipy:
    /// `fixtures/README.md`.
    #[test]
    fn published_examples_come_out() {
        for (name, example) in examples() {
            let got = of(&example);
            let expected = numbers(&example["theilslopes"]);
            let near = |got: f64, expected: f64, what: &str| {
                assert!((got - expected).abs() < 1e-9, "{name}, {what}: {got}, not {expected}");
            };
            near(got.slope.value, expected[0], "slope");
            near(got.intercept, expected[1], "intercept");
            near(got.slope.low, expected[2], "lower end");
            near(got.slope.high, expected[3], "upper end");
            near(got.tau, example["tau"].as_f64().unwrap(), "tau");
            near(got.rises as f64, example["S"].as_f64().unwrap(), "S");
            let p = example["p_exact"].as_f64();
            assert_eq!(got.exact, p.is_some(), "{name}");
            near(got.p, p.or(example["p_normal"].as_f64()).unwrap(), "p");
            near(normal(got.rises, example["var"].as_f64().unwrap()), example["p_normal"].as_f64().unwrap(), "normal");
        }
    }

    #[test]
    fn four_points_are_too_few_and_five_can_tell() {
        let straight = |n: usize| trend(&(0..n).map(|i| [i as f64, i as f64]).collect::<Vec<_>>()).unwrap().p;
        assert!((straight(FEWEST - 1) - 2.0 / 24.0).abs() < 1e-12);
        assert!((straight(FEWEST) - 2.0 / 120.0).abs() < 1e-12);
        assert!(straight(40) < 1e-40);
    }

    #[test]
    fn what_has_no_slope_has_no_trend() {
        assert_eq!(trend(&[]), None);
        assert_eq!(trend(&[[1.0, 2.0]]), None);
        assert_eq!(trend(&[[1.0, 2.0], [1.0, 3.0]]), None);
        let flat = trend(&[[0.0, 1.0], [1.0, 1.0], [2.0, 1.0]]).unwrap();
        assert!((flat.p - 1.0).abs() < 1e-12 && flat.slope.value.abs() < 1e-12);
    }
}
