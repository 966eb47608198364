//! Which of the plants in view are meant.

use crate::base::raster::Rect;
use crate::options::Plants;
use crate::segment::focus::Focus;
use crate::segment::regions::Component;

/// A plant found, before it is known whether it is meant.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Number of its field.
    pub field: usize,
    /// Its part of the field's label picture.
    pub part: Component,
    /// Its pixels in the photo, about.
    pub pixels: usize,
    /// Where it lies in the photo.
    pub bounds: Rect,
    /// Agreement of the witnesses, 0..1.
    pub confidence: f64,
    /// How far both looks tell this plant from its neighbours alike, 0..1; 1 where it touches none.
    pub told_apart: f64,
    /// How sharp the photo is at it.
    pub focus: Focus,
}

/// Plants smaller than this share of the largest are left out unless all are asked for.
const SMALL: f64 = 0.05;
/// The same when all are asked for: smaller parts are crumbs of the outline.
const SPECK: f64 = 0.01;
/// Plants less sharp than this share of the main plant's sharpness stand behind it.
const BLURRED: f64 = 0.3;

/// The plants that are meant, largest first.
pub fn choose(mut found: Vec<Candidate>, frame: Rect, plants: Plants) -> Vec<Candidate> {
    found.sort_by_key(|c| (std::cmp::Reverse(c.pixels), c.bounds.y, c.bounds.x));
    let largest = found.first().map_or(0.0, |c| c.pixels as f64);
    let sharpest = found.iter().map(|c| c.focus.sharpness).fold(0.0, f64::max);
    let weight = |c: &Candidate| {
        c.pixels as f64 * (c.focus.sharpness / sharpest.max(1e-9)).min(1.0) * centrality(c.bounds, frame)
    };
    let Some(main) = found.iter().max_by(|a, b| weight(a).total_cmp(&weight(b))).cloned() else {
        return found;
    };
    match plants {
        Plants::One => vec![main],
        Plants::Many => found.into_iter().filter(|c| c.pixels as f64 >= SPECK * largest).collect(),
        Plants::Auto => found
            .into_iter()
            .filter(|c| c.pixels as f64 >= SMALL * largest && c.focus.sharpness >= BLURRED * main.focus.sharpness)
            .collect(),
    }
}

/// 1 in the middle of the frame, falling off as a Gaussian of a third of the frame.
fn centrality(bounds: Rect, frame: Rect) -> f64 {
    let offset = |(start, length): (usize, usize), (from, whole): (usize, usize)| {
        let middle = start as f64 + length as f64 / 2.0 - from as f64;
        (middle / whole as f64 - 0.5) / 0.33
    };
    let dx = offset((bounds.x, bounds.width), (frame.x, frame.width));
    let dy = offset((bounds.y, bounds.height), (frame.y, frame.height));
    (-0.5 * (dx * dx + dy * dy)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: Rect = Rect { x: 0, y: 0, width: 1000, height: 1000 };

    fn plant(x: usize, pixels: usize, sharpness: f64) -> Candidate {
        let bounds = Rect { x, y: 450, width: 100, height: 100 };
        let part = Component { label: 1, pixels, bounds };
        let focus = Focus { sharpness, blur_px: None };
        Candidate { field: 0, part, pixels, bounds, confidence: 1.0, told_apart: 1.0, focus }
    }

    fn pick(plants: Plants) -> Vec<usize> {
        let all = vec![plant(450, 8000, 1.0), plant(100, 9000, 0.1), plant(800, 100, 1.0), plant(700, 5000, 0.9)];
        choose(all, FRAME, plants).iter().map(|c| c.bounds.x).collect()
    }

    #[test]
    fn the_blurred_neighbour_is_left_out() {
        assert_eq!(pick(Plants::Auto), [450, 700]);
        assert_eq!(pick(Plants::One), [450]);
        assert_eq!(pick(Plants::Many), [100, 450, 700, 800]);
    }

    #[test]
    fn a_box_has_a_middle_of_its_own() {
        let frame = Rect { x: 650, y: 400, width: 200, height: 200 };
        let chosen = choose(vec![plant(700, 5000, 0.9), plant(820, 4000, 0.9)], frame, Plants::One);
        assert_eq!(chosen[0].bounds.x, 700);
        assert!((centrality(Rect { x: 700, y: 450, width: 100, height: 100 }, frame) - 1.0).abs() < 1e-9);
    }
}
