//! Along a band: how straight it lies, how far it runs unbroken, and what gap lies before the next piece of its row.

use super::field::Field;
use super::profile::Look;

/// Widest gap between two pieces of a row, rough widths; what lies farther is another row or another leaf.
const WIDEST_GAP: f64 = 2.5;
/// Fewest places on a band from which its waviness is told.
const FEWEST: usize = 6;

impl Look<'_> {
    /// Length of the band through a place, and of the gaps from its ends to the next pieces of its row, pixels.
    pub(super) fn along(&self, at: [f64; 2]) -> (f64, f64) {
        let [(a, gap), (b, other)] = [1.0, -1.0].map(|way| self.one_way(at, way));
        (a + b, gap + other)
    }

    /// How far a band goes on one way, and how far it is from there to the next piece of its row; 0 where there is none.
    fn one_way(&self, at: [f64; 2], way: f64) -> (f64, f64) {
        let (step, most) = (self.field.cell as f64, WIDEST_GAP * self.field.rough_width);
        let longest = (self.tissue.width() + self.tissue.height()) as f64;
        let (mut place, mut end, mut heading) = (at, at, None);
        let (mut band, mut gap) = (0.0, 0.0);
        while band < longest {
            // Beyond the end of a piece the field turns around it: straight on.
            let ahead = if gap > 0.0 { straight(at, end) } else { ahead(self.field, place, heading, way) };
            place = [0, 1].map(|axis| place[axis] + step * ahead[axis]);
            heading = Some(ahead);
            match self.band(place) {
                Some(true) if gap > 0.0 => {
                    let other = self.field.label(place) != self.field.label(at);
                    return (band, if other { gap } else { 0.0 });
                }
                Some(true) => (band, end) = (band + step, place),
                Some(false) if gap < most => gap += step,
                Some(false) | None => break,
            }
        }
        (band, 0.0)
    }
}

/// Unit vector from one place to another; none if they are one.
fn straight([x, y]: [f64; 2], [u, v]: [f64; 2]) -> [f64; 2] {
    let length = (u - x).hypot(v - y).max(f64::MIN_POSITIVE);
    [(u - x) / length, (v - y) / length]
}

/// Unit vector along the bands at a place, on from the former one.
fn ahead(field: &Field, at: [f64; 2], former: Option<[f64; 2]>, way: f64) -> [f64; 2] {
    let [x, y] = field.across(at);
    let along = [-y, x];
    let onward = former.map_or(way, |[x, y]| along[0] * x + along[1] * y);
    along.map(|v| if onward < 0.0 { -v } else { v })
}

/// How far places on a band's centre line stand from the straight line through them that fits best: root mean square, in
/// their own unit; `None` with too few places. The smaller eigenvalue of their covariance.
pub(super) fn off_straight(places: &[[f64; 2]]) -> Option<f64> {
    if places.len() < FEWEST {
        return None;
    }
    let mean = |axis: usize| places.iter().map(|p| p[axis]).sum::<f64>() / places.len() as f64;
    let middle = [mean(0), mean(1)];
    let [mut xx, mut xy, mut yy] = [0.0; 3];
    for [x, y] in places.iter().map(|p| [p[0] - middle[0], p[1] - middle[1]]) {
        (xx, xy, yy) = (xx + x * x, xy + x * y, yy + y * y);
    }
    let smaller = f64::midpoint(xx, yy) - ((xx - yy) / 2.0).hypot(xy);
    Some((smaller.max(0.0) / places.len() as f64).sqrt())
}
