//! Label cards and pot labels as pages to print.
//!
//! ```text
//! Label -> card (code, rule, letters) -> Group -> sheet -> Page -> svg, pdf
//! ```
//!
//! Where things stand on a card is the table in [`crate::card::layout`] alone. All text is outlines.

pub mod card;
mod code;
pub mod draw;
pub mod letters;
pub mod pdf;
mod rule;
pub mod sheet;
pub mod svg;
