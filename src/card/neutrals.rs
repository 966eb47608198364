//! The light that comes from the card's neutral parts: its patches and its bare paper.

use super::layout::{Area, Layout, PAPER, QUIET_MODULES};
use crate::base::color::transfer::DECODE;
use crate::base::homography::{Homography, Point};
use crate::base::raster::Raster;

/// Distance kept from a patch's edges, mm: blur, and the printer's own soft edges.
const MARGIN: f64 = 1.4;

/// Distance between samples, mm.
const STEP: f64 = 0.3;

/// Side of a spot of bare paper, mm.
const SPOT: f64 = 3.0;

/// Codes from here on may be clipped.
const CLIPPED: u8 = 250;

/// A sample brighter or darker than this by its patch's median is glare, shadow or dirt.
const ODD: f64 = 0.2;

/// What one neutral part of the card sends to the camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neutral {
    /// Its middle on the card, mm.
    pub at: Point,
    /// What it is meant to reflect, 0..1; [`PAPER`] for bare paper.
    pub reflectance: f64,
    /// Whether it is bare paper.
    pub paper: bool,
    /// Mean linear light in the photo's own primaries, of the samples near its median.
    pub rgb: [f64; 3],
    /// Share of its samples that are clipped in a channel.
    pub clipped: f64,
    /// Share of its samples far from its median: glare, shadow, dirt.
    pub odd: f64,
}

/// Reads all patches and spots of paper that lie in the photo.
pub(super) fn neutrals(rgb: &Raster<[u8; 3]>, map: &Homography, layout: &Layout) -> Vec<Neutral> {
    let patches = layout.patches.iter().map(|patch| (patch.area, patch.reflectance, false));
    let spots = paper(layout).into_iter().map(|area| (area, PAPER, true));
    patches
        .chain(spots)
        .filter_map(|(area, reflectance, paper)| {
            let inner = if paper { area } else { shrunk(area) };
            let (rgb, clipped, odd) = read(rgb, map, inner)?;
            Some(Neutral { at: area.centre(), reflectance, paper, rgb, clipped, odd })
        })
        .collect()
}

fn shrunk(area: Area) -> Area {
    Area {
        x: area.x + MARGIN,
        y: area.y + MARGIN,
        width: area.width - 2.0 * MARGIN,
        height: area.height - 2.0 * MARGIN,
    }
}

/// Spots where nothing is printed, on a grid over the card. Only layouts with patches have them: others may be printed on
/// coloured stock.
fn paper(layout: &Layout) -> Vec<Area> {
    if layout.patches.is_empty() {
        return Vec::new();
    }
    let quiet = QUIET_MODULES as f64 / 4.0;
    let line = |x: f64, y: f64, width: f64, height: f64| Area { x, y, width, height };
    let text = [layout.number, layout.name].map(|text| line(text.x, text.y, text.width, 1.5 * text.height));
    let rule = layout.rule.map(|rule| line(rule.x - 3.0, rule.y, rule.length + 6.0, 7.0));
    let patches = layout.patches.iter().map(|patch| patch.area);
    let printed: Vec<Area> = patches.chain(text).chain(rule).chain([layout.code]).collect();
    let steps = |length: f64| (0..((length - 2.0) / SPOT) as usize).map(|i| 1.0 + i as f64 * SPOT);
    let spots = steps(layout.height).flat_map(|y| steps(layout.width).map(move |x| line(x, y, SPOT, SPOT)));
    spots.filter(|spot| printed.iter().all(|part| apart(*spot, *part, quiet))).collect()
}

/// Whether two rectangles are at least `gap` from each other in x or in y.
fn apart(a: Area, b: Area, gap: f64) -> bool {
    a.x + a.width + gap <= b.x
        || b.x + b.width + gap <= a.x
        || a.y + a.height + gap <= b.y
        || b.y + b.height + gap <= a.y
}

/// Mean light of an area, share clipped, share odd. `None` if part of it lies outside the photo.
fn read(rgb: &Raster<[u8; 3]>, map: &Homography, area: Area) -> Option<([f64; 3], f64, f64)> {
    let steps = |length: f64| (length / STEP).round().max(1.0) as usize;
    let (columns, rows) = (steps(area.width), steps(area.height));
    let mut samples = Vec::with_capacity(columns * rows);
    let mut clipped = 0;
    for j in 0..rows {
        for i in 0..columns {
            let part = |k: usize, n: usize, length: f64| (k as f64 + 0.5) / n as f64 * length;
            let [x, y] = map.apply([area.x + part(i, columns, area.width), area.y + part(j, rows, area.height)]);
            if !(x >= 0.0 && y >= 0.0 && x < rgb.width() as f64 && y < rgb.height() as f64) {
                return None;
            }
            let code = rgb.get(x as usize, y as usize);
            clipped += usize::from(code.iter().any(|&value| value >= CLIPPED));
            samples.push(code.map(|value| f64::from(DECODE[usize::from(value)])));
        }
    }
    let level = |sample: &[f64; 3]| 0.25 * sample[0] + 0.5 * sample[1] + 0.25 * sample[2];
    samples.sort_by(|a, b| level(a).total_cmp(&level(b)));
    let usual = level(&samples[samples.len() / 2]);
    let near = samples.iter().filter(|sample| (level(sample) / usual.max(1e-4) - 1.0).abs() <= ODD);
    let (mut sum, mut count) = ([0.0; 3], 0.0);
    for sample in near {
        (0..3).for_each(|channel| sum[channel] += sample[channel]);
        count += 1.0;
    }
    let all = samples.len() as f64;
    Some((sum.map(|part| part / count), clipped as f64 / all, 1.0 - count / all))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{CARD, POT_LABEL};

    #[test]
    fn there_is_bare_paper_on_all_sides_of_the_card() {
        let spots = paper(&CARD);
        let has = |inside: &dyn Fn(Point) -> bool| spots.iter().any(|spot| inside(spot.centre()));
        assert!(has(&|[x, y]| x < 20.0 && y > 35.0) && has(&|[x, y]| x > 70.0 && y > 45.0), "{spots:?}");
        assert!(has(&|[x, _]| (32.0..36.0).contains(&x)) && has(&|[x, y]| x > 60.0 && (31.0..36.0).contains(&y)));
        assert!(paper(&POT_LABEL).is_empty());
    }
}
