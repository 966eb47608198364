//! Plants from a table, as `variegauge book export` and spreadsheets write it.

use super::plants::{Gone, Plant};
use crate::base::table::{separator, text};
use csv::StringRecord;
use std::collections::HashMap;
use std::fmt::Display;
use std::str::FromStr;

/// Plants of a table with a column `plant` and any of `name`, `mother`, `since`, `notes`, `gone_on`, `gone_how`,
/// with their lines.
///
/// # Errors
/// It is no such table: the line and what would be right.
pub fn plants(bytes: &[u8]) -> Result<Vec<(u64, Plant)>, String> {
    let text = text(bytes)?;
    let mut table = csv::ReaderBuilder::new().delimiter(separator(text)).from_reader(text.as_bytes());
    let headings: Vec<String> = table
        .headers()
        .map_err(|error| error.to_string())?
        .iter()
        .map(|heading| heading.trim().to_lowercase())
        .collect();
    if !headings.iter().any(|heading| heading == "plant") {
        return Err("the first line names no column `plant`".into());
    }
    let mut plants = Vec::new();
    let mut lines = HashMap::new();
    for row in table.records() {
        let row = row.map_err(|error| error.to_string())?;
        let line = row.position().map_or(0, csv::Position::line);
        let plant = plant(&headings, &row).map_err(|error| format!("line {line}: {error}"))?;
        if let Some(first) = lines.insert(plant.number.as_str().to_ascii_uppercase(), line) {
            return Err(format!("line {line}: {} is in line {first} already", plant.number));
        }
        plants.push((line, plant));
    }
    Ok(plants)
}

fn plant(headings: &[String], row: &StringRecord) -> Result<Plant, String> {
    let cell = |name: &str| {
        let place = headings.iter().position(|heading| heading == name);
        let cell = place.and_then(|place| row.get(place)).unwrap_or_default().trim();
        // What keeps spreadsheets from taking a text for a formula.
        cell.strip_prefix('\'').unwrap_or(cell)
    };
    let how = Gone::ALL.into_iter().find(|how| how.name() == cell("gone_how"));
    let gone = match (read(cell("gone_on"), "gone_on")?, how) {
        (Some(day), Some(how)) => Some((day, how)),
        (None, None) if cell("gone_how").is_empty() => None,
        _ => return Err("`gone_on` needs a day and `gone_how` sold, died or given; or neither".into()),
    };
    Ok(Plant {
        number: read(cell("plant"), "plant")?.ok_or("no plant number")?,
        name: cell("name").into(),
        mother: read(cell("mother"), "mother")?,
        since: read(cell("since"), "since")?,
        notes: cell("notes").into(),
        gone,
    })
}

/// A cell as what it stands for; empty is unknown.
fn read<T: FromStr<Err: Display>>(cell: &str, column: &str) -> Result<Option<T>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    cell.parse().map(Some).map_err(|error| format!("`{column}`, `{cell}`: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_are_read_whatever_their_order() {
        let text =
            "since;Plant;mother;gone_on;gone_how;name\n2025-04-12;ZB-1;;;;'=Zebra\n;ZB-2;ZB-1;2026-01-02;sold;\n";
        let plants = plants(text.as_bytes()).unwrap();
        let plants: Vec<Plant> = plants.into_iter().map(|(_, plant)| plant).collect();
        assert_eq!((plants[0].name.as_str(), plants[0].since.unwrap().to_string().as_str()), ("=Zebra", "2025-04-12"));
        assert_eq!(plants[1].mother.as_ref().unwrap().as_str(), "ZB-1");
        assert_eq!(plants[1].gone.unwrap().1, Gone::Sold);
    }

    #[test]
    fn a_bad_cell_is_named_with_its_line() {
        for (text, word) in [
            ("number\n1\n", "`plant`"),
            ("plant,since\nA,1.2.2026\n", "line 2: `since`, `1.2.2026`: a date"),
            ("plant,gone_on\nA,2026-01-01\n", "line 2: `gone_on`"),
            ("plant,gone_on,gone_how\nA,2026-01-01,eaten\n", "line 2: `gone_on`"),
            ("plant,name\n,x\n", "line 2: no plant number"),
            ("plant\nA\nB\na\n", "line 4: a is in line 2 already"),
        ] {
            let error = plants(text.as_bytes()).unwrap_err();
            assert!(error.contains(word), "{text:?}: {error}");
        }
    }
}
