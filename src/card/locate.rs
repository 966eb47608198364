//! From a photo to its codes, and from a code to where its card lies.

use super::decode::{Code, Seen, look, read_modules};
use super::edges;
use super::fine;
use super::layout::{Area, Layout};
use super::refine::{Fit, refine};
use crate::base::homography::{Homography, Point};
use crate::base::raster::Raster;
use crate::base::resample::{fit, shrink};
use crate::base::stats::quantile;
use crate::base::window::soft;
use crate::photo::{OVERVIEW, Photo};

/// Longer sides of the looks for large blurred codes and for small ones, where the overview shows none.
const SMALL: usize = 800;
/// See [`SMALL`].
const LARGE: usize = 2600;

/// Longer side of the sharpened look for blurred codes, the blur that is taken out (standard deviation, pixels) and by how
/// much.
const SHARPENED: (usize, f32, f32) = (1000, 2.5, 2.0);

/// Modules a side that a plant number's code may have: versions 1 to 3 of ISO/IEC 18004.
const MODULES: [usize; 3] = [21, 25, 29];

/// How far from where they should be the patches' edges are looked for, mm: if most are not seen near by, and at last.
pub(super) const PATCH_REACH: [f64; 2] = [2.6, 1.2];

/// Least alternation of the timing patterns, in parts of the contrast, of what looks like a code and cannot be read.
const TIMED: f64 = 0.3;

/// Share of the patches' edges that must be seen where they should be.
const MOST_SEEN: f64 = 0.5;

/// All codes of a photo, each once.
#[derive(Debug, Default)]
pub(super) struct Codes {
    /// With corners in the photo.
    pub(super) read: Vec<Code>,
    /// Whether something looked like a code and could not be read.
    pub(super) unread: bool,
}

/// Looks for codes, harder if none is found at first; closer at the photo only where it shows fine print.
pub(super) fn codes(Photo { rgb, overview, .. }: &Photo) -> Codes {
    let mut codes = Codes::default();
    let whole = grey(overview, OVERVIEW);
    codes.add(rgb, &whole);
    if codes.read.is_empty() {
        codes.add(rgb, &grey(overview, SMALL));
    }
    if codes.read.is_empty() && rgb.bounds() != overview.bounds() && fine::print(&whole) {
        codes.add(rgb, &grey(rgb, LARGE));
    }
    if codes.read.is_empty() {
        codes.add(rgb, &sharpened(&grey(overview, SHARPENED.0)));
    }
    codes
}

impl Codes {
    /// Adds what a look at the whole photo shows.
    fn add(&mut self, rgb: &Raster<[u8; 3]>, picture: &Raster<u8>) {
        let scale = rgb.width() as f64 / picture.width() as f64;
        let place = |point: Point| point.map(|value| value * scale);
        let Seen { codes, triples } = look(picture);
        for Code { text, corners } in codes {
            self.keep(Code { text, corners: corners.map(place) });
        }
        for triple in triples.into_iter().map(|triple| triple.map(place)) {
            let middle = [0, 1].map(|axis| f64::midpoint(triple[1][axis], triple[2][axis]));
            if self.read.iter().any(|code| covers(code, middle)) {
                continue;
            }
            match read_by_finders(rgb, triple) {
                Some((Some(text), corners)) => self.keep(Code { text, corners }),
                Some((None, _)) => self.unread = true,
                None => {}
            }
        }
    }

    fn keep(&mut self, code: Code) {
        let middle = middle(&code);
        if middle.iter().all(|value| value.is_finite()) && self.read.iter().all(|known| !covers(known, middle)) {
            self.read.push(code);
        }
    }
}

fn middle(code: &Code) -> Point {
    [0, 1].map(|axis| code.corners.iter().map(|corner| corner[axis]).sum::<f64>() / 4.0)
}

