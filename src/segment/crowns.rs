//! Plants told apart by their crowns (the growing point, the middle of a rosette). The network says how likely each place is a
//! crown and, for each place on a plant, where its crown lies; a pixel belongs to the crown that its vote comes nearest to
//! (Cheng et al. 2020, "Panoptic-DeepLab", CVPR, arXiv:1911.10194).

use crate::base::raster::Raster;
use crate::base::resample::{bilinear, nearest};
use crate::segment::regions::{Component, labels, measured, pieces, spread};
use std::collections::{BTreeMap, BTreeSet};

/// What the network says of crowns in one part of the photo, on a grid of its own, coarser than the outline's.
#[derive(Debug, Clone)]
pub struct Crowns {
    /// Logit of a crown.
    pub heat: Raster<f32>,
    /// Where the crown of the plant seen at each cell lies: cells to the right of it, and down.
    pub offset: [Raster<f32>; 2],
}

/// A crown: a cell whose heat is above this (logit of 0.3), and the highest around.
const CROWN: f32 = -0.85;
/// Cells to each side among which a crown is the highest.
const AROUND: usize = 3;
/// Crowns nearer than this share of a plant's size (root of its cells) to its crown are the same plant's. Of two rosettes that
/// overlap by a third of their diameters, crowns are .9 sizes apart; where one is seen twice on real photos, under .25.
const SAME: f32 = 0.35;
/// A vote counts for a crown that it misses by no more than this share of its way, and [`AROUND`] cells.
const MISSED: f32 = 0.5;
/// A crown with fewer votes in a part than this share of the part's strongest is none of that part.
const FEWEST_VOTES: f32 = 0.04;
/// A piece of a plant smaller than this share of its largest one, in one part, goes to what lies around it.
const CRUMB: f32 = 0.1;

/// A place on the crowns' grid, in cells.
type Cell = (f32, f32);

/// A label picture of the plants in a mask: 0 outside, then 1, 2, ... Parts without any crown are plants of their own.
pub fn tell_apart(mask: &Raster<bool>, crowns: &Crowns) -> Raster<u32> {
    let parts = labels(mask);
    let ballots = crowns.ballots(&parts);
    let peaks = distinct(&crowns.peaks(), &ballots);
    let owners = owners(&parts, &ballots, &peaks);
    let votes = if owners.iter().any(|own| own.len() > 1) { crowns.votes(mask) } else { Vec::new() };
    let mut plants = Raster::filled(mask.width(), mask.height(), 0u32);
    for (i, (plant, &part)) in plants.as_mut_slice().iter_mut().zip(parts.as_slice()).enumerate() {
        *plant = match owners[part as usize].as_slice() {
            [] => 0,
            [only] => *only,
            several => nearest_of(votes[i], &peaks, several.iter().copied()),
        };
    }
    without_crumbs(&parts, &plants)
}

/// A cell on a part of the mask, and the place that it votes for.
struct Ballot {
    part: usize,
    cell: Cell,
    vote: Cell,
}

impl Ballot {
    fn counts_for(&self, peak: Cell) -> bool {
        distance(self.vote, peak) <= MISSED * distance(self.cell, self.vote) + AROUND as f32
    }
}

/// The crowns without those that lie inside another crown's plant; a plant's strongest crown stays.
fn distinct(peaks: &[Cell], ballots: &[Ballot]) -> Vec<Cell> {
    let mut strength = vec![0usize; peaks.len()];
    for ballot in ballots.iter().filter(|_| !peaks.is_empty()) {
        strength[nearest_of(ballot.vote, peaks, 1..=peaks.len() as u32) as usize - 1] += 1;
    }
    let mut strongest_first: Vec<usize> = (0..peaks.len()).collect();
    strongest_first.sort_by_key(|&i| std::cmp::Reverse(strength[i]));
    let mut kept: Vec<usize> = Vec::new();
    for i in strongest_first {
        let apart = |&other: &usize| distance(peaks[i], peaks[other]) >= SAME * (strength[other] as f32).sqrt();
        if kept.iter().all(apart) {
            kept.push(i);
        }
    }
    kept.into_iter().map(|i| peaks[i]).collect()
}

