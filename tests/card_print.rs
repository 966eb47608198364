//! Printed pages, measured on the pixels that independent programs draw from the SVG and the PDF: lengths to 0.1 mm, codes
//! read back by an independent decoder. The wanted numbers are those of the layouts; none is read from a file written.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod picture;

use picture::{Along, Picture, from_pdf, from_svg};
use variegauge::card::layout::{Area, CARD, Layout, PAPER, POT_LABEL, Patch};
use variegauge::card::number::payload;
use variegauge::print::card::Label;
use variegauge::print::draw::Page;
use variegauge::print::pdf;
use variegauge::print::sheet::{Paper, pages, per_page};

/// The largest error of a length that is let pass, mm; a pixel of 203 dpi is 0.125 mm.
const TOLERANCE: f64 = 0.1;

/// Resolutions of label printers and of office printers' drafts.
const DPI: [f64; 2] = [203.2, 300.0];

/// Numbers of all lengths, with and without names.
fn labels(n: usize) -> Vec<Label> {
    let number = |i: usize| match i % 4 {
        1 => "ABCDEFGHIJKLMNOPQRSTUVWX".into(),
        2 => format!("zb_{i}.k"),
        _ => format!("ZB-{i:04}"),
    };
    let name =
        |i: usize| (i % 3 != 1).then(|| "Haworthiopsis attenuata 'Grüner Zebra' <1> & \"2\", selected".to_owned());
    (0..n).map(|i| Label { number: number(i).parse().unwrap(), name: name(i) }).collect()
}

/// Draws a full page in every way and hands it on with words that name it.
fn each_picture(layout: &Layout, paper: Paper, check: impl Fn(&Picture, &[Label], &str)) {
    let labels = labels(per_page(layout, paper));
    let pages = pages(layout, &labels, paper);
    assert_eq!(pages.len(), 1);
    for dpi in DPI {
        check(&from_svg(&pages[0], dpi), &labels, &format!("{} {paper:?} SVG {dpi}", layout.prefix));
        check(&from_pdf(&pages, &[], dpi)[0], &labels, &format!("{} {paper:?} PDF {dpi}", layout.prefix));
    }
}

#[track_caller]
fn near(measured: f64, wanted: f64, what: &str) {
    assert!((measured - wanted).abs() <= TOLERANCE, "{what}: {measured:.3} mm, wanted {wanted}");
}

/// Columns and rows of cut marks, as found on the picture: the first ink from above is the marks over the first cards.
fn marks(picture: &Picture) -> [Vec<f64>; 2] {
    let [width, height] = picture.size();
    let top = picture.ink(0.0..width, 0.0..height).unwrap()[0];
    let columns = picture.lines(Along::X, top + 0.5, 0.0..width);
    let rows = picture.lines(Along::Y, columns[0] - 1.0, 0.0..height - 7.0);
    [columns, rows]
}

/// Top left corners of the cards, along rows, by the cut marks.
fn corners(picture: &Picture, layout: &Layout, paper: Paper, what: &str) -> Vec<[f64; 2]> {
    let Some(size) = paper.size() else { return vec![[0.0, 0.0]] };
    let marks = marks(picture);
    for (axis, side) in [layout.width, layout.height].into_iter().enumerate() {
        let marks = &marks[axis];
        assert!(marks[0] >= 5.0 && size[axis] - marks[marks.len() - 1] >= 5.0, "{what}: margin {marks:?}");
        for pair in marks.chunks(2) {
            near(pair[1] - pair[0], side, &format!("{what}: side {axis} of a card"));
        }
        for pair in marks[1..marks.len() - 1].chunks(2) {
            near(pair[1] - pair[0], 3.0, &format!("{what}: gap"));
        }
    }
    let [columns, rows] = marks.map(|marks| marks.into_iter().step_by(2).collect::<Vec<_>>());
    rows.iter().flat_map(|&y| columns.iter().map(move |&x| [x, y])).collect()
}

const SHEETS: [(&Layout, Paper); 6] = [
    (&CARD, Paper::A4),
    (&CARD, Paper::Letter),
    (&CARD, Paper::Single),
    (&POT_LABEL, Paper::A4),
    (&POT_LABEL, Paper::Letter),
    (&POT_LABEL, Paper::Single),
];

#[test]
fn every_code_of_every_sheet_reads_back() {
    for (layout, paper) in SHEETS {
        each_picture(layout, paper, |picture, labels, what| {
            let size = paper.size().unwrap_or([layout.width, layout.height]);
            for (measured, wanted) in picture.size().into_iter().zip(size) {
                near(measured, wanted, &format!("{what}: page"));
            }
            let corners = corners(picture, layout, paper, what);
            assert_eq!(corners.len(), labels.len(), "{what}");
            for (&corner, label) in corners.iter().zip(labels) {
                let read = picture.code_text(corner, [layout.width - 0.2, layout.height - 0.2]);
                assert_eq!(read, Ok(payload(layout, &label.number)), "{what}");
            }
        });
    }
}

