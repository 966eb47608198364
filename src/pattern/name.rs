//! The pattern's name: a tree of questions, each answered with a probability by one or two measured numbers.

use super::across::Across;
use super::evidence::Evidence;
use super::odds::{Threshold, chance};
use crate::base::doubt::Doubt;

/// Names of patterns (botany).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Name {
    /// Green leaves without bands.
    Plain,
    /// Green leaves with bands, no variegation.
    BandedOnly,
    /// Few broad stripes along the leaf.
    Striate,
    /// Many fine lines along the leaf.
    FinelyStriate,
    /// Pale on one side of the plant.
    Sectorial,
    /// Pale in the middle of the leaf, green at its margins.
    Mediovariegated,
    /// Green in the middle of the leaf, pale at its margins.
    Marginate,
    /// Irregular patches.
    Splashed,
    /// Pale all over.
    AllPale,
}

impl Name {
    /// All names.
    pub const ALL: [Name; 9] = [
        Self::Plain,
        Self::BandedOnly,
        Self::Striate,
        Self::FinelyStriate,
        Self::Sectorial,
        Self::Mediovariegated,
        Self::Marginate,
        Self::Splashed,
        Self::AllPale,
    ];

    /// In words.
    pub fn text(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::BandedOnly => "banded only",
            Self::Striate => "striate",
            Self::FinelyStriate => "finely striate",
            Self::Sectorial => "sectorial",
            Self::Mediovariegated => "mediovariegated",
            Self::Marginate => "marginate",
            Self::Splashed => "splashed",
            Self::AllPale => "all-pale",
        }
    }

    /// Whether the plant is variegated.
    pub fn variegated(self) -> bool {
        !matches!(self, Self::Plain | Self::BandedOnly)
    }

    /// Whether the leaf has stripes that can be counted.
    pub(super) fn striped(self) -> bool {
        matches!(self, Self::Striate | Self::FinelyStriate | Self::Mediovariegated | Self::Marginate)
    }
}

/// What the name is told from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Numbers {
    /// Green / (green + cream + gold), shared out as for the green capacity; 1 if there is none of them.
    pub capacity: f64,
    /// Red light of the base tissue beside that of the bands, mean.
    pub level: f64,
    /// Its standard deviation over the plant, beside its mean.
    pub variation: f64,
    /// Part of the variance of pale against green that one side against the other explains.
    pub one_sided: f64,
    /// What speaks for pale tissue.
    pub evidence: Evidence,
    /// What the leaves show across their width, if some lie free.
    pub leaf: Option<LeafNumbers>,
}

/// What free leaves show across their width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeafNumbers {
    /// Standard deviation across the leaf, in parts of a band's light.
    pub seen: f64,
    /// The same in parts of the mean.
    pub varied: f64,
    /// Standard deviation across the leaf of what runs along it, in parts of the mean.
    pub contrast: f64,
    /// Part of what is seen that runs along the leaf, as deviations: 1 for stripes, 0 for patches.
    pub along: f64,
    /// Pale lines in a leaf's width.
    pub lines: f64,
    /// Share of one period, pale in the middle, in what runs along the leaf: 1 pale middle, -1 pale margins.
    pub middle: f64,
    /// Pieces of leaf that were read.
    pub pieces: usize,
}

impl LeafNumbers {
    pub(super) fn new(across: &Across) -> Self {
        Self {
            seen: across.seen,
            varied: across.seen / across.level.max(1e-3),
            contrast: across.contrast / across.level.max(1e-3),
            along: across.contrast / across.seen.max(1e-6),
            lines: across.lines,
            middle: across.middle / across.contrast.max(1e-3),
            pieces: across.pieces,
        }
    }

    /// Whether the lines stand apart enough to be counted.
    pub(super) fn resolved(&self) -> bool {
        self.contrast >= RESOLVED.at || (self.lines >= MANY.at && self.contrast >= SIGNAL)
    }
}

// Where no reason is given for a threshold, and for all widths: fitted (logarithm of the probability given to the true name)
// on one half of 306 rendered scenes of known pattern and checked on the other (`docs/science.md`).

