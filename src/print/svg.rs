//! A page as SVG 1.1, in millimetres.

use super::draw::{Page, Point, Shape, Step};
use std::fmt::Write as _;
use std::io::{Result, Write};

/// Writes one page.
pub fn write(page: &Page, title: &str, out: &mut dyn Write) -> Result<()> {
    let Page { width, height, groups } = page;
    writeln!(out, r#"<?xml version="1.0" encoding="UTF-8"?>"#)?;
    write!(out, r#"<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" "#)?;
    writeln!(out, r#"viewBox="0 0 {width} {height}">"#)?;
    writeln!(out, "<title>{}</title>", escaped(title))?;
    for group in groups {
        writeln!(out, "<g>")?;
        if let Some(title) = &group.title {
            writeln!(out, "<title>{}</title>", escaped(title))?;
        }
        for shape in &group.shapes {
            writeln!(out, r#"<path fill="{}" d="{}"/>"#, color(shape.grey), path(shape))?;
        }
        writeln!(out, "</g>")?;
    }
    writeln!(out, "</svg>")
}

/// `text` as XML's text or value: what XML 1.0 cannot hold at all becomes U+FFFD.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&apos;"),
            '\u{fffe}' | '\u{ffff}' => safe.push('\u{fffd}'),
            control if control.is_control() && !matches!(control, '\t' | '\n' | '\r') => safe.push('\u{fffd}'),
            other => safe.push(other),
        }
    }
    safe
}

/// A grey as colour.
fn color(grey: f64) -> String {
    let code = (grey.clamp(0.0, 1.0) * 255.0).round() as u8;
    format!("#{code:02x}{code:02x}{code:02x}")
}

/// An outline in path data, to a thousandth of a millimetre.
fn path(shape: &Shape) -> String {
    let mut data = String::new();
    for step in &shape.steps {
        match step {
            Step::Move(to) => push(&mut data, "M", &[*to]),
            Step::Line(to) => push(&mut data, "L", &[*to]),
            Step::Curve(points) => push(&mut data, "C", points),
            Step::Close => data.push('Z'),
        }
    }
    data
}

fn push(data: &mut String, letter: &str, points: &[Point]) {
    data.push_str(letter);
    for (i, &value) in points.as_flattened().iter().enumerate() {
        let rounded = (value * 1000.0).round() / 1000.0;
        let blank = if i == 0 { "" } else { " " };
        // Adding 0 turns -0 into 0. A text takes all that is written.
        let _ = write!(data, "{blank}{}", rounded + 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::draw::Group;

    #[test]
    fn a_page_states_its_size_in_millimetres() {
        let shape = Shape { steps: vec![Step::Move([1.0, 2.00049]), Step::Line([3.5, -0.0]), Step::Close], grey: 0.5 };
        let page = Page { width: 85.6, height: 54.0, groups: vec![Group { title: None, shapes: vec![shape] }] };
        let mut svg = Vec::new();
        write(&page, "x", &mut svg).unwrap();
        let svg = String::from_utf8(svg).unwrap();
        assert!(svg.contains(r#"width="85.6mm" height="54mm" viewBox="0 0 85.6 54""#), "{svg}");
        assert!(svg.contains(r##"<path fill="#808080" d="M1 2L3.5 0Z"/>"##), "{svg}");
    }

    #[test]
    fn names_cannot_break_the_file() {
        assert_eq!(
            escaped("<b> & \"x\" 'y'\u{0}\u{1b}é植"),
            "&lt;b&gt; &amp; &quot;x&quot; &apos;y&apos;\u{fffd}\u{fffd}é植"
        );
    }
}
