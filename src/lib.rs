//! Variegauge: photographs of banded and variegated rosette succulents in, measurements out.
//!
//! ```text
//! file -> Photo -> Calibrated -> Rosettes -> TissueMap -> Measures -> Grade -> Record -> CSV, JSON, masks, overlay
//! ```
//!
//! One type and one function a stage; [`pipeline`] alone knows the order. An error means no measurement; a
//! [`base::doubt::Doubt`] means a measurement with a caveat, which travels with the record.

pub mod bands;
pub mod base;
pub mod batch;
pub mod book;
pub mod calibrate;
pub mod card;
pub mod error;
pub mod grade;
pub mod label;
pub mod measure;
pub mod mothers;
pub mod network;
pub mod options;
pub mod pattern;
pub mod photo;
pub mod pipeline;
pub mod print;
pub mod record;
pub mod report;
pub mod season;
pub mod segment;
pub mod standard;
pub mod statistics;
pub mod tissue;
