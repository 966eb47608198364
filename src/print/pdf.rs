//! Pages as one PDF 1.7 file, blacks and greys in `DeviceGray`, pictures as the JPEG they are.

use super::draw::{Page, Shape, Step};
use crate::card::layout::Area;
use flate2::Compression;
use flate2::write::ZlibEncoder;
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};
use std::io::{Result, Write};

/// Points a millimetre.
const POINTS: f64 = 72.0 / 25.4;

const CATALOG: Ref = Ref::new(1);
const TREE: Ref = Ref::new(2);
const INFO: Ref = Ref::new(3);

/// Objects before the pages'; each page has two, itself and its drawing.
const FIRST: i32 = 4;

/// A picture on a page, under what is drawn on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Its page, from 0.
    pub page: usize,
    /// Where it stands, mm.
    pub area: Area,
    /// Width and height, pixels.
    pub size: (u32, u32),
    /// The picture, of three colours.
    pub jpeg: Vec<u8>,
}

/// Writes all pages.
pub fn write(pages: &[Page], pictures: &[Picture], title: &str, out: &mut dyn Write) -> Result<()> {
    let mut pdf = Pdf::new();
    let mut catalog = pdf.catalog(CATALOG);
    catalog.pages(TREE);
    // Viewers that know this preset print at 100 %; the check lines tell of those that do not.
    let mut preferences = catalog.viewer_preferences();
    preferences.display_doc_title(true).pair(Name(b"PrintScaling"), Name(b"None"));
    preferences.finish();
    catalog.finish();
    pdf.document_info(INFO).title(TextStr(title)).creator(TextStr("variegauge"));
    let first = FIRST + 2 * pages.len() as i32;
    let ids = |index: usize| [0, 1].map(|part| Ref::new(FIRST + 2 * index as i32 + part));
    pdf.pages(TREE).kids((0..pages.len()).map(|index| ids(index)[0])).count(pages.len() as i32);
    for (index, page) in pages.iter().enumerate() {
        let [id, drawing] = ids(index);
        let mut entry = pdf.page(id);
        let [width, height] = [page.width, page.height].map(|side| (side * POINTS) as f32);
        entry.parent(TREE).media_box(Rect::new(0.0, 0.0, width, height)).contents(drawing);
        let mut resources = entry.resources();
        let mut named = resources.x_objects();
        let on_page = || pictures.iter().enumerate().filter(|(_, picture)| picture.page == index);
        for (place, _) in on_page() {
            named.pair(Name(name(place).as_bytes()), Ref::new(first + place as i32));
        }
        named.finish();
        resources.finish();
        entry.finish();
        let content = content(page, on_page());
        pdf.stream(drawing, &packed(&content)?).filter(Filter::FlateDecode);
    }
    for (place, picture) in pictures.iter().enumerate() {
        let mut object = pdf.image_xobject(Ref::new(first + place as i32), &picture.jpeg);
        object.width(picture.size.0 as i32).height(picture.size.1 as i32).bits_per_component(8);
        object.color_space().device_rgb();
        object.filter(Filter::DctDecode);
    }
    out.write_all(&pdf.finish())
}

/// The drawing of a page, in millimetres with y down by its first operator.
fn content<'a>(page: &Page, pictures: impl Iterator<Item = (usize, &'a Picture)>) -> Vec<u8> {
    let mut content = Content::new();
    content.transform([POINTS, 0.0, 0.0, -POINTS, 0.0, page.height * POINTS].map(|part| part as f32));
    for (place, Picture { area, .. }) in pictures {
        // A picture fills the unit square from its lower left corner.
        let matrix = [area.width, 0.0, 0.0, -area.height, area.x, area.y + area.height].map(|part| part as f32);
        content.save_state().transform(matrix).x_object(Name(name(place).as_bytes())).restore_state();
    }
    for shape in page.groups.iter().flat_map(|group| &group.shapes) {
        fill(&mut content, shape);
    }
    content.finish().to_vec()
}

/// What a page calls the picture of this place in their list.
fn name(place: usize) -> String {
    format!("P{place}")
}

fn fill(content: &mut Content, shape: &Shape) {
    // A thousandth of a millimetre, and no more digits than that.
    let round = |value: f64| ((value * 1000.0).round() / 1000.0) as f32;
    content.set_fill_gray(round(shape.grey.clamp(0.0, 1.0)));
    for step in &shape.steps {
        match *step {
            Step::Move([x, y]) => content.move_to(round(x), round(y)),
            Step::Line([x, y]) => content.line_to(round(x), round(y)),
            Step::Curve(points) => {
                let [[a, b], [c, d], [e, f]] = points.map(|point| point.map(round));
                content.cubic_to(a, b, c, d, e, f)
            }
            Step::Close => content.close_path(),
        };
    }
    content.fill_nonzero();
}

fn packed(bytes: &[u8]) -> Result<Vec<u8>> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes)?;
    encoder.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_has_its_title_and_its_pages() {
        let page = Page { width: 210.0, height: 297.0, groups: Vec::new() };
        let mut pdf = Vec::new();
        write(&[page.clone(), page], &[], "(ZB-0001) Grün", &mut pdf).unwrap();
        let text = String::from_utf8_lossy(&pdf);
        assert!(text.starts_with("%PDF-1.7") && text.trim_end().ends_with("%%EOF"));
        assert!(text.contains("/Count 2") && text.contains("/PrintScaling /None") && text.contains("/Title"));
        assert!(text.contains("/MediaBox [0 0 595.2756 841.8898]"));
    }
}