/// Green capacity from which a plant is green: a tenth is what colour alone may err (`docs/science.md`, fractions).
const GREEN: Threshold = Threshold { at: 0.90, width: 0.03 };
/// Deviation across the leaf, parts of a band's light, from which a green plant has stripes: a sixth of the step from
/// green to gold, which is about 0.5.
const STRIPED: Threshold = Threshold { at: 0.07, width: 0.03 };
/// Green capacity under which a plant may be all pale.
const PALE: Threshold = Threshold { at: 0.28, width: 0.05 };
/// Red light beside a band's from which no green is mixed in: gold leaf gives back 0.5 to 0.6, half green and half gold
/// 0.3.
const BRIGHT: Threshold = Threshold { at: 0.43, width: 0.035 };
/// Explained variance from which a plant is one-sided: the middle between none and 0.8, which is what a clean half gives
/// when the border runs through leaves.
const SIDED: Threshold = Threshold { at: 0.40, width: 0.05 };
/// Contrast along the leaf from which lines are resolved: a fifth of the mean. Broad stripes on a quarter to a half of
/// the leaf give 0.5 to 1; lines finer than a pixel none.
const RESOLVED: Threshold = Threshold { at: 0.19, width: 0.03 };
/// Deviation over the plant, parts of the mean, from which pale and green lie apart: fine lines that blur into one another
/// give 0.3 to 0.6, stripes and patches 0.6 to 1.3. It holds shade as well.
const VARIED: Threshold = Threshold { at: 0.55, width: 0.08 };
/// Lines in a leaf's width from which they are many: judgement, no source draws the line.
const MANY: Threshold = Threshold { at: 5.0, width: 0.5 };
/// Contrast from which many lines are no chance: noise of 25 codes leaves less than this (tests).
const SIGNAL: f64 = 0.1;
/// Lines in a leaf's width from which there is more than one.
const SEVERAL: Threshold = Threshold { at: 1.95, width: 0.2 };
/// Share of one period from which it is the one stripe in the middle or at the margins; weighs against `SEVERAL`.
const MIDDLED: Threshold = Threshold { at: 0.78, width: 0.2 };
/// Share of the pale middle from which the one stripe is in the middle; its negative is pale margins.
const MIDDLE: Threshold = Threshold { at: 0.0, width: 0.1 };
/// Part of what is seen that runs along the leaf under which patches are no stripes: rendered stripes give 0.66 to 1, drawn
/// patches of 0.4 of a leaf's width 0.55.
const ALONG: Threshold = Threshold { at: 0.6, width: 0.05 };
/// Deviation across the leaf of all that is seen, parts of the mean, from which there are patches: drawn ones give 0.3, because
/// each reading is the mean along a piece; a leaf that shows nothing gives 0. Judgement, width too.
const PATCHED: Threshold = Threshold { at: 0.22, width: 0.03 };
/// Pieces of free leaf from which lines and patches are told: one leaf gives 10 to 20; 98 of 100 rendered plants have 40.
const LEAVES: Threshold = Threshold { at: 25.0, width: 4.0 };
/// Share of bands from which a plant is banded: 98 of 100 rendered banded plants show over 0.09 and all over 0.04; hairs and
/// glints on smooth plants make up to 0.04.
const BANDED: Threshold = Threshold { at: 0.045, width: 0.01 };

/// Names with their probabilities, likeliest first; what is left to 1 is what cannot be told.
pub(super) fn names(numbers: &Numbers) -> Vec<(Name, f64)> {
    let (leaf, evidence) = (numbers.leaf.as_ref(), &numbers.evidence);
    let green = chance(GREEN.over(numbers.capacity) - leaf.map_or(0.0, |l| STRIPED.over(l.seen)));
    let gloss = (1.0 - green) * (1.0 - evidence.pale_light());
    let banded = BANDED.passed(numbers.evidence.bands);
    let plain = evidence.readable() * (green + gloss);
    let found = evidence.pale_found(leaf.map(|l| l.contrast));
    let mut rest = evidence.readable() * (1.0 - green - gloss) * found;
    let mut take = |name, share: f64| {
        let taken = (name, rest * share);
        rest *= 1.0 - share;
        taken
    };
    let Shares { pale, sided, leaves, splashed, fine, fine_told, margin, middle } = Shares::new(numbers);
    let mut names = vec![
        (Name::BandedOnly, plain * banded),
        (Name::Plain, plain * (1.0 - banded)),
        take(Name::AllPale, pale),
        take(Name::Sectorial, sided),
        take(Name::Splashed, splashed),
        take(Name::FinelyStriate, fine),
        take(Name::Marginate, margin),
        take(Name::Mediovariegated, middle),
        take(Name::Striate, 1.0),
    ];
    for (name, share) in &mut names {
        *share *= match name {
            Name::FinelyStriate => leaves * fine_told,
            Name::Splashed | Name::Marginate | Name::Mediovariegated | Name::Striate => leaves,
            Name::Plain | Name::BandedOnly | Name::Sectorial | Name::AllPale => 1.0,
        };
    }
    names.sort_by(|a, b| b.1.total_cmp(&a.1));
    names
}