/// Whether a place is nearer to a code's middle than half its longest side.
fn covers(code: &Code, [x, y]: Point) -> bool {
    let [u, v] = middle(code);
    let side = |i: usize| {
        let ([a, b], [c, d]) = (code.corners[i], code.corners[(i + 1) % 4]);
        (a - c).hypot(b - d)
    };
    (x - u).hypot(y - v) < (0..4).map(side).fold(0.0, f64::max) / 2.0
}

/// Text, if it can be read, and corners of a code that the decoders found but could not read, from the centres of its finder
/// patterns: its modules are read where the finders' edges say that they are. `None` if these are no finder patterns.
fn read_by_finders(rgb: &Raster<[u8; 3]>, [tl, tr, bl]: [Point; 3]) -> Option<(Option<Vec<u8>>, [Point; 4])> {
    let tries = MODULES.into_iter().filter_map(|count| {
        let (n, far) = (count as f64, count as f64 - 3.5);
        let unit = Area { x: 0.0, y: 0.0, width: n, height: n };
        let br = [tr[0] + bl[0] - tl[0], tr[1] + bl[1] - tl[1]];
        let start = Homography::from_pairs([[3.5, 3.5], [far, 3.5], [far, far], [3.5, far]], [tl, tr, br, bl])?;
        let fit = refine(rgb, &edges::finders(unit, count), &start, 8)?;
        let grey = edges::modules(rgb, &fit.map, unit, count)?;
        let text = read_modules(&grey);
        // Petals and pebbles may pass for three finder patterns, but nothing alternates between them.
        let timed = alternation(&grey) > TIMED * contrast(&grey)?;
        (text.is_some() || timed).then(|| (text, unit.corners().map(|corner| fit.map.apply(corner))))
    });
    tries.max_by_key(|(text, _)| text.is_some())
}

/// Where a card lies.
#[derive(Debug, Clone)]
pub(super) struct Located {
    /// The fit to all of its edges.
    pub(super) fit: Fit,
    /// How far the patches lie from where the code alone would show them on a flat card, mm, and in standard deviations of
    /// what the code alone can tell; 0 without patches.
    pub(super) strain: (f64, f64),
    /// Modules along a side of its code.
    pub(super) modules: usize,
    /// Whether its patches were seen where they should be.
    pub(super) patches: bool,
}

/// Why a card cannot be measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unmeasured {
    /// Too few of its edges are seen.
    Unclear,
    /// The photo is mirrored.
    Mirrored,
}

/// Where a card lies, from its code's rough corners.
pub(super) fn locate(rgb: &Raster<[u8; 3]>, layout: &Layout, corners: [Point; 4]) -> Result<Located, Unmeasured> {
    let located = fitted(rgb, layout, corners).ok_or(Unmeasured::Unclear)?;
    let mirrored = || {
        let grey = edges::modules(rgb, &located.fit.map, layout.code, located.modules)?;
        let n = grey.width();
        let turned = (0..n * n).map(|i| grey.get(i / n, i % n)).collect();
        // Decoders read mirrored codes too, and do not tell.
        Some(read_modules(&grey).is_none() && read_modules(&Raster::from_vec(n, n, turned)).is_some())
    };
    if mirrored() == Some(true) { Err(Unmeasured::Mirrored) } else { Ok(located) }
}

