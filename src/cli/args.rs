//! The arguments.

use super::book::args as book;
use super::card::args as card;
use super::place::Place;
use super::{family, find, listing, packaging, season, standard, values, watch};
use clap::{ArgGroup, Parser, Subcommand, ValueEnum};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;
use variegauge::options::{Hint, Options, Plants, Scale, White};
use variegauge::photo::limits::limits_text;

const ABOUT: &str = "Measures banded and variegated rosette succulents in photos: green, cream, gold and stress red of \
    each plant, with 95 % ranges. Photos are only read, never changed.";

const EXAMPLES: &str = "\
Examples:
  variegauge grade IMG_0012.jpg                          one photo, table on the terminal
  variegauge grade photos/ --csv grades.csv              a folder, for a spreadsheet
  variegauge grade photos/ --report grades.html          a page to read, on a phone too, or to print
  variegauge grade photos/ --overlay seen/               pictures that show what was measured
  variegauge grade tray.jpg --many --px-per-mm 12.5      all plants of a tray, sizes in mm
  variegauge grade a.jpg b.jpg --jsonl - --quiet         JSON lines for other programs
  variegauge grade photos/ --jsonl a.jsonl --resume      go on with a long run that was stopped";

const TEMPLATE: &str = "{about-with-newline}\n{before-help}{usage-heading} {usage}\n\n{all-args}{after-help}";

fn after_help() -> String {
    let limits = limits_text().trim_end().replace('\n', "; ");
    format!(
        "Photos: JPEG, HEIC, PNG, WebP and TIFF, and the whole-picture preview in DNG. Limits: {limits}.\nIn folders, hidden files and links are left out, and so are this program's own \
         masks and overlays.\nExit codes: 0 all graded, 1 some failed or were refused, 2 wrong usage, 3 no photo \
         found, 4 an output cannot be written, 5 the stock book is busy or damaged, 130 stopped by Ctrl-C (what was done \
         is written; --resume goes on)."
    )
}

/// The whole command line.
#[derive(Debug, Parser)]
#[command(version, about = ABOUT, before_help = EXAMPLES, help_template = TEMPLATE)]
#[command(after_help = "variegauge COMMAND --help tells more.", after_long_help = after_help())]
#[command(arg_required_else_help = true)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Measure the plants in photos
    #[command(long_about = ABOUT, before_help = EXAMPLES, after_help = after_help(), help_template = TEMPLATE)]
    Grade(Box<Grade>),

    /// Grade photos as they come into a folder
    #[command(long_about = watch::ABOUT, before_help = watch::EXAMPLES, after_help = watch::AFTER, help_template = TEMPLATE)]
    Watch(Box<Watch>),

    /// Make label cards to print and lay beside the plants
    #[command(long_about = card::ABOUT, before_help = card::EXAMPLES, after_help = card::AFTER, help_template = TEMPLATE)]
    Card(Box<card::Card>),

    /// Write a page or a picture of one plant, for a sale
    #[command(long_about = listing::ABOUT, before_help = listing::EXAMPLES, after_help = listing::AFTER, help_template = TEMPLATE)]
    Listing(Box<listing::Listing>),

    /// Keep plants, their mothers, readings and decisions in one file
    #[command(long_about = book::ABOUT, before_help = book::EXAMPLES, after_help = book::AFTER, help_template = TEMPLATE)]
    Book(Box<book::Book>),

    /// Tell what mothers throw: how many of their offsets are balanced, too pale or reverts
    #[command(long_about = family::ABOUT, before_help = family::MOTHERS, help_template = TEMPLATE)]
    Mothers(family::Mothers),

    /// Draw a plant and all that came of it
    #[command(before_help = family::TREE, help_template = TEMPLATE)]
    Tree(family::Tree),

    /// Tell how plants redden and recover
    #[command(long_about = season::ABOUT, before_help = season::EXAMPLES, help_template = TEMPLATE)]
    Season(season::Season),

    /// Tell how plants grow, and whether they drift back to green
    #[command(before_help = season::GROWTH, help_template = TEMPLATE)]
    Growth(season::Growth),

    /// Print, check or explain the standard that plants are graded by
    #[command(long_about = standard::ABOUT, before_help = standard::EXAMPLES, after_help = standard::AFTER, help_template = TEMPLATE)]
    Standard(standard::Standard),

    /// Print what lets a shell complete commands and options
    #[command(before_help = packaging::SHELLS, help_template = TEMPLATE)]
    Completions(packaging::Completions),

    /// Write manual pages, one a command
    #[command(before_help = packaging::PAGES, help_template = TEMPLATE)]
    Man(packaging::Manual),
}

