//! The table on the terminal: a line a plant, what must be known of it underneath.

use super::text::{described, percent, photo_doubts, remarks, shown, wrapped};
use crate::record::{Estimate, PhotoRecord, PlantRecord, Status};
use std::fmt::Write;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Columns before and after which two blanks stand: plant, three fractions, size.
const COLUMNS: [(&str, usize); 5] = [("plant", 10), ("green", 14), ("pale", 14), ("stress red", 14), ("    size", 8)];

/// Blanks before a remark.
const INDENT: usize = 4;

/// Narrowest and widest column of photo names.
const NAMES: (usize, usize) = (12, 40);

/// The table's shape, fixed before the first row so that rows can be printed as they come.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    /// Columns of the terminal.
    width: usize,
    /// Columns for the photo's name; `None` where the terminal is too narrow and each plant is told in a sentence.
    name: Option<usize>,
    color: bool,
}

/// How a text stands out where colours are wanted; the words say it too.
#[derive(Clone, Copy)]
enum Look {
    Heading,
    Warning,
    Failure,
}

impl Table {
    /// A table for photos of these names on a terminal of `width` columns.
    pub fn new<'a>(width: usize, color: bool, names: impl Iterator<Item = &'a str>) -> Self {
        let rest: usize = COLUMNS.iter().map(|(_, columns)| columns + 2).sum();
        let longest = names.map(|name| shown(name).width()).max().unwrap_or(0);
        let room = width.saturating_sub(rest);
        let name = (room >= NAMES.0).then(|| longest.clamp(NAMES.0, room.min(NAMES.1)));
        Self { width, name, color }
    }

    /// The line of headings, if there is one.
    pub fn heading(&self) -> String {
        let Some(name) = self.name else { return String::new() };
        let mut line = padded("photo", name);
        for (title, columns) in COLUMNS {
            line.push_str("  ");
            line.push_str(&padded(title, columns));
        }
        self.painted(line.trim_end(), Look::Heading) + "\n"
    }

    /// The lines of one photo.
    pub fn lines(&self, photo: &PhotoRecord) -> String {
        let mut lines = String::new();
        match photo.status {
            Status::Graded => {
                for plant in &photo.plants {
                    let first = plant.index == 1;
                    lines += &self.plant(if first { &photo.file } else { "" }, plant);
                    lines += &described(plant).map(|text| self.indented(&text)).unwrap_or_default();
                    lines += &verdict(plant).map(|text| self.indented(&text)).unwrap_or_default();
                    remarks(plant).for_each(|text| lines += &self.remark(text, Look::Warning));
                }
                photo_doubts(photo).for_each(|text| lines += &self.remark(text, Look::Warning));
            }
            Status::Refused => lines += &self.stopped(photo, Look::Warning),
            Status::Failed => lines += &self.stopped(photo, Look::Failure),
        }
        lines
    }

    fn plant(&self, file: &str, plant: &PlantRecord) -> String {
        let size = plant.diameter_mm.map_or_else(|| "-".into(), |mm| format!("{mm:.1} mm"));
        let fractions = [plant.green_fraction, plant.pale_fraction, plant.red_fraction];
        let Some(name) = self.name else {
            let [green, pale, red] = fractions.map(|f| percent(&f));
            let head = if file.is_empty() { String::new() } else { shortened(file, self.width) + "\n" };
            let text = format!("plant {}: green {green}, pale {pale}, stress red {red}, size {size}", plant.title());
            return head + &self.indented(&text);
        };
        let [green, pale, red] = fractions.map(|f| aligned(&f));
        let name = padded(&shortened(file, name), name);
        let plant = padded(&shortened(&plant.title(), COLUMNS[0].1), COLUMNS[0].1);
        format!("{name}  {plant}  {green:<14}  {pale:<14}  {red:<14}  {size:>8}\n")
    }

    fn stopped(&self, photo: &PhotoRecord, look: Look) -> String {
        let name = self.name.unwrap_or(self.width);
        let file = shortened(&photo.file, name);
        let word = self.painted(photo.status.name(), look);
        let head = if self.name.is_some() { padded(&file, name) + "  " } else { file + "\n    " };
        format!("{head}{word}\n{}", self.indented(photo.error.as_deref().unwrap_or_default()))
    }

    fn remark(&self, text: &str, look: Look) -> String {
        self.painted(self.indented(&format!("! {text}")).trim_end_matches('\n'), look) + "\n"
    }

    fn indented(&self, text: &str) -> String {
        let room = self.width.saturating_sub(INDENT).max(NAMES.0);
        let lines = wrapped(&shown(text), room, UnicodeWidthStr::width);
        let blanks = " ".repeat(INDENT);
        lines.iter().flat_map(|line| [blanks.as_str(), line, "\n"]).collect()
    }

    fn painted(&self, text: &str, look: Look) -> String {
        let code = match look {
            Look::Heading => 1,
            Look::Warning => 33,
            Look::Failure => 31,
        };
        if self.color { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.into() }
    }
}

