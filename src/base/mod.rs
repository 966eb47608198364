//! Words of the whole program: rasters, colours, units, doubts, statistics. Imports nothing of ours.

pub mod approximate;
pub mod bilinear;
pub mod color;
pub mod date;
pub mod doubt;
pub mod hex;
pub mod homography;
pub mod raster;
pub mod resample;
pub mod stats;
pub mod table;
pub mod wide;
pub mod window;
pub mod word;
