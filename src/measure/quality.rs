//! Whether a photo is good enough to measure a plant on: light, clipping, blur.

use crate::base::doubt::Doubt;
use crate::base::raster::Raster;
use crate::measure::Measures;
use crate::segment::Rosette;
use crate::tissue::TissueMap;
use crate::tissue::class::Tissue;

/// Share of the plant that is clipped or in deep shadow: above the first a doubt, above the second refused. No standard
/// is known; half of a plant cannot speak for the whole.
const LOST: (f64, f64) = (0.10, 0.50);
/// Blur as a share of the plant's diameter: a band is about 2-4 % of the diameter wide and is lost to blur (standard
/// deviation) of half its width. Above the first a doubt, above the second refused.
const BLUR: (f64, f64) = (0.008, 0.025);
/// Share of the plant that is unsure: above the first a doubt, above the second refused. Round numbers.
const UNSURE: (f64, f64) = (0.25, 0.85);
/// Codes of a pixel without colour differ by no more than this: what encoding adds to grey.
const GREY: u8 = 4;

/// Why colours cannot be measured on the photo at all: it is black and white. `None` if it has colours.
pub fn colourless(rgb: &Raster<[u8; 3]>) -> Option<String> {
    let spread = |[r, g, b]: &[u8; 3]| r.max(g).max(b) - r.min(g).min(b);
    let enough = rgb.as_slice().len().div_ceil(1000);
    let coloured = rgb.as_slice().iter().filter(|code| spread(code) > GREY).take(enough).count();
    (coloured < enough).then(|| "the photo is black and white; take it in colour".into())
}

/// Why the plant cannot be measured on this photo, with the number and what to change; `None` if it can.
pub fn unfit(tissue: &TissueMap, rosette: &Rosette, measures: &Measures) -> Option<String> {
    let percent = |v: f64| v * 100.0;
    if tissue.clipped > LOST.1 {
        return Some(format!(
            "too bright: {:.0} % of the plant is clipped ({:.0} % allowed); expose less or move out of the sun",
            percent(tissue.clipped),
            percent(LOST.1)
        ));
    }
    if tissue.shadow > LOST.1 {
        return Some(format!(
            "too dark: {:.0} % of the plant is black ({:.0} % allowed); bring more light",
            percent(tissue.shadow),
            percent(LOST.1)
        ));
    }
    let unsure = measures.tissue[Tissue::Unsure];
    if unsure > UNSURE.1 {
        return Some(format!(
            "{:.0} % of the plant could not be judged ({:.0} % allowed); take it in even white light, or check --white",
            percent(unsure),
            percent(UNSURE.1)
        ));
    }
    let blur = rosette.blur_px? / measures.diameter_px;
    (blur > BLUR.1).then(|| {
        format!(
            "blurred: edges spread over {:.1} % of the plant's diameter ({:.1} % allowed); hold still and focus on the plant",
            percent(blur),
            percent(BLUR.1)
        )
    })
}

/// What the reader must know about the plant's photo.
pub fn doubts(tissue: &TissueMap, rosette: &Rosette, measures: &Measures) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    let mut say = |over: bool, code, text: String| {
        if over {
            doubts.push(Doubt::new(code, text));
        }
    };
    let percent = |v: f64| v * 100.0;
    say(
        tissue.clipped > LOST.0,
        "clipped",
        format!("{:.0} % of the plant is clipped or glare", percent(tissue.clipped)),
    );
    say(tissue.shadow > LOST.0, "dark", format!("{:.0} % of the plant is in black shadow", percent(tissue.shadow)));
    let blur = rosette.blur_px.map_or(0.0, |b| b / measures.diameter_px);
    say(
        blur > BLUR.0,
        "blurred",
        format!("edges spread over {:.1} % of the diameter: fine stripes are lost", percent(blur)),
    );
    let unsure = measures.tissue[Tissue::Unsure];
    say(unsure > UNSURE.0, "unsure", format!("{:.0} % of the plant could not be judged", percent(unsure)));
    let vague = measures.diameter_mm.map_or(0.0, |mm| (mm.high - mm.low) / (2.0 * mm.value));
    say(
        vague > VAGUE_SCALE,
        "scale-uncertain",
        format!(
            "sizes in mm are known to +-{:.0} % only; lay the card level with the soil, hold the camera farther away, or keep \
             the focal length in the photo's EXIF",
            percent(vague)
        ),
    );
    doubts
}

