//! Between tissue and measures: stripes along the leaf, the pattern's name, and how evenly pale tissue is spread.
//!
//! The plant's red light beside that of its bands (`look`) tells how pale each place is. The leaves' direction and the
//! crown (`axis`) lead to pieces of leaf that lie free (`leaves`), which are straightened and read across
//! (`across`). Pale classes by sectors tell sides and evenness (`spread`). Numbers make the name (`name`).

mod across;
mod axis;
mod leaves;
mod look;
pub mod name;
pub mod spread;
pub mod stripes;
#[cfg(test)]
mod tests;

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::base::stats::quantile;
use crate::tissue::TissueMap;
use crate::tissue::class::{PerTissue, Tissue};
use crate::tissue::samples::Samples;
use axis::Axis;
use look::Look;
use name::{LeafNumbers, Name, Numbers};
use spread::{Evenness, Spread};
use stripes::Stripes;

/// Colour of the pale tissue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Cream leads.
    Albo,
    /// Gold leads.
    Aureo,
    /// The plant is not variegated.
    None,
}

impl Tone {
    /// As a word.
    pub fn text(self) -> &'static str {
        match self {
            Self::Albo => "albo",
            Self::Aureo => "aureo",
            Self::None => "none",
        }
    }
}

/// The pattern of one plant.
#[derive(Debug, Clone)]
pub struct Pattern {
    /// Names with their probabilities, likeliest first; they sum to 1. Never empty.
    pub names: Vec<(Name, f64)>,
    /// Cream or gold.
    pub tone: Tone,
    /// Stripes along the leaves.
    pub stripes: Stripes,
    /// How evenly pale tissue is spread; `None` where there is none, or nothing else.
    pub evenness: Option<Evenness>,
    /// What the name is told from.
    pub numbers: Numbers,
    /// Caveats.
    pub doubts: Vec<Doubt>,
}

/// Reads the pattern of the plant of `map` in the upright photo. `blur`: standard deviation of the photo's blur at the
/// plant, pixels.
pub fn read(picture: &Raster<[u8; 3]>, map: &TissueMap, samples: &Samples, blur: Option<f64>) -> Pattern {
    let look = Look::new(picture, map);
    let axis = Axis::new(&look);
    let pieces = leaves::pieces(&look, &axis);
    let across = across::across(&look, &pieces);
    let spread = Spread::new(&look, axis.crown);
    let leaf = across.as_ref().map(LeafNumbers::new);
    let numbers = numbers(&look, samples, spread.one_sided(), leaf);
    let names = name::names(&numbers);
    let best = names[0].0;
    let stripes = match (&across, leaf) {
        _ if !best.variegated() => Stripes { count: Some(0), ..Stripes::default() },
        (Some(across), Some(leaf)) if best.striped() && leaf.resolved() => {
            stripes::stripes(&look, across, &pieces, axis.crown, blur)
        }
        _ => Stripes::default(),
    };
    let width = quantile(&mut pieces.iter().map(|p| f64::from(p.middle.width) * look.scale).collect::<Vec<_>>(), 0.5);
    let mut doubts = name::doubts(&names, &numbers, width);
    doubts.extend(stripes.doubt());
    let evenness = spread.evenness().filter(|_| best.variegated());
    Pattern { tone: tone(best, &shares(samples)), names, stripes, evenness, numbers, doubts }
}

/// The plant's pixels, shared out among the classes.
fn shares(samples: &Samples) -> PerTissue<f64> {
    let mut sum = PerTissue::default();
    samples.tiles.iter().for_each(|tile| sum.add(tile));
    sum
}

fn numbers(look: &Look, samples: &Samples, one_sided: f64, leaf: Option<LeafNumbers>) -> Numbers {
    let n = shares(samples);
    let base = n[Tissue::Green] + n[Tissue::Cream] + n[Tissue::Gold];
    let all = n.0.iter().sum::<f64>();
    let (level, deviation) = look.level();
    Numbers {
        capacity: if base > 0.0 { n[Tissue::Green] / base } else { 1.0 },
        level,
        variation: deviation / level.max(1e-3),
        bands: n[Tissue::Band] / all.max(1e-9),
        one_sided,
        leaf,
    }
}

fn tone(name: Name, n: &PerTissue<f64>) -> Tone {
    match name.variegated() {
        false => Tone::None,
        true if n[Tissue::Gold] > n[Tissue::Cream] => Tone::Aureo,
        true => Tone::Albo,
    }
}
