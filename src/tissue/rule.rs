//! The colour rule: what a leaf colour means, from Oklab hue and chroma over lightness.
//!
//! Hue and C/L do not move with exposure until a channel clips; lightness is used only where something of known
//! reflectance fixes it. Thresholds come from leaf optics (PROSPECT-D, Feret et al. 2017, Remote Sens. Environ.
//! 193:204-215: hue follows chlorophyll over carotenoid, C/L follows carotenoid) and agree with Munsell chips read by
//! their ISCC-NBS names (Kelly, Judd 1976, NBS SP 440); `docs/science.md` has the derivation and the figures.

use crate::tissue::class::Tissue;

/// What a colour alone can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hue {
    /// Chlorophyll.
    Green,
    /// White to cream.
    Cream,
    /// Yellow to gold.
    Gold,
    /// Red.
    Red,
    /// Brown: dead, or green on its way to red. Colour cannot tell them apart.
    Brown,
    /// Neutral or outside all leaf colours.
    Unknown,
}

impl Hue {
    /// The class that the colour stands for, if it is one.
    pub fn tissue(self) -> Option<Tissue> {
        match self {
            Self::Green => Some(Tissue::Green),
            Self::Cream => Some(Tissue::Cream),
            Self::Gold => Some(Tissue::Gold),
            Self::Red => Some(Tissue::Red),
            Self::Brown | Self::Unknown => None,
        }
    }
}

/// Chroma over lightness under which a colour has no hue to speak of.
pub const NEUTRAL: f32 = 0.03;
/// Oklab lightness from which tissue counts as bright, exposure known.
const BRIGHT: f32 = 0.70;
/// Oklab lightness under which no gold tissue lies, exposure known (gold leaf reflects over 15 %).
const DARK: f32 = 0.50;

/// The rule. `hue` in degrees, `saturation` = C/L, `lightness` as Oklab L with white at 1 if the exposure is known.
pub fn judge(hue: f32, saturation: f32, lightness: Option<f32>) -> Hue {
    let hue = if hue < -60.0 { hue + 360.0 } else { hue };
    let bright = lightness.map(|l| l >= BRIGHT);
    let dark = lightness.is_some_and(|l| l < DARK);
    if saturation < NEUTRAL {
        return if bright == Some(true) { Hue::Cream } else { Hue::Unknown };
    }
    match hue {
        h if (-40.0..60.0).contains(&h) => Hue::Red,
        // Orange: gold when it is bright, otherwise leaf turning red.
        h if (60.0..75.0).contains(&h) && saturation >= 0.12 && bright == Some(false) => Hue::Red,
        h if (60.0..108.0).contains(&h) => match (saturation >= 0.12, bright) {
            (true, _) if !dark => Hue::Gold,
            (true, _) if h < 95.0 => Hue::Red,
            (true, _) => Hue::Green,
            (false, Some(true)) => Hue::Cream,
            (false, Some(false)) if h >= 95.0 => Hue::Green,
            (false, None) if h >= 88.0 => Hue::Cream,
            (false, _) => Hue::Brown,
        },
        h if (108.0..125.0).contains(&h) && saturation < 0.10 && bright != Some(false) => Hue::Cream,
        h if (125.0..200.0).contains(&h) && saturation < 0.06 && bright == Some(true) => Hue::Cream,
        h if (108.0..200.0).contains(&h) => Hue::Green,
        _ => Hue::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exposure_only_settles_what_hue_leaves_open() {
        assert_eq!(judge(130.0, 0.15, None), Hue::Green);
        assert_eq!(judge(100.0, 0.20, Some(0.75)), Hue::Gold);
        assert_eq!(judge(100.0, 0.08, Some(0.80)), Hue::Cream);
        assert_eq!(judge(100.0, 0.08, Some(0.45)), Hue::Green);
        assert_eq!(judge(30.0, 0.20, None), Hue::Red);
        assert_eq!(judge(70.0, 0.08, None), Hue::Brown);
        assert_eq!(judge(10.0, 0.01, Some(0.9)), Hue::Cream);
        assert_eq!(judge(250.0, 0.10, None), Hue::Unknown);
    }
}