/// Half-width of a size's 95 % interval, in parts of the size, from which it is doubted: judgement.
const VAGUE_SCALE: f64 = 0.2;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::raster::{Raster, Rect};
    use crate::base::stats::Interval;
    use crate::tissue::class::PerTissue;

    fn plant(clipped: f64, shadow: f64, blur_px: f64) -> (TissueMap, Rosette, Measures) {
        let bounds = Rect { x: 0, y: 0, width: 1, height: 1 };
        let map = TissueMap { bounds, tissue: Raster::filled(1, 1, Some(Tissue::Green)), clipped, shadow };
        let mask = Raster::filled(1, 1, true);
        let rosette = Rosette { bounds, mask, confidence: 1.0, blur_px: Some(blur_px), doubts: Vec::new() };
        let measures = Measures {
            pixels: 1,
            diameter_px: 1000.0,
            px_per_mm: None,
            diameter_mm: None,
            tissue: PerTissue::default(),
            green_fraction: None,
            pale_fraction: None,
            red_fraction: None,
            green_capacity: None,
        };
        (map, rosette, measures)
    }

    #[test]
    fn a_bad_photo_is_refused_with_its_number() {
        let reason = |(t, r, m): (TissueMap, Rosette, Measures)| unfit(&t, &r, &m);
        assert_eq!(reason(plant(0.3, 0.3, 5.0)), None);
        assert!(reason(plant(0.6, 0.0, 1.0)).is_some_and(|r| r.starts_with("too bright: 60 %")));
        assert!(reason(plant(0.0, 0.7, 1.0)).is_some_and(|r| r.starts_with("too dark: 70 %")));
        assert!(reason(plant(0.0, 0.0, 40.0)).is_some_and(|r| r.starts_with("blurred: edges spread over 4.0 %")));
    }

    #[test]
    fn a_plant_that_is_nearly_all_unsure_is_refused() {
        let (map, rosette, mut measures) = plant(0.0, 0.0, 1.0);
        measures.tissue[Tissue::Unsure] = 0.8;
        assert_eq!(unfit(&map, &rosette, &measures), None);
        measures.tissue[Tissue::Unsure] = 0.9;
        assert!(
            unfit(&map, &rosette, &measures).is_some_and(|r| r.starts_with("90 % of the plant could not be judged"))
        );
    }

    #[test]
    fn black_and_white_photos_are_told_from_dull_ones() {
        let mut photo = Raster::filled(50, 40, [90, 92, 89]);
        assert!(colourless(&photo).is_some());
        photo.row_mut(0).fill([90, 100, 80]);
        assert_eq!(colourless(&photo), None);
    }

    #[test]
    fn a_doubtful_photo_says_so() {
        let codes =
            |(t, r, m): (TissueMap, Rosette, Measures)| doubts(&t, &r, &m).iter().map(|d| d.code).collect::<Vec<_>>();
        assert_eq!(codes(plant(0.2, 0.2, 12.0)), ["clipped", "dark", "blurred"]);
        assert!(codes(plant(0.0, 0.0, 3.0)).is_empty());
        let sized = |low, high| {
            let (map, rosette, measures) = plant(0.0, 0.0, 3.0);
            let diameter_mm = Some(Interval { value: 50.0, low, high });
            codes((map, rosette, Measures { diameter_mm, ..measures }))
        };
        assert_eq!(sized(45.0, 56.0), [""; 0]);
        assert_eq!(sized(40.0, 61.0), ["scale-uncertain"]);
    }
}