/// Decision, score and outlook of a plant in a line.
fn verdict(plant: &PlantRecord) -> Option<String> {
    let mut text = plant.decision_name.clone()?;
    if let (Some(score), Some(low), Some(high)) = (plant.score, plant.score_low, plant.score_high) {
        let _ = write!(text, "; score {score:.0} ({low:.0}-{high:.0})");
        let missing = plant.score_parts.iter().filter(|(_, part)| part.points.is_none()).map(|(name, _)| *name);
        let missing: Vec<&str> = missing.collect();
        if !missing.is_empty() {
            let _ = write!(text, " without {}", missing.join(", "));
        }
    }
    if let (Some(low), Some(high)) = (plant.outlook.pace.low, plant.outlook.pace.high) {
        let _ = write!(text, "; estimated pace {:.0}-{:.0} % of a green sister's", low * 100.0, high * 100.0);
    }
    Some(text)
}

/// A fraction whose percent sign stands at the fifth column, so that signs stand below each other.
fn aligned(fraction: &Estimate) -> String {
    let text = percent(fraction);
    text.split_once('%').map_or_else(|| format!("{text:>5}"), |(value, rest)| format!("{value:>4}%{rest}"))
}

fn padded(text: &str, columns: usize) -> String {
    format!("{text}{:1$}", "", columns.saturating_sub(text.width()))
}

/// A name cut from its beginning, as its end tells more.
fn shortened(name: &str, columns: usize) -> String {
    let name = shown(name);
    if name.width() <= columns {
        return name;
    }
    let mut kept = 1;
    let start = name.char_indices().rev().take_while(|(_, c)| {
        kept += c.width().unwrap_or(0);
        kept <= columns
    });
    let start = start.last().map_or(name.len(), |(index, _)| index);
    format!("…{}", &name[start..])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::doubt::Doubt;
    use crate::grade::Flag;
    use crate::options::Options;
    use crate::pipeline::drawn;

    fn photos() -> [PhotoRecord; 2] {
        let mut outcome = drawn(&[&["ggggggggcr"], &["oooooooooo"]]);
        outcome.plants[0].measures.diameter_mm =
            Some(crate::base::stats::Interval { value: 61.34, low: 60.0, high: 62.0 });
        outcome.plants[0].label.number = "ZB-0042".parse().ok();
        let text = "too pale: 0 % green capacity, the standard asks 20 %".to_owned();
        outcome.plants[1].grade.flags = vec![Flag { code: "too-pale", sure: None, text, value: 0.0, limit: 0.2 }];
        outcome.calibrated.doubts = vec![Doubt::new("no-scale", "no label card, so no millimetres")];
        let options = Options::default();
        let stop = (Status::Refused, "too dark (median 4 of 255): more light".to_owned());
        [
            PhotoRecord::graded("bench/IMG_1.jpg", "IMG_1", &outcome, &options),
            PhotoRecord::stopped("bench/a\u{1b}[2J.jpg", "a", stop, &options),
        ]
    }

    fn drawn_table(width: usize, color: bool) -> String {
        let photos = photos();
        let table = Table::new(width, color, photos.iter().map(|p| p.file.as_str()));
        table.heading() + &photos.iter().map(|photo| table.lines(photo)).collect::<String>()
    }

    #[test]
    fn a_line_a_plant_with_remarks_underneath() {
        let expected = "\
photo                 plant       green           pale            stress red          size
bench/IMG_1.jpg       1 ZB-0042    80 % (76-84)    10 % (6-14)     10 % (6-14)     61.3 mm
                      2             0 % (0-4)     100 % (96-100)    0 % (0-4)            -
    all-pale, aureo (99 %)
    ! too pale: 0 % green capacity, the standard asks 20 %
    ! no label card, so no millimetres
bench/a\\u{1b}[2J.jpg  refused
    too dark (median 4 of 255): more light
";
        assert_eq!(drawn_table(100, false), expected);
    }

    #[test]
    fn every_line_fits_the_terminal() {
        for width in [30, 40, 60, 80, 90, 200] {
            let text = drawn_table(width, false);
            assert!(text.lines().all(|line| line.width() <= width), "{width}:\n{text}");
            assert!(text.contains("bench/IMG_1.jpg") || text.contains('…'), "{text}");
        }
    }

    #[test]
    fn escapes_only_where_colour_is_wanted_and_none_from_names() {
        assert!(!drawn_table(100, false).contains('\u{1b}'));
        let colored = drawn_table(100, true);
        assert!(colored.contains("\u{1b}[33mrefused\u{1b}[0m") && !colored.contains("\u{1b}[2J"));
    }

    #[test]
    fn long_names_keep_their_end() {
        assert_eq!(shortened("shelf/IMG_0012.jpg", 9), "…0012.jpg");
        assert_eq!(shortened("植物植物.jpg", 9), "…植物.jpg");
    }
}
