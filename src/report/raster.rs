//! A drawing of ours as PNG, for places that show no SVG.

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};
use std::io::{Error, Result, Write};

/// Pixels a unit of the drawing.
const SCALE: f32 = 2.0;

/// Writes an SVG that this program drew as PNG, on white, with the program's own letters.
pub fn png(svg: &[u8], out: &mut dyn Write) -> Result<()> {
    let mut options = Options { font_family: "DejaVu Sans".into(), ..Options::default() };
    let fonts = options.fontdb_mut();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    let tree = Tree::from_data(svg, &options).map_err(Error::other)?;
    let [width, height] = [tree.size().width(), tree.size().height()].map(|side| (side * SCALE).ceil() as u32);
    let mut map = Pixmap::new(width, height).ok_or_else(|| Error::other("the drawing has no size"))?;
    map.fill(Color::WHITE);
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut map.as_mut());
    out.write_all(&map.encode_png().map_err(Error::other)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_and_letters_are_drawn_twice_as_large() {
        let svg = br##"<svg xmlns="http://www.w3.org/2000/svg" width="60" height="20" font-family="sans-serif" font-size="12">
            <rect x="0" y="0" width="10" height="20" fill="#0072b2"/><text x="20" y="15" fill="#000000">red</text></svg>"##;
        let mut file = Vec::new();
        png(svg, &mut file).unwrap();
        let picture = image::load_from_memory(&file).unwrap().to_rgb8();
        assert_eq!(picture.dimensions(), (120, 40));
        assert_eq!((picture.get_pixel(10, 20).0, picture.get_pixel(30, 20).0), ([0, 0x72, 0xb2], [255; 3]));
        let ink =
            (40..120).flat_map(|x| (0..40).map(move |y| (x, y))).filter(|&(x, y)| picture.get_pixel(x, y).0[0] < 100);
        assert!(ink.count() > 60, "the word is written");
        assert!(png(b"<svg", &mut file).is_err());
    }
}
