//! Values of options: points, boxes, colours and lengths as they are written on the command line, and files of them.

use super::standard;
use std::fs;
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;
use variegauge::base::raster::Rect;
use variegauge::options::{Hint, Scale, Stroke, White};
use variegauge::standard::Standard;

pub(super) fn point(text: &str) -> Result<Hint, String> {
    let [x, y] = numbers(text)?;
    Ok(Hint::At { x, y })
}

pub(super) fn boxed(text: &str) -> Result<Hint, String> {
    rectangle(text).map(Hint::Box)
}

fn rectangle(text: &str) -> Result<Rect, String> {
    let [x, y, width, height] = numbers(text)?;
    if width == 0 || height == 0 {
        return Err("width and height must be above 0".into());
    }
    Ok(Rect { x, y, width, height })
}

pub(super) fn white(text: &str) -> Result<White, String> {
    if text.split(',').count() != 3 {
        return rectangle(text).map(White::Spot).map_err(|_| "write R,G,B (0-255) or X,Y,W,H (pixels)".into());
    }
    let codes: [f64; 3] = numbers(text)?;
    if codes.iter().all(|code| (1.0..=255.0).contains(code)) {
        Ok(White::Codes(codes))
    } else {
        Err("R, G and B must be from 1 to 255".into())
    }
}

pub(super) fn scale(text: &str) -> Result<f64, String> {
    let [scale]: [f64; 1] = numbers(text)?;
    if (0.1..=1000.0).contains(&scale) { Ok(scale) } else { Err("must be 0.1 to 1000".into()) }
}

pub(super) fn known(text: &str) -> Result<Scale, String> {
    let wrong = || "write X1,Y1,X2,Y2=MM, e.g. 410,880,1630,905=105".to_owned();
    let (points, mm) = text.split_once('=').ok_or_else(wrong)?;
    let [x1, y1, x2, y2]: [f64; 4] = numbers(points).map_err(|_| wrong())?;
    let mm: f64 = mm.trim().parse().map_err(|_| wrong())?;
    let length = (x1 - x2).hypot(y1 - y2);
    if !(0.1..=10_000.0).contains(&mm) {
        return Err("the length must be 0.1 to 10000 mm".into());
    }
    if !(10.0..=1e6).contains(&length) {
        return Err("the two points must be 10 to 1000000 pixels apart".into());
    }
    Ok(Scale::Known { from: [x1, y1], to: [x2, y2], mm })
}

pub(super) fn below(text: &str) -> Result<f64, String> {
    let [mm]: [f64; 1] = numbers(text)?;
    if (-500.0..=500.0).contains(&mm) { Ok(mm) } else { Err("must be -500 to 500 mm".into()) }
}

/// A size in bytes, as `2G` or `500M`.
pub(super) fn memory(text: &str) -> Result<u64, String> {
    let units = [('M', 1e6), ('G', 1e9)];
    let unit =
        units.into_iter().find_map(|(letter, unit)| Some((text.to_uppercase().strip_suffix(letter)?.to_owned(), unit)));
    let bytes = unit.and_then(|(number, unit)| Some(number.parse::<f64>().ok()? * unit));
    bytes
        .filter(|bytes| (1e6..=1e15).contains(bytes))
        .map(|bytes| bytes as u64)
        .ok_or_else(|| "write a size from 1M with its unit, e.g. 2G or 500M".into())
}

/// A time between looks.
pub(super) fn seconds(text: &str) -> Result<Duration, String> {
    let [seconds]: [f64; 1] = numbers(text)?;
    if (0.1..=3600.0).contains(&seconds) {
        Ok(Duration::from_secs_f64(seconds))
    } else {
        Err("must be 0.1 to 3600".into())
    }
}

/// `N` numbers with commas between.
fn numbers<T: FromStr, const N: usize>(text: &str) -> Result<[T; N], String> {
    let numbers: Option<Vec<T>> = text.split(',').map(|part| part.trim().parse().ok()).collect();
    let wrong = || match N {
        1 => "write a number, without a unit".into(),
        _ => format!("write {N} numbers with commas between, without units"),
    };
    numbers.and_then(|numbers| numbers.try_into().ok()).ok_or_else(wrong)
}

pub(super) fn read_standard(path: &Path) -> Result<Standard, String> {
    standard::text(path)
        .and_then(|text| Standard::parse(&text).map_err(|error| error.to_string()))
        .map_err(|error| format!("--standard {}: {error}", path.display()))
}

/// Reads painted points: a line each, `X,Y,plant` or `X,Y,other`; empty lines and lines that begin with `#` are skipped.
pub(super) fn strokes(path: &Path) -> Result<Hint, String> {
    let text = fs::read_to_string(path).map_err(|error| format!("--stroke {}: {error}", path.display()))?;
    let lines = (1..).zip(text.lines()).filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#'));
    let points: Result<Vec<Stroke>, String> = lines
        .map(|(number, line)| {
            stroke(line)
                .ok_or_else(|| format!("--stroke {}: line {number} is not `X,Y,plant` or `X,Y,other`", path.display()))
        })
        .collect();
    match points? {
        points if points.iter().any(|point| point.plant) => Ok(Hint::Strokes(points)),
        _ => Err(format!("--stroke {}: no point on the plant", path.display())),
    }
}

fn stroke(line: &str) -> Option<Stroke> {
    let (place, kind) = line.rsplit_once(',')?;
    let [x, y] = numbers(place).ok()?;
    let plant = match kind.trim() {
        "plant" => true,
        "other" => false,
        _ => return None,
    };
    Some(Stroke { x, y, plant })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn painted_points_are_read_line_by_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("points");
        fs::write(&path, "# mine\n\n3,4,plant\n 5, 6, other\n").unwrap();
        let [plant, other] = [Stroke { x: 3, y: 4, plant: true }, Stroke { x: 5, y: 6, plant: false }];
        assert_eq!(strokes(&path), Ok(Hint::Strokes(vec![plant, other])));
        fs::write(&path, "3,4,leaf").unwrap();
        assert!(strokes(&path).unwrap_err().contains("line 1"));
        fs::write(&path, "3,4,other").unwrap();
        assert!(strokes(&path).unwrap_err().contains("no point on the plant"));
    }
}
