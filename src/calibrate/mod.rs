//! Stage 2: white point and scale. After this stage nobody asks what is white.

mod card;
mod estimate;
mod scale;
#[cfg(test)]
mod tests;
mod tiles;
mod white;

pub use scale::ScaleSource;
pub use white::{White, WhiteChoice, WhiteSource};

use crate::base::color::matrix::{self, Matrix};
use crate::base::color::oklab::Converter;
use crate::base::color::{Linear, OkLab};
use crate::base::doubt::Doubt;
use crate::base::stats::Interval;
use crate::card::{self as cards, Card, Found};
use crate::options::{CardPrint, Scale};
use crate::photo::{Photo, Primaries};

/// Half-width of the white point's 95 % interval, mired, beyond which a photo is marked: within 20 mired the green share
/// of a plant reads right to a few points, at 40 it does not (`docs/science.md`, "White point").
const MOST_MIRED: f64 = 20.0;

/// Share of a photo that may be burnt out before a card is looked for there in vain: an assumption.
const MOST_BURNT: f64 = 0.04;

/// What the user may state about white, scale and cards.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Where white comes from. Default: [`WhiteChoice::Auto`].
    pub white: WhiteChoice,
    /// How long a millimetre is at the plant. Default: a card says it.
    pub scale: Option<Scale>,
    /// How far the cards lie under the middle of the leaves' height, mm. Default: they lie level with the soil.
    pub card_below: Option<f64>,
    /// What was measured on the printed cards.
    pub print: CardPrint,
}

/// A photo whose colours and lengths can be read.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The upright photo.
    pub photo: Photo,
    /// Its white point.
    pub white: White,
    /// Linear light of a perfect white surface beside the card; `None` where no card says it.
    pub exposure: Option<f64>,
    /// Label cards in the photo, the largest first.
    pub cards: Vec<Card>,
    /// Caveats.
    pub doubts: Vec<Doubt>,
    stated_scale: Option<Interval>,
    card_below: Option<f64>,
    print: CardPrint,
}

impl Calibrated {
    /// A photo with a white point and nothing else known.
    pub fn new(photo: Photo, white: White) -> Self {
        Self {
            photo,
            white,
            exposure: None,
            cards: Vec::new(),
            doubts: Vec::new(),
            stated_scale: None,
            card_below: None,
            print: CardPrint::default(),
        }
    }

    /// The road from this photo's codes to white-adapted Oklab. Make it once, use it for all pixels.
    pub fn converter(&self) -> Converter {
        self.converter_for(self.white.rgb)
    }

    /// The same under another white (one of [`White::samples`]), to see what the white point's uncertainty does.
    pub fn converter_for(&self, white: Linear) -> Converter {
        Converter::new(&to_srgb(self.photo.primaries), white)
    }

    /// White-adapted Oklab of one pixel's codes. Builds a converter each time: for single pixels only.
    pub fn oklab(&self, code: [u8; 3]) -> OkLab {
        self.converter().oklab(code)
    }
}

/// Finds cards and scale, and white where it was given or a card tells it; elsewhere it is the camera's own balance until
/// [`estimate_white`] looks at the picture. Never fails: what stays uncertain is said in the doubts and in the uncertainties.
pub fn calibrate(photo: Photo, options: &Options) -> Calibrated {
    let found = cards::find(&photo);
    let mut doubts = card_doubts(&photo, &found);
    let given = white::given(&photo, options.white).unwrap_or_else(|doubt| {
        doubts.push(doubt);
        None
    });
    let paper = options.print.paper_lab.map(card::paper);
    let from_card = found.cards.iter().find_map(|card| card::from_card(&photo, card, paper));
    let patched = found.cards.iter().find(|card| !card.layout.patches.is_empty());
    if let (None, None, Some(card)) = (&given, &from_card, patched) {
        doubts.push(Doubt::new(
            "card-burnt",
            format!("the patches of the label card {} are burnt out, shaded, hidden or outside the photo, so white is not taken from them", card.number),
        ));
    }
    let (card_white, exposure) = from_card.map_or((None, None), |card| (Some(card.white), card.exposure));
    let white = given.or(card_white).unwrap_or_else(estimate::prior);
    let stated = options.scale.filter(|&stated| scale::lies_in(stated, (photo.rgb.width(), photo.rgb.height())));
    if stated != options.scale {
        doubts.push(Doubt::new(
            "known-outside",
            format!(
                "a point of the length that was given lies outside the photo ({} x {} pixels, upright), so it is not used",
                photo.rgb.width(),
                photo.rgb.height()
            ),
        ));
    }
    let calibrated = Calibrated {
        white,
        exposure,
        cards: found.cards,
        doubts,
        stated_scale: stated.and_then(scale::stated),
        card_below: options.card_below,
        print: options.print,
        photo,
    };
    with_white_doubt(with_scale_doubt(calibrated))
}

