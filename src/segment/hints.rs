//! What the user pointed at or painted.

use crate::base::doubt::Doubt;
use crate::base::raster::{Raster, Rect};
use crate::error::{Error, Result};
use crate::options::{Hint, Plants, Stroke};
use crate::photo::Photo;
use crate::segment::Rosette;
use crate::segment::crowns::{Gaps, tell_apart};
use crate::segment::propose::{self, Field};
use crate::segment::regions::Component;

/// The parts of the photo to draw plants in, and the limit beyond which nothing is drawn.
///
/// # Errors
/// [`Error::Refused`] where the hint lies outside the photo.
pub fn fields(photo: &Photo, plants: Plants, hint: Option<&Hint>) -> Result<(Vec<Field>, Rect)> {
    let picture = &photo.rgb;
    let frame = picture.bounds();
    Ok(match hint {
        Some(&Hint::Box(place)) => {
            let place = hinted_place(frame, place)?;
            (vec![propose::field_at(picture, place)], place)
        }
        Some(&Hint::At { x, y }) if !frame.contains(x, y) => return Err(outside("point", frame)),
        Some(Hint::Strokes(points)) => (painted(photo, plants, points)?, frame),
        _ => (propose::fields(photo, plants), frame),
    })
}

/// The plants in the field's `parts`, as a label picture. What the user painted holds: parts that were painted apart are
/// plants of their own, and plants along one painted line are one.
pub fn plants(field: &Field, parts: &Raster<u32>, hint: Option<&Hint>) -> Raster<u32> {
    let Some(Hint::Strokes(points)) = hint else { return tell_apart(parts, &field.crowns, Gaps::Within) };
    let gaps = if points.iter().any(|p| !p.plant) { Gaps::Between } else { Gaps::Within };
    let mut labels = tell_apart(parts, &field.crowns, gaps);
    let size = (labels.width(), labels.height());
    let painted: Vec<(usize, usize)> =
        points.iter().filter(|p| p.plant).filter_map(|p| place_in(field, size, p)).collect();
    for pair in painted.windows(2).filter(|pair| on_one_line(pair[0], pair[1], size)) {
        let [one, other] = [0, 1].map(|k| labels.get(pair[k].0, pair[k].1));
        if one > 0 && other > 0 && one != other {
            labels.as_mut_slice().iter_mut().filter(|label| **label == other).for_each(|label| *label = one);
        }
    }
    labels
}

/// Squared distance of a point of the photo to the nearest pixel of a plant; 0 on it.
pub fn distance(field: &Field, labels: &Raster<u32>, part: Component, (x, y): (usize, usize)) -> f64 {
    let rect = field.rect;
    let (sx, sy) = (labels.width() as f64 / rect.width as f64, labels.height() as f64 / rect.height as f64);
    // The pixel of the label picture that holds the point is its place there.
    let place = (((x as f64 + 0.5 - rect.x as f64) * sx).floor(), ((y as f64 + 0.5 - rect.y as f64) * sy).floor());
    let mut least = f64::INFINITY;
    for v in part.bounds.y..part.bounds.bottom() {
        for u in (part.bounds.x..part.bounds.right()).filter(|&u| labels.get(u, v) == part.label) {
            let (dx, dy) = ((u as f64 - place.0) / sx, (v as f64 - place.1) / sy);
            least = least.min(dx * dx + dy * dy);
        }
    }
    least
}

fn hinted_place(frame: Rect, place: Rect) -> Result<Rect> {
    if place.area() == 0 || !frame.overlaps(place) {
        return Err(outside("box", frame));
    }
    let place = place.grown(0, frame);
    Ok(place.grown(place.width.max(place.height) / 20, frame))
}

fn outside(what: &str, frame: Rect) -> Error {
    Error::Refused(format!("the {what} lies outside the photo ({} x {} pixels, upright)", frame.width, frame.height))
}

/// A doubt where the user's point is not on the plant that was taken for it.
pub fn beside(rosette: &Rosette, hint: &Hint) -> Option<Doubt> {
    let &Hint::At { x, y } = hint else { return None };
    (!rosette.covers(x, y))
        .then(|| Doubt::new("beside", format!("the point {x},{y} is on no plant: the nearest one was measured")))
}

/// The fields with what the user painted. Plant painted where none was seen makes a field of its own.
fn painted(photo: &Photo, plants: Plants, points: &[Stroke]) -> Result<Vec<Field>> {
    let frame = photo.rgb.bounds();
    if points.iter().any(|p| !frame.contains(p.x, p.y)) {
        return Err(outside("painted point", frame));
    }
    let mut fields = propose::fields(photo, plants);
    let pixel = |p: &Stroke| Rect { x: p.x, y: p.y, width: 1, height: 1 };
    let unseen = points.iter().filter(|p| p.plant && !fields.iter().any(|f| f.rect.contains(p.x, p.y)));
    if let Some(place) = unseen.map(pixel).reduce(Rect::union) {
        fields.push(propose::field_at(&photo.rgb, place.grown(frame.width.max(frame.height) / 8, frame)));
    }
    for field in &mut fields {
        apply_strokes(field, points);
    }
    Ok(fields)
}

