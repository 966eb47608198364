//! The outline of a plant at the photo's full resolution, if it can be measured.

use crate::base::doubt::Doubt;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::beside;
use crate::base::wide::wide;
use crate::error::{Error, Result};
use crate::segment::choose::Candidate;
use crate::segment::propose::Field;
use crate::segment::{DOUBTFUL, HOPELESS, Rosette};
use std::ops::RangeInclusive;

/// Share of a plant that both looks must give to one plant; under it, where it ends is a doubt. Round number.
const APART: f64 = 0.5;
/// Share of the outline on the frame above which a plant counts as cut off.
const CUT_DOUBT: f64 = 0.02;
/// Fewest leaf pixels that can be measured: about 40 x 40.
const FEWEST_PIXELS: usize = 1500;

/// The outline at the photo's full resolution; what lies on the border of `limit` is cut off, up to a share `most_cut`.
pub fn draw(
    field: &Field,
    labels: &Raster<u32>,
    candidate: &Candidate,
    (limit, most_cut): (Rect, f64),
) -> Result<Rosette> {
    if candidate.confidence < HOPELESS {
        return Err(Error::Refused(format!(
            "the outline is not sure enough (the two witnesses agree on {:.0} % of it, {:.0} % needed); use a plainer \
             background, or show the plant with --at or --box",
            candidate.confidence * 100.0,
            HOPELESS * 100.0
        )));
    }
    let mask = full_size(field, labels, candidate.part.label, candidate.bounds);
    let pixels = inside(mask.as_slice());
    if pixels < FEWEST_PIXELS {
        return Err(Error::Refused(format!(
            "the plant is too small ({pixels} pixels, {FEWEST_PIXELS} needed); go closer"
        )));
    }
    let cut = share_on_frame(&mask, candidate.bounds, limit);
    if cut > most_cut {
        return Err(Error::Refused(format!(
            "the plant is cut off by the frame or the box ({:.0} % of its outline, {:.0} % allowed); step back or widen the box",
            cut * 100.0,
            most_cut * 100.0
        )));
    }
    let mut doubts = Vec::new();
    if cut > CUT_DOUBT {
        doubts.push(Doubt::new(
            "cut-off",
            format!(
                "{:.0} % of the outline lies on the frame or the box: shares hold for what is seen, the diameter does not",
                cut * 100.0
            ),
        ));
    }
    if candidate.told_apart < APART {
        doubts.push(Doubt::new(
            "neighbours",
            "where this plant ends and the one beside it begins is unsure: look at the overlay",
        ));
    }
    if candidate.confidence < DOUBTFUL {
        doubts.push(Doubt::new(
            "outline",
            format!(
                "the outline is unsure (the two witnesses agree on {:.0} %): look at the overlay",
                candidate.confidence * 100.0
            ),
        ));
    }
    Ok(Rosette {
        bounds: candidate.bounds,
        mask,
        confidence: candidate.confidence,
        blur_px: candidate.focus.blur_px,
        doubts,
    })
}

/// The pixels of the plant `label` inside `bounds`: where the evidence, bilinear between the places of the drawing, is above 0 and
/// the nearest place has that label (evidence is above 0 at all places with labels). Most pixels lie between four places of the
/// plant, or four of anything else, and need no look.
fn full_size(field: &Field, labels: &Raster<u32>, label: u32, bounds: Rect) -> Raster<bool> {
    let rect = field.rect;
    let places = |from: usize, length: usize, drawn: usize, whole: usize| -> Vec<Place> {
        let place = |i: usize| beside(((from + i) as f64 + 0.5) * (drawn as f64 / whole as f64) - 0.5, drawn);
        (0..length).map(place).map(|(low, high, weight)| (low, high, weight as f32)).collect()
    };
    let columns = places(bounds.x - rect.x, bounds.width, labels.width(), rect.width);
    let rows = places(bounds.y - rect.y, bounds.height, labels.height(), rect.height);
    // Between the place `left` and the next lie the columns from `starts[left - first]` on.
    let (first, last) = (columns[0].0, columns[columns.len() - 1].0);
    let starts: Vec<usize> = (first..=last + 1).map(|left| columns.partition_point(|column| column.0 < left)).collect();
    let mut mask = Raster::filled(bounds.width, bounds.height, false);
    let mut y = 0;
    for rows in rows.chunk_by(|a, b| a.0 == b.0) {
        let mut cell = 0;
        for alike in corners(labels, label, rows[0], first..=last).chunk_by(|a, b| a == b) {
            let (from, to) = (starts[cell], starts[cell + alike.len()]);
            cell += alike.len();
            for (y, &row) in (y..).zip(rows).filter(|_| alike[0] > 0) {
                let mask = &mut mask.row_mut(y)[from..to];
                if alike[0] == 4 {
                    mask.fill(true);
                    continue;
                }
                for (inside, &column) in mask.iter_mut().zip(&columns[from..to]) {
                    let nearest = labels.get(nearer(column), nearer(row));
                    *inside = nearest == label && evidence(&field.logit, column, row) > 0.0;
                }
            }
        }
        y += rows.len();
    }
    mask
}

