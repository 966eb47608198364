//! Where the camera was: its focal length, tilt and distance, from how the card is seen.
//!
//! A plane seen in perspective gives two equations for the focal length (Zhang 2000, IEEE TPAMI 22:1330-1334, section 3.1,
//! with square pixels and the optical axis in the middle of the picture). Seen from straight above they say nothing; then
//! the EXIF focal length decides, or what is usual. All is carried as a weighted row of focal lengths, so that what is
//! derived from them has its uncertainty.

use super::layout::Layout;
use super::refine::Fit;
use crate::base::homography::{Homography, Point};
use crate::base::stats::Interval;
use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

/// Diagonal of the 35 mm film frame, mm, on which equivalent focal lengths are based (CIPA DCG-001).
const FILM_DIAGONAL: f64 = 43.27;

/// Usual focal length of a phone's main camera, mm of 35 mm equivalent, a little zoomed in, with the standard deviation of
/// its logarithm: common practice, no source.
const USUAL: (f64, f64) = (30.0, 0.35);

/// Standard deviation of the logarithm of a stated focal length: rounding, focus breathing, stabiliser's crop. An
/// assumption.
const STATED: f64 = 0.04;

/// Focal lengths that a camera may have, mm of 35 mm equivalent; EXIF writes 0 for unknown.
const POSSIBLE: std::ops::RangeInclusive<f32> = 4.0..=4000.0;

/// Standard deviation of the two equations beyond what the edges' noise explains: lens distortion, a card not quite flat,
/// an axis off the middle. An assumption.
const MODEL: f64 = 0.004;

/// Focal lengths on either side of the expected one.
const GRID: i32 = 30;

/// Quantiles of the standard normal distribution in the middle of eleven slices, with the slices' shares.
const HEIGHTS: [(f64, f64); 11] = [
    (-2.5, 0.0122),
    (-2.0, 0.0278),
    (-1.5, 0.0656),
    (-1.0, 0.1210),
    (-0.5, 0.1747),
    (0.0, 0.1974),
    (0.5, 0.1747),
    (1.0, 0.1210),
    (1.5, 0.0656),
    (2.0, 0.0278),
    (2.5, 0.0122),
];

/// The camera as the card shows it.
#[derive(Debug, Clone)]
pub struct Pose {
    views: Vec<View>,
    /// Standard uncertainty of the normal's direction that the fit leaves, degrees.
    normal_sd_deg: f64,
}

/// The camera with one focal length.
#[derive(Debug, Clone)]
struct View {
    weight: f64,
    /// Focal length, pixels.
    focal: f64,
    /// Middle of the picture.
    middle: Point,
    /// Unit normal of the card's plane, away from the camera.
    normal: Vector3<f64>,
    /// Distance of the plane, mm.
    distance: f64,
    /// Distance of the card's middle, mm.
    to_card: f64,
}

impl Pose {
    /// The pose of a camera whose picture has `size` pixels and whose EXIF states `focal_35mm`. `None` if the card cannot be
    /// a plane before such a camera.
    pub(super) fn new(fit: &Fit, layout: &Layout, size: (usize, usize), focal_35mm: Option<f32>) -> Option<Self> {
        let (width, height) = (size.0 as f64, size.1 as f64);
        let stated = focal_35mm.filter(|focal| POSSIBLE.contains(focal));
        let (film, sd) = stated.map_or(USUAL, |focal| (f64::from(focal), STATED));
        let expected = film / FILM_DIAGONAL * width.hypot(height);
        let middle = [width / 2.0, height / 2.0];
        let view = |i: i32| {
            let z = 3.0 * f64::from(i) / f64::from(GRID);
            let focal = expected * (sd * z).exp();
            let misfit = misfit(fit, middle, focal)?;
            View::new(&fit.map, layout, middle, focal, (-0.5 * (misfit + z * z)).exp())
        };
        let mut views: Vec<View> = (-GRID..=GRID).filter_map(view).collect();
        let total: f64 = views.iter().map(|view| view.weight).sum();
        for view in &mut views {
            view.weight /= total;
        }
        let likeliest = views.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?.focal;
        let normal = |map: &Homography| {
            let [a, b, _] = columns(map, middle, likeliest);
            let normal = a.cross(&b).normalize();
            Some([normal.x, normal.y])
        };
        let normal_sd_deg = fit.covariance_of(normal)?.trace().sqrt().to_degrees();
        (total > 0.0 && total.is_finite()).then_some(Self { views, normal_sd_deg })
    }