/// Probability of each answer about pale tissue, given that those before it are no.
#[derive(Default)]
struct Shares {
    pale: f64,
    sided: f64,
    /// That enough free leaves were read to tell lines and patches.
    leaves: f64,
    splashed: f64,
    fine: f64,
    /// That fine lines are told from pale leaf at all.
    fine_told: f64,
    margin: f64,
    middle: f64,
}

impl Shares {
    fn new(numbers: &Numbers) -> Self {
        let pale = PALE.missed(numbers.capacity) * BRIGHT.passed(numbers.level);
        let whole = Self { pale, sided: SIDED.passed(numbers.one_sided), ..Self::default() };
        let Some(leaf) = &numbers.leaf else { return whole };
        let [blurred, many] = [RESOLVED.missed(leaf.contrast), MANY.passed(leaf.lines)];
        let single = chance(MIDDLED.over(leaf.middle.abs()) - SEVERAL.over(leaf.lines));
        let margin = single * MIDDLE.missed(leaf.middle);
        let patches = ALONG.missed(leaf.along) * VARIED.passed(numbers.variation);
        Self {
            leaves: LEAVES.passed(leaf.pieces as f64),
            splashed: patches * PATCHED.passed(leaf.varied),
            fine: blurred.max(many),
            fine_told: if many > blurred { 1.0 } else { BANDED.passed(numbers.evidence.bands) },
            margin,
            middle: (single - margin) / (1.0 - margin).max(1e-6),
            ..whole
        }
    }
}

/// The likeliest name, unless it is likelier that none can be told.
pub(super) fn best(names: &[(Name, f64)]) -> Option<Name> {
    let unknown = 1.0 - names.iter().map(|(_, share)| share).sum::<f64>();
    names.first().filter(|(_, share)| *share > unknown).map(|(name, _)| *name)
}

/// Probability under which the second name is told as well.
const SURE: f64 = 0.6;
/// Leaf width, photo pixels, under which fine lines blur into one colour: 5 lines of 4 pixels.
const NARROW: f64 = 20.0;

/// What the reader must know about the name. `width`: a leaf's median width, photo pixels.
pub(super) fn doubts(names: &[(Name, f64)], numbers: &Numbers, width: Option<f64>) -> Vec<Doubt> {
    let best = best(names);
    let unsure = |text| Doubt::new("pattern-unsure", text);
    let told = |(name, share): (Name, f64)| format!("{} ({:.0} %)", name.text(), share * 100.0);
    let unknown = 1.0 - names.iter().map(|(_, share)| share).sum::<f64>();
    let mut doubts = match names {
        _ if best.is_none() => vec![unsure(format!("the pattern cannot be told: {}", numbers.evidence.lack()))],
        [first, second, ..] if first.1 < SURE && unknown > second.1 => {
            vec![unsure(format!(
                "the pattern is {}, or none that can be told: {}",
                told(*first),
                numbers.evidence.lack()
            ))]
        }
        [first, second, ..] if first.1 < SURE => {
            vec![unsure(format!("the pattern is between {} and {}", told(*first), told(*second)))]
        }
        _ => Vec::new(),
    };
    let variegated = best.is_some_and(Name::variegated);
    if (variegated || best.is_none()) && numbers.leaf.is_none() {
        let text =
            "no leaf lies free from edge to edge, so stripes were not looked for; photograph the plant from above";
        doubts.push(Doubt::new("leaves-crowded", text));
    }
    if let Some(width) = width.filter(|w| variegated && *w < NARROW) {
        let text = format!("a leaf is {width:.0} pixels wide: fine lines blur into one colour; move closer");
        doubts.push(Doubt::new("pattern-small", text));
    }
    doubts
}
