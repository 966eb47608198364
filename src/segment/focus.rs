//! How sharp the photo is at a plant.

use crate::base::raster::{Raster, Rect};
use crate::base::stats::quantile;
use crate::segment::regions::Component;
use crate::segment::strip::{SIGMA, Strip};

/// Edges enter the blur when their gradient is among this share of the strongest ...
const STRONG: f64 = 0.1;
/// ... and at least so many codes a pixel.
const CLEAR: f32 = 2.0;
/// Fewest edges that tell the blur.
const FEWEST_EDGES: usize = 50;
/// Of taller plants, rows are left out so that at least this many are looked at. Round number.
const ROWS: usize = 300;

/// How sharp the photo is at a plant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Focus {
    /// Mean relative contrast of fine detail (difference of Gaussians over brightness).
    pub sharpness: f64,
    /// Blur as the standard deviation of a Gaussian, pixels of the photo: the ratio of gradients under two known Gaussians
    /// tells the width of an edge (Zhuo, Sim 2011, "Defocus map estimation from a single image", Pattern Recognition
    /// 44:1852-1858). Median over the strongest edges; `None` without 50 of them.
    pub blur_px: Option<f64>,
}

impl Focus {
    /// Of a part of a label picture that covers `rect` of the `photo`, by the photo's overview.
    pub fn of(overview: &Raster<[u8; 3]>, (photo, rect): (Rect, Rect), labels: &Raster<u32>, part: Component) -> Self {
        let Rect { x, y, .. } = part.bounds;
        let across =
            Line { photo: photo.width, overview: overview.width(), part: (rect.x, rect.width), labels: labels.width() };
        let down = Line {
            photo: photo.height,
            overview: overview.height(),
            part: (rect.y, rect.height),
            labels: labels.height(),
        };
        let (columns, rows) = (across.over(x, part.bounds.right()), down.over(y, part.bounds.bottom()));
        let mut seen = Seen::default();
        let mut strip = Strip::new(overview, &columns, &rows);
        let every = (rows.len() / ROWS).max(1);
        for (row, &(_, v)) in rows.iter().enumerate().step_by(every) {
            strip.look_at(row);
            let labels = labels.row(v);
            seen.add(&strip, columns.iter().map(|&(_, u)| labels[u] == part.label));
        }
        seen.focus(across.scale(), every)
    }
}

/// A direction of the photo: its length, that of its overview, and the part of it (start, length) that labels cover.
struct Line {
    photo: usize,
    overview: usize,
    part: (usize, usize),
    labels: usize,
}

impl Line {
    fn scale(&self) -> f64 {
        self.photo as f64 / self.overview as f64
    }

    /// The places of the overview whose middles lie on labels `from` to `to`, each with its label's place.
    fn over(&self, from: usize, to: usize) -> Vec<(usize, usize)> {
        let (start, length) = self.part;
        let near = |label: usize| ((start + label * length / self.labels) as f64 / self.scale()) as usize;
        let with_label = |at: usize| {
            let place = (at as f64 + 0.5) * self.scale() - start as f64;
            let label = (place >= 0.0 && place < length as f64).then(|| place as usize * self.labels / length)?;
            (from..to).contains(&label).then_some((at, label))
        };
        (near(from)..(near(to) + 2).min(self.overview)).filter_map(with_label).collect()
    }
}

/// What was seen on a plant.
#[derive(Default)]
struct Seen {
    pixels: usize,
    contrast: f64,
    /// Gradients under the narrow and the wide Gaussian where the first is clear.
    edges: Vec<[f32; 2]>,
}

impl Seen {
    /// Takes a row in, where it is `inside` the plant.
    fn add(&mut self, strip: &Strip, inside: impl Iterator<Item = bool>) {
        let known = self.edges.len();
        self.edges.resize(known + strip.edges.len(), [0.0; 2]);
        let edges = &mut self.edges[known..];
        let mut clear = 0;
        for ((inside, &contrast), &edge) in inside.zip(&strip.contrast).zip(&strip.edges) {
            self.pixels += usize::from(inside);
            self.contrast += if inside { f64::from(contrast) } else { 0.0 };
            // Without branches: whether an edge is clear is hard to foresee.
            edges[clear] = edge;
            clear += usize::from(inside && edge[0] >= CLEAR);
        }
        self.edges.truncate(known + clear);
    }

    /// `scale`: pixels of the photo in one of the overview; one row in `every` was looked at.
    fn focus(mut self, scale: f64, every: usize) -> Focus {
        let strong = (STRONG * self.pixels.saturating_sub(1) as f64) as usize + 1;
        if strong < self.edges.len() {
            self.edges.select_nth_unstable_by(strong, |a, b| b[0].total_cmp(&a[0]));
            self.edges.truncate(strong);
        }
        // A central difference is a box two pixels wide: it adds its variance, 1/3, to both.
        let [s1, s2] = [SIGMA.0, SIGMA.1].map(|s| f64::from(s).powi(2) + 1.0 / 3.0);
        let width = |&[fine, coarse]: &[f32; 2]| {
            let ratio = f64::from(fine / coarse.max(1e-6)).powi(2);
            if ratio <= 1.0 { 20.0 } else { ((s2 - ratio * s1) / (ratio - 1.0)).max(0.0).sqrt() }
        };
        let mut widths: Vec<f64> = self.edges.iter().map(width).collect();
        let enough = widths.len() * every >= FEWEST_EDGES;
        Focus {
            sharpness: self.contrast / self.pixels.max(1) as f64,
            blur_px: enough.then(|| quantile(&mut widths, 0.5)).flatten().map(|width| width * scale),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip whose overview is one pixel wide, seen at its far end.
    #[test]
    fn the_far_end_of_a_strip_has_a_place() {
        let line = Line { photo: 30_000, overview: 1600, part: (29_000, 1000), labels: 1000 };
        let places = line.over(0, 1000);
        assert_eq!((places[0].0, places[places.len() - 1]), (1547, (1599, 990)));
        let across = Line { photo: 10, overview: 1, part: (0, 10), labels: 10 };
        assert_eq!(across.over(0, 10), [(0, 5)]);
    }

    /// A grid of edges blurred by a known Gaussian is measured within 20 %.
    #[test]
    fn a_known_blur_is_measured() {
        for sigma in [1.0f32, 2.0, 4.0] {
            let sharp = image::GrayImage::from_fn(400, 400, |x, y| {
                image::Luma([if (x / 50 + y / 50) % 2 == 0 { 60 } else { 190 }])
            });
            let soft = imageproc::filter::gaussian_blur_f32(&sharp, sigma);
            let picture = Raster::from_vec(400, 400, soft.into_raw().into_iter().map(|v| [v; 3]).collect());
            let labels = Raster::filled(400, 400, 1u32);
            let part = Component { label: 1, pixels: 160_000, bounds: picture.bounds() };
            let whole = picture.bounds();
            let blur = Focus::of(&picture, (whole, whole), &labels, part).blur_px.expect("strong edges");
            assert!((blur / f64::from(sigma) - 1.0).abs() < 0.2, "{sigma}: {blur}");
        }
    }
}