/// `variegauge grade`.
#[derive(Debug, clap::Args)]
pub(super) struct Grade {
    /// Photos, and folders to be searched for photos
    #[arg(value_name = "PATH", required = true)]
    pub(super) paths: Vec<PathBuf>,

    #[command(flatten)]
    pub(super) outputs: Outputs,

    /// Go on with a run that was stopped: photos in the FILE of --jsonl are not measured again, unless they failed or the
    /// settings differ; outputs then hold all photos. A run that was killed, or whose disk was full, has left FILE.partial, which is read
    /// too; without this option it is not written over. A FILE is held in memory, at twice its length
    #[arg(long, requires = "jsonl", help_heading = "Search and speed")]
    pub(super) resume: bool,

    #[command(flatten)]
    pub(super) work: Work,
}

/// `variegauge watch`.
#[derive(Debug, clap::Args)]
pub(super) struct Watch {
    /// The folder into which photos come
    #[arg(value_name = "DIR")]
    pub(super) folder: PathBuf,

    /// Table for spreadsheets, one row a plant; rows are added to it as photos come
    #[arg(long, value_name = "FILE", value_parser = Target::from_str, help_heading = "Outputs")]
    pub(super) csv: Option<Target>,

    /// One JSON object a photo a line, added as photos come
    #[arg(long, value_name = "FILE", value_parser = Target::from_str, help_heading = "Outputs")]
    pub(super) jsonl: Option<Target>,

    /// No table, no summary; errors only
    #[arg(long, short, help_heading = "Outputs")]
    pub(super) quiet: bool,

    /// Colours of the table
    #[arg(long, value_name = "WHEN", default_value = "auto", help_heading = "Outputs")]
    pub(super) color: Color,

    /// Leave out the photos that are there at the start
    #[arg(long, help_heading = "Search and speed")]
    pub(super) new_only: bool,

    /// Time between two looks at the folder; a photo is taken when two looks find it the same
    #[arg(long, value_name = "SECONDS", value_parser = values::seconds, default_value = "2", help_heading = "Search and speed")]
    pub(super) every: Duration,

    #[command(flatten)]
    pub(super) work: Work,
}

/// What grading and watching are told alike.
#[derive(Debug, clap::Args)]
pub(super) struct Work {
    /// Stock book to keep the readings in; `default` is the usual one. Photos that are in it with these settings are left out,
    /// unless other files are asked for
    #[arg(long, value_name = "FILE", help_heading = "Outputs")]
    pub(super) book: Option<Place>,

    #[command(flatten)]
    pub(super) measuring: Measuring,

    /// Photos at a time [default: one a processor core]
    #[arg(long, short, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), help_heading = "Search and speed")]
    jobs: Option<u16>,

    /// Memory that the photos in work may need together, e.g. 2G or 500M; one that needs more is done alone [default: no bound]
    #[arg(long, value_name = "SIZE", value_parser = values::memory, help_heading = "Search and speed")]
    pub(super) memory: Option<u64>,

    /// Do not search folders inside folders
    #[arg(long, overrides_with = "recursive", help_heading = "Search and speed")]
    pub(super) no_recursive: bool,

    /// Search folders inside folders [the default]
    #[arg(long, overrides_with = "no_recursive", hide = true)]
    recursive: bool,
}

impl Work {
    /// Photos at a time.
    pub(super) fn jobs(&self) -> usize {
        let cores = || std::thread::available_parallelism().map_or(1, usize::from);
        self.jobs.map_or_else(cores, usize::from)
    }
}

/// What is written where.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Outputs")]
#[command(group = ArgGroup::new("spreadsheet").args(["csv", "explain"]).multiple(true))]
pub(super) struct Outputs {
    /// Table for spreadsheets, one row a plant; `-` is the standard output
    #[arg(long, value_name = "FILE", value_parser = Target::from_str)]
    pub(super) csv: Option<Target>,

    /// One JSON object a photo a line, written as photos are done; `-` is the standard output
    #[arg(long, value_name = "FILE", value_parser = Target::from_str)]
    pub(super) jsonl: Option<Target>,

    /// What was seen of the bands leaf by leaf, a table for spreadsheets; `-` is the standard output
    #[arg(long, value_name = "FILE", value_parser = Target::from_str)]
    pub(super) explain: Option<Target>,