/// For each part (0: outside) the plants it holds, by label: 1 + the number of a crown, or a number of its own.
fn owners(parts: &Raster<u32>, ballots: &[Ballot], peaks: &[Cell]) -> Vec<Vec<u32>> {
    let count = parts.as_slice().iter().max().map_or(0, |&m| m as usize);
    let mut votes = vec![vec![0usize; peaks.len()]; count + 1];
    for ballot in ballots.iter().filter(|_| !peaks.is_empty()) {
        let label = nearest_of(ballot.vote, peaks, 1..=peaks.len() as u32) as usize;
        votes[ballot.part][label - 1] += usize::from(ballot.counts_for(peaks[label - 1]));
    }
    let plants_of = |(part, votes): (usize, &Vec<usize>)| {
        let strongest = votes.iter().max().copied().unwrap_or(0);
        let enough = |&(_, &v): &(usize, &usize)| v > 0 && v as f32 >= FEWEST_VOTES * strongest as f32;
        let own: Vec<u32> = votes.iter().enumerate().filter(enough).map(|(i, _)| i as u32 + 1).collect();
        if own.is_empty() && part > 0 { vec![(peaks.len() + part) as u32] } else { own }
    };
    votes.iter().enumerate().map(plants_of).collect()
}

/// Label, among `several`, of the peak that the vote comes nearest to.
fn nearest_of(vote: Cell, peaks: &[Cell], several: impl Iterator<Item = u32>) -> u32 {
    let missed = |label: u32| distance(vote, peaks[label as usize - 1]);
    several.min_by(|&a, &b| missed(a).total_cmp(&missed(b))).unwrap_or(0)
}

fn distance(a: Cell, b: Cell) -> f32 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

impl Crowns {
    /// The same with left and right exchanged.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let [right, down] = &self.offset;
        Self { heat: self.heat.mirrored(), offset: [right.mirrored().map(|v| -v), down.mirrored()] }
    }

    /// The crowns, in rows.
    fn peaks(&self) -> Vec<Cell> {
        let (w, h) = (self.heat.width(), self.heat.height());
        // Of equals the first counts.
        let above = |(u, v): (usize, usize), (x, y): (usize, usize)| {
            let order = self.heat.get(u, v).total_cmp(&self.heat.get(x, y));
            order.then((y, x).cmp(&(v, u))).is_gt()
        };
        let highest_around = |x: usize, y: usize| {
            let (columns, rows) =
                (x.saturating_sub(AROUND)..(x + AROUND + 1).min(w), y.saturating_sub(AROUND)..(y + AROUND + 1).min(h));
            !rows.flat_map(|v| columns.clone().map(move |u| (u, v))).any(|other| above(other, (x, y)))
        };
        let places = (0..h).flat_map(|y| (0..w).map(move |x| (x, y)));
        let crowns = places.filter(|&(x, y)| self.heat.get(x, y) > CROWN && highest_around(x, y));
        crowns.map(|(x, y)| (x as f32, y as f32)).collect()
    }

    /// The votes of the cells whose middles lie in the parts.
    fn ballots(&self, parts: &Raster<u32>) -> Vec<Ballot> {
        let columns = nearest(parts.width(), self.heat.width());
        let rows = nearest(parts.height(), self.heat.height());
        let ballot = |(x, y): (usize, usize)| {
            let cell = (x as f32, y as f32);
            let vote = (cell.0 + self.offset[0].get(x, y), cell.1 + self.offset[1].get(x, y));
            Ballot { part: parts.get(columns[x], rows[y]) as usize, cell, vote }
        };
        let cells = (0..rows.len()).flat_map(|y| (0..columns.len()).map(move |x| (x, y)));
        cells.map(ballot).filter(|ballot| ballot.part > 0).collect()
    }

    /// The vote of each pixel of a mask.
    fn votes(&self, mask: &Raster<bool>) -> Vec<Cell> {
        let (w, h) = (mask.width(), mask.height());
        let [right, down] = [0, 1].map(|k| bilinear(&self.offset[k], w, h));
        let cells = (self.heat.width() as f32 / w as f32, self.heat.height() as f32 / h as f32);
        let at = |i: usize| (((i % w) as f32 + 0.5) * cells.0 - 0.5, ((i / w) as f32 + 0.5) * cells.1 - 0.5);
        let vote = |i: usize| (at(i).0 + right.as_slice()[i], at(i).1 + down.as_slice()[i]);
        (0..w * h).map(vote).collect()
    }
}

