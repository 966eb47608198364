//! `variegauge mothers` and `variegauge tree`.

use super::book::print;
use super::place::{Place, today};
use super::values::read_standard;
use super::{Exit, say};
use std::path::PathBuf;
use variegauge::base::date::Date;
use variegauge::card::number::PlantNumber;
use variegauge::error::{Error, Result};
use variegauge::mothers;
use variegauge::report::{family, file};
use variegauge::standard::Standard;

pub(super) const ABOUT: &str = "Tells of each mother in the stock book how many of her offsets are balanced, too pale or gone back to \
    green, with 95 % ranges, how many she throws a year, and how many balanced ones to expect in the next. The best come first, by the \
    lower end of the range, so that 1 of 1 does not stand above 8 of 10. Few offsets say little: read the range.";

pub(super) const MOTHERS: &str = "\
Examples:
  variegauge mothers                                     all of the usual book, the best first
  variegauge mothers --csv mothers.csv                   a table for spreadsheets too
  variegauge mothers --until 2025-12-31                  as it stood then";

pub(super) const TREE: &str = "\
Examples:
  variegauge tree ZB-0042 -o ZB-0042.svg                 its offsets, and theirs";

/// `variegauge mothers`.
#[derive(Debug, clap::Args)]
pub(super) struct Mothers {
    /// A table for spreadsheets too
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Limits of balanced, too pale and revert [default: the shipped standard]
    #[arg(long, value_name = "FILE")]
    standard: Option<PathBuf>,

    /// Count until this day [default: today]
    #[arg(long, value_name = "DAY")]
    until: Option<Date>,

    /// The stock book [default: the user's own]
    #[arg(long, value_name = "FILE", default_value = "default", hide_default_value = true)]
    book: Place,
}

/// `variegauge tree`.
#[derive(Debug, clap::Args)]
pub(super) struct Tree {
    /// The plant whose offsets, and theirs, are drawn
    number: PlantNumber,

    /// The picture, SVG
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,

    /// Limits of balanced, too pale and revert [default: the shipped standard]
    #[arg(long, value_name = "FILE")]
    standard: Option<PathBuf>,

    /// The stock book [default: the user's own]
    #[arg(long, value_name = "FILE", default_value = "default", hide_default_value = true)]
    book: Place,
}

/// The standard to judge by.
pub(super) fn standard(path: Option<&PathBuf>) -> Result<Standard> {
    Ok(path.map(|path| read_standard(path).map_err(Error::Entry)).transpose()?.unwrap_or_default())
}

/// Runs `mothers`.
pub(super) fn mothers(args: &Mothers) -> Exit {
    let told = || {
        let standard = standard(args.standard.as_ref())?;
        let plants = args.book.open()?.list(true)?;
        let mothers = mothers::mothers(&plants, args.until.unwrap_or_else(today), &standard);
        if let Some(path) = &args.csv {
            file::write(path, |out| family::csv(&mothers, out))?;
            say::line(&say::safe(&format!("wrote {}", path.display())));
        }
        if mothers.is_empty() {
            say::line(
                "no plant of the book has a mother; `variegauge book divide` or `book change --mother` tells whose offset one is",
            );
            return Ok(Exit::Graded);
        }
        print(&family::table(&mothers))
    };
    told().unwrap_or_else(|error| say::failed(&error))
}

/// Runs `tree`.
pub(super) fn tree(args: &Tree) -> Exit {
    let drawn = || {
        let standard = standard(args.standard.as_ref())?;
        let family = args.book.open()?.descendants(&args.number)?;
        file::write(&args.output, |out| family::tree(&family, &standard, out))?;
        say::line(&say::safe(&format!("wrote {}: {} plants", args.output.display(), family.len())));
        Ok(Exit::Graded)
    };
    drawn().unwrap_or_else(|error| say::failed(&error))
}
