//! The file of plants: a table with a column `plant` and maybe one `name`, as spreadsheets save it.

use csv::{Position, ReaderBuilder, StringRecord};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use variegauge::base::table::{separator, text};
use variegauge::card::number::PlantNumber;
use variegauge::print::card::Label;

/// Largest file that is read, bytes: far more than 2000 rows need.
const LARGEST: u64 = 4 << 20;

/// Reads the plants; an error names the file, the line and the reason.
pub(super) fn read(path: &Path) -> Result<Vec<Label>, String> {
    let named = |error: String| format!("--plants {}: {error}", path.display());
    let bytes = bytes(path).map_err(|error| named(error.to_string()))?;
    labels(&bytes).map_err(named)
}

fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST + 1).read_to_end(&mut bytes)?;
    let large = || io::Error::other(format!("larger than {} MB", LARGEST >> 20));
    if bytes.len() as u64 > LARGEST { Err(large()) } else { Ok(bytes) }
}

fn labels(bytes: &[u8]) -> Result<Vec<Label>, String> {
    let text = text(bytes)?;
    let mut reader = ReaderBuilder::new().delimiter(separator(text)).flexible(true).from_reader(text.as_bytes());
    let headings = reader.headers().map_err(|error| error.to_string())?.clone();
    let column = |wanted: &str| headings.iter().position(|heading| heading.trim().eq_ignore_ascii_case(wanted));
    let plant =
        column("plant").ok_or("line 1: no column `plant`; the first line names the columns, `plant` and `name`")?;
    let columns = (headings.len(), plant, column("name"));
    let mut labels = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|error| error.to_string())?;
        if row.iter().any(|cell| !cell.trim().is_empty()) {
            let line = row.position().map_or(0, |position| line(text, position));
            labels.push(label(&row, columns).map_err(|error| format!("line {line}: {error}"))?);
        }
    }
    Ok(labels)
}

/// The line that a row begins in. The reader's place is before the line ends and empty lines that it skips.
fn line(text: &str, place: &Position) -> u64 {
    let skipped = text.as_bytes()[place.byte() as usize..].iter().take_while(|byte| b"\r\n".contains(byte));
    place.line() + skipped.filter(|&&byte| byte == b'\n').count() as u64
}

fn label(row: &StringRecord, (width, plant, name): (usize, usize, Option<usize>)) -> Result<Label, String> {
    if row.len() > width {
        return Err(format!(
            "{} cells, but the first line names {width}; put a name with a separator in quotes",
            row.len()
        ));
    }
    let cell = |column: usize| row.get(column).unwrap_or_default().trim();
    if row.iter().any(|cell| cell.trim().contains(['\n', '\r'])) {
        return Err("a line break within a cell; is a quote mark not closed?".into());
    }
    let number = cell(plant);
    let number: PlantNumber = match number {
        "" => return Err("no plant number".into()),
        text => text.parse().map_err(|error| format!("`{text}`: {error}"))?,
    };
    let name = name.map(cell).filter(|name| !name.is_empty()).map(String::from);
    Ok(Label { number, name })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<(String, String)>, String> {
        let told = |label: Label| (label.number.to_string(), label.name.unwrap_or_default());
        labels(text.as_bytes()).map(|labels| labels.into_iter().map(told).collect())
    }

    fn pair(number: &str, name: &str) -> (String, String) {
        (number.into(), name.into())
    }

    #[test]
    fn tables_of_any_spreadsheet_are_read() {
        let wanted = [pair("ZB-1", "Grün, schmal"), pair("ZB-2", "")];
        for text in [
            "plant,name\nZB-1,\"Grün, schmal\"\nZB-2,\n",
            "\u{feff}plant;name\r\nZB-1;Grün, schmal\r\nZB-2;\r\n",
            "Name\tBed\tPlant \nGrün, schmal\t3\tZB-1\n\t\t ZB-2 \n\t\t\n",
            "plant;name\nZB-1;Grün, schmal\n;\nZB-2\n\n",
        ] {
            assert_eq!(read(text).unwrap(), wanted, "{text:?}");
        }
        assert_eq!(read("plant\nA\nB\n").unwrap(), [pair("A", ""), pair("B", "")]);
        assert!(read("plant,name\n").unwrap().is_empty());
    }

    #[test]
    fn a_bad_row_is_named_with_its_line() {
        for (text, line, word) in [
            ("number,name\n1,x\n", "line 1", "`plant`"),
            ("", "line 1", "`plant`"),
            ("plant,name\nA,x\nB C,y\n", "line 3", "`B C`: a plant number is"),
            ("plant,name\nA,x\n\n,y\n", "line 4", "no plant number"),
            ("\u{feff}plant;name\r\nA;x\r\n\r\n;y\r\n", "line 4", "no plant number"),
            ("plant,name\nA,x, y\n", "line 2", "3 cells"),
        ] {
            let error = read(text).unwrap_err();
            assert!(error.starts_with(line) && error.contains(word), "{text:?}: {error}");
        }
        let error = labels(b"plant,name\nA,Gr\xfcn\n").unwrap_err();
        assert!(error.starts_with("line 2") && error.contains("CSV UTF-8"), "{error}");
    }

    #[test]
    fn the_error_names_the_file() {
        let error = super::read(Path::new("none.csv")).unwrap_err();
        assert!(error.starts_with("--plants none.csv: "), "{error}");
    }
}