/// Between two rows, for each place and the next one: how many of these four have the label.
fn corners(labels: &Raster<u32>, label: u32, (above, below, _): Place, places: RangeInclusive<usize>) -> Vec<u8> {
    let own = |row: usize| labels.row(row)[*places.start()..].iter().map(|&l| u8::from(l == label));
    let mut pairs: Vec<u8> = own(above).zip(own(below)).map(|(above, below)| above + below).collect();
    // Beyond the last place, its values are continued.
    pairs.push(pairs[pairs.len() - 1]);
    pairs.windows(2).take(places.count()).map(|pair| pair[0] + pair[1]).collect()
}

/// The two places of the drawing beside a pixel, and the weight of the second.
type Place = (usize, usize, f32);

fn nearer((low, high, weight): Place) -> usize {
    if weight < 0.5 { low } else { high }
}

fn evidence(logit: &Raster<f32>, (left, right, u): Place, (above, below, v): Place) -> f32 {
    let down = |x: usize| logit.get(x, above) + v * (logit.get(x, below) - logit.get(x, above));
    down(left) + u * (down(right) - down(left))
}

/// At how many places of two rows `which` holds.
fn count(a: &[bool], b: &[bool], which: impl Fn(bool, bool) -> bool) -> usize {
    wide(|| {
        let chunks = a.chunks(usize::from(u8::MAX)).zip(b.chunks(usize::from(u8::MAX)));
        chunks.map(|(a, b)| usize::from(a.iter().zip(b).map(|(&a, &b)| u8::from(which(a, b))).sum::<u8>())).sum()
    })
}

fn inside(mask: &[bool]) -> usize {
    count(mask, mask, |inside, _| inside)
}

/// Share of the outline's length that runs along the frame.
fn share_on_frame(mask: &Raster<bool>, bounds: Rect, frame: Rect) -> f64 {
    let (w, h) = (mask.width(), mask.height());
    let column = |x: usize| (0..h).filter(|&y| mask.get(x, y)).count();
    // The sides of the bounds with whether they lie on the frame.
    let sides = [
        (column(0), bounds.x <= frame.x),
        (column(w - 1), bounds.right() >= frame.right()),
        (inside(mask.row(0)), bounds.y <= frame.y),
        (inside(mask.row(h - 1)), bounds.bottom() >= frame.bottom()),
    ];
    let border: usize = sides.iter().filter(|(_, on_frame)| *on_frame).map(|(pixels, _)| pixels).sum();
    if border == 0 {
        return 0.0;
    }
    let across = (0..h).map(|y| count(mask.row(y), &mask.row(y)[1..], |a, b| a != b));
    let down = (1..h).map(|y| count(mask.row(y), mask.row(y - 1), |a, b| a != b));
    let edge = across.chain(down).chain(sides.map(|(pixels, _)| pixels)).sum::<usize>();
    border as f64 / edge.max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::bilinear::bilinear_part;
    use crate::base::resample::nearest;
    use crate::segment::crowns::Crowns;

    /// Against each pixel's own look, for two plants that touch.
    #[test]
    fn runs_of_alike_places_hold_what_each_pixel_says() {
        let (w, h) = (23, 17);
        let logit = Raster::from_vec(w, h, (0..w * h).map(|i| ((i * i % 97) as f32 - 20.0) / 10.0).collect());
        let label = |(i, &v): (usize, &f32)| if v > 0.0 { 1 + u32::from(i % w > 11) } else { 0 };
        let labels = Raster::from_vec(w, h, logit.as_slice().iter().enumerate().map(label).collect());
        let crowns = Crowns { heat: logit.clone(), offset: [logit.clone(), logit.clone()] };
        let rect = Rect { x: 5, y: 9, width: 60, height: 44 };
        let witnesses = [logit.clone(), logit.clone()];
        let field = Field { rect, witnesses, logit, crowns_afar: crowns.clone(), crowns };
        let bounds = Rect { x: 12, y: 9, width: 50, height: 41 };
        let evidence = bilinear_part(&field.logit, rect, bounds, (50, 41));
        let (columns, rows) = (nearest(w, 60), nearest(h, 44));
        for label in [1, 2] {
            let mask = full_size(&field, &labels, label, bounds);
            for (x, y) in (0..41).flat_map(|y| (0..50).map(move |x| (x, y))) {
                let meant = evidence.get(x, y) > 0.0 && labels.get(columns[x + 7], rows[y]) == label;
                assert_eq!(mask.get(x, y), meant, "{label} at {x}, {y}");
            }
        }
    }

    #[test]
    fn the_share_on_the_frame_counts_edges() {
        let mask = Raster::filled(4, 2, true);
        let frame = Rect { x: 0, y: 0, width: 10, height: 10 };
        let inside = Rect { x: 3, y: 3, width: 4, height: 2 };
        assert!(share_on_frame(&mask, inside, frame).abs() < 1e-9);
        let at_top = Rect { x: 3, y: 0, width: 4, height: 2 };
        assert!((share_on_frame(&mask, at_top, frame) - 4.0 / 12.0).abs() < 1e-9);
    }
}
