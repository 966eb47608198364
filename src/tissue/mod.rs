//! Stage 4: what each leaf pixel is. Colour decides green, cream, gold and red ([`rule`]); form tells raised bands from
//! cream and dead tips from reddening ([`form`]); what cannot be read is unsure and counted as such.

pub mod class;
pub mod form;
pub mod leaf;
pub mod rule;
pub mod samples;

use crate::base::raster::{Raster, Rect};
use crate::base::resample::nearest;
use crate::calibrate::Calibrated;
use crate::segment::Rosette;
use class::{PerTissue, Tissue};
use leaf::{Leaf, Planes, Unreadable};
use rule::{Hue, judge};

/// Longer side of the grid on which tissue is judged, pixels: bands of 1 % of the plant stay 8 pixels wide.
/// Round number: other grids were not compared.
const GRID: usize = 800;
/// Brown: hue range (degrees) and C/L of dead leaf, wider than the rule's brown because tips are thin and mixed.
const DEAD_HUE: std::ops::Range<f32> = 35.0..95.0;
const DEAD_SATURATION: std::ops::Range<f32> = 0.03..0.13;

/// The tissue of one plant.
#[derive(Debug, Clone)]
pub struct TissueMap {
    /// Where it lies in the upright photo.
    pub bounds: Rect,
    /// Class of each pixel; `None` outside the plant; the size of `bounds`.
    pub tissue: Raster<Option<Tissue>>,
    /// Share of the plant that is clipped or glare.
    pub clipped: f64,
    /// Share of the plant in shadow too deep to read.
    pub shadow: f64,
}

impl TissueMap {
    /// Pixels of each class.
    pub fn counts(&self) -> PerTissue<usize> {
        count(&self.tissue)
    }
}

/// Classes of the plant's pixels.
pub fn classify(calibrated: &Calibrated, rosette: &Rosette) -> TissueMap {
    let leaf = Leaf::look(&calibrated.photo.rgb, rosette, GRID);
    let tissue = judge_leaf(&leaf, &leaf.planes(&calibrated.converter(), (0.0, 1.0)));
    let share = |why: Unreadable| {
        let (w, h) = (leaf.mask.width(), leaf.mask.height());
        let hit = (0..w * h).filter(|i| leaf.mask.as_slice()[*i] && leaf.unreadable(i % w, i / w) == Some(why)).count();
        hit as f64 / leaf.mask.as_slice().iter().filter(|&&m| m).count().max(1) as f64
    };
    TissueMap {
        bounds: rosette.bounds,
        tissue: full_size(&tissue, rosette),
        clipped: share(Unreadable::Clipped),
        shadow: share(Unreadable::Shadow),
    }
}

fn judge_leaf(leaf: &Leaf, planes: &Planes) -> Raster<Option<Tissue>> {
    let bands = form::bands(leaf, planes);
    let brown = |i: usize| {
        let s = planes.saturation.as_slice()[i];
        let hue = planes.b.as_slice()[i].atan2(planes.a.as_slice()[i]).to_degrees();
        leaf.mask.as_slice()[i] && !bands.band.as_slice()[i] && DEAD_SATURATION.contains(&s) && DEAD_HUE.contains(&hue)
    };
    let (w, h) = (leaf.mask.width(), leaf.mask.height());
    let brown = Raster::from_vec(w, h, (0..w * h).map(brown).collect());
    let dead = form::dead_tips(leaf, &brown);
    let class = |i: usize| {
        if !leaf.mask.as_slice()[i] {
            return None;
        }
        let (a, b) = (bands.leaf[0].as_slice()[i], bands.leaf[1].as_slice()[i]);
        let colour = || judge(b.atan2(a).to_degrees(), a.hypot(b), bands.lightness.as_slice()[i]);
        Some(match () {
            () if leaf.unreadable(i % w, i / w).is_some() => Tissue::Unsure,
            () if bands.band.as_slice()[i] => Tissue::Band,
            () if dead.as_slice()[i] => Tissue::Dead,
            () if bands.mixed.as_slice()[i] => Tissue::Unsure,
            () => from_colour(colour()),
        })
    };
    Raster::from_vec(w, h, (0..w * h).map(class).collect())
}

/// Brown that does not end a leaf is leaf that reddens.
fn from_colour(hue: Hue) -> Tissue {
    match hue {
        Hue::Green => Tissue::Green,
        Hue::Cream => Tissue::Cream,
        Hue::Gold => Tissue::Gold,
        Hue::Red | Hue::Brown => Tissue::Red,
        Hue::Unknown => Tissue::Unsure,
    }
}

fn full_size(tissue: &Raster<Option<Tissue>>, rosette: &Rosette) -> Raster<Option<Tissue>> {
    let (w, h) = (rosette.bounds.width, rosette.bounds.height);
    let (columns, rows) = (nearest(tissue.width(), w), nearest(tissue.height(), h));
    let mut out = Raster::filled(w, h, None);
    for (y, &row) in rows.iter().enumerate() {
        for (x, &column) in columns.iter().enumerate() {
            if rosette.mask.get(x, y) {
                out.set(x, y, tissue.get(column, row).or(Some(Tissue::Unsure)));
            }
        }
    }
    out
}

fn count(tissue: &Raster<Option<Tissue>>) -> PerTissue<usize> {
    let mut counts = PerTissue::default();
    for t in tissue.as_slice().iter().flatten() {
        counts[*t] += 1;
    }
    counts
}