/// The finder patterns' outer rings lie in three corners of the code and are seven modules wide (ISO/IEC 18004).
#[test]
fn codes_have_their_place_and_their_size_with_bare_paper_around() {
    for (layout, paper) in SHEETS {
        each_picture(layout, paper, |picture, labels, what| {
            let code = layout.code;
            for ([left, top], label) in corners(picture, layout, paper, what).into_iter().zip(labels) {
                let (x, y) = (left + code.x, top + code.y);
                let quiet = 4.0 * code.width / 21.0;
                let row = picture.edges(Along::X, y + 0.3, left + 0.5..x + code.width + quiet);
                let column = picture.edges(Along::Y, x + 0.3, top + 0.2..y + code.height + quiet - 0.3);
                let what = format!("{what} {}", label.number);
                for (edges, start) in [(row, x), (column, y)] {
                    near(edges[0], start, &format!("{what}: first edge"));
                    near(edges[edges.len() - 1], start + code.width, &format!("{what}: last edge"));
                    let modules = 7.0 * code.width / (edges[1] - edges[0]);
                    // Versions 1 and 2: 21 and 25 modules, by what fits on level M (14 and 26 bytes, 20 and 38 signs).
                    let wanted = if label.number.as_str().len() > 16 { 25.0 } else { 21.0 };
                    assert!((modules - wanted).abs() < 1.5, "{what}: {modules} modules");
                }
                let (near, far) = (0.2, quiet - 0.2);
                let (right, bottom) = (x + code.width, y + code.height);
                assert!(picture.is_bare(x - far..x - near, y - far..bottom + far), "{what}: left");
                assert!(picture.is_bare(right + near..right + far, y - far..bottom + far), "{what}: right");
                assert!(picture.is_bare(x - far..right + far, y - far..y - near), "{what}: above");
                assert!(picture.is_bare(x - far..right + far, bottom + near..bottom + far), "{what}: below");
            }
        });
    }
}

/// Linear light of a code: the sRGB curve, IEC 61966-2-1 (from memory).
fn linear(code: u8) -> f64 {
    let coded = f64::from(code) / 255.0;
    if coded <= 0.04045 { coded / 12.92 } else { ((coded + 0.055) / 1.055).powf(2.4) }
}

#[test]
fn patches_have_their_place_and_their_grey() {
    for paper in [Paper::A4, Paper::Letter, Paper::Single] {
        each_picture(&CARD, paper, |picture, _, what| {
            for [left, top] in corners(picture, &CARD, paper, what) {
                for &Patch { area, reflectance } in CARD.patches {
                    let (x, y) = (left + area.x, top + area.y);
                    let (middle, centre) = (x + area.width / 2.0, y + area.height / 2.0);
                    if reflectance > PAPER {
                        assert!(
                            picture.is_bare(x..x + area.width, y..y + area.height),
                            "{what}: the lightest is paper"
                        );
                        continue;
                    }
                    let what = format!("{what} patch {reflectance}");
                    let columns = picture.edges(Along::X, centre, x - 0.3..x + area.width + 0.3);
                    let rows = picture.edges(Along::Y, middle, y - 0.5..y + area.height + 0.5);
                    for (edges, start, length) in [(columns, x, area.width), (rows, y, area.height)] {
                        assert_eq!(edges.len(), 2, "{what}");
                        near(edges[0], start, &what);
                        near(edges[1], start + length, &what);
                    }
                    let printed = PAPER * linear(picture.code([middle, centre]));
                    let wanted = if reflectance < 0.035 { 0.0 } else { reflectance };
                    assert!((printed - wanted).abs() < 0.005, "{what}: {printed}");
                }
            }
        });
    }
}

#[test]
fn the_rule_is_a_rule() {
    let rule = CARD.rule.unwrap();
    for paper in [Paper::A4, Paper::Letter, Paper::Single] {
        each_picture(&CARD, paper, |picture, _, what| {
            for [left, top] in corners(picture, &CARD, paper, what) {
                let (zero, base) = (left + rule.x, top + rule.y);
                let ticks = picture.lines(Along::X, base + 1.0, left + 1.0..left + 84.0);
                assert_eq!(ticks.len(), 51, "{what}");
                near(ticks[50] - ticks[0], 50.0, &format!("{what}: length"));
                let lines = picture.lines(Along::Y, zero + 0.5, top + 36.0..base + 3.0);
                assert_eq!(lines.len(), 1, "{what}");
                near(lines[0], base, &format!("{what}: base line"));
                for (n, &tick) in ticks.iter().enumerate() {
                    near(tick, zero + n as f64, &format!("{what}: tick {n}"));
                    let down = if n % 10 == 0 {
                        4.0
                    } else if n % 5 == 0 {
                        2.6
                    } else {
                        1.6
                    };
                    let edges = picture.edges(Along::Y, tick, base..base + 4.3);
                    near(edges[0], base + down, &format!("{what}: end of tick {n}"));
                }
                assert!(
                    picture.is_bare(left + 1.0..left + 84.0, base + 6.8..top + 53.5),
                    "{what}: nothing below the rule's numbers"
                );
            }
        });
    }
}