/// Gives the crumbs of plants to what lies around them; a part made of crumbs alone stays as it was.
fn without_crumbs(parts: &Raster<u32>, plants: &Raster<u32>) -> Raster<u32> {
    let pieces = pieces(plants);
    let found = measured(&pieces);
    let mut owner = vec![0u32; found.len() + 1];
    for (&piece, &plant) in pieces.as_slice().iter().zip(plants.as_slice()) {
        owner[piece as usize] = plant;
    }
    let mut largest: BTreeMap<u32, usize> = BTreeMap::new();
    for piece in &found {
        let most = largest.entry(owner[piece.label as usize]).or_default();
        *most = piece.pixels.max(*most);
    }
    let is_crumb = |piece: &&Component| (piece.pixels as f32) < CRUMB * largest[&owner[piece.label as usize]] as f32;
    let crumbs: BTreeSet<u32> = found.iter().filter(is_crumb).map(|piece| piece.label).collect();
    let mut sure = plants.clone();
    for (plant, piece) in sure.as_mut_slice().iter_mut().zip(pieces.as_slice()) {
        *plant *= u32::from(!crumbs.contains(piece));
    }
    let mut filled = spread(|x, y| parts.get(x, y) > 0, sure);
    for (now, &before) in filled.as_mut_slice().iter_mut().zip(plants.as_slice()) {
        *now = if *now == 0 { before } else { *now };
    }
    filled
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (120, 60);

    fn drawn(inside: impl Fn(f32, f32) -> bool) -> Raster<bool> {
        let data = (0..SIZE.0 * SIZE.1).map(|i| inside((i % SIZE.0) as f32, (i / SIZE.0) as f32)).collect();
        Raster::from_vec(SIZE.0, SIZE.1, data)
    }

    /// Crowns at places of the mask (heat falls off over six pixels), on a grid of half its size; each cell votes for the
    /// nearest.
    fn seen(places: &[Cell]) -> Crowns {
        let (w, h) = (SIZE.0 / 2, SIZE.1 / 2);
        let cell = |i: usize| ((i % w) as f32, (i / w) as f32);
        let way = |i: usize, &(x, y): &Cell| ((x - 0.5) / 2.0 - cell(i).0, (y - 0.5) / 2.0 - cell(i).1);
        let length = |way: Cell| way.0.hypot(way.1);
        let nearest = |i: usize| places.iter().map(|p| way(i, p)).min_by(|&a, &b| length(a).total_cmp(&length(b)));
        let field = |f: &dyn Fn(Cell) -> f32, none: f32| {
            Raster::from_vec(w, h, (0..w * h).map(|i| nearest(i).map_or(none, f)).collect())
        };
        let heat = field(&|way| 4.0 - 2.0 * length(way), -9.0);
        Crowns { heat, offset: [field(&|way| way.0, 0.0), field(&|way| way.1, 0.0)] }
    }

    fn disc(x: f32, y: f32, cx: f32) -> bool {
        (x - cx).hypot(y - 30.0) <= 24.0
    }

    #[test]
    fn plants_that_touch_are_cut_between_their_crowns() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        let plants = tell_apart(&mask, &seen(&[(35.0, 30.0), (75.0, 30.0)]));
        assert_eq!(measured(&plants).len(), 2);
        assert_eq!((plants.get(54, 30), plants.get(57, 30)), (plants.get(20, 30), plants.get(90, 30)));
        assert_ne!(plants.get(20, 30), plants.get(90, 30));
    }

    #[test]
    fn one_crown_is_one_plant_of_any_shape() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        assert_eq!(measured(&tell_apart(&mask, &seen(&[(50.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn a_crown_seen_twice_is_one() {
        let mask = drawn(|x, y| disc(x, y, 60.0));
        assert_eq!(measured(&tell_apart(&mask, &seen(&[(56.0, 30.0), (66.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn a_plant_behind_a_stake_is_one() {
        let mask = drawn(|x, y| disc(x, y, 60.0) && (x - 50.0).abs() > 3.0);
        assert_eq!(measured(&tell_apart(&mask, &seen(&[(60.0, 30.0)]))).len(), 1);
    }

    #[test]
    fn parts_without_crowns_are_plants() {
        let mask = drawn(|x, y| disc(x, y, 30.0) || disc(x, y, 85.0));
        assert_eq!(measured(&tell_apart(&mask, &seen(&[]))).len(), 2);
        let mut one_seen = seen(&[(30.0, 30.0), (85.0, 30.0)]);
        one_seen
            .heat
            .as_mut_slice()
            .iter_mut()
            .enumerate()
            .filter(|(i, _)| i % 60 > 30)
            .for_each(|(_, heat)| *heat = -9.0);
        assert_eq!(measured(&tell_apart(&mask, &one_seen)).len(), 2);
    }

    #[test]
    fn crumbs_go_to_their_surroundings() {
        let mask = drawn(|x, y| disc(x, y, 35.0) || disc(x, y, 75.0));
        let mut crowns = seen(&[(35.0, 30.0), (75.0, 30.0)]);
        // Two cells of the left plant that vote for the right crown.
        for x in 8..10 {
            crowns.offset[0].set(x, 15, 37.0 - x as f32);
        }
        let plants = tell_apart(&mask, &crowns);
        assert!((12..50).all(|x| plants.get(x, 30) == plants.get(30, 20)));
    }
}
