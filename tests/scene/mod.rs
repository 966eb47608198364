//! A camera that is known: printed cards on a table, seen through a pinhole, in linear light. All lengths are mm on the
//! table, x to the right and y down as the camera sees them, unless they are said to be pixels.

use crate::picture::{Picture, from_svg};
use rayon::prelude::*;
use std::sync::Arc;
use variegauge::base::homography::Point;
use variegauge::base::raster::Raster;
use variegauge::base::stats::SplitMix64;
use variegauge::card::layout::{INK, Layout, PAPER};
use variegauge::print::card::Label;
use variegauge::print::sheet::{Paper, pages};

/// Resolution of the printed card: half a module of the smallest code is 13 dots, and a dot
/// that is half ink matters little.
const DPI: f64 = 1200.0;

/// Samples a pixel side where cards lie.
const SAMPLES: usize = 3;

/// A printed card's reflectance.
pub(crate) struct Print {
    layout: &'static Layout,
    reflectance: Raster<f32>,
}

impl Print {
    /// Prints the card of a number.
    pub(crate) fn new(layout: &'static Layout, number: &str) -> Arc<Self> {
        let label = Label { number: number.parse().unwrap(), name: Some("Zebra".into()) };
        let picture = from_svg(&pages(layout, &[label], Paper::Single)[0], DPI);
        Arc::new(Self::from_picture(layout, &picture))
    }

    /// Printed greys are light relative to the paper on the sRGB curve; full ink reflects a little too.
    fn from_picture(layout: &'static Layout, picture: &Picture) -> Self {
        let [width, height] = picture.size().map(|side| (side / 25.4 * DPI).round() as usize);
        let place = |i: usize| (i as f64 + 0.5) / DPI * 25.4;
        let codes = (0..height).flat_map(|y| (0..width).map(move |x| picture.code([place(x), place(y)])));
        let reflected: Vec<f32> = (0..=255).map(|code| (PAPER * decode(code)).max(INK) as f32).collect();
        let reflectance = codes.map(|code| reflected[usize::from(code)]).collect();
        Self { layout, reflectance: Raster::from_vec(width, height, reflectance) }
    }

    /// Any QR code, printed black in the place of a card's code, on a card without anything else.
    pub(crate) fn of_code(layout: &'static Layout, text: &str) -> Arc<Self> {
        let code = qrcodegen::QrCode::encode_text(text, qrcodegen::QrCodeEcc::Medium).unwrap();
        let (per_mm, area) = (DPI / 25.4, layout.code);
        let [width, height] = [layout.width, layout.height].map(|side| (side * per_mm).round() as usize);
        let module = |i: usize, start: f64| {
            (((i as f64 + 0.5) / per_mm - start) / area.width * f64::from(code.size())).floor() as i32
        };
        let ink = |x: usize, y: usize| code.get_module(module(x, area.x), module(y, area.y));
        let light = |x: usize, y: usize| if ink(x, y) { INK as f32 } else { PAPER as f32 };
        let all = (0..height).flat_map(|y| (0..width).map(move |x| light(x, y))).collect();
        Arc::new(Self { layout, reflectance: Raster::from_vec(width, height, all) })
    }

    /// What stands where on it.
    pub(crate) fn layout(&self) -> &'static Layout {
        self.layout
    }

    /// Reflectance at a place of the card; `None` beside it.
    fn at(&self, [x, y]: Point) -> Option<f32> {
        let [x, y] = [x, y].map(|v| v * DPI / 25.4);
        let inside =
            x >= 0.0 && y >= 0.0 && x < self.reflectance.width() as f64 && y < self.reflectance.height() as f64;
        inside.then(|| self.reflectance.get(x as usize, y as usize))
    }
}

/// A card on the table.
#[derive(Clone)]
pub(crate) struct Laid {
    pub(crate) print: Arc<Print>,
    /// Where its middle lies.
    pub(crate) at: Point,
    /// How it is turned, degrees.
    pub(crate) turned: f64,
    /// How far its middle stands off the table, its left and right sides lying on it.
    pub(crate) sagitta: f64,
}

impl Laid {
    pub(crate) fn flat(print: &Arc<Print>, at: Point) -> Self {
        Self { print: print.clone(), at, turned: 0.0, sagitta: 0.0 }
    }

    /// From the table to the card.
    fn local(&self, [x, y]: Point) -> Point {
        let (sin, cos) = self.turned.to_radians().sin_cos();
        let [x, y] = [x - self.at[0], y - self.at[1]];
        [cos * x + sin * y, cos * y - sin * x]
    }

