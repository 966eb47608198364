//! The gamma and beta functions and the quantiles made from them.

/// Lanczos coefficients for g = 7, n = 9 (P. Godfrey 2001, "A note on the computation of the convergent Lanczos complex gamma
/// approximation").
const LANCZOS: [f64; 9] = [
    0.999_999_999_999_809_9,
    676.520_368_121_885_1,
    -1_259.139_216_722_402_8,
    771.323_428_777_653_1,
    -176.615_029_162_140_6,
    12.507_343_278_686_905,
    -0.138_571_095_265_720_12,
    9.984_369_578_019_572e-6,
    1.505_632_735_149_311_6e-7,
];

/// Iterations after which a series or fraction has converged for all arguments of use here.
const MOST: u32 = 10_000;

/// Smallest number that a continued fraction divides by.
const TINY: f64 = 1e-300;

/// Natural logarithm of the gamma function of x >= 0.5 (Lanczos 1964, SIAM J. Numer. Anal. B 1:86-96).
pub fn ln_gamma(x: f64) -> f64 {
    let x = x - 1.0;
    let base = x + 7.5;
    let sum: f64 = (1..).zip(&LANCZOS[1..]).map(|(i, c)| c / (x + f64::from(i))).sum();
    0.5 * std::f64::consts::TAU.ln() + (x + 0.5) * base.ln() - base + (LANCZOS[0] + sum).ln()
}

/// Regularised lower incomplete gamma function P(a, x), by its series (DLMF 8.11.4, <https://dlmf.nist.gov/8.11>).
pub fn gamma_p(a: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let (mut term, mut sum) = (1.0 / a, 1.0 / a);
    for n in 1..MOST {
        term *= x / (a + f64::from(n));
        sum += term;
        if term < sum * f64::EPSILON {
            break;
        }
    }
    (sum.ln() + a * x.ln() - x - ln_gamma(a)).exp().min(1.0)
}

/// Regularised incomplete beta function `I_x(a, b)`, by its continued fraction (DLMF 8.17.22) with Lentz's method (Thompson, Barnett
/// 1986, J. Comput. Phys. 64:490-509).
pub fn beta_i(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 || x >= 1.0 {
        return x.clamp(0.0, 1.0);
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return 1.0 - beta_i(b, a, 1.0 - x);
    }
    let front = ln_gamma(a + b) - ln_gamma(a) - ln_gamma(b) + a * x.ln() + b * (-x).ln_1p();
    let away = |v: f64| if v.abs() < TINY { TINY } else { v };
    let (mut c, mut d) = (1.0, 1.0 / away(1.0 - (a + b) * x / (a + 1.0)));
    let mut fraction = d;
    for m in 1..MOST {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let before = fraction;
        for step in [even, odd] {
            d = 1.0 / away(1.0 + step * d);
            c = away(1.0 + step / c);
            fraction *= c * d;
        }
        if (fraction - before).abs() < fraction.abs() * f64::EPSILON {
            break;
        }
    }
    (front.exp() * fraction / a).min(1.0)
}

/// `x` of a beta distribution below which it lies with probability `p`.
pub fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    root(|x| beta_i(a, b, x) < p, 1.0)
}

/// `x` of a gamma distribution of shape `a` and rate 1 below which it lies with probability `p` < 1.
pub fn gamma_quantile(a: f64, p: f64) -> f64 {
    let mut high = a + 1.0;
    while gamma_p(a, high) < p {
        high *= 2.0;
    }
    root(|x| gamma_p(a, x) < p, high)
}

/// Where `below` turns false between 0 and `high`, by bisection to the last digit.
fn root(below: impl Fn(f64) -> bool, high: f64) -> f64 {
    let (mut low, mut high) = (0.0, high);
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if below(middle) { low = middle } else { high = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factorials, and Γ(1/2) = √π.
    #[test]
    fn the_gamma_function_gives_factorials() {
        let mut factorial: f64 = 1.0;
        for n in 1..60 {
            assert!((ln_gamma(f64::from(n)) - factorial.ln()).abs() < 1e-12 * factorial.ln().abs().max(1.0), "{n}");
            factorial *= f64::from(n);
        }
        assert!((ln_gamma(0.5) - std::f64::consts::PI.sqrt().ln()).abs() < 1e-14);
    }

    /// Upper points of the chi-square distribution as every table prints them (NIST/SEMATECH e-Handbook of Statistical Methods,
    /// 1.3.6.7.4): half of it is gamma of half the degrees of freedom.
    #[test]
    fn chi_square_points_are_those_of_the_table() {
        for (freedom, p, printed) in [
            (1.0, 0.95, 3.841),
            (1.0, 0.975, 5.024),
            (2.0, 0.95, 5.991),
            (5.0, 0.975, 12.833),
            (10.0, 0.95, 18.307),
            (10.0, 0.025, 3.247),
            (100.0, 0.95, 124.342),
        ] {
            let got = 2.0 * gamma_quantile(freedom / 2.0, p);
            assert!((got - printed).abs() <= 0.000_5, "{freedom} {p}: {got}");
        }
    }

    /// `I_x(1, b) = 1 - (1 - x)^b`, and symmetry (DLMF 8.17.4).
    #[test]
    fn the_beta_function_has_its_closed_forms() {
        for x in [0.001, 0.2, 0.5, 0.77, 0.999] {
            for b in [0.5, 1.0, 3.5, 40.0] {
                assert!((beta_i(1.0, b, x) - (1.0 - (1.0f64 - x).powf(b))).abs() < 1e-13);
                assert!((beta_i(2.5, b, x) + beta_i(b, 2.5, 1.0 - x) - 1.0).abs() < 1e-13);
            }
        }
        assert!((beta_i(2.0, 3.0, beta_quantile(2.0, 3.0, 0.3)) - 0.3).abs() < 1e-12);
    }
}
