//! Stage 4: what each leaf pixel is.

pub mod class;

use crate::base::raster::{Raster, Rect};
use class::Tissue;

/// The tissue of one plant.
#[derive(Debug, Clone)]
pub struct TissueMap {
    /// Where it lies in the upright photo.
    pub bounds: Rect,
    /// Class of each pixel; `None` outside the plant; the size of `bounds`.
    pub tissue: Raster<Option<Tissue>>,
}