    /// From a place of the (flat) card to the table.
    fn on_table(&self, [x, y]: Point) -> Point {
        let (sin, cos) = self.turned.to_radians().sin_cos();
        let layout = self.print.layout;
        let [x, y] = [x - layout.width / 2.0, y - layout.height / 2.0];
        [self.at[0] + cos * x - sin * y, self.at[1] + sin * x + cos * y]
    }

    /// Curvature of the bent card: it stands `sagitta - curve * x^2 / 2` high.
    fn curve(&self) -> f64 {
        8.0 * self.sagitta / self.print.layout.width.powi(2)
    }

    /// What is seen of it along a ray from `eye` in direction `ray`.
    fn seen(&self, eye: [f64; 3], ray: [f64; 3]) -> Option<f32> {
        let mut height = 0.0;
        let mut local = [0.0; 2];
        for _ in 0..if self.sagitta > 0.0 { 8 } else { 1 } {
            local = self.local(meet(eye, ray, height));
            height = (self.sagitta - self.curve() * local[0].powi(2) / 2.0).max(0.0);
        }
        // Length along the arc of a parabola, to the second order.
        let along = local[0] + self.curve().powi(2) * local[0].powi(3) / 6.0;
        let layout = self.print.layout;
        self.print.at([along + layout.width / 2.0, local[1] + layout.height / 2.0])
    }
}

/// Where a ray meets the plane that is `height` above the table; up is against z.
fn meet(eye: [f64; 3], ray: [f64; 3], height: f64) -> Point {
    let t = (-height - eye[2]) / ray[2];
    [eye[0] + t * ray[0], eye[1] + t * ray[1]]
}

/// A table with cards, its light and the camera. Change what a test is about.
#[derive(Clone)]
pub(crate) struct Scene {
    /// Width and height of the picture, pixels.
    pub(crate) size: [usize; 2],
    /// Focal length, pixels.
    pub(crate) focal: f64,
    /// Distance from the camera to what it aims at.
    pub(crate) distance: f64,
    /// Angle between the camera's axis and the table's normal, degrees.
    pub(crate) tilt: f64,
    /// Turn of the camera about its axis, degrees.
    pub(crate) roll: f64,
    /// Place of the table in the middle of the picture.
    pub(crate) aim: Point,
    pub(crate) cards: Vec<Laid>,
    /// Colour of white in the picture.
    pub(crate) white: [f64; 3],
    /// Linear light of a perfect white surface.
    pub(crate) exposure: f64,
    /// Light on a place of the table, by its usual light.
    pub(crate) light: fn(Point) -> f64,
    /// Reflectance of what lies over the cards.
    pub(crate) cover: fn(Point) -> Option<f64>,
    /// Mirrored light, by what a white surface sends.
    pub(crate) glare: fn(Point) -> f64,
    /// Standard deviation of the Gaussian blur, pixels.
    pub(crate) blur: f64,
    /// Standard deviation of the noise, 8-bit codes.
    pub(crate) noise: f64,
    pub(crate) seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            size: [1000, 750],
            focal: 1100.0,
            distance: 200.0,
            tilt: 0.0,
            roll: 0.0,
            aim: [0.0; 2],
            cards: Vec::new(),
            white: [1.0; 3],
            exposure: 0.8,
            light: |_| 1.0,
            cover: |_| None,
            glare: |_| 0.0,
            blur: 0.8,
            noise: 1.0,
            seed: 1,
        }
    }
}

impl Scene {
    /// One card in the middle.
    pub(crate) fn of(print: &Arc<Print>) -> Self {
        Self { cards: vec![Laid::flat(print, [0.0; 2])], ..Self::default() }
    }

    /// Focal length as EXIF states it: in proportion to the 43.27 mm diagonal of film (CIPA DCG-001).
    pub(crate) fn focal_35mm(&self) -> f32 {
        let [width, height] = self.size.map(|side| side as f64);
        (self.focal / width.hypot(height) * 43.27) as f32
    }

    /// From a direction or place of the table to the camera's axes: tilted about x, then rolled about the axis.
    fn to_camera(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let ((s, c), (sr, cr)) = (self.tilt.to_radians().sin_cos(), self.roll.to_radians().sin_cos());
        let [x, y, z] = [x, c * y - s * z, s * y + c * z];
        [cr * x - sr * y, sr * x + cr * y, z]
    }

