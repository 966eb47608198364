//! How sharp the photo is at a plant.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::{fit, shrink};
use crate::segment::regions::Component;

/// Longer side at which sharpness of plants is compared, pixels.
const LONG: usize = 1600;
/// The two Gaussians (standard deviation, pixels) whose gradients are compared to find the blur.
const SIGMA: (f32, f32) = (1.0, 2.0);
/// Edges enter the blur when their gradient is among this share of the strongest.
const STRONG: f64 = 0.1;

/// Detail of a photo at a common scale.
pub struct Focus {
    photo: Rect,
    detail: Raster<f32>,
    fine: Raster<f32>,
    coarse: Raster<f32>,
}

impl Focus {
    /// Of the whole photo, at most 1600 pixels long.
    ///
    /// # Panics
    /// Never: a raster holds as many values as it says.
    pub fn of(picture: &Raster<[u8; 3]>) -> Self {
        let (w, h) = fit(picture.width(), picture.height(), LONG);
        let small = shrink(picture, picture.bounds(), w, h);
        let green = image::ImageBuffer::<image::Luma<f32>, _>::from_raw(
            w as u32,
            h as u32,
            small.as_slice().iter().map(|c| f32::from(c[1])).collect::<Vec<_>>(),
        )
        .expect("a raster holds width * height values");
        let blurred = |sigma| {
            let soft = imageproc::filter::gaussian_blur_f32(&green, sigma);
            Raster::from_vec(w, h, soft.into_raw())
        };
        let (a, b) = (blurred(SIGMA.0), blurred(SIGMA.1));
        let detail = Raster::from_vec(
            w,
            h,
            a.as_slice().iter().zip(b.as_slice()).map(|(a, b)| (a - b).abs() / (b + 8.0)).collect(),
        );
        Self { photo: picture.bounds(), detail, fine: gradient(&a), coarse: gradient(&b) }
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
        let scale = self.photo.width as f64 / self.detail.width() as f64;
        (widths.len() >= 50).then(|| crate::base::stats::quantile(&mut widths, 0.5).map(|w| w * scale)).flatten()
    }

    fn inside(&self, field: &Raster<f32>, rect: Rect, labels: &Raster<u32>, part: Component) -> Vec<f64> {
        let sx = self.photo.width as f64 / field.width() as f64;
        let sy = self.photo.height as f64 / field.height() as f64;
        // The part's own box alone: a noisy photo has thousands of parts.
        let in_field = |at: usize, labels: usize, start: usize, length: usize, scale: f64| {
            ((start + at * length / labels) as f64 / scale) as usize
        };
        let columns = |x: usize| in_field(x, labels.width(), rect.x, rect.width, sx);
        let rows = |y: usize| in_field(y, labels.height(), rect.y, rect.height, sy);
        let mut values = Vec::new();
        for y in rows(part.bounds.y)..(rows(part.bounds.bottom()) + 2).min(field.height()) {
            for x in columns(part.bounds.x)..(columns(part.bounds.right()) + 2).min(field.width()) {
                let (px, py) = ((x as f64 + 0.5) * sx - rect.x as f64, (y as f64 + 0.5) * sy - rect.y as f64);
                if px < 0.0 || py < 0.0 || px >= rect.width as f64 || py >= rect.height as f64 {
                    continue;
                }
                let u = px as usize * labels.width() / rect.width;
                let v = py as usize * labels.height() / rect.height;
                if labels.get(u, v) == part.label {
                    values.push(f64::from(field.get(x, y)));
                }
            }
        }
        values
    }
}

/// Length of the gradient by central differences, 0 at the border.
fn gradient(field: &Raster<f32>) -> Raster<f32> {
    let mut out = Raster::filled(field.width(), field.height(), 0.0);
    for y in 1..field.height().saturating_sub(1) {
        for x in 1..field.width().saturating_sub(1) {
            let dx = field.get(x + 1, y) - field.get(x - 1, y);
            let dy = field.get(x, y + 1) - field.get(x, y - 1);
            out.set(x, y, dx.hypot(dy) / 2.0);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

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
            let blur = Focus::of(&picture).blur(picture.bounds(), &labels, part).expect("strong edges");
            assert!((blur / f64::from(sigma) - 1.0).abs() < 0.2, "{sigma}: {blur}");
        }
    }
}
