//! How sharp the photo is at a plant.

use crate::base::raster::{Raster, Rect};
use crate::base::window::gaussian;
use crate::segment::regions::Component;

/// The two Gaussians (standard deviation, pixels) whose gradients are compared to find the blur.
const SIGMA: (f32, f32) = (1.0, 2.0);
/// Pixels of the overview around a part, beyond which the wider Gaussian does not reach.
const AROUND: usize = 8;
/// Edges enter the blur when their gradient is among this share of the strongest.
const STRONG: f64 = 0.1;

/// Detail of a part of a photo, at the scale of its overview.
pub struct Focus {
    /// The photo, and the size of its overview.
    photo: Rect,
    overview: (usize, usize),
    /// The part, in pixels of the overview.
    part: Rect,
    detail: Raster<f32>,
    fine: Raster<f32>,
    coarse: Raster<f32>,
}

impl Focus {
    /// Of what lies in `rect` (pixels of the `photo`) and a little around it.
    pub fn of(overview: &Raster<[u8; 3]>, photo: Rect, rect: Rect) -> Self {
        // Sides of a very long photo shrink by different shares: none is less than a pixel.
        let along = |from: usize, to: usize, overview: usize, photo: usize| {
            let start = from * overview / photo;
            (start, (to * overview).div_ceil(photo) - start)
        };
        let (x, width) = along(rect.x, rect.right(), overview.width(), photo.width);
        let (y, height) = along(rect.y, rect.bottom(), overview.height(), photo.height);
        let part = Rect { x, y, width, height }.grown(AROUND, overview.bounds());
        let green = overview.crop(part).map(|code| f32::from(code[1]));
        let [a, b] = [SIGMA.0, SIGMA.1].map(|sigma| gaussian(&green, sigma));
        let contrast = a.as_slice().iter().zip(b.as_slice()).map(|(a, b)| (a - b).abs() / (b + 8.0)).collect();
        Self {
            photo,
            overview: (overview.width(), overview.height()),
            detail: Raster::from_vec(part.width, part.height, contrast),
            part,
            fine: gradient(&a),
            coarse: gradient(&b),
        }
    }

    /// Mean relative contrast of fine detail (difference of Gaussians over brightness) inside a part of a label picture
    /// that covers `rect` of the photo.
    pub fn sharpness(&self, rect: Rect, labels: &Raster<u32>, part: Component) -> f64 {
        let values = self.inside(&self.detail, rect, labels, part);
        values.iter().sum::<f64>() / values.len().max(1) as f64
    }

    /// Blur as the standard deviation of a Gaussian, pixels of the photo: the ratio of gradients under two known
    /// Gaussians tells the width of an edge (Zhuo, Sim 2011, "Defocus map estimation from a single image", Pattern
    /// Recognition 44:1852-1858). Median over the strongest edges; `None` without 50 of them.
    pub fn blur(&self, rect: Rect, labels: &Raster<u32>, part: Component) -> Option<f64> {
        let fine = self.inside(&self.fine, rect, labels, part);
        let coarse = self.inside(&self.coarse, rect, labels, part);
        let strong = crate::base::stats::quantile(&mut fine.clone(), 1.0 - STRONG)?.max(2.0);
        // A central difference is a box two pixels wide: it adds its variance, 1/3, to both.
        let [s1, s2] = [SIGMA.0, SIGMA.1].map(|s| f64::from(s).powi(2) + 1.0 / 3.0);
        let mut widths: Vec<f64> = fine
            .iter()
            .zip(&coarse)
            .filter(|(f, _)| **f >= strong)
            .map(|(f, c)| {
                let ratio = (f / c.max(1e-6)).powi(2);
                if ratio <= 1.0 { 20.0 } else { ((s2 - ratio * s1) / (ratio - 1.0)).max(0.0).sqrt() }
            })
            .collect();
        let scale = self.photo.width as f64 / self.overview.0 as f64;
        (widths.len() >= 50).then(|| crate::base::stats::quantile(&mut widths, 0.5).map(|w| w * scale)).flatten()
    }

    fn inside(&self, field: &Raster<f32>, rect: Rect, labels: &Raster<u32>, part: Component) -> Vec<f64> {
        let sx = self.photo.width as f64 / self.overview.0 as f64;
        let sy = self.photo.height as f64 / self.overview.1 as f64;
        // The part's own box alone: a noisy photo has thousands of parts.
        let in_field = |at: usize, labels: usize, (start, length): (usize, usize), scale: f64| {
            ((start + at * length / labels) as f64 / scale) as usize
        };
        let columns = |x: usize| in_field(x, labels.width(), (rect.x, rect.width), sx);
        let rows = |y: usize| in_field(y, labels.height(), (rect.y, rect.height), sy);
        let across: Vec<(usize, usize)> = (columns(part.bounds.x).max(self.part.x)
            ..(columns(part.bounds.right()) + 2).min(self.part.right()))
            .filter_map(|x| Some((x - self.part.x, label_at(x, sx, (rect.x, rect.width), labels.width())?)))
            .collect();
        let mut values = Vec::new();
        for y in rows(part.bounds.y).max(self.part.y)..(rows(part.bounds.bottom()) + 2).min(self.part.bottom()) {
            let Some(v) = label_at(y, sy, (rect.y, rect.height), labels.height()) else { continue };
            let (row, labels) = (field.row(y - self.part.y), labels.row(v));
            values.extend(across.iter().filter(|(_, u)| labels[*u] == part.label).map(|&(x, _)| f64::from(row[x])));
        }
        values
    }
}

/// Where along a line of `labels` over `length` pixels of the photo from `start` on the middle of pixel `at` lies, whose pixels
/// are `scale` of the photo's.
fn label_at(at: usize, scale: f64, (start, length): (usize, usize), labels: usize) -> Option<usize> {
    let place = (at as f64 + 0.5) * scale - start as f64;
    (place >= 0.0 && place < length as f64).then(|| place as usize * labels / length)
}

/// Length of the gradient by central differences, 0 at the border.
fn gradient(field: &Raster<f32>) -> Raster<f32> {
    let (w, h) = (field.width(), field.height());
    let mut out = Raster::filled(w, h, 0.0);
    for y in 1..h.saturating_sub(1) {
        let (above, row, below) = (field.row(y - 1), field.row(y), field.row(y + 1));
        let across = row.windows(3);
        let down = above.iter().zip(below).skip(1);
        for ((length, across), (above, below)) in out.row_mut(y).iter_mut().skip(1).zip(across).zip(down) {
            let (dx, dy) = (across[2] - across[0], below - above);
            *length = (dx * dx + dy * dy).sqrt() / 2.0;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip whose overview is one pixel wide, seen at its far end.
    #[test]
    fn the_far_end_of_a_strip_has_a_place() {
        let (photo, overview) = (Rect { x: 0, y: 0, width: 10, height: 30_000 }, Raster::filled(1, 1600, [90; 3]));
        let rect = Rect { x: 0, y: 29_000, width: 10, height: 1000 };
        let part = Focus::of(&overview, photo, rect).part;
        assert_eq!((part.y, part.bottom()), (1546 - AROUND, 1600));
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
            let blur = Focus::of(&picture, picture.bounds(), picture.bounds())
                .blur(picture.bounds(), &labels, part)
                .expect("strong edges");
            assert!((blur / f64::from(sigma) - 1.0).abs() < 0.2, "{sigma}: {blur}");
        }
    }
}
