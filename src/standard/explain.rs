//! A standard line by line: value, value shipped, meaning.

use super::{SHIPPED, Standard, find};
use crate::error::Result;
use std::fmt::Write;
use std::ops::Range;
use toml::de::DeTable;

/// A line of the shipped file.
struct Line<'a> {
    /// The last heading before it, without brackets.
    section: &'a str,
    /// Its key.
    key: &'a str,
    /// Its value; `None` where nothing is shipped.
    value: Option<&'a str>,
    /// The comment above it.
    meaning: String,
}

/// Explains each line of the standard whose text is `text`: its value, the value shipped where it differs, what it means and
/// where the default comes from.
///
/// # Errors
/// The standard is not right.
pub fn explain(text: &str) -> Result<String> {
    Standard::parse(text)?;
    let said = DeTable::parse(text).map(toml::Spanned::into_inner).unwrap_or_default();
    let mut told = String::new();
    let mut section = "";
    for line in lines(SHIPPED) {
        if line.section != section {
            section = line.section;
            let gap = if told.is_empty() { "" } else { "\n" };
            let _ = writeln!(told, "{gap}[{section}]");
        }
        let own = find(&said, &format!("{section}.{}", line.key)).map(|value| written(text, value.span()));
        let value = match (own, line.value) {
            (Some(own), Some(shipped)) if own != shipped => format!("{own}  (shipped: {shipped})"),
            (Some(own), None) => format!("{own}  (shipped: not stated)"),
            (_, Some(shipped)) => shipped.into(),
            (None, None) => "not stated".into(),
        };
        let _ = writeln!(told, "{} = {value}\n    {}", line.key, line.meaning);
    }
    Ok(told)
}

/// The text of a value, on one line.
fn written(text: &str, span: Range<usize>) -> String {
    text[span].split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Lines with keys. A key after `#` without a blank is one that is not stated.
fn lines(text: &'static str) -> Vec<Line<'static>> {
    let (mut section, mut meaning, mut lines) = ("", Vec::new(), Vec::new());
    for line in text.lines() {
        if let Some(comment) = line.strip_prefix("# ") {
            meaning.push(comment);
        } else if let Some((key, value)) = line.split_once(" = ") {
            let stated = key.strip_prefix('#');
            let value = stated.is_none().then_some(value);
            lines.push(Line { section, key: stated.unwrap_or(key), value, meaning: meaning.join(" ") });
            meaning.clear();
        } else {
            section = line.strip_prefix('[').and_then(|line| line.strip_suffix(']')).unwrap_or(section);
            meaning.clear();
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// Paths of all values, as `section.key`.
    fn paths(value: &serde_json::Value, path: &str, found: &mut BTreeSet<String>) {
        match value.as_object() {
            Some(map) => map.iter().for_each(|(key, value)| paths(value, &format!("{path}.{key}"), found)),
            None => {
                found.insert(path.trim_start_matches('.').into());
            }
        }
    }

    #[test]
    fn every_value_has_its_line_with_a_meaning() {
        let mut expected = BTreeSet::new();
        paths(&serde_json::to_value(Standard::default()).unwrap(), "", &mut expected);
        let lines = lines(SHIPPED);
        let told: BTreeSet<String> = lines.iter().map(|line| format!("{}.{}", line.section, line.key)).collect();
        assert_eq!(told, expected);
        let short: Vec<&str> = lines.iter().filter(|line| line.meaning.len() < 10).map(|line| line.key).collect();
        assert!(short.is_empty(), "{short:?}");
    }

    #[test]
    fn values_that_differ_are_told_with_the_shipped_one() {
        let told = explain("green.floor = 0.3\n[card]\npaper_lab = [ 94,\n 0, -6 ]\n").unwrap();
        assert!(told.contains("[green]\nfloor = 0.3  (shipped: 0.20)\n    Green capacity (green"), "{told}");
        assert!(told.contains("paper_lab = [ 94, 0, -6 ]  (shipped: not stated)\n"), "{told}");
        assert!(told.contains("check_line_mm = not stated\n"), "{told}");
        assert!(told.contains("revert_from = 0.90\n"), "{told}");
        assert!(explain("[green]\nfloor = 2").is_err());
    }
}
