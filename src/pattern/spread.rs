//! How pale tissue is spread over the plant: evenly, or on one side.

use super::look::Look;
use crate::tissue::class::Tissue;
use std::f32::consts::TAU;

/// Sectors around the crown: at most about one leaf each.
pub(super) const SECTORS: usize = 12;
/// Arcs of this many sectors are tried as the one side: a sixth to a half of the circle; the rest is the other.
const ARC: std::ops::RangeInclusive<usize> = 2..=SECTORS / 2;
/// Least share of the leaf on each side.
const LEAST_SIDE: f64 = 0.1;
/// Side of the tiles over which evenness over the leaves is told, parts of the diameter: about a leaf's width.
const TILE: f32 = 0.15;
/// Shares of pale tissue under and over which there is nothing to be spread: the error of a class, 2 %.
const SPREADABLE: std::ops::RangeInclusive<f64> = 0.02..=0.98;

/// How evenly pale tissue is spread: 1 - F, where F = variance of the parts' pale shares / (p (1 - p)) and p is the share
/// of the whole: Wright's fixation index (Wright 1951, Annals of Eugenics 15:323-354), which tells for genes what is
/// asked here for tissue. 1 if all parts have the same share, 0 if each part is all pale or all green. The use of F on
/// leaves is our own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evenness {
    /// Over tiles of 0.15 of the diameter, about a leaf's width.
    pub leaves: f64,
    /// Over 12 sectors around the crown: what offsets from different sides will be like.
    pub around: f64,
}

/// Green and pale leaf of one part of the plant, pixels.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Part {
    pale: f64,
    all: f64,
}

impl Part {
    fn add(&mut self, other: Part) {
        self.pale += other.pale;
        self.all += other.all;
    }

    fn share(self) -> f64 {
        self.pale / self.all.max(1.0)
    }
}

/// Pale tissue by sectors and tiles.
pub(super) struct Spread {
    sectors: [Part; SECTORS],
    tiles: Vec<Part>,
    whole: Part,
}

impl Spread {
    pub(super) fn new(look: &Look, crown: [f32; 2]) -> Self {
        let (w, h) = (look.tissue.width(), look.tissue.height());
        let side = ((TILE * look.diameter) as usize).max(1);
        let across = w.div_ceil(side);
        let mut sectors = [Part::default(); SECTORS];
        let mut tiles = vec![Part::default(); across * h.div_ceil(side)];
        for y in 0..h {
            for x in 0..w {
                let pale = match look.tissue.get(x, y) {
                    Some(Tissue::Green) => 0.0,
                    Some(Tissue::Cream | Tissue::Gold) => 1.0,
                    Some(Tissue::Red | Tissue::Band | Tissue::Dead | Tissue::Unsure) | None => continue,
                };
                let part = Part { pale, all: 1.0 };
                sectors[sector(crown, x as f32, y as f32)].add(part);
                tiles[y / side * across + x / side].add(part);
            }
        }
        let mut whole = Part::default();
        for sector in sectors {
            whole.add(sector);
        }
        Self { sectors, tiles, whole }
    }

    /// Part of the variance of pale against green that one arc of the plant against the rest explains, 0..1: the best of
    /// all arcs.
    pub(super) fn one_sided(&self) -> f64 {
        let mean = self.whole.share();
        let arcs = (0..SECTORS).flat_map(|first| ARC.map(move |length| (first, length)));
        let explained = arcs.map(|(first, length)| {
            let mut arc = Part::default();
            (first..first + length).for_each(|i| arc.add(self.sectors[i % SECTORS]));
            let rest = Part { pale: self.whole.pale - arc.pale, all: self.whole.all - arc.all };
            let size = arc.all / self.whole.all.max(1.0);
            let sides = (LEAST_SIDE..=1.0 - LEAST_SIDE).contains(&size);
            if sides { size * (1.0 - size) * (arc.share() - rest.share()).powi(2) } else { 0.0 }
        });
        explained.fold(0.0, f64::max) / (mean * (1.0 - mean)).max(0.02)
    }

    /// `None` where there is no pale or no green tissue to speak of.
    pub(super) fn evenness(&self) -> Option<Evenness> {
        let mean = self.whole.share();
        SPREADABLE.contains(&mean).then(|| {
            let even = |parts: &[Part]| {
                let variance: f64 = parts.iter().map(|p| p.all * (p.share() - mean).powi(2)).sum();
                (1.0 - variance / self.whole.all / (mean * (1.0 - mean))).clamp(0.0, 1.0)
            };
            Evenness { leaves: even(&self.tiles), around: even(&self.sectors) }
        })
    }
}

/// Sector of a place around the crown.
pub(super) fn sector(crown: [f32; 2], x: f32, y: f32) -> usize {
    let turn = (y - crown[1]).atan2(x - crown[0]).rem_euclid(TAU) / TAU;
    ((turn * SECTORS as f32) as usize).min(SECTORS - 1)
}