/// Painted points hold: within 1 % of the part's longer side the evidence is certain.
fn apply_strokes(field: &mut Field, points: &[Stroke]) {
    let (w, h) = (field.logit.width(), field.logit.height());
    let radius = (w.max(h) / 100).max(2);
    for point in points {
        let Some((x, y)) = place_in(field, (w, h), point) else { continue };
        for v in y.saturating_sub(radius)..(y + radius + 1).min(h) {
            for u in x.saturating_sub(radius)..(x + radius + 1).min(w) {
                if u.abs_diff(x).pow(2) + v.abs_diff(y).pow(2) <= radius.pow(2) {
                    field.logit.set(u, v, if point.plant { 8.0 } else { -8.0 });
                }
            }
        }
    }
}

/// Points that follow each other in the list within a twentieth of the part's longer side are one line.
fn on_one_line(a: (usize, usize), b: (usize, usize), (w, h): (usize, usize)) -> bool {
    a.0.abs_diff(b.0).max(a.1.abs_diff(b.1)) <= w.max(h) / 20
}

/// Where a painted point lies on a grid of `size` over the field; `None` outside.
fn place_in(field: &Field, (w, h): (usize, usize), point: &Stroke) -> Option<(usize, usize)> {
    let rect = field.rect;
    let inside = rect.contains(point.x, point.y);
    inside.then(|| ((point.x - rect.x) * w / rect.width, (point.y - rect.y) * h / rect.height))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::crowns::Crowns;
    use crate::segment::regions::measured;

    /// 40 x 20 pixels of a photo, as many of the grid; plant where `rows` has a letter; one crown a letter, at its middle.
    fn field(rows: &[&str]) -> Field {
        let (w, h) = (rows[0].len(), rows.len());
        let letter = |i: usize| rows[i / w].as_bytes()[i % w];
        let logit = Raster::from_vec(w, h, (0..w * h).map(|i| if letter(i) == b'.' { -4.0 } else { 4.0 }).collect());
        let middle = |of: u8| {
            let all: Vec<usize> = (0..w * h).filter(|&i| letter(i) == of).collect();
            let mean = |f: &dyn Fn(usize) -> usize| all.iter().map(|&i| f(i)).sum::<usize>() as f32 / all.len() as f32;
            (mean(&|i| i % w).round(), mean(&|i| i / w).round())
        };
        let way = |i: usize| match letter(i) {
            b'.' => (0.0, 0.0),
            of => (middle(of).0 - (i % w) as f32, middle(of).1 - (i / w) as f32),
        };
        let plane = |f: &dyn Fn(usize) -> f32| Raster::from_vec(w, h, (0..w * h).map(f).collect());
        let heat = plane(&|i| if letter(i) == b'.' { -9.0 } else { 4.0 - 2.0 * way(i).0.hypot(way(i).1) });
        let crowns = Crowns { heat, offset: [plane(&|i| way(i).0), plane(&|i| way(i).1)] };
        let rect = Rect { x: 100, y: 50, width: w, height: h };
        Field { rect, witnesses: [logit.clone(), logit.clone()], logit, crowns_afar: crowns.clone(), crowns }
    }

    fn plants(field: &Field, hint: Option<&Hint>) -> Raster<u32> {
        super::plants(field, &field.parts(), hint)
    }

    fn two() -> Field {
        let row = "....aaaaaaaaaaaabbbbbbbbbbbb............";
        field(&[row; 12])
    }

    #[test]
    fn a_point_is_nearest_to_the_plant_it_lies_on() {
        let field = two();
        let labels = plants(&field, None);
        let found = measured(&labels);
        let to = |part: &Component, x| distance(&field, &labels, *part, (x, 55));
        assert_eq!(found.len(), 2);
        let left = found.iter().find(|part| part.bounds.x == 4).unwrap();
        let right = found.iter().find(|part| part.bounds.x == 16).unwrap();
        assert_eq!((to(left, 115), to(right, 115), to(right, 130)), (0.0, 1.0, 9.0));
    }

    #[test]
    fn a_line_painted_over_two_crowns_makes_one_plant() {
        let field = two();
        let painted = |xs: &[usize]| {
            let points = xs.iter().map(|&x| Stroke { x, y: 55, plant: true }).collect();
            measured(&plants(&field, Some(&Hint::Strokes(points)))).len()
        };
        assert_eq!(painted(&[114, 115, 116, 117]), 1);
        assert_eq!(painted(&[107, 125]), 2, "two points far apart are no line");
    }

    #[test]
    fn a_gap_painted_through_a_plant_makes_two() {
        let mut field = field(&["....aaaaaaaaaaaaaaaaaaaa................"; 12]);
        let points: Vec<Stroke> = (50..62).map(|y| Stroke { x: 109, y, plant: false }).collect();
        apply_strokes(&mut field, &points);
        assert_eq!(measured(&plants(&field, None)).len(), 1);
        assert_eq!(measured(&plants(&field, Some(&Hint::Strokes(points)))).len(), 2);
    }
}