fn fitted(rgb: &Raster<[u8; 3]>, layout: &Layout, corners: [Point; 4]) -> Option<Located> {
    let code = layout.code;
    let start = Homography::from_pairs(code.corners(), corners)?;
    let count = modules_a_side(rgb, layout, &start)?;
    let rough = refine(rgb, &edges::finders(code, count), &start, 5)?;
    let grey = edges::modules(rgb, &rough.map, code, count)?;
    let contrast = contrast(&grey)?;
    let all = edges::between_modules(code, &grey, 0.4 * contrast);
    let code_alone = refine(rgb, &all, &rough.map, 3)?;
    let [wide, near] = PATCH_REACH.map(|reach| edges::patches(layout, reach));
    // Of those that lie in the photo.
    let seen = |map: &Homography| {
        let inside = near.iter().filter(|edge| edges::light(rgb, map.apply(edge.at)).is_some());
        let (all, found) =
            inside.fold((0, 0), |(all, found), edge| (all + 1, found + u32::from(edge.find(rgb, map).is_some())));
        f64::from(found) / f64::from(all.max(1))
    };
    let start = if seen(&code_alone.map) < MOST_SEEN {
        // What the code alone tells of the patches may be a millimetre or two off.
        refine(rgb, &[all.clone(), wide].concat(), &code_alone.map, 3)?
    } else {
        code_alone.clone()
    };
    if seen(&start.map) < MOST_SEEN {
        // They are hidden or outside the photo; what looks like some of them is something else.
        return Some(Located { fit: code_alone, modules: count, strain: (0.0, 0.0), patches: false });
    }
    let fit = refine(rgb, &[all, near].concat(), &start.map, 4)?;
    let strain = strain(layout, &code_alone, &fit).unwrap_or_default();
    Some(Located { fit, modules: count, strain, patches: true })
}

/// [`Located::strain`], at the middle of the last patch.
fn strain(layout: &Layout, code_alone: &Fit, fit: &Fit) -> Option<(f64, f64)> {
    let far = layout.patches.last()?.area.centre();
    let [x, y] = fit.map.inverse().apply(code_alone.map.apply(far));
    let on_card = |map: &Homography| Some(fit.map.inverse().apply(map.apply(far)));
    let sd = code_alone.covariance_of(on_card)?.trace().sqrt();
    let off = (x - far[0]).hypot(y - far[1]);
    Some((off, off / sd))
}

/// The number of modules whose timing pattern (dark and light in turn, from one finder to the next) fits best.
fn modules_a_side(rgb: &Raster<[u8; 3]>, layout: &Layout, map: &Homography) -> Option<usize> {
    let score = |count: usize| Some((count, alternation(&edges::modules(rgb, map, layout.code, count)?)));
    let scores = MODULES.into_iter().filter_map(score);
    scores.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(count, _)| count)
}

/// How much lighter the light modules of the two timing patterns are than the dark ones, mean.
fn alternation(grey: &Raster<f64>) -> f64 {
    let n = grey.width();
    let turn = |i: usize| if i.is_multiple_of(2) { -1.0 } else { 1.0 };
    let sum: f64 = (8..n - 8).map(|i| turn(i) * (grey.get(i, 6) + grey.get(6, i))).sum();
    sum / (n - 16) as f64
}

/// Light of a code's light modules over its dark ones, 9th and 1st decile.
fn contrast(grey: &Raster<f64>) -> Option<f64> {
    let mut sorted = grey.as_slice().to_vec();
    Some(quantile(&mut sorted, 0.9)? - quantile(&mut sorted, 0.1)?)
}

/// A picture in grey codes, its longer side `long`; never enlarged.
fn grey(picture: &Raster<[u8; 3]>, long: usize) -> Raster<u8> {
    let code = |[r, g, b]: [u8; 3]| ((u16::from(r) + 2 * u16::from(g) + u16::from(b)) / 4) as u8;
    let size = fit(picture.width(), picture.height(), long);
    if size == (picture.width(), picture.height()) {
        return picture.map(code);
    }
    shrink(picture, picture.bounds(), size.0, size.1).map(code)
}

/// A picture with blur taken out in part (unsharp mask).
fn sharpened(picture: &Raster<u8>) -> Raster<u8> {
    let (_, sigma, amount) = SHARPENED;
    let field = picture.map(f32::from);
    let soft = soft(&field, sigma);
    let sharper = |(v, s): (&f32, &f32)| (v + amount * (v - s)).clamp(0.0, 255.0) as u8;
    let codes = field.as_slice().iter().zip(soft.as_slice()).map(sharper).collect();
    Raster::from_vec(picture.width(), picture.height(), codes)
}
