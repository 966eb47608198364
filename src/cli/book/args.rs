//! The arguments of `variegauge book`.

use crate::cli::card::args::Target;
use crate::cli::card::range::Numbers;
use crate::cli::place::Place;
use clap::{Subcommand, ValueEnum};
use std::path::PathBuf;
use std::str::FromStr;
use variegauge::base::date::Date;
use variegauge::book::decisions::WORDS;
use variegauge::book::plants::Gone;
use variegauge::card::number::PlantNumber;

pub(in crate::cli) const ABOUT: &str = "Keeps plants, their mothers, photos, readings and decisions in one file, the stock book. \
    Readings come in with `variegauge grade --book`; they are never changed or taken out.";

pub(in crate::cli) const EXAMPLES: &str = "\
Examples:
  variegauge book add ZB-0042 --name Zebra --since 2025-04-12             a plant
  variegauge grade photos/ --book default                                 readings of its photos
  variegauge book divide ZB-0042 ZB-0100..ZB-0104 --cards cards.pdf       five offsets, with cards
  variegauge book show ZB-0042                                            all that is known of it
  variegauge book decide ZB-0042 mother --by Anna --why \"even, strong\"    a person's word beside the standard's
  variegauge book move-out ZB-0101 --how sold                             gone
  variegauge book export plants.csv                                       for a spreadsheet";

pub(in crate::cli) const AFTER: &str = "\
Days are written 2026-01-31; without --on it is today (by the clock of Greenwich). The usual book lies in the user's folder for \
data; --book names another.\nExit codes: 0 done, 2 it cannot be done as asked, 4 an output cannot be written, 5 the book is busy \
or damaged.";

/// `variegauge book`.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct Book {
    #[command(subcommand)]
    pub(super) task: Task,

    /// The stock book [default: the user's own]
    #[arg(long, value_name = "FILE", global = true, default_value = "default", hide_default_value = true)]
    pub(super) book: Place,
}

#[derive(Debug, Subcommand)]
pub(super) enum Task {
    /// Add plants
    Add {
        /// Numbers, or ranges such as ZB-0040..ZB-0059
        #[arg(value_name = "NUMBER", required = true, value_parser = Numbers::from_str)]
        numbers: Vec<Numbers>,
        /// Name of them all
        #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
        name: String,
        /// The plant they were parted from
        #[arg(long, value_name = "NUMBER")]
        mother: Option<PlantNumber>,
        /// When they were acquired or parted
        #[arg(long, value_name = "DAY")]
        since: Option<Date>,
        /// Anything else
        #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
        notes: String,
    },
    /// Change what is known of a plant; what is not given stays
    Change {
        /// The plant
        number: PlantNumber,
        /// Its name
        #[arg(long, value_name = "TEXT")]
        name: Option<String>,
        /// The plant it was parted from
        #[arg(long, value_name = "NUMBER")]
        mother: Option<PlantNumber>,
        /// When it was acquired or parted
        #[arg(long, value_name = "DAY")]
        since: Option<Date>,
        /// Anything else
        #[arg(long, value_name = "TEXT")]
        notes: Option<String>,
    },
    /// List the plants, or the readings that no plant has
    List {
        /// Also plants that are gone
        #[arg(long)]
        gone: bool,
        /// Readings without a plant, to be assigned
        #[arg(long, conflicts_with = "gone")]
        unassigned: bool,
    },
    /// Tell all that is known of a plant
    Show { number: PlantNumber },
    /// Find plants by number, name or notes
    Search { text: String },
    /// Part a mother into offsets
    Divide {
        /// The mother
        mother: PlantNumber,
        /// Numbers of the offsets, or ranges
        #[arg(value_name = "NUMBER", required = true, value_parser = Numbers::from_str)]
        offsets: Vec<Numbers>,
        /// Name of the offsets [default: the mother's]
        #[arg(long, value_name = "TEXT")]
        name: Option<String>,
        /// When [default: today]
        #[arg(long, value_name = "DAY")]
        on: Option<Date>,
        /// Print their label cards to this file, .pdf or .svg
        #[arg(long, value_name = "FILE", value_parser = Target::from_str)]
        cards: Option<Target>,
    },
    /// Note that plants are gone
    MoveOut {
        /// Numbers, or ranges such as ZB-0040..ZB-0059
        #[arg(value_name = "NUMBER", required = true, value_parser = Numbers::from_str)]
        numbers: Vec<Numbers>,
        /// What became of them
        #[arg(long)]
        how: How,
        /// When [default: today]
        #[arg(long, value_name = "DAY")]
        on: Option<Date>,
    },
    /// Note what a person decided on a plant, beside what the standard advises
    Decide {
        /// The plant
        number: PlantNumber,
        /// What is to be done with it
        #[arg(value_parser = WORDS)]
        decision: String,
        #[command(flatten)]
        said: Said,
    },
    /// Say which plant a reading is of
    Assign {
        /// Its number, as `list --unassigned` and `show` tell it
        reading: i64,
        /// The plant; none: the reading is of no plant of the book
        number: Option<PlantNumber>,
        #[command(flatten)]
        said: Said,
    },
    /// Take plants from a table (.csv), or a whole book into an empty one (.json)
    Import { file: PathBuf },
    /// Write plants or readings as a table (.csv), or the whole book (.json)
    Export {
        /// The file
        file: PathBuf,
        /// What a table holds
        #[arg(long, default_value = "plants")]
        what: What,
        /// Overwrite a file that exists
        #[arg(long)]
        force: bool,
    },
    /// Look for damage
    Check,
    /// Write a copy, also while others use the book
    Backup { file: PathBuf },
}

/// Who said it, when and why.
#[derive(Debug, clap::Args)]
pub(super) struct Said {
    /// Who says so
    #[arg(long, value_name = "WHO", value_parser = who)]
    pub(super) by: String,
    /// Why
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub(super) why: String,
    /// When [default: today]
    #[arg(long, value_name = "DAY")]
    pub(super) on: Option<Date>,
}

/// How a plant went, as a word of the command line.
#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum How {
    Sold,
    Died,
    Given,
}

impl From<How> for Gone {
    fn from(how: How) -> Self {
        match how {
            How::Sold => Self::Sold,
            How::Died => Self::Died,
            How::Given => Self::Given,
        }
    }
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum What {
    Plants,
    Readings,
}

/// A person; `card` is what the book calls the cards in photos.
fn who(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("name who says so".into()),
        name if name.eq_ignore_ascii_case("card") => Err("`card` stands for the cards in photos; name a person".into()),
        name => Ok(name.into()),
    }
}
