//! The QR code of a card.

use super::draw::Shape;
use crate::card::layout::{Area, Layout};
use crate::card::number::{PlantNumber, payload};
use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};

/// The code of a plant's number in the layout's area: level M or, where the version has room for it, a higher one.
pub(super) fn draw(layout: &Layout, number: &PlantNumber) -> Shape {
    let segments = QrSegment::make_segments(&payload(layout, number));
    let limits = (QrCodeEcc::Medium, Version::MIN, Version::MAX);
    let code = QrCode::encode_segments_advanced(&segments, limits.0, limits.1, limits.2, None, true)
        .expect("a plant number is short");
    Shape::boxes(runs(&code, layout.code))
}

/// Dark modules as one rectangle a run along a row. All are one shape, so that no viewer shows seams between rows.
fn runs(code: &QrCode, area: Area) -> Vec<Area> {
    let (size, side) = (code.size(), area.width / f64::from(code.size()));
    let mut runs = Vec::new();
    for row in 0..size {
        let mut column = 0;
        while column < size {
            let start = column;
            while code.get_module(column, row) {
                column += 1;
            }
            if column > start {
                let [x, y] = [area.x + f64::from(start) * side, area.y + f64::from(row) * side];
                runs.push(Area { x, y, width: f64::from(column - start) * side, height: side });
            }
            column += 1;
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::layout::{CARD, POT_LABEL};
    use crate::print::draw::Step;

    /// Of all versions: the finder patterns' outer rings begin in the area's corners.
    #[test]
    fn the_code_fills_its_area_whatever_its_version() {
        for layout in [&CARD, &POT_LABEL] {
            for number in ["7", "ZB-0042", "ABCDEFGHIJKLMNOPQRSTUVWX", "abcdefghijklmnopqrstuvwx"] {
                let shape = draw(layout, &number.parse().unwrap());
                let points: Vec<[f64; 2]> = shape
                    .steps
                    .iter()
                    .filter_map(|step| match step {
                        Step::Move(p) | Step::Line(p) => Some(*p),
                        Step::Curve(_) | Step::Close => None,
                    })
                    .collect();
                let edge =
                    |axis: usize, pick: fn(f64, f64) -> f64| points.iter().map(|p| p[axis]).reduce(pick).unwrap();
                let (area, near) = (layout.code, |a: f64, b: f64| (a - b).abs() < 1e-9);
                assert!(near(edge(0, f64::min), area.x) && near(edge(0, f64::max), area.x + area.width), "{number}");
                assert!(near(edge(1, f64::min), area.y) && near(edge(1, f64::max), area.y + area.height), "{number}");
            }
        }
    }
}