/// What is to be said of the cards, apart from white.
fn card_doubts(photo: &Photo, found: &Found) -> Vec<Doubt> {
    let mut doubts: Vec<Doubt> = found.cards.iter().filter_map(card::shade).collect();
    doubts.extend(found.cards.iter().filter_map(card::uneven));
    doubts.extend(found.cards.iter().filter_map(card::bright));
    if found.foreign > 0 {
        doubts.push(Doubt::new(
            "card-foreign",
            format!("{} that no label card carries; not followed, not used", counted(found.foreign, "QR code")),
        ));
    }
    for number in &found.unmeasured {
        doubts.push(Doubt::new(
            "card-unmeasured",
            format!("the label card {number} was read, but its edges are not clear enough to measure by"),
        ));
    }
    if let Some(number) = found.mirrored.first() {
        doubts.push(Doubt::new(
            "card-mirrored",
            format!("the photo is mirrored (its label card {number} is), so the card is not used; turn the camera's mirroring off"),
        ));
    }
    if found.left_out > 0 {
        doubts.push(Doubt::new(
            "card-many",
            format!(
                "{} more than are measured; plants may get a neighbour's number",
                counted(found.left_out, "label card")
            ),
        ));
    }
    let burnt = card::burnt_share(&photo.rgb);
    if found.cards.is_empty() && (found.unread || burnt > MOST_BURNT) {
        let what = if found.unread {
            "something like a QR code"
        } else {
            "a large part of the photo is burnt out; a label card in it"
        };
        doubts.push(Doubt::new(
            "card-unreadable",
            format!("{what} cannot be read; expose for the card, keep it sharp and whole"),
        ));
    }
    doubts
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("a {what}") } else { format!("{n} {what}s") }
}

/// The doubt of a photo without millimetres.
fn with_scale_doubt(mut calibrated: Calibrated) -> Calibrated {
    let known = calibrated.stated_scale.is_some() || calibrated.cards.iter().any(|card| card.pose.is_some());
    if !known {
        calibrated.doubts.push(Doubt::new(
            "no-scale",
            "the scale is unknown, so there are no millimetres; put a label card beside the plant or give --px-per-mm or \
             --known",
        ));
    }
    calibrated
}

/// Estimates white from the picture if it was neither given nor read from a card. `on_plant` tells whether a pixel, by column and
/// row, is a plant's, so that a pale or red plant does not pass for many pale or red surfaces.
pub fn estimate_white(mut calibrated: Calibrated, on_plant: impl Fn(usize, usize) -> bool) -> Calibrated {
    match calibrated.white.source {
        WhiteSource::Card | WhiteSource::Given => calibrated,
        WhiteSource::Estimated => {
            calibrated.white = estimate::from_picture(&calibrated.photo, on_plant);
            with_white_doubt(calibrated)
        }
    }
}

/// Linear light in a photo's primaries to linear sRGB.
fn to_srgb(primaries: Primaries) -> Matrix {
    match primaries {
        Primaries::Srgb => matrix::IDENTITY,
        Primaries::DisplayP3 => matrix::to_srgb(&matrix::DISPLAY_P3),
    }
}

/// Sets or removes the doubt about white.
fn with_white_doubt(mut calibrated: Calibrated) -> Calibrated {
    const CODE: &str = "white-uncertain";
    calibrated.doubts.retain(|doubt| doubt.code != CODE);
    let half = 1.96 * calibrated.white.mired_sd;
    if half > MOST_MIRED {
        calibrated.doubts.push(Doubt::new(
            CODE,
            format!(
                "the colour of the light is known to +-{half:.0} mired only (beyond {MOST_MIRED:.0}, green, cream and gold \
                 run into each other); put a white card beside the plant or point --white at something neutral"
            ),
        ));
    }
    calibrated
}