#[test]
fn check_lines_are_50_mm() {
    for (layout, paper) in SHEETS.into_iter().filter(|(_, paper)| *paper != Paper::Single) {
        each_picture(layout, paper, |picture, _, what| {
            let [_, height] = paper.size().unwrap();
            let left = marks(picture)[0][0];
            let ends = picture.lines(Along::X, height - 6.6, left - 2.0..left + 51.0);
            assert_eq!(ends.len(), 2, "{what}: {ends:?}");
            near(ends[1] - ends[0], 50.0, &format!("{what}: horizontal"));
            let ends = picture.lines(Along::Y, left - 8.6, 5.0..height - 5.0);
            assert_eq!(ends.len(), 2, "{what}: {ends:?}");
            near(ends[1] - ends[0], 50.0, &format!("{what}: vertical"));
        });
    }
}

#[test]
fn text_keeps_to_its_line_and_no_ink_is_on_a_card_s_edge() {
    for (layout, paper) in SHEETS {
        each_picture(layout, paper, |picture, labels, what| {
            for ([left, top], label) in corners(picture, layout, paper, what).into_iter().zip(labels) {
                let what = format!("{what} {}", label.number);
                let (number, name) = (layout.number, layout.name);
                let room = left + number.x - 0.3..left + layout.width - 0.4;
                let ink = picture.ink(room.clone(), top + 0.5..top + name.y - 0.5).unwrap();
                if label.number.as_str().starts_with("ZB") {
                    // Round digits reach over flat letters by a fiftieth.
                    assert!((ink[0] - top - number.y).abs() < 0.25, "{what}: top {ink:?}");
                    let foot = picture.edges(Along::X, ink[1] - 0.35, room.clone());
                    near(foot[0], left + number.x, &format!("{what}: the foot of Z begins the line"));
                }
                assert_eq!(
                    picture.ink(room.clone(), top + name.y - 0.3..top + name.y + 4.0).is_some(),
                    label.name.is_some()
                );
                let end = number.x + number.width;
                assert!(
                    picture.is_bare(left + end + 0.2..left + layout.width - 0.2, top + 0.2..top + name.y + 4.0),
                    "{what}"
                );
                for (x, y) in [(0.2..0.4, 0.2..layout.height - 0.2), (0.2..layout.width - 0.2, 0.2..0.4)] {
                    let (far_x, far_y) =
                        (layout.width - x.start..layout.width - 0.1, layout.height - 0.4..layout.height - 0.2);
                    assert!(picture.is_bare(left + x.start..left + x.end, top + y.start..top + y.end), "{what}: edge");
                    assert!(
                        picture.is_bare(left + far_x.start..left + far_x.end, top + far_y.start..top + far_y.end),
                        "{what}: edge"
                    );
                }
            }
        });
    }
}

#[test]
fn a_picture_in_a_pdf_stands_upright_where_it_should() {
    // Black at the top left, grey elsewhere.
    let quarter = image::RgbImage::from_fn(80, 40, |x, y| image::Rgb([if x < 40 && y < 20 { 0 } else { 160 }; 3]));
    let mut jpeg = std::io::Cursor::new(Vec::new());
    quarter.write_to(&mut jpeg, image::ImageFormat::Jpeg).unwrap();
    let page = Page { width: 100.0, height: 60.0, groups: Vec::new() };
    let area = Area { x: 10.0, y: 20.0, width: 40.0, height: 20.0 };
    let picture = pdf::Picture { page: 1, area, size: (80, 40), jpeg: jpeg.into_inner() };
    let drawn = from_pdf(&[page.clone(), page], &[picture], 203.2);
    let near = |code: u8, wanted: u8| code.abs_diff(wanted) < 8;
    for (at, wanted) in [
        ([15.0, 25.0], 0),
        ([45.0, 25.0], 160),
        ([15.0, 35.0], 160),
        ([45.0, 35.0], 160),
        ([9.5, 25.0], 255),
        ([50.5, 25.0], 255),
        ([15.0, 19.5], 255),
        ([15.0, 40.5], 255),
    ] {
        assert!(near(drawn[1].code(at), wanted), "{at:?}: {}", drawn[1].code(at));
        assert_eq!(drawn[0].code(at), 255, "the other page");
    }
}
