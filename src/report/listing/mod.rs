//! The listing sheet: what a seller tells of one plant. Made of the record and a picture alone, so that no place, file name or camera
//! can be on it.
//!
//! ```text
//! PlantRecord, photo -> Listing (words, picture with its scale bar) -> page (HTML), sheet (PDF), picture (PNG)
//! ```

mod html;
mod pdf;
mod picture;
mod words;

use crate::base::raster::Raster;
use crate::record::{PhotoRecord, PlantRecord};
use image::RgbImage;
use std::io::{Error, Result, Write};

/// A listing, ready to be written.
#[derive(Debug, Clone)]
pub struct Listing {
    /// Name and number, as the heading.
    title: String,
    /// What is told: a name and its value each.
    facts: Vec<(&'static str, String)>,
    /// Flags and doubts.
    limits: Vec<String>,
    /// The plant, with a scale bar under it if the scale is known.
    picture: RgbImage,
}

/// What a listing is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A page for a browser.
    Html,
    /// A sheet of A4.
    Pdf,
    /// The picture alone.
    Png,
}

/// What holds for every listing.
const NOTES: [&str; 3] = [
    "Stress red is of the season: it comes and goes with light, cold and drought. The score is an estimate from one photo.",
    "The numbers are those of the plant in the picture on that day; its offsets may differ.",
    "Local plant-health, import and consumer rules come first.",
];

/// Quality of the picture inside pages, as JPEG.
const QUALITY: u8 = 88;

impl Listing {
    /// The listing of one plant of a photo; `name` is what the seller calls it.
    pub fn new(rgb: &Raster<[u8; 3]>, photo: &PhotoRecord, plant: &PlantRecord, name: Option<&str>) -> Self {
        Self {
            title: words::title(plant, name),
            facts: words::facts(photo, plant),
            limits: words::limits(photo, plant),
            picture: picture::draw(rgb, plant),
        }
    }

    /// Writes it, without any metadata of the photo.
    pub fn write(&self, format: Format, out: &mut dyn Write) -> Result<()> {
        match format {
            Format::Html => html::write(self, out),
            Format::Pdf => pdf::write(self, out),
            Format::Png => {
                let mut bytes = std::io::Cursor::new(Vec::new());
                self.picture.write_to(&mut bytes, image::ImageFormat::Png).map_err(Error::other)?;
                out.write_all(bytes.get_ref())
            }
        }
    }
}
