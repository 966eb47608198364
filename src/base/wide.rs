//! Loops in the widest vectors that the machine has.

use pulp::Arch;

/// Does `work` in code that was compiled for the vectors of the machine, chosen while running. Only what the compiler puts into
/// the closure gets them: loops that stand in it, and functions marked `#[inline(always)]`. The values are those of plain
/// code, bit by bit: products and sums are neither contracted nor put in another order.
pub fn wide<R>(work: impl FnOnce() -> R) -> R {
    Arch::new().dispatch(work)
}
