//! Words and numbers as people read them.

use crate::base::doubt::Doubt;
use crate::record::{Estimate, PhotoRecord, PlantRecord};
use std::fmt::Write;

/// `text` without what a terminal would obey: control characters and the signs that turn the direction of writing
/// (Unicode's `Bidi_Control` property) are shown as escapes.
pub fn shown(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        let turns =
            matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        let breaks = matches!(c, '\u{2028}' | '\u{2029}');
        if c.is_control() || turns || breaks {
            safe.extend(c.escape_default());
        } else {
            safe.push(c);
        }
    }
    safe
}

/// `1 photo`, `2 photos`.
pub fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// A fraction with its 95 % interval, `62 % (58-66)`; `-` if unknown.
pub fn percent(estimate: &Estimate) -> String {
    let Some(value) = estimate.value else { return "-".into() };
    let mut text = share(value);
    if let (Some(low), Some(high)) = (estimate.low, estimate.high) {
        let _ = write!(text, " ({:.0}-{:.0})", low * 100.0, high * 100.0);
    }
    text
}

/// A length in mm with its 95 % interval, `1.21 mm (1.02-1.44)`; `-` if unknown.
pub fn length(estimate: &Estimate) -> String {
    let Some(value) = estimate.value else { return "-".into() };
    let range = estimate.low.zip(estimate.high).map(|(low, high)| format!(" ({low:.2}-{high:.2})"));
    format!("{value:.2} mm{}", range.unwrap_or_default())
}

/// Pattern and bands in a line, as far as they are told: `striate, albo (82 %); wide bands: 1.22 mm (0.97-1.52), pitch 3.03 mm
/// (2.47-3.73)`.
pub fn described(plant: &PlantRecord) -> Option<String> {
    let parts: Vec<String> = pattern(plant).into_iter().chain(bands(plant)).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

fn pattern(plant: &PlantRecord) -> Option<String> {
    let mut text = plant.pattern.name.clone()?;
    if let Some(tone) = plant.pattern.tone.as_deref().filter(|tone| *tone != "none") {
        let _ = write!(text, ", {tone}");
    }
    if let Some(confidence) = plant.pattern.confidence {
        let _ = write!(text, " ({})", share(confidence));
    }
    Some(text)
}

fn bands(plant: &PlantRecord) -> Option<String> {
    let bands = &plant.bands;
    let told = |estimate: &Estimate| estimate.value.map(|_| length(estimate));
    let relative = || bands.width_rel.map(|rel| format!("{rel:.2} of their pitch"));
    let width = told(&bands.width_mm.mean).or_else(relative);
    let pitch = told(&bands.pitch_mm).map(|pitch| format!("pitch {pitch}"));
    let lengths: Vec<String> = width.into_iter().chain(pitch).collect();
    let class = bands.class.as_ref().map_or_else(String::new, |class| format!("{class} "));
    (!lengths.is_empty()).then(|| format!("{class}bands: {}", lengths.join(", ")))
}

/// A share without its interval, `62 %`.
pub fn share(value: f64) -> String {
    format!("{:.0} %", value * 100.0)
}

/// What a reader must know beside the plant's numbers: flags first, then its doubts.
pub fn remarks(plant: &PlantRecord) -> impl Iterator<Item = &str> {
    plant.flags.iter().map(|flag| flag.text.as_str()).chain(plant.doubts.iter().map(|doubt| doubt.text.as_str()))
}

/// Doubts of the whole photo.
pub fn photo_doubts(photo: &PhotoRecord) -> impl Iterator<Item = &str> {
    photo.doubts.iter().map(|Doubt { text, .. }| text.as_str())
}

/// Breaks `text` at spaces into lines whose `width(line)` is at most `limit`; a longer word stands alone.
pub fn wrapped(text: &str, limit: usize, width: impl Fn(&str) -> usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width(line) + width(" ") + width(word) <= limit => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.into()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_terminal_gets_no_command_from_a_name() {
        assert_eq!(shown("esc\u{1b}[2J\r\n.jpg"), "esc\\u{1b}[2J\\r\\n.jpg");
        assert_eq!(shown("rtl\u{202e}gpj.exe"), "rtl\\u{202e}gpj.exe");
        assert_eq!(shown("grün 植物 🌱"), "grün 植物 🌱");
    }

    #[test]
    fn fractions_read_as_percent_with_their_interval() {
        let estimate = Estimate { value: Some(0.6234), low: Some(0.58), high: Some(0.6649) };
        assert_eq!(percent(&estimate), "62 % (58-66)");
        assert_eq!(percent(&Estimate::default()), "-");
    }

    #[test]
    fn pattern_and_bands_are_told_as_far_as_they_are_known() {
        let mut plant = PlantRecord::default();
        assert_eq!(described(&plant), None);
        plant.pattern.name = Some("striate".into());
        plant.pattern.tone = Some("albo".into());
        plant.pattern.confidence = Some(0.816);
        plant.bands.width_rel = Some(0.4);
        plant.bands.class = Some("wide".into());
        assert_eq!(described(&plant).unwrap(), "striate, albo (82 %); wide bands: 0.40 of their pitch");
        plant.pattern.tone = Some("none".into());
        plant.bands.width_mm.mean = Estimate { value: Some(1.216), low: Some(0.97), high: Some(1.52) };
        plant.bands.pitch_mm = Estimate { value: Some(3.03), low: None, high: None };
        assert_eq!(described(&plant).unwrap(), "striate (82 %); wide bands: 1.22 mm (0.97-1.52), pitch 3.03 mm");
    }

    #[test]
    fn lines_break_at_spaces() {
        assert_eq!(wrapped("one two  three4567 x", 7, str::len), ["one two", "three4567", "x"]);
        assert!(wrapped("", 5, str::len).is_empty());
    }
}
