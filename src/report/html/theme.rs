//! Colours of the pages, for light and dark, and their style sheet. Nothing is told by colour alone.

use crate::report::palette::Rgb;
use std::fmt::Write;

/// All colours of a page.
struct Theme {
    /// Behind all.
    ground: Rgb,
    /// Behind a plant, a plot, a heading of the table.
    panel: Rgb,
    /// Text.
    text: Rgb,
    /// Less important text.
    dim: Rgb,
    /// Lines between things: they tell nothing.
    line: Rgb,
    /// Links, buttons, the frame of what has the focus.
    link: Rgb,
    /// Text of flags.
    flag: Rgb,
    /// Behind flags.
    flag_ground: Rgb,
    /// Bars of plots; Okabe and Ito's bluish green, darker or lighter for contrast.
    bar: Rgb,
}

const LIGHT: Theme = Theme {
    ground: [255, 255, 255],
    panel: [244, 246, 242],
    text: [27, 31, 26],
    dim: [77, 85, 75],
    line: [203, 209, 199],
    link: [0, 84, 132],
    flag: [110, 45, 0],
    flag_ground: [255, 243, 214],
    bar: [0, 122, 89],
};

const DARK: Theme = Theme {
    ground: [18, 21, 17],
    panel: [31, 36, 30],
    text: [236, 238, 233],
    dim: [179, 187, 176],
    line: [70, 80, 68],
    link: [126, 200, 242],
    flag: [255, 211, 140],
    flag_ground: [58, 44, 16],
    bar: [64, 190, 149],
};

/// The style sheet. Paper is light.
pub(in crate::report) fn css() -> String {
    let [light, dark] = [LIGHT, DARK].map(|theme| theme.variables());
    let print = format!("@media print{{:root{{{light}}}}}");
    let dark = format!("@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}");
    format!(":root{{{light}}}\n{dark}\n{print}\n{}", include_str!("style.css"))
}

impl Theme {
    fn variables(&self) -> String {
        let Self { ground, panel, text, dim, line, link, flag, flag_ground, bar } = self;
        let colors = [
            ("ground", ground),
            ("panel", panel),
            ("text", text),
            ("dim", dim),
            ("line", line),
            ("link", link),
            ("flag", flag),
            ("flag-ground", flag_ground),
            ("bar", bar),
        ];
        colors.iter().fold(String::new(), |mut css, (name, [r, g, b])| {
            let _ = write!(css, "--{name}:#{r:02x}{g:02x}{b:02x};");
            css
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance (WCAG 2.2, definitions).
    fn luminance(color: Rgb) -> f64 {
        let linear = |code: u8| {
            let part = f64::from(code) / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        };
        let [r, g, b] = color.map(linear);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    /// Contrast ratio (WCAG 2.2, definitions).
    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn the_formula_gives_known_ratios() {
        assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
        // #767676 is the lightest grey that WCAG lets stand as text on white.
        assert!(contrast([0x76; 3], [255; 3]) >= 4.5 && contrast([0x77; 3], [255; 3]) < 4.5);
    }

    /// Success criteria 1.4.3 (text: 4.5 to 1) and 1.4.11 (parts of graphics, frame of the focus: 3 to 1).
    #[test]
    fn contrast_is_that_of_wcag_2_2_aa() {
        for (name, theme) in [("light", LIGHT), ("dark", DARK)] {
            let Theme { ground, panel, text, dim, link, flag, flag_ground, bar, .. } = theme;
            let mut least = [f64::INFINITY; 2];
            for behind in [ground, panel] {
                let words = [text, dim, link].map(|color| contrast(color, behind));
                least[0] = words.into_iter().fold(least[0], f64::min);
                least[1] = least[1].min(contrast(bar, behind));
            }
            least[0] = least[0].min(contrast(flag, flag_ground)).min(contrast(text, flag_ground));
            assert!(least[0] >= 4.5 && least[1] >= 3.0, "{name}: {least:?}");
        }
    }

    #[test]
    fn the_style_loads_nothing_and_uses_only_colours_of_the_theme() {
        let css = include_str!("style.css");
        assert!(!css.contains("url(") && !css.contains("@import") && !css.contains('#'));
        for name in css.split("var(--").skip(1).map(|rest| rest.split(')').next().unwrap()) {
            assert!(LIGHT.variables().contains(&format!("--{name}:")), "{name}");
        }
    }
}