    /// A page to read and print: every plant with its pictures, numbers, decision, flags and doubts, as one HTML file
    #[arg(long, value_name = "FILE.html", value_parser = Target::from_str)]
    pub(super) report: Option<Target>,

    /// A picture a photo with outlines, tissues and numbers
    #[arg(long, value_name = "DIR")]
    pub(super) overlay: Option<PathBuf>,

    /// Masks of tissues and plants, two PNG files a photo
    #[arg(long, value_name = "DIR")]
    pub(super) masks: Option<PathBuf>,

    /// Mark the CSV files so that Excel reads their letters rightly
    #[arg(long, requires = "spreadsheet")]
    pub(super) excel: bool,

    /// No table, no progress, no summary; errors only
    #[arg(long, short)]
    pub(super) quiet: bool,

    /// Colours of the table
    #[arg(long, value_name = "WHEN", default_value = "auto")]
    pub(super) color: Color,
}

/// What the program is told about the photos.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Measuring")]
#[command(group = ArgGroup::new("hint"), group = ArgGroup::new("plants"), group = ArgGroup::new("scale"))]
pub(super) struct Measuring {
    /// Only the main plant: sharp, central, large
    #[arg(long, group = "plants")]
    one: bool,

    /// All plants of the photo [default: the program decides]
    #[arg(long, group = "plants")]
    many: bool,

    /// A point on the plant, pixels of the upright photo
    #[arg(long, value_name = "X,Y", value_parser = values::point, allow_hyphen_values = true, group = "hint")]
    at: Option<Hint>,

    /// A box around the plant
    #[arg(long = "box", value_name = "X,Y,W,H", value_parser = values::boxed, allow_hyphen_values = true, group = "hint")]
    around: Option<Hint>,

    /// Painted points, one a line: `X,Y,plant` or `X,Y,other`
    #[arg(long, value_name = "FILE", group = "hint")]
    stroke: Option<PathBuf>,

    /// What is white or grey: its colour `R,G,B` (1-255) or where it is, `X,Y,W,H` [default: estimated]
    #[arg(long, value_name = "SPEC", value_parser = values::white, allow_hyphen_values = true)]
    white: Option<White>,

    /// Scale at the plant, pixels a millimetre [default: from a label card, or no sizes in mm]
    #[arg(long, value_name = "N", value_parser = values::scale, allow_hyphen_values = true, group = "scale")]
    px_per_mm: Option<f64>,

    /// A length at the plant's height, between two points of the upright photo: a ruler, a pot's rim
    #[arg(long, value_name = "X1,Y1,X2,Y2=MM", value_parser = values::known, allow_hyphen_values = true, group = "scale")]
    known: Option<Scale>,

    /// How far the label card lies under the middle of the leaves' height, mm [default: level with the soil]
    #[arg(long, value_name = "MM", value_parser = values::below, allow_hyphen_values = true, conflicts_with = "scale")]
    card_below: Option<f64>,

    /// The nursery's standard (TOML) [default: the one that `variegauge standard` prints]
    #[arg(long, value_name = "FILE")]
    standard: Option<PathBuf>,
}

/// Where a table goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Target {
    Stdout,
    File(PathBuf),
}

/// When the table is coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Color {
    /// On a terminal, unless `NO_COLOR` is set or `TERM` is `dumb`
    Auto,
    Always,
    Never,
}

impl Outputs {
    /// Whether files are asked for that need every photo.
    pub(super) fn any_file(&self) -> bool {
        let tables = [&self.csv, &self.jsonl, &self.explain].into_iter().any(Option::is_some);
        tables || self.overlay.is_some() || self.masks.is_some() || self.report.is_some()
    }
}

impl Measuring {
    /// Files other than photos that are read, so that no output overwrites them.
    pub(super) fn files_read(&self) -> impl Iterator<Item = &Path> {
        [&self.standard, &self.stroke].into_iter().flatten().map(PathBuf::as_path)
    }

    /// The options of the measurement; reads the file of painted points.
    pub(super) fn options(&self) -> Result<Options, String> {
        let Self { one, many, at, around, stroke, white, px_per_mm, known, card_below, standard } = self;
        let strokes = stroke.as_deref().map(values::strokes).transpose()?;
        let plants = match (one, many) {
            (true, _) => Plants::One,
            (_, true) => Plants::Many,
            (false, false) => Plants::Auto,
        };
        let hint = at.clone().or_else(|| around.clone()).or(strokes);
        let scale = px_per_mm.map(Scale::PxPerMm).or(*known);
        let standard = standard.as_deref().map(values::read_standard).transpose()?.unwrap_or_default();
        Ok(Options { plants, hint, white: *white, scale, card_below: *card_below, standard })
    }
}

