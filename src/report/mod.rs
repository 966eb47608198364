//! What the user gets: tables, JSON, masks, pictures. Sees records, tissue maps and plain bytes; never a stage.

pub mod bands;
pub mod chart;
pub mod csv;
pub mod explain;
pub mod family;
pub mod file;
pub mod html;
pub mod jsonl;
mod legend;
pub mod listing;
pub mod masks;
pub mod names;
pub mod overlay;
mod paint;
mod palette;
mod pane;
pub mod raster;
pub mod season;
pub mod stock;
pub mod table;
pub mod text;
pub mod thumbnail;
#[cfg(test)]
mod traps;
