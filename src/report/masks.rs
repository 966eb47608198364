//! Masks: 8-bit grey PNG in the upright photo's full size.

use crate::base::raster::Raster;
use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder};
use std::io::{Error, Result, Write};

/// Writes a mask as PNG, each value as it is.
pub fn write(mask: &Raster<u8>, out: &mut dyn Write) -> Result<()> {
    let (width, height) = (mask.width() as u32, mask.height() as u32);
    PngEncoder::new(out).write_image(mask.as_slice(), width, height, ExtendedColorType::L8).map_err(Error::other)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pipeline::drawn;

    #[test]
    fn a_mask_is_read_again_as_it_was() {
        let mask = drawn(&[&["gcorbdu", "......."]]).tissue_mask();
        let mut png = Vec::new();
        write(&mask, &mut png).unwrap();
        let read = image::load_from_memory(&png).unwrap();
        assert_eq!(read.color(), image::ColorType::L8);
        assert_eq!((read.width(), read.height()), (7, 2));
        assert_eq!(read.into_bytes(), [1, 2, 3, 4, 5, 6, 7, 0, 0, 0, 0, 0, 0, 0]);
    }
}
