//! White point and exposure from a label card's neutral parts.

use super::to_srgb;
use super::white::{White, WhiteSource};
use crate::base::color::light::Light;
use crate::base::color::{Linear, matrix};
use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::base::stats::quantile;
use crate::card::layout::PAPER;
use crate::card::{Card, Neutral};
use crate::photo::Photo;
use palette::white_point::{D50, WhitePoint};
use palette::{IntoColor, Lab, Xyz};

/// Standard uncertainty of the paper's colour, mired, when it is not known (office paper of CIELAB b* -2 to -4 reads 5 to 11
/// mired too cool, computed in `docs/science.md`), and when it was measured.
const PAPER_MIRED_SD: (f64, f64) = (5.0, 2.0);

/// Standard uncertainty of the plant's light against the card's, mired: sun and sky reach them in different shares. As for an
/// estimated white.
const LIGHTS_MIRED_SD: f64 = 6.0;

/// Both across the locus, CIE 1960 uv.
const DUV_SD: f64 = 0.001;

/// Most of a part's samples that may be clipped.
const MOST_CLIPPED: f64 = 0.02;

/// Most of a part's samples that may be glare, shadow or dirt.
const MOST_ODD: f64 = 0.4;

/// Least linear light; darker parts carry noise and glare.
const DARK: f64 = 0.01;

/// Level at which a part counts half: noise weighs more on dark parts.
const HALF: f64 = 0.03;

/// Difference of a part's log ratios from the others' beyond which it does not count: something lies on it.
const ODD_ONE: f64 = 0.1;

/// Ratio of the brightest to the darkest paper (9th and 1st decile) from which the card's light is called uneven: half a
/// stop. Common practice, no source.
const UNEVEN: f64 = 1.41;

/// Paper of a CIELAB colour (D50, 2 degree observer) as linear sRGB under D65, green = 1.
pub(super) fn paper([l, a, b]: [f64; 3]) -> Linear {
    let xyz: Xyz<D50, f64> = Lab::new(l, a, b).into_color();
    let d65 = matrix::xyz_of_xy(matrix::D65);
    let d50 = <D50 as WhitePoint<f64>>::get_xyz();
    let adapted = matrix::apply(&matrix::bradford([d50.x, d50.y, d50.z], d65), [xyz.x, xyz.y, xyz.z]);
    let rgb = matrix::apply(&matrix::inverse(&matrix::rgb_to_xyz(&matrix::SRGB, matrix::D65)), adapted);
    rgb.map(|part| (part / rgb[1]) as f32)
}

/// What a card tells of the light.
pub(super) struct FromCard {
    pub(super) white: White,
    /// Linear light of a perfect white surface beside the card; `None` where the paper is burnt out, not seen or unevenly lit.
    pub(super) exposure: Option<f64>,
}

/// White and exposure of the card's light, in the light that paper of colour `paper` (linear sRGB under D65, green = 1)
/// sends back. `None` if too little of it can be used.
pub(super) fn from_card(photo: &Photo, card: &Card, paper: Option<Linear>) -> Option<FromCard> {
    if !card.patches_seen() {
        return None;
    }
    let unhidden = unhidden(&card.neutrals);
    let groups = groups(photo, &unhidden);
    let rgb = agreed(&groups)?;
    let seen = paper.map_or(rgb, |paper| [0, 1, 2].map(|i| rgb[i] / paper[i]));
    let light = Light::from_srgb(seen)?;
    let tint = if paper.is_some() { PAPER_MIRED_SD.1 } else { PAPER_MIRED_SD.0 };
    let middle = Light::from_srgb(rgb)?.mired.0;
    let shifts = groups.iter().filter_map(|group| Some(Light::from_srgb(group.rgb())?.mired.0 - middle));
    let mut shifts: Vec<f64> = shifts.map(f64::abs).collect();
    let scatter = quantile(&mut shifts, 0.5)? / 0.6745;
    let mired_sd = tint.hypot(LIGHTS_MIRED_SD).hypot(scatter / (groups.len() as f64).sqrt());
    let mut levels = paper_levels(&card.neutrals);
    let even = unevenness(&mut levels).is_some_and(|ratio| ratio <= UNEVEN);
    let exposure = quantile(&mut levels, 0.5).filter(|_| even).map(|level| level / PAPER);
    Some(FromCard { white: White::new(WhiteSource::Card, light, mired_sd, DUV_SD), exposure })
}

