//! The arguments of `variegauge card`.

use super::range::Numbers;
use clap::ValueEnum;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use variegauge::card::number::PlantNumber;
use variegauge::error::Error;
use variegauge::print::sheet;

pub(in crate::cli) const ABOUT: &str = "Makes label cards to print: a plant's number as text and as QR code, grey patches, \
    and a rule in millimetres. A card in the photo tells which plant it is, what is neutral, and how large the plant is.";

pub(in crate::cli) const EXAMPLES: &str = "\
Examples:
  variegauge card ZB-0042 -o card.pdf                      one card on a sheet of A4
  variegauge card ZB-0040..ZB-0059 -o cards.pdf            20 cards on two sheets
  variegauge card --plants plants.csv -o cards.pdf         numbers and names from a table
  variegauge card 7 --name Zebra --paper letter -o a.svg   with a name, on US paper
  variegauge card 1..30 --label -o pots.pdf                pot labels for a label printer";

pub(in crate::cli) const AFTER: &str = "\
Print at 100 %, not 'fit to page', on matt paper, and measure the 50 mm line of the sheet. Lay the card flat, level with \
the soil or the pot's rim, in the same light as the plant.\nA table of plants is CSV in UTF-8 with a column `plant` and \
maybe one `name`, cells separated by comma, semicolon or tab.\nA card is 85.6 x 54 mm, a pot label 50 x 25 mm. An SVG of \
several sheets is a file a sheet: cards-1.svg, cards-2.svg, ...\nExit codes: 0 written, 2 wrong usage, 4 the output \
cannot be written.";

/// `variegauge card`.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Card {
    /// Plant numbers, or ranges such as ZB-0040..ZB-0059
    #[arg(value_name = "NUMBER", required_unless_present = "plants", value_parser = Numbers::from_str)]
    pub(super) numbers: Vec<Numbers>,

    /// Table of more plants to print: columns `plant` and, if wanted, `name`
    #[arg(long, value_name = "FILE.csv")]
    pub(super) plants: Option<PathBuf>,

    /// Name on the cards of the numbers given here
    #[arg(long, value_name = "TEXT", requires = "numbers")]
    pub(super) name: Option<String>,

    /// Paper [default: a4; single with --label]
    #[arg(long, value_name = "PAPER", hide_default_value = true)]
    paper: Option<Paper>,

    /// Pot labels, number and code only, in place of cards
    #[arg(long)]
    pub(super) label: bool,

    /// What to write; the ending, .pdf or .svg, tells the format
    #[arg(long, short, value_name = "FILE", value_parser = Target::from_str)]
    pub(super) output: Target,

    /// Overwrite files that exist
    #[arg(long)]
    pub(super) force: bool,
}

/// Paper, as it is named on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Paper {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
    /// A page is one card, for label printers
    Single,
}

/// The file, and its format by its ending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::cli) struct Target {
    pub(super) path: PathBuf,
    pub(super) format: Format,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Pdf,
    Svg,
}

impl FromStr for Target {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let path = PathBuf::from(text);
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
        let format = match ending.as_deref() {
            Some("pdf") => Format::Pdf,
            Some("svg") => Format::Svg,
            _ => return Err("name a file that ends in .pdf or .svg".into()),
        };
        Ok(Self { path, format })
    }
}

impl Target {
    /// Whether the file is free to be made, asked before anything is changed for whose sake it is made.
    ///
    /// # Errors
    /// It exists, or its folder does not.
    pub(in crate::cli) fn free(&self) -> variegauge::error::Result<()> {
        let told = |text: &str| Err(Error::Entry(format!("{}: {text}; nothing was changed", self.path.display())));
        let folder = self.path.parent().filter(|folder| !folder.as_os_str().is_empty());
        match folder {
            _ if self.path.exists() => told("exists already, choose another name"),
            Some(folder) if !folder.is_dir() => told("there is no such folder"),
            _ => Ok(()),
        }
    }

    /// The files of so many sheets: an SVG holds one.
    pub(super) fn files(&self, sheets: usize) -> Vec<PathBuf> {
        if self.format == Format::Pdf || sheets == 1 {
            return vec![self.path.clone()];
        }
        let part = |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_owned();
        let name = |sheet: usize| {
            let mut name = part(self.path.file_stem());
            name.push(format!("-{sheet}."));
            name.push(part(self.path.extension()));
            self.path.parent().unwrap_or(Path::new("")).join(name)
        };
        (1..=sheets).map(name).collect()
    }
}

impl Card {
    /// Cards of these plants on A4.
    pub(in crate::cli) fn of(numbers: Vec<PlantNumber>, name: Option<String>, output: Target) -> Self {
        Self { numbers: vec![Numbers(numbers)], plants: None, name, paper: None, label: false, output, force: false }
    }

    pub(super) fn paper(&self) -> sheet::Paper {
        match (self.paper, self.label) {
            (Some(Paper::A4), _) | (None, false) => sheet::Paper::A4,
            (Some(Paper::Letter), _) => sheet::Paper::Letter,
            (Some(Paper::Single), _) | (None, true) => sheet::Paper::Single,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::{Args, Command};
    use clap::Parser;

    fn parsed(words: &[&str]) -> Result<Card, String> {
        let args =
            Args::try_parse_from(["variegauge", "card"].iter().chain(words)).map_err(|error| error.to_string())?;
        let Command::Card(card) = args.command else { panic!("another command") };
        Ok(*card)
    }

    #[test]
    fn paper_is_a4_for_cards_and_single_for_labels_unless_told() {
        let paper = |words: &[&str]| parsed(&[&["1", "-o", "a.pdf"], words].concat()).unwrap().paper();
        assert_eq!(paper(&[]), sheet::Paper::A4);
        assert_eq!(paper(&["--label"]), sheet::Paper::Single);
        assert_eq!(paper(&["--label", "--paper", "a4"]), sheet::Paper::A4);
        assert_eq!(paper(&["--paper", "letter"]), sheet::Paper::Letter);
        assert_eq!(paper(&["--paper", "single"]), sheet::Paper::Single);
    }

    #[test]
    fn wrong_usage_is_refused() {
        for words in [
            &["-o", "a.pdf"][..],
            &["1"],
            &["1", "-o", "a.png"],
            &["1", "-o", "pdf"],
            &["1..", "-o", "a.pdf"],
            &["1", "-o", "a.pdf", "--paper", "a5"],
            &["--plants", "a.csv", "--name", "x", "-o", "a.pdf"],
        ] {
            assert!(parsed(words).is_err(), "{words:?}");
        }
    }

    #[test]
    fn an_svg_is_a_file_a_sheet() {
        let files = |name: &str, sheets| {
            let files = Target::from_str(name).unwrap().files(sheets);
            files.iter().map(|file| file.display().to_string()).collect::<Vec<_>>()
        };
        assert_eq!(files("out.d/a.SVG", 2), ["out.d/a-1.SVG", "out.d/a-2.SVG"]);
        assert_eq!(files("a.b.svg", 1), ["a.b.svg"]);
        assert_eq!(files("a.pdf", 9), ["a.pdf"]);
    }
}