impl FromStr for Target {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "-" {
            return Ok(Self::Stdout);
        }
        // `--csv *.jpg` would take the first photo as the output.
        if find::has_photo_ending(Path::new(text)) {
            return Err("this is the name of a photo; name the table first, e.g. grades.csv".into());
        }
        Ok(Self::File(text.into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;
    use variegauge::base::raster::Rect;

    fn parsed(line: &str) -> Result<Options, String> {
        let args = Args::try_parse_from(line.split_whitespace()).map_err(|error| error.to_string())?;
        let Command::Grade(grade) = args.command else { return Err("another command".into()) };
        grade.work.measuring.options()
    }

    #[test]
    fn clap_finds_no_fault_in_the_definition() {
        Args::command().debug_assert();
    }

    /// The words of a line as a shell takes them, up to a redirection.
    fn words(line: &str) -> Vec<String> {
        let quoted = |c: char| matches!(c, '\'' | '"');
        let parts = line.split(quoted).enumerate();
        let words = parts.flat_map(|(i, part)| match i % 2 {
            0 => part.split_whitespace().collect(),
            _ => vec![part],
        });
        words.take_while(|word| *word != ">").map(String::from).collect()
    }

    #[test]
    fn every_example_of_every_help_is_right() {
        for command in Args::command().get_subcommands().chain([&Args::command()]) {
            let told = command.get_before_help().unwrap_or_else(|| panic!("{} has no examples", command.get_name()));
            let told = told.to_string();
            let mut lines = told.lines();
            assert_eq!(lines.next(), Some("Examples:"));
            for line in lines {
                let words = words(line.trim().split("   ").next().unwrap());
                let parsed = Args::try_parse_from(&words);
                assert!(parsed.is_ok(), "{line}: {}", parsed.unwrap_err());
            }
            assert!(told.matches(command.get_name()).count() >= told.lines().count() / 2, "{told}");
        }
    }

    #[test]
    fn specs_become_options() {
        let options = parsed("variegauge grade a.jpg --one --at 3,4 --white 200,210,190.5 --px-per-mm 12.5").unwrap();
        assert_eq!(options.plants, Plants::One);
        assert_eq!(options.hint, Some(Hint::At { x: 3, y: 4 }));
        assert_eq!(options.white, Some(White::Codes([200.0, 210.0, 190.5])));
        assert_eq!(options.scale, Some(Scale::PxPerMm(12.5)));
        let options = parsed("variegauge grade a.jpg --known 10,20,40,60=25").unwrap();
        assert_eq!(options.scale, Some(Scale::Known { from: [10.0, 20.0], to: [40.0, 60.0], mm: 25.0 }));
        assert_eq!(parsed("variegauge grade a.jpg --card-below 30").unwrap().card_below, Some(30.0));
        let spot = Rect { x: 1, y: 2, width: 3, height: 4 };
        assert_eq!(parsed("variegauge grade a.jpg --white 1,2,3,4").unwrap().white, Some(White::Spot(spot)));
        assert_eq!(parsed("variegauge grade a.jpg --box 1,2,3,4").unwrap().hint, Some(Hint::Box(spot)));
        assert_eq!(parsed("variegauge grade a.jpg").unwrap(), Options::default());
    }

    #[test]
    fn wrong_specs_are_refused() {
        for wrong in [
            "",
            "--white 1,2",
            "--white 0,0,0",
            "--white 300,1,1",
            "--white a,b,c",
            "--box 1,2,0,4",
            "--at 5",
            "--px-per-mm 0",
            "--px-per-mm -3",
            "--px-per-mm nan",
            "--px-per-mm 1e300",
            "--px-per-mm 12 --known 1,2,300,4=5",
            "--known 1,2,300,4",
            "--known 1,2,3,4=50",
            "--known 1,2,300,4=0",
            "--known 1,2,nan,4=9",
            "--card-below x",
            "--card-below 30 --px-per-mm 12",
            "--card-below 1e9",
            "--jobs 0",
            "--memory 2",
            "--memory 2T",
            "--memory -1G",
            "--resume",
            "--one --many",
            "--at 1,2 --box 1,2,3,4",
            "--excel",
            "--csv IMG_1.jpg",
            "--color red",
        ] {
            let path = if wrong.is_empty() { "" } else { "a.jpg" };
            assert!(parsed(&format!("variegauge grade {path} {wrong}")).is_err(), "{wrong}");
        }
    }
}