/// Ratio of the brightest to the darkest paper, 9th and 1st decile.
fn unevenness(levels: &mut [f64]) -> Option<f64> {
    Some(quantile(levels, 0.9)? / quantile(levels, 0.1)?)
}

/// A doubt if the light on the card's paper is uneven.
pub(super) fn shade(card: &Card) -> Option<Doubt> {
    let ratio = unevenness(&mut paper_levels(&card.neutrals))?;
    (ratio > UNEVEN).then(|| {
        Doubt::new(
            "card-shade",
            format!(
                "the light on the label card {} is uneven (its paper is {ratio:.1} times as bright in one part as in another), \
                 so the plant's light may differ from the card's; keep shadows off both",
                card.number
            ),
        )
    })
}

/// The parts of a card that nothing hides: the patches of the levels that they should have beside each other, and the
/// paper. Empty if they do not get darker one after another, if too few are left, or if the paper is not as light as paper.
fn unhidden(neutrals: &[Neutral]) -> Vec<&Neutral> {
    let usable: Vec<&Neutral> =
        neutrals.iter().filter(|part| part.clipped <= MOST_CLIPPED && part.odd <= MOST_ODD).collect();
    let share = |part: &&Neutral| (part.rgb[1].max(1e-6) / part.reflectance).ln();
    let (paper, patches): (Vec<&Neutral>, Vec<&Neutral>) = usable.into_iter().partition(|part| part.paper);
    let Some(usual) = quantile(&mut patches.iter().map(share).collect::<Vec<_>>(), 0.5) else { return Vec::new() };
    let kept: Vec<&Neutral> = patches.into_iter().filter(|part| (share(part) - usual).abs() < OFF_LEVEL).collect();
    let falling = kept.windows(2).all(|pair| pair[1].rgb[1] < LIGHTER * pair[0].rgb[1]);
    let paper: Vec<&Neutral> = paper.into_iter().filter(|part| (share(part) - usual).abs() < OFF_LEVEL).collect();
    let clipped = neutrals.iter().filter(|part| part.paper && part.clipped > MOST_CLIPPED).count();
    if falling && kept.len() >= 2 && (!paper.is_empty() || clipped > 0) {
        kept.into_iter().chain(paper).collect()
    } else {
        Vec::new()
    }
}

/// Logarithm of the factor by which a part's light, for what it should reflect, may differ from the others': tone curves,
/// print and shade make up to 2.
const OFF_LEVEL: f64 = 0.9;

/// A patch has less than this of the light of the lighter one before it. They are meant to have at most two thirds; shade
/// and print take some of that.
const LIGHTER: f64 = 0.95;

/// Log ratios of a neutral part and how much it counts.
struct Group {
    ratios: [f64; 2],
    weight: f64,
}

impl Group {
    fn rgb(&self) -> Linear {
        [self.ratios[0].exp() as f32, 1.0, self.ratios[1].exp() as f32]
    }
}

/// Each patch, and all paper as one.
fn groups(photo: &Photo, neutrals: &[&Neutral]) -> Vec<Group> {
    let to_srgb = to_srgb(photo.primaries);
    let (mut groups, mut paper) = (Vec::new(), Vec::new());
    for part in neutrals {
        let [r, g, b] = matrix::apply(&to_srgb, part.rgb);
        if r.min(g).min(b) < DARK {
            continue;
        }
        let group = Group { ratios: [(r / g).ln(), (b / g).ln()], weight: g / (g + HALF) };
        if part.paper { paper.push(group) } else { groups.push(group) }
    }
    if !paper.is_empty() {
        let median = |i: usize| quantile(&mut paper.iter().map(|group| group.ratios[i]).collect::<Vec<_>>(), 0.5);
        if let (Some(red), Some(blue)) = (median(0), median(1)) {
            groups.push(Group { ratios: [red, blue], weight: 1.0 });
        }
    }
    groups
}

