//! Where everything stands on a card: millimetres from its top left corner, x right, y down.

/// A rectangle on a card, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// A neutral patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Where it is.
    pub area: Area,
    /// What it is meant to reflect, 0..1. An office printer keeps it neutral, but not to this value.
    pub reflectance: f64,
}

/// The millimetre rule: a base line with a tick a millimetre, ticks and numbers below it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// Left end of the base line, its zero.
    pub x: f64,
    /// Height of the base line.
    pub y: f64,
    /// Length; a whole number of millimetres.
    pub length: f64,
}

/// A line of text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextLine {
    /// Left edge.
    pub x: f64,
    /// Top of the capitals.
    pub y: f64,
    /// Height of the letters from the top of the capitals to the base line; smaller if the text is too long.
    pub height: f64,
    /// Room to the right of `x`.
    pub width: f64,
}

/// All parts of a card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// What the QR code's text begins with: tells the layouts apart.
    pub prefix: &'static str,
    /// Width of the card.
    pub width: f64,
    /// Height of the card.
    pub height: f64,
    /// The QR code without its quiet zone. Codes of more modules keep this size.
    pub code: Area,
    /// The plant number.
    pub number: TextLine,
    /// The plant's name.
    pub name: TextLine,
    /// Neutral patches, from light to dark.
    pub patches: &'static [Patch],
    /// The rule.
    pub rule: Option<Rule>,
}

/// Reflectance of unprinted paper (common practice, no source).
pub const PAPER: f64 = 0.84;

/// Reflectance of the ink (common practice, no source).
pub const INK: f64 = 0.035;

/// Quiet zone around a QR code, modules (ISO/IEC 18004).
pub const QUIET_MODULES: usize = 4;

const fn patch(x: f64, reflectance: f64) -> Patch {
    Patch { area: Area { x, y: 20.0, width: 7.4, height: 10.0 }, reflectance }
}

/// The label card, ID-1 size (ISO/IEC 7810: 85.60 x 53.98 mm; drawn 54 high).
pub const CARD: Layout = Layout {
    prefix: "VG1:",
    width: 85.6,
    height: 54.0,
    code: Area { x: 5.0, y: 5.0, width: 25.2, height: 25.2 },
    number: TextLine { x: 36.0, y: 5.0, height: 7.0, width: 46.4 },
    name: TextLine { x: 36.0, y: 14.0, height: 3.0, width: 46.4 },
    patches: &[
        patch(36.0, 0.90),
        patch(43.8, 0.59),
        patch(51.6, 0.36),
        patch(59.4, 0.20),
        patch(67.2, 0.09),
        patch(75.0, 0.03),
    ],
    rule: Some(Rule { x: 17.0, y: 40.0, length: 50.0 }),
};

/// The pot label, for label stock of 50 x 25 mm: number and scale, no patches. A module of version 1 is 0.75 mm, 6 dots
/// of a 203 dpi label printer, and starts on a whole dot.
pub const POT_LABEL: Layout = Layout {
    prefix: "VG2:",
    width: 50.0,
    height: 25.0,
    code: Area { x: 4.0, y: 4.625, width: 15.75, height: 15.75 },
    number: TextLine { x: 23.5, y: 6.0, height: 5.0, width: 24.5 },
    name: TextLine { x: 23.5, y: 14.0, height: 2.5, width: 24.5 },
    patches: &[],
    rule: None,
};

/// The layouts there are.
pub const LAYOUTS: [&Layout; 2] = [&CARD, &POT_LABEL];

impl Area {
    /// Corners: top left, top right, bottom right, bottom left.
    pub fn corners(self) -> [[f64; 2]; 4] {
        let (right, bottom) = (self.x + self.width, self.y + self.height);
        [[self.x, self.y], [right, self.y], [right, bottom], [self.x, bottom]]
    }

    /// Its middle.
    pub fn centre(self) -> [f64; 2] {
        [self.x + self.width / 2.0, self.y + self.height / 2.0]
    }
}

impl Layout {
    /// The whole card.
    pub fn area(&self) -> Area {
        Area { x: 0.0, y: 0.0, width: self.width, height: self.height }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn inside(inner: Area, outer: Area) -> bool {
        inner.x >= outer.x
            && inner.y >= outer.y
            && inner.x + inner.width <= outer.x + outer.width + 1e-9
            && inner.y + inner.height <= outer.y + outer.height + 1e-9
    }

    fn apart(a: Area, b: Area) -> bool {
        a.x + a.width <= b.x || b.x + b.width <= a.x || a.y + a.height <= b.y || b.y + b.height <= a.y
    }

    /// ID-1 of ISO/IEC 7810 is 85.60 x 53.98 mm.
    #[test]
    fn the_card_has_the_size_of_a_bank_card() {
        assert!((CARD.width - 85.60).abs() < 1e-9 && (CARD.height - 53.98).abs() < 0.1);
    }

    /// The quiet zone of four modules is free of print and on the card, for version 1, whose modules are the widest.
    #[test]
    fn nothing_is_printed_in_the_quiet_zone() {
        for layout in LAYOUTS {
            let quiet = QUIET_MODULES as f64 * layout.code.width / 21.0;
            let code = layout.code;
            let zone = Area {
                x: code.x - quiet,
                y: code.y - quiet,
                width: code.width + 2.0 * quiet,
                height: code.height + 2.0 * quiet,
            };
            assert!(inside(zone, layout.area()));
            let text = |line: TextLine| Area { x: line.x, y: line.y, width: line.width, height: line.height };
            let rule = layout.rule.map(|rule| Area { x: rule.x, y: rule.y, width: rule.length, height: 7.0 });
            let parts = layout.patches.iter().map(|patch| patch.area).chain(rule);
            for part in parts.chain([text(layout.number), text(layout.name)]) {
                assert!(inside(part, layout.area()) && apart(part, zone), "{part:?}");
            }
        }
    }
}
