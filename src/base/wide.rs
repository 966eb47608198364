//! Loops in the widest vectors that the machine has.

use pulp::Arch;

/// Does `work` in code that was compiled for the vectors of the machine, chosen while running. Only what the compiler puts into
/// the closure gets them: loops that stand in it, and functions marked `#[inline(always)]`. The values are those of plain
/// code, bit by bit: products and sums are neither contracted nor put in another order.
pub fn wide<R>(work: impl FnOnce() -> R) -> R {
    Arch::new().dispatch(work)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_those_of_plain_code() {
        let values: Vec<f32> = (0..1003).map(|i| (i as f32 * 0.37).sin() * 1e3).collect();
        let add = |values: &[f32]| values.iter().zip(&values[1..]).map(|(a, b)| a * 0.1 + b * b).collect::<Vec<f32>>();
        assert_eq!(wide(|| add(&values)), add(&values));
    }
}