/// The colour that the parts agree on, linear sRGB, green = 1; `None` for fewer than two parts.
fn agreed(groups: &[Group]) -> Option<Linear> {
    if groups.len() < 2 {
        return None;
    }
    let median = |i: usize| quantile(&mut groups.iter().map(|group| group.ratios[i]).collect::<Vec<_>>(), 0.5);
    let middle = [median(0)?, median(1)?];
    let near = |group: &&Group| (0..2).all(|i| (group.ratios[i] - middle[i]).abs() < ODD_ONE);
    let (mut sum, mut total) = ([0.0; 2], 0.0);
    for group in groups.iter().filter(near) {
        (0..2).for_each(|i| sum[i] += group.weight * group.ratios[i]);
        total += group.weight;
    }
    (total > 0.0).then(|| [(sum[0] / total).exp() as f32, 1.0, (sum[1] / total).exp() as f32])
}

/// Linear light of the paper's spots that are not burnt out.
fn paper_levels(neutrals: &[Neutral]) -> Vec<f64> {
    let sound = neutrals.iter().filter(|part| part.paper && part.clipped <= MOST_CLIPPED && part.odd <= MOST_ODD);
    sound.map(|part| part.rgb[1]).filter(|level| *level > DARK).collect()
}

/// A doubt if most of the paper is burnt out: light then eats into the print, more on one side than on the other.
pub(super) fn bright(card: &Card) -> Option<Doubt> {
    let paper: Vec<&Neutral> = card.neutrals.iter().filter(|part| part.paper).collect();
    let burnt = paper.iter().filter(|part| part.clipped > 0.5).count();
    (2 * burnt > paper.len()).then(|| {
        Doubt::new(
            "card-bright",
            format!(
                "the paper of the label card {} is burnt out, so lengths and tilt are less sure; expose for the card",
                card.number
            ),
        )
    })
}

/// Distance of the printed edges from where a flat card would show them, mm, from which a card is called bent.
const BENT_MM: f64 = 0.15;

/// The same for the patches against what the code alone would say, mm, and in standard deviations of that: judgement.
const STRAINED: (f64, f64) = (0.4, 3.5);

/// A doubt if the card is not flat. A slight bend mostly passes for perspective and is not seen.
pub(super) fn uneven(card: &Card) -> Option<Doubt> {
    let off = card.unevenness_mm();
    let (strain, in_sds) = card.strain();
    let strained = strain > STRAINED.0 && in_sds > STRAINED.1;
    (strained || off > BENT_MM).then(|| {
        let off = if strained { strain } else { off };
        Doubt::new(
            "card-bent",
            format!(
                "the printed edges of the label card {} lie {off:.1} mm off those of a flat card: it is bent, folded, partly \
                 covered or blurred, so lengths are less sure",
                card.number
            ),
        )
    })
}

/// Share of the photo, on a coarse grid, whose three channels are all burnt out.
pub(super) fn burnt_share(rgb: &Raster<[u8; 3]>) -> f64 {
    let step = (rgb.width().max(rgb.height()) / 256).max(1);
    let (mut burnt, mut all) = (0_u32, 0_u32);
    for y in (0..rgb.height()).step_by(step) {
        for code in rgb.row(y).iter().step_by(step) {
            burnt += u32::from(code.iter().all(|&value| value >= BURNT));
            all += 1;
        }
    }
    f64::from(burnt) / f64::from(all.max(1))
}

/// Codes of a burnt-out channel.
const BURNT: u8 = 253;

#[cfg(test)]
mod tests {
    use super::*;

    /// Office paper taken for neutral is a mistake of 5, 9, 13 and 24 mired at CIELAB b* -2, -4, -6 and -10 (computed with
    /// colour-science 0.4.7).
    #[test]
    fn bluish_paper_is_as_blue_as_the_reference_says() {
        let mired = |b: f64| Light::from_srgb(paper([94.0, 0.0, b])).unwrap().mired.0;
        for (b, shift) in [(-2.0, -5.0), (-4.0, -9.0), (-6.0, -13.0), (-10.0, -24.0)] {
            assert!((mired(b) - mired(0.0) - shift).abs() < 2.0, "{b}: {}", mired(b) - mired(0.0));
        }
        assert!(paper([94.0, 0.0, 0.0]).iter().all(|part| (part - 1.0).abs() < 1e-3));
    }
}
