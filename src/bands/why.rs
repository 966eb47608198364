//! Why something is not told.

use super::edge;
use crate::base::doubt::Doubt;

/// Narrowest width that is stated, pixels: there a tenth of a band is under half a pixel.
const NARROWEST_PX: f64 = 4.0;
/// Steepest view that is measured, degrees from the vertical: the plants of the fit were seen at up to 60.
pub(super) const STEEPEST_DEG: f64 = 60.0;
/// Length over width under which a plant's median crossing is that of a separate tubercle. Of rendered plants with unbroken
/// bands (5 pixels and more) 1 in 50 is under it, of those with separate tubercles 9 in 10.
const UNBROKEN: f64 = 2.0;

/// Why the width of a plant's bands is not told.
pub(super) fn unfit(width: f64, sigma: f64, length_over_width: f64) -> Option<Doubt> {
    if length_over_width < UNBROKEN {
        let text = "the bands are rows of separate tubercles: no band width is given";
        return Some(Doubt::new("bands-separate", text));
    }
    if width < edge::LEAST_SIGMAS * sigma {
        let text = format!(
            "bands of {width:.1} pixels are too blurred (standard deviation {sigma:.1} pixels) for their width; focus on the leaves"
        );
        return Some(Doubt::new("bands-blurred", text));
    }
    (width < NARROWEST_PX).then(|| {
        let text =
            format!("bands of {width:.1} pixels are too small for their width; fill more of the frame with the plant");
        Doubt::new("bands-small", text)
    })
}

/// Too few bands.
pub(super) fn few(bands: usize) -> Doubt {
    let text = format!("only {bands} bands are clear enough to be measured: too few for the plant's band width");
    Doubt::new("bands-few", text)
}

/// Too steep a view.
pub(super) fn tilted(tilt: f64) -> Doubt {
    let text =
        format!("seen from {tilt:.0} degrees off the vertical, too tilted for band widths; photograph it from above");
    Doubt::new("bands-tilted", text)
}

/// Neither clearly bands nor clearly none.
pub(super) fn unsure() -> Doubt {
    let text = "measured as bands, but few have neighbours like themselves: it may be glare or texture; photograph the \
                plant sharper, larger and in soft light";
    Doubt::new("bands-unsure", text)
}
