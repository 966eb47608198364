//! How far the two looks agree about a plant.

use crate::base::raster::Raster;
use crate::base::resample::nearest;
use crate::segment::crowns::{Gaps, tell_apart};
use crate::segment::propose::Field;
use crate::segment::regions::Component;
use std::collections::BTreeMap;
use std::ops::Range;

/// Partings are compared at each third row and column of the drawing: of a plant drawn at 1,000 pixels at 333, some three a
/// cell of the votes that they are made by.
const THIN: usize = 3;

/// How far the looks at a field agree about the plants in it.
pub struct Agreement<'a> {
    field: &'a Field,
    labels: &'a Raster<u32>,
    /// The labels' columns and rows under those of the witnesses.
    columns: Vec<usize>,
    rows: Vec<usize>,
    shared: Shared,
}

impl<'a> Agreement<'a> {
    /// About the plants `labels` in the connected `parts` of a field.
    pub fn of(field: &'a Field, parts: &Raster<u32>, labels: &'a Raster<u32>) -> Self {
        let from_afar = tell_apart(&thinned(parts), &field.crowns_afar, Gaps::Within);
        Self {
            field,
            labels,
            columns: nearest(labels.width(), field.witnesses[0].width()),
            rows: nearest(labels.height(), field.witnesses[0].height()),
            shared: Shared::of(&thinned(labels), &from_afar),
        }
    }

    /// Intersection over union of the two witnesses' outlines around one plant; what belongs to another plant is left out.
    pub fn outline(&self, part: Component) -> f64 {
        let margin = part.bounds.width.max(part.bounds.height) / 20 + 1;
        let around = part.bounds.grown(margin, self.labels.bounds());
        let columns = within(&self.columns, around.x..around.right());
        let (mut both, mut either) = (0usize, 0usize);
        for y in within(&self.rows, around.y..around.bottom()) {
            let labels = self.labels.row(self.rows[y]);
            let [one, other] = [0, 1].map(|k| &self.field.witnesses[k].row(y)[columns.clone()]);
            for ((&u, &one), &other) in self.columns[columns.clone()].iter().zip(one).zip(other) {
                let meant = labels[u] == 0 || labels[u] == part.label;
                both += usize::from(meant && one > 0.0 && other > 0.0);
                either += usize::from(meant && (one > 0.0 || other > 0.0));
            }
        }
        both as f64 / either.max(1) as f64
    }

    /// How far both looks tell a plant from its neighbours alike, 0..1.
    pub fn parting(&self, label: u32) -> f64 {
        self.shared.parting(label)
    }
}

/// Which of some places, in order, lie in a range.
fn within(places: &[usize], range: Range<usize>) -> Range<usize> {
    places.partition_point(|&place| place < range.start)..places.partition_point(|&place| place < range.end)
}

/// Pixels that our plants share with those of another parting of the same mask, and all pixels of each of its plants.
struct Shared {
    pairs: BTreeMap<(u32, u32), usize>,
    theirs: BTreeMap<u32, usize>,
}

impl Shared {
    fn of(ours: &Raster<u32>, other: &Raster<u32>) -> Self {
        let mut shared = Self { pairs: BTreeMap::new(), theirs: BTreeMap::new() };
        let pairs: Vec<(u32, u32)> = ours.as_slice().iter().copied().zip(other.as_slice().iter().copied()).collect();
        for run in pairs.chunk_by(|a, b| a == b).filter(|run| run[0].0 > 0) {
            *shared.pairs.entry(run[0]).or_default() += run.len();
            *shared.theirs.entry(run[0].1).or_default() += run.len();
        }
        shared
    }

    /// Intersection over union of one of our plants and the plant that the other parting takes most of it for.
    fn parting(&self, label: u32) -> f64 {
        let within = || self.pairs.range((label, 0)..=(label, u32::MAX));
        let Some((&(_, other), &both)) = within().max_by_key(|&(_, &pixels)| pixels) else { return 0.0 };
        let ours: usize = within().map(|(_, pixels)| pixels).sum();
        both as f64 / (ours + self.theirs[&other] - both) as f64
    }
}

fn thinned(labels: &Raster<u32>) -> Raster<u32> {
    let rows = (0..labels.height()).step_by(THIN);
    let data: Vec<u32> = rows.clone().flat_map(|y| labels.row(y).iter().step_by(THIN).copied()).collect();
    Raster::from_vec(data.len() / rows.len(), rows.len(), data)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plants_are_surely_apart_where_both_looks_part_them_alike() {
        let labels = |rows: [&str; 2]| {
            let data = rows.iter().flat_map(|row| row.bytes().map(|b| u32::from(b - b'0'))).collect();
            Raster::from_vec(6, 2, data)
        };
        let ours = labels(["111222", "111222"]);
        let against = |rows| Shared::of(&ours, &labels(rows)).parting(1);
        assert!((against(["222111", "222111"]) - 1.0).abs() < 1e-9);
        assert!((against(["333333", "333333"]) - 0.5).abs() < 1e-9);
        assert!((against(["112222", "112222"]) - 4.0 / 6.0).abs() < 1e-9);
    }
}
