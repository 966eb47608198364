//! The tissue classes: one enum, one table.

/// What a leaf pixel is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tissue {
    /// Green leaf.
    Green,
    /// White to cream tissue without chlorophyll.
    Cream,
    /// Yellow to gold tissue: carotenoids, little chlorophyll.
    Gold,
    /// Stress red.
    Red,
    /// Raised white tubercle tissue of the bands.
    Band,
    /// Dead, brown.
    Dead,
    /// Glare, clipping, deep shadow, blur, mixed: not guessed.
    Unsure,
}

impl Tissue {
    /// All classes, in the order of the mask codes.
    pub const ALL: [Tissue; 7] =
        [Self::Green, Self::Cream, Self::Gold, Self::Red, Self::Band, Self::Dead, Self::Unsure];

    /// Code in the tissue mask, 1..=7 (0 is background).
    pub fn code(self) -> u8 {
        self as u8 + 1
    }

    /// Name in records and legends.
    pub fn name(self) -> &'static str {
        match self {
            Self::Green => "green",
            Self::Cream => "cream",
            Self::Gold => "gold",
            Self::Red => "red",
            Self::Band => "band",
            Self::Dead => "dead",
            Self::Unsure => "unsure",
        }
    }
}

/// One value a tissue class, in the order of [`Tissue::ALL`].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PerTissue<T>(pub [T; 7]);

impl<T> std::ops::Index<Tissue> for PerTissue<T> {
    type Output = T;
    fn index(&self, tissue: Tissue) -> &T {
        &self.0[tissue as usize]
    }
}

impl<T> std::ops::IndexMut<Tissue> for PerTissue<T> {
    fn index_mut(&mut self, tissue: Tissue) -> &mut T {
        &mut self.0[tissue as usize]
    }
}

impl PerTissue<f64> {
    /// Adds another count, class by class.
    pub fn add(&mut self, other: &PerTissue<impl Copy + Into<f64>>) {
        self.0.iter_mut().zip(other.0).for_each(|(sum, n)| *sum += n.into());
    }
}
