//! Our own limits, checked from the header before anything is decoded: a small file may declare a huge picture.

use crate::error::{Error, Result};

/// Most bytes a photo file may have (200 MB; a 12-megapixel phone photo has 3 to 8 MB).
pub const MAX_FILE_BYTES: u64 = 200_000_000;
/// Most pixels a picture may have (100 megapixels: 300 MB as decoded colour).
pub const MAX_PIXELS: u64 = 100_000_000;
/// Most pixels a side of a picture may have.
pub const MAX_SIDE: u32 = 30_000;
/// Most bytes of a colour profile; a larger one is left aside with a doubt.
pub const MAX_ICC_BYTES: usize = 4_000_000;
/// Most bytes of an EXIF block; a larger one is left aside with a doubt.
pub const MAX_EXIF_BYTES: usize = 1_000_000;
/// Most scans of a JPEG: each is decoded over the whole picture, so that a small file can ask for hours.
pub const MAX_SCANS: usize = 100;

/// The limits as one line a limit, for the command's help.
pub fn limits_text() -> String {
    format!(
        "file: {} MB\npicture: {} megapixels, {} pixels a side\ncolour profile: {} MB\nEXIF: {} MB\nJPEG scans: {}\n",
        MAX_FILE_BYTES / 1_000_000,
        MAX_PIXELS / 1_000_000,
        MAX_SIDE,
        MAX_ICC_BYTES / 1_000_000,
        MAX_EXIF_BYTES / 1_000_000,
        MAX_SCANS,
    )
}

/// Refuses a file of more than [`MAX_FILE_BYTES`].
pub(super) fn check_file(bytes: u64) -> Result<()> {
    if bytes > MAX_FILE_BYTES {
        return Err(Error::Limit(format!(
            "the file has more than {} MB, the limit for a photo",
            MAX_FILE_BYTES / 1_000_000
        )));
    }
    Ok(())
}

/// Refuses a picture that is empty or larger than [`MAX_PIXELS`] or [`MAX_SIDE`].
pub(super) fn check_size(width: u32, height: u32) -> Result<()> {
    if width == 0 || height == 0 {
        return Err(Error::Damaged(format!("the file declares a picture of {width} x {height} pixels")));
    }
    if width > MAX_SIDE || height > MAX_SIDE || u64::from(width) * u64::from(height) > MAX_PIXELS {
        return Err(Error::Limit(format!(
            "the file declares {width} x {height} pixels; the limits are {} megapixels and {MAX_SIDE} pixels a side",
            MAX_PIXELS / 1_000_000
        )));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn size_limits_are_inclusive() {
        assert!(check_size(10_000, 10_000).is_ok());
        assert!(check_size(30_000, 3_333).is_ok());
        for (width, height) in [(10_000, 10_001), (30_001, 1), (1, 30_001), (0, 5), (5, 0), (u32::MAX, u32::MAX)] {
            assert!(check_size(width, height).is_err(), "{width} x {height}");
        }
    }

    #[test]
    fn text_states_the_constants() {
        let text = limits_text();
        for part in ["200 MB", "100 megapixels", "30000 pixels a side", "4 MB", "1 MB", "scans: 100"] {
            assert!(text.contains(part), "{part} in {text}");
        }
    }
}
