//! Stage 3: which pixels belong to which plant.

use crate::base::doubt::Doubt;
use crate::base::raster::{Raster, Rect};

/// One plant in the photo.
#[derive(Debug, Clone)]
pub struct Rosette {
    /// Where it lies in the upright photo.
    pub bounds: Rect,
    /// True where the plant is; the size of `bounds`.
    pub mask: Raster<bool>,
    /// Agreement of the witnesses, 0..1 (intersection over union of their outlines).
    pub confidence: f64,
    /// Caveats (low confidence, cut by the frame).
    pub doubts: Vec<Doubt>,
}
