//! The label card: a printed card beside the plant that tells its number, what is neutral, and how long a millimetre is.
//!
//! [`layout`] is the one table that both printing and finding read.

pub mod layout;
pub mod number;