    /// Mean and standard uncertainty of what depends on the view.
    fn over_views(&self, of: impl Fn(&View) -> f64) -> (f64, f64) {
        let mean: f64 = self.views.iter().map(|view| view.weight * of(view)).sum();
        let variance: f64 = self.views.iter().map(|view| view.weight * (of(view) - mean).powi(2)).sum();
        (mean, variance.sqrt())
    }

    /// Angle between the camera's axis and the card's normal, degrees, with its standard uncertainty: of the focal length
    /// and of the fit.
    pub fn tilt_deg(&self) -> (f64, f64) {
        let (tilt, sd) = self.over_views(|view| view.normal.z.clamp(-1.0, 1.0).acos().to_degrees());
        (tilt, sd.hypot(self.normal_sd_deg))
    }

    /// Distance from the camera to the middle of the card, mm, with its standard uncertainty.
    pub fn distance_mm(&self) -> (f64, f64) {
        self.over_views(|view| view.to_card)
    }

    /// Pixels a millimetre of something that faces the camera, seen at `place`, `height` mm above the card's plane
    /// (standard uncertainty `height_sd`): median and 95 % interval over focal lengths and heights, which are not
    /// symmetrical when the focal length is unknown.
    pub fn px_per_mm(&self, place: Point, height: f64, height_sd: f64) -> Interval {
        let weighted = self.views.iter().flat_map(|view| {
            HEIGHTS.map(|(z, weight)| (view.px_per_mm(place, height + z * height_sd), weight * view.weight))
        });
        let mut weighted: Vec<(f64, f64)> = weighted.collect();
        weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
        let at = |share: f64| {
            let mut below = 0.0;
            let reached = weighted.iter().find(|(_, weight)| {
                below += weight;
                below >= share
            });
            reached.or(weighted.last()).map_or(f64::NAN, |(value, _)| *value)
        };
        Interval { value: at(0.5), low: at(0.025), high: at(0.975) }
    }
}

impl View {
    fn new(map: &Homography, layout: &Layout, middle: Point, focal: f64, weight: f64) -> Option<Self> {
        let [a, b, c] = columns(map, middle, focal);
        let scale = 2.0 / (a.norm() + b.norm());
        let [cx, cy] = layout.area().centre();
        let card = (a * cx + b * cy + c) * scale;
        // Of the two mirror images, the one before the camera.
        let card = if card.z < 0.0 { -card } else { card };
        let normal = a.cross(&b).normalize();
        let normal = if normal.dot(&card) < 0.0 { -normal } else { normal };
        let view = Self { weight, focal, middle, normal, distance: normal.dot(&card), to_card: card.norm() };
        (view.distance > 0.0 && view.to_card.is_finite()).then_some(view)
    }

    fn px_per_mm(&self, place: Point, height: f64) -> f64 {
        let ray = Vector3::new((place[0] - self.middle[0]) / self.focal, (place[1] - self.middle[1]) / self.focal, 1.0);
        // Not nearer than a twentieth of the distance, so that a mad height gives no mad number.
        let depth = (self.distance - height).max(self.distance / 20.0) / self.normal.dot(&ray).max(0.05);
        self.focal / depth
    }
}

/// The map's columns with the camera's own part taken off: two axes of the card and its origin, to scale.
fn columns(map: &Homography, [x, y]: Point, focal: f64) -> [Vector3<f64>; 3] {
    let inverse = Matrix3::new(1.0 / focal, 0.0, -x / focal, 0.0, 1.0 / focal, -y / focal, 0.0, 0.0, 1.0);
    let m = inverse * map.matrix();
    [0, 1, 2].map(|i| m.column(i).into_owned())
}

/// How badly a focal length fits, in squared standard deviations: the card's axes must be at right angles and of one length.
fn misfit(fit: &Fit, middle: Point, focal: f64) -> Option<f64> {
    let equations = |map: &Homography| {
        let [a, b, _] = columns(map, middle, focal);
        let values = [a.dot(&b) / (a.norm() * b.norm()), (a.norm() / b.norm()).ln()];
        values.iter().all(|value| value.is_finite()).then_some(values)
    };
    let value = Vector2::from(equations(&fit.map)?);
    let covariance = fit.covariance_of(equations)? + Matrix2::identity() * (MODEL * MODEL);
    Some((value.transpose() * covariance.try_inverse()? * value).x)
}
