//! Statistics of few and small numbers: shares, rates, trends. Pure; each function names its source, and all are tested against
//! published values.

pub mod count;
pub mod gamma;
pub mod share;
pub mod trend;
