//! Between tissue and measures: stripes along the leaf, the pattern's name, and how evenly pale tissue is spread.
//!
//! The plant's red light beside that of its bands (`look`) tells how pale each place is. The leaves' direction and the
//! crown (`axis`) lead to pieces of leaf that lie free (`leaves`), which are straightened and read across
//! (`across`). Pale classes by sectors tell sides and evenness (`spread`). Numbers make the name (`name`).

mod across;
mod axis;
pub mod evidence;
mod leaves;
mod look;
pub mod name;
mod odds;
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
use evidence::Evidence;
use look::Look;
use name::{LeafNumbers, Name, Numbers};
use spread::{Evenness, Halves, Side, Spread};
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
    /// The likeliest name; `None` where it is likelier that none can be told.
    pub name: Option<Name>,
    /// Names with their probabilities, likeliest first; what is left to 1 is what cannot be told.
    pub names: Vec<(Name, f64)>,
    /// Cream or gold, where there is a name.
    pub tone: Option<Tone>,
    /// Stripes along the leaves.
    pub stripes: Stripes,
    /// How evenly pale tissue is spread; `None` where there is none, or nothing else.
    pub evenness: Option<Evenness>,
    /// Its poorer and its richer half; `None` where one half is hardly seen.
    pub halves: Option<Halves>,
    /// The pale side of a sectorial plant.
    pub pale_side: Option<Side>,
    /// What the name is told from.
    pub numbers: Numbers,
    /// Caveats.
    pub doubts: Vec<Doubt>,
}

/// Reads the pattern of the plant of `map` in the upright photo. `white`: linear light of the photo's white; `blur`:
/// standard deviation of the photo's blur at the plant, pixels.
pub fn read(
    picture: &Raster<[u8; 3]>,
    map: &TissueMap,
    samples: &Samples,
    white: [f32; 3],
    blur: Option<f64>,
) -> Pattern {
    let look = Look::new(picture, map);
    let axis = Axis::new(&look);
    let pieces = leaves::pieces(&look, &axis);
    let across = across::across(&look, &pieces);
    let spread = Spread::new(&look, axis.crown);
    let (side, tissue) = (spread.side(), shares(samples));
    let evidence = Evidence::new(&look, map, white);
    let numbers = numbers(&look, &tissue, side.explained, evidence, across.as_ref().map(LeafNumbers::new));
    let names = name::names(&numbers);
    let name = name::best(&names);
    let stripes = match (name, &across, numbers.leaf) {
        (Some(name), ..) if !name.variegated() => Stripes { count: Some(0), ..Stripes::default() },
        (Some(name), Some(across), Some(leaf)) if name.striped() && leaf.resolved() => {
            stripes::stripes(&look, across, &pieces, axis.crown, blur)
        }
        _ => Stripes::default(),
    };
    let width = quantile(&mut pieces.iter().map(|p| f64::from(p.middle.width) * look.scale).collect::<Vec<_>>(), 0.5);
    let mut doubts = name::doubts(&names, &numbers, width);
    doubts.extend(stripes.doubt());
    Pattern {
        evenness: spread.evenness().filter(|_| name.is_none_or(Name::variegated)),
        halves: spread.halves(),
        pale_side: (name == Some(Name::Sectorial)).then_some(side),
        tone: name.map(|name| tone(name, &tissue)),
        name,
        names,
        stripes,
        numbers,
        doubts,
    }
}

/// The plant's pixels, shared out among the classes.
fn shares(samples: &Samples) -> PerTissue<f64> {
    let mut sum = PerTissue::default();
    samples.tiles.iter().for_each(|tile| sum.add(tile));
    sum
}

fn numbers(look: &Look, n: &PerTissue<f64>, one_sided: f64, evidence: Evidence, leaf: Option<LeafNumbers>) -> Numbers {
    let base = n[Tissue::Green] + n[Tissue::Cream] + n[Tissue::Gold];
    let (level, deviation) = look.level();
    Numbers {
        capacity: if base > 0.0 { n[Tissue::Green] / base } else { 1.0 },
        level,
        variation: deviation / level.max(1e-3),
        one_sided,
        evidence,
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