    /// The other way.
    fn to_table(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        let ((s, c), (sr, cr)) = (self.tilt.to_radians().sin_cos(), self.roll.to_radians().sin_cos());
        let [x, y] = [cr * x + sr * y, cr * y - sr * x];
        [x, c * y + s * z, c * z - s * y]
    }

    fn middle(&self) -> Point {
        self.size.map(|side| side as f64 / 2.0)
    }

    /// Where a place of the table is seen, pixels.
    pub(crate) fn pixel(&self, place: Point) -> Point {
        self.pixel_above(place, 0.0)
    }

    /// Where a place above the table is seen, pixels.
    pub(crate) fn pixel_above(&self, [x, y]: Point, height: f64) -> Point {
        let [x, y, z] = self.to_camera([x - self.aim[0], y - self.aim[1], -height]);
        let scale = self.focal / (z + self.distance);
        [self.middle()[0] + scale * x, self.middle()[1] + scale * y]
    }

    /// Distance along the camera's axis of a place above the table.
    pub(crate) fn depth_above(&self, [x, y]: Point, height: f64) -> f64 {
        self.to_camera([x - self.aim[0], y - self.aim[1], -height])[2] + self.distance
    }

    fn eye(&self) -> [f64; 3] {
        let [x, y, z] = self.to_table([0.0, 0.0, -self.distance]);
        [x + self.aim[0], y + self.aim[1], z]
    }

    /// Distance from the camera to a place of the table.
    pub(crate) fn distance_to(&self, [x, y]: Point) -> f64 {
        let eye = self.eye();
        (eye[0] - x).hypot(eye[1] - y).hypot(eye[2])
    }

    fn ray(&self, [x, y]: Point) -> [f64; 3] {
        let [u, v] = self.middle();
        self.to_table([(x - u) / self.focal, (y - v) / self.focal, 1.0])
    }

    /// True corners of a card, pixels, in the program's order.
    pub(crate) fn corners(&self, card: usize) -> [Point; 4] {
        let card = &self.cards[card];
        card.print.layout.area().corners().map(|corner| self.pixel(card.on_table(corner)))
    }

    /// True pixels a millimetre along a card: the mean of its four sides.
    pub(crate) fn px_per_mm(&self, card: usize) -> f64 {
        let (on_card, seen) = (self.cards[card].print.layout.area().corners(), self.corners(card));
        let length = |points: &[Point; 4], i: usize| {
            let ([a, b], [c, d]) = (points[i], points[(i + 1) % 4]);
            (a - c).hypot(b - d)
        };
        (0..4).map(|i| length(&seen, i) / length(&on_card, i)).sum::<f64>() / 4.0
    }

    /// Rows of pixels from `top` to `bottom`, columns from `left` to `right`, that a card may be seen in.
    fn frame(&self, card: &Laid) -> [f64; 4] {
        let corners = card.print.layout.area().corners().map(|corner| self.pixel(card.on_table(corner)));
        let margin = 4.0 + 4.0 * card.sagitta * self.focal / self.distance;
        let least = |axis: usize| corners.iter().map(|c| c[axis]).fold(f64::MAX, f64::min) - margin;
        let most = |axis: usize| corners.iter().map(|c| c[axis]).fold(f64::MIN, f64::max) + margin;
        [least(0), least(1), most(0), most(1)]
    }

    /// Linear light of a perfect camera: before noise and clipping.
    pub(crate) fn linear(&self) -> Raster<f32> {
        let [width, height] = self.size;
        let frames: Vec<[f64; 4]> = self.cards.iter().map(|card| self.frame(card)).collect();
        let eye = self.eye();
        let row = |y: usize| {
            let near: Vec<(&Laid, &[f64; 4])> =
                self.cards.iter().zip(&frames).filter(|(_, f)| f[1] <= y as f64 && y as f64 <= f[3]).collect();
            (0..width)
                .map(|x| {
                    let here: Vec<&Laid> = near
                        .iter()
                        .filter(|(_, f)| f[0] <= x as f64 && x as f64 <= f[2])
                        .map(|(card, _)| *card)
                        .collect();
                    let n = if here.is_empty() { 1 } else { SAMPLES };
                    let ground = ground(x, y);
                    let mut sum = 0.0;
                    let mut random = SplitMix64::new((x as u64) << 32 | y as u64);
                    for i in 0..n * n {
                        // Anywhere in their cells: even samples would beat with the printer's dots and move edges.
                        let bits = random.next_u64();
                        let part = |k: usize, bits: u64| (k as f64 + (bits & 0xffff) as f64 / 65536.0) / n as f64;
                        let ray = self.ray([x as f64 + part(i % n, bits), y as f64 + part(i / n, bits >> 16)]);
                        // Above the horizon there is a wall in half the light.
                        if ray[2] < 1e-3 {
                            sum += 0.5 * ground;
                            continue;
                        }
                        let place = meet(eye, ray, 0.0);
                        let card = || here.iter().find_map(|card| card.seen(eye, ray)).map(f64::from);
                        let surface = (self.cover)(place).or_else(card).unwrap_or(f64::from(ground));
                        sum += (surface * (self.light)(place) + (self.glare)(place)) as f32;
                    }
                    self.exposure as f32 * sum / (n * n) as f32
                })
                .collect::<Vec<f32>>()
        };
        let light: Vec<f32> = (0..height).into_par_iter().flat_map_iter(row).collect();
        blurred(&Raster::from_vec(width, height, light), self.blur)
    }

