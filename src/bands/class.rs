//! What bands are called by their width.

/// Trade classes of width.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BandClass {
    /// Narrower than standard.
    Narrow,
    /// As on most plants.
    Standard,
    /// Wider.
    Wide,
    /// Much wider.
    ExtraWide,
}

impl BandClass {
    /// The class of a width or duty by the limits from which bands are standard, wide and extra wide.
    pub fn of(width: f64, [standard, wide, extra_wide]: [f64; 3]) -> Self {
        match width {
            w if w >= extra_wide => Self::ExtraWide,
            w if w >= wide => Self::Wide,
            w if w >= standard => Self::Standard,
            _ => Self::Narrow,
        }
    }

    /// As words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Narrow => "narrow",
            Self::Standard => "standard",
            Self::Wide => "wide",
            Self::ExtraWide => "extra wide",
        }
    }
}
