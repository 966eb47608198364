//! Whether there is pale tissue to be named, or only gloss, bloom, shade and texture on green leaf.

use super::look::Look;
use super::odds::Threshold;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;

/// What speaks for pale tissue, whatever its pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// Green and blue light that brighter places have more, beside the red light that they have more, under the photo's
    /// white.
    pub added: [f64; 2],
    /// Cream and gold / (green + cream + gold), on the leaf of which both witnesses of tissue say the same.
    pub agreed: f64,
    /// That leaf in all leaf.
    pub base: f64,
    /// That leaf in itself and the unsure leaf.
    pub read: f64,
    /// Bands on which both witnesses agree, in all leaf.
    pub bands: f64,
}

// Judgement, between what physics gives for pale tissue and for gloss and shade; widths as in `name`.

/// Green light beside red from which brighter places are green leaf in more light: model leaves (PROSPECT-D) have 1.7 when
/// green; cream beside green adds 0.9, gold 0.7; neutral gloss 1.
const GREENISH: Threshold = Threshold { at: 1.08, width: 0.03 };
/// Blue light beside red from which they are gloss or bloom: gloss adds 1, bloom over 1; carotenoids take blue, so that
/// cream adds 0.6, gold 0.1.
const BLUISH: Threshold = Threshold { at: 0.83, width: 0.03 };
/// Pale share from which agreed pale tissue is no chance: twice the error of a class, and as much again.
const AGREED: Threshold = Threshold { at: 0.05, width: 0.015 };
/// Contrast of what runs along the leaf from which stripes speak for themselves: a quarter of the mean, as broad stripes
/// have at least.
const FOUND: Threshold = Threshold { at: 0.25, width: 0.04 };
/// Least agreed leaf in all leaf, and in the leaf that could be read: an eighth and a quarter.
const BASE: Threshold = Threshold { at: 0.12, width: 0.03 };
const READ: Threshold = Threshold { at: 0.27, width: 0.05 };

impl Evidence {
    /// `white`: linear light of the photo's white.
    pub(super) fn new(look: &Look, map: &TissueMap, white: [f32; 3]) -> Self {
        let n = map.counts();
        let pale = n[Tissue::Cream] + n[Tissue::Gold];
        let base = n[Tissue::Green] + pale;
        let of = |part: usize, whole: usize| part as f64 / whole.max(1) as f64;
        let beside_red = |channel: usize| f64::from(white[0] / white[channel].max(1e-3));
        let all = n.0.iter().sum();
        Self {
            added: [look.added[0] * beside_red(1), look.added[1] * beside_red(2)],
            agreed: of(pale, base),
            base: of(base, all),
            bands: of(n[Tissue::Band], all),
            read: of(base, base + n[Tissue::Unsure]),
        }
    }

    /// Probability that what is brighter has the colour of pale tissue.
    pub(super) fn pale_light(&self) -> f64 {
        GREENISH.missed(self.added[0]) * BLUISH.missed(self.added[1])
    }

    /// Probability that there is enough pale tissue to speak of; `contrast` of what runs along the leaf, if leaves lie free.
    pub(super) fn pale_found(&self, contrast: Option<f64>) -> f64 {
        AGREED.passed(self.agreed).max(contrast.map_or(0.0, |c| FOUND.passed(c)))
    }

    /// Probability that enough of the leaf could be read.
    pub(super) fn readable(&self) -> f64 {
        BASE.passed(self.base) * READ.passed(self.read)
    }

    /// Why no name was told, for people.
    pub(super) fn lack(&self) -> &'static str {
        if self.readable() < 0.5 {
            "too little of the leaf shows its own colour (glare, bloom, reddening or shadow); photograph it in soft, even light"
        } else {
            "some of the leaf is paler, but whether it is pale tissue or gloss and texture cannot be told; move closer, in soft, even light"
        }
    }
}