    /// The photo of such light.
    pub(crate) fn developed(&self, linear: &Raster<f32>, seed: u64) -> Raster<[u8; 3]> {
        let width = linear.width();
        let curve: Vec<f32> = (0..=STEPS).map(|i| (255.0 * encode(i as f64 / STEPS as f64)) as f32).collect();
        let rows = linear.as_slice().par_chunks(width).enumerate().flat_map_iter(|(y, row)| {
            let mut random = SplitMix64::new(seed << 32 | y as u64);
            let pixel = |light: &f32| {
                self.white.map(|gain| {
                    let code = curve[((light * gain as f32).min(1.0) * STEPS as f32) as usize];
                    // The sum of four uniform numbers, of standard deviation 2^16 / sqrt(3), is near enough to normal.
                    let bits = random.next_u64();
                    let sum: u64 = (0..4).map(|i| bits >> (16 * i) & 0xffff).sum();
                    let normal = (sum as f64 - 2.0 * 65535.0) / 65536.0 * 3.0_f64.sqrt();
                    (f64::from(code) + self.noise * normal).round().clamp(0.0, 255.0) as u8
                })
            };
            row.iter().map(pixel).collect::<Vec<[u8; 3]>>()
        });
        Raster::from_vec(width, linear.height(), rows.collect())
    }

    /// The photo.
    pub(crate) fn photo(&self) -> Raster<[u8; 3]> {
        self.developed(&self.linear(), self.seed)
    }
}

/// Steps of the table of the sRGB curve; a step is a fifth of a code at most.
const STEPS: usize = 1 << 14;

/// Textured mid grey.
fn ground(x: usize, y: usize) -> f32 {
    let grain = |x: usize, y: usize| {
        let value = SplitMix64::new((x as u64) << 32 | y as u64).next_u64();
        (value >> 40) as f32 / (1 << 24) as f32 - 0.5
    };
    0.2 + 0.10 * grain(x / 23, y / 19) + 0.08 * grain(x / 3 + 1000, y / 3)
}

/// Gaussian blur, cut off at four standard deviations.
fn blurred(picture: &Raster<f32>, sigma: f64) -> Raster<f32> {
    if sigma <= 0.0 {
        return picture.clone();
    }
    let reach = (4.0 * sigma).ceil() as usize;
    let part = |i: usize| (-((i as f64 - reach as f64) / sigma).powi(2) / 2.0).exp() as f32;
    let kernel: Vec<f32> = (0..=2 * reach).map(part).collect();
    let total: f32 = kernel.iter().sum();
    // Along rows, turned on its side; twice.
    let along = |picture: &Raster<f32>| {
        let (width, height) = (picture.width(), picture.height());
        let column = |x: usize| {
            let at = |y: usize, i: usize| picture.get((x + i).saturating_sub(reach).min(width - 1), y);
            let sum = |y: usize| kernel.iter().enumerate().map(|(i, k)| k * at(y, i)).sum::<f32>() / total;
            (0..height).map(sum).collect::<Vec<f32>>()
        };
        Raster::from_vec(height, width, (0..width).into_par_iter().flat_map_iter(column).collect())
    };
    along(&along(picture))
}

/// The sRGB curve, IEC 61966-2-1 (from memory), apart from the program's.
pub(crate) fn decode(code: u8) -> f64 {
    let coded = f64::from(code) / 255.0;
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

fn encode(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}
