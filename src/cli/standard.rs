//! `variegauge standard`: prints, checks or explains the nursery's standard.

use super::{Exit, say};
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use variegauge::error::{Error, Result};
use variegauge::record::standard_hash;
use variegauge::standard::{self, SHIPPED};

pub(super) const ABOUT: &str = "Prints the standard that is shipped: the limits, weights and names that plants are graded by, \
    each with its meaning and where it comes from. Most are common practice without a source: change them.";

pub(super) const EXAMPLES: &str = "\
Examples:
  variegauge standard > mine.toml                        the shipped one, to change
  variegauge standard --check mine.toml                  is it right?
  variegauge standard --explain mine.toml                what each line means, and what was shipped
  variegauge grade photos/ --standard mine.toml          grade by it";

pub(super) const AFTER: &str =
    "Exit codes: 0 printed, or right; 2 the file is not right; 4 the output cannot be written.";

/// Most bytes of a standard file.
const LONGEST: u64 = 1 << 20;

/// `variegauge standard`.
#[derive(Debug, clap::Args)]
pub(super) struct Standard {
    /// Say whether a standard file is right, or in which line it is not
    #[arg(long, value_name = "FILE")]
    check: Option<PathBuf>,

    /// Explain each line, of the shipped standard or of FILE
    #[arg(long, value_name = "FILE", num_args = 0..=1, conflicts_with = "check")]
    #[allow(clippy::option_option, reason = "absent, without a file, with a file")]
    explain: Option<Option<PathBuf>>,
}

/// Runs the command.
pub(super) fn run(args: &Standard) -> Exit {
    let told = match (&args.check, &args.explain) {
        (Some(path), _) => told(path, check),
        (None, Some(Some(path))) => told(path, standard::explain),
        (None, Some(None)) => standard::explain("").map_err(|error| error.to_string()),
        (None, None) => Ok(SHIPPED.into()),
    };
    match told.map(|text| io::stdout().lock().write_all(text.as_bytes())) {
        Ok(Ok(())) => Exit::Graded,
        // A reader that has seen enough is no error.
        Ok(Err(source)) if source.kind() == ErrorKind::BrokenPipe => Exit::Graded,
        Ok(Err(source)) => {
            say::error(&Error::Write { path: "the standard output".into(), source }.to_string());
            Exit::Output
        }
        Err(text) => {
            say::error(&say::safe(&text));
            say::hint("variegauge standard --explain tells what each line means");
            Exit::Usage
        }
    }
}

/// What `tell` says of a file's text, with the file's name before what is wrong.
fn told(path: &Path, tell: fn(&str) -> Result<String>) -> std::result::Result<String, String> {
    let told = text(path).and_then(|text| tell(&text).map_err(|error| error.to_string()));
    told.map(|told| told.lines().map(|line| say::safe(line) + "\n").collect())
        .map_err(|error| format!("{}: {error}", path.display()))
}

fn check(text: &str) -> Result<String> {
    let standard = standard::Standard::parse(text)?;
    Ok(format!("ok, hash {}\n", standard_hash(&standard)))
}

/// The text of a standard file, without a byte order mark.
pub(super) fn text(path: &Path) -> std::result::Result<String, String> {
    let size = fs::metadata(path).map_err(|error| error.to_string())?;
    if !size.is_file() || size.len() > LONGEST {
        return Err("not a file, or larger than a megabyte".into());
    }
    let text = fs::read_to_string(path).map_err(|error| error.to_string())?;
    Ok(text.trim_start_matches('\u{feff}').into())
}
