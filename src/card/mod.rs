//! The label card: a printed card beside the plant that tells its number, what is neutral, and how long a millimetre is.
//!
//! [`layout`] is the one table that both printing and finding read.

mod blur;
mod decode;
mod edges;
mod fine;
pub mod layout;
mod locate;
mod neutrals;
pub mod number;
mod pose;
mod refine;

pub use neutrals::Neutral;
pub use pose::Pose;

use crate::base::homography::{Homography, Point};
use crate::base::raster::Raster;
use crate::photo::Photo;
use layout::Layout;
use locate::{Codes, Located, Unmeasured, codes, locate};
use number::{PlantNumber, parse_payload};
use refine::Fit;

/// Most cards of a photo that are measured; the largest are.
const MOST: usize = 40;

/// A card in a photo.
#[derive(Debug, Clone)]
pub struct Card {
    /// The plant's number on it.
    pub number: PlantNumber,
    /// What stands where on it.
    pub layout: &'static Layout,
    /// Its neutral patches and bare paper.
    pub neutrals: Vec<Neutral>,
    /// The camera; `None` if the card is no plane before one.
    pub pose: Option<Pose>,
    /// Standard deviation of the blur across its edges, pixels.
    pub blur_px: Option<f64>,
    fit: Fit,
    strain: (f64, f64),
    patches: bool,
}

/// What a photo shows of cards.
#[derive(Debug, Default)]
pub struct Found {
    /// Cards with a sound plant number, the largest first.
    pub cards: Vec<Card>,
    /// Codes that are no card's: foreign texts, never followed.
    pub foreign: usize,
    /// Cards whose number was read but whose edges are not clear enough to measure.
    pub unmeasured: Vec<PlantNumber>,
    /// Cards in a mirrored photo.
    pub mirrored: Vec<PlantNumber>,
    /// Cards beyond the number that is measured.
    pub left_out: usize,
    /// Whether something looked like a code and could not be read.
    pub unread: bool,
}

/// Finds the cards in a photo.
pub fn find(photo: &Photo) -> Found {
    let (rgb, focal_35mm) = (&photo.rgb, photo.focal_35mm);
    let Codes { mut read, unread } = codes(photo);
    read.sort_by(|a, b| side(&b.corners).total_cmp(&side(&a.corners)));
    let mut found = Found { unread: unread && read.is_empty(), ..Found::default() };
    for code in read {
        match parse_payload(&code.text) {
            None => found.foreign += 1,
            Some(_) if found.cards.len() == MOST => found.left_out += 1,
            Some((layout, number)) => match locate(rgb, layout, code.corners) {
                Ok(located) => found.cards.push(Card::read(rgb, focal_35mm, layout, number, located)),
                Err(Unmeasured::Unclear) => found.unmeasured.push(number),
                Err(Unmeasured::Mirrored) => found.mirrored.push(number),
            },
        }
    }
    found
}

fn side(corners: &[Point; 4]) -> f64 {
    (corners[0][0] - corners[2][0]).hypot(corners[0][1] - corners[2][1])
}

impl Card {
    fn read(
        rgb: &Raster<[u8; 3]>,
        focal_35mm: Option<f32>,
        layout: &'static Layout,
        number: PlantNumber,
        Located { fit, strain, patches, .. }: Located,
    ) -> Self {
        Self {
            strain,
            patches,
            number,
            layout,
            neutrals: neutrals::neutrals(rgb, &fit.map, layout),
            pose: Pose::new(&fit, layout, (rgb.width(), rgb.height()), focal_35mm),
            blur_px: blur::blur(rgb, &fit, &edges::patches(layout, locate::PATCH_REACH[1])),
            fit,
        }
    }

    /// Card (mm) to photo (pixels).
    pub fn map(&self) -> &Homography {
        &self.fit.map
    }

    /// Its corners in the photo, pixels: top left, top right, bottom right, bottom left. They may lie outside.
    pub fn corners(&self) -> [Point; 4] {
        self.layout.area().corners().map(|corner| self.fit.map.apply(corner))
    }

    /// Pixels a millimetre along the card, the mean over its four sides, with its standard uncertainty.
    pub fn px_per_mm(&self) -> (f64, f64) {
        let of = |map: &Homography| self.sides(map);
        let variance = self.fit.covariance_of(|map| Some([of(map)])).map_or(f64::INFINITY, |m| m.x);
        (of(&self.fit.map), variance.sqrt())
    }

    fn sides(&self, map: &Homography) -> f64 {
        let corners = self.layout.area().corners();
        let side = |i: usize| {
            let (from, to) = (corners[i], corners[(i + 1) % 4]);
            let ([a, b], [c, d]) = (map.apply(from), map.apply(to));
            (a - c).hypot(b - d) / (from[0] - to[0]).hypot(from[1] - to[1])
        };
        (0..4).map(side).sum::<f64>() / 4.0
    }

    /// Whether the patches were seen where they should be. If not, they are hidden or outside the photo, and so may be the
    /// paper beside them.
    pub fn patches_seen(&self) -> bool {
        self.patches
    }

    /// How far the patches lie from where the code alone would show them if the card were flat, mm, and in standard
    /// deviations of what the code alone can tell; 0 without patches.
    pub fn strain(&self) -> (f64, f64) {
        self.strain
    }

    /// How far the printed edges lie from where a flat card would show them, mm (robust standard deviation).
    pub fn unevenness_mm(&self) -> f64 {
        self.fit.spread / self.sides(&self.fit.map)
    }
}
