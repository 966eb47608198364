//! `variegauge listing`: from a photo to a sheet for a sale.

use super::args::Measuring;
use super::guard::guarded;
use super::{Exit, say};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use variegauge::error::Error;
use variegauge::options::Options;
use variegauge::pipeline::{self, Outcome};
use variegauge::record::{PhotoRecord, PlantRecord};
use variegauge::report::file::{self, Inputs};
use variegauge::report::listing::{self, Format};

pub(super) const ABOUT: &str = "Writes what a buyer should know of one plant: its picture with a true scale bar, diameter, bands in millimetres \
    (mean, range, number), pattern, tissues, date, how it was measured, and what limits it. Nothing private goes on it: no place, no \
    file name, nothing that the camera wrote into the photo.";

pub(super) const EXAMPLES: &str = "\
Examples:
  variegauge listing IMG_0012.jpg -o ZB-0042.pdf                    a sheet to print
  variegauge listing IMG_0012.jpg -o ZB-0042.html -o ZB-0042.png    a page and a picture
  variegauge listing tray.jpg --plant ZB-0042 -o ZB-0042.png        one plant of several
  variegauge listing a.jpg --name 'White band' --known 410,880,1630,905=105 -o a.pdf";

pub(super) const AFTER: &str = "\
The ending of a file, .html, .pdf or .png, tells what is written. A picture shared beside a page holds no metadata of the photo.\n\
Exit codes: 0 written, 1 the photo was refused or failed, 2 wrong usage, 3 no photo found, 4 an output cannot be written.";

/// `variegauge listing`.
#[derive(Debug, clap::Args)]
pub(super) struct Listing {
    /// The photo
    #[arg(value_name = "PHOTO")]
    photo: PathBuf,

    /// Which plant of the photo: the number on its card, or its place in the table of `variegauge grade`
    #[arg(long, value_name = "NUMBER")]
    plant: Option<String>,

    /// What you call the plant
    #[arg(long, value_name = "TEXT")]
    name: Option<String>,

    /// What to write; several may be given
    #[arg(long, short, value_name = "FILE", required = true, value_parser = Target::from_str)]
    output: Vec<Target>,

    /// Overwrite files that exist
    #[arg(long)]
    force: bool,

    #[command(flatten)]
    measuring: Measuring,
}

/// A file, and what is written by its ending.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Target {
    path: PathBuf,
    format: Format,
}

impl FromStr for Target {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let path = PathBuf::from(text);
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
        let format = match ending.as_deref() {
            Some("html" | "htm") => Format::Html,
            Some("pdf") => Format::Pdf,
            Some("png") => Format::Png,
            _ => return Err("name a file that ends in .html, .pdf or .png".into()),
        };
        Ok(Self { path, format })
    }
}

/// Why there is no listing: what is said, what to do about it, how the command ends.
struct Stop {
    text: String,
    hint: Option<&'static str>,
    exit: Exit,
}

/// Runs the command.
pub(super) fn run(args: &Listing) -> Exit {
    match written(args) {
        Ok(()) => {
            let files: Vec<String> = args.output.iter().map(|target| target.path.display().to_string()).collect();
            say::line(&say::safe(&format!("wrote {}", files.join(", "))));
            Exit::Graded
        }
        Err(Stop { text, hint, exit }) => {
            say::error(&say::safe(&text));
            hint.into_iter().for_each(say::hint);
            exit
        }
    }
}

fn written(args: &Listing) -> Result<(), Stop> {
    let usage = |text| Stop { text, hint: Some("variegauge listing --help shows examples"), exit: Exit::Usage };
    let options = args.measuring.options().map_err(usage)?;
    if !args.photo.is_file() {
        let text = format!("no photo found: {} is not a file", args.photo.display());
        return Err(Stop { text, hint: Some("name one photo (JPEG, HEIC, PNG, WebP, TIFF)"), exit: Exit::NoPhoto });
    }
    free(args)?;
    let (outcome, record) = measured(&args.photo, &options)?;
    let plant = chosen(&record.plants, args.plant.as_deref()).map_err(usage)?;
    let name = args.name.as_deref().map(str::trim).filter(|name| !name.is_empty());
    let listing = listing::Listing::new(&outcome.calibrated.photo.rgb, &record, plant, name);
    for Target { path, format } in &args.output {
        file::write(path, |out| listing.write(*format, out)).map_err(|error| unwritten(&error))?;
    }
    Ok(())
}

/// Sees to it, before the work, that nothing is overwritten unasked, and no input ever.
fn free(args: &Listing) -> Result<(), Stop> {
    let inputs = Inputs::new([args.photo.as_path()].into_iter().chain(args.measuring.files_read()));
    for Target { path, .. } in &args.output {
        inputs.keep(path).map_err(|error| unwritten(&error))?;
        if !args.force && path.exists() {
            let text = format!("cannot write {}: it exists already", path.display());
            let hint = Some("choose another name, or overwrite with --force");
            return Err(Stop { text, hint, exit: Exit::Output });
        }
    }
    Ok(())
}

fn unwritten(error: &Error) -> Stop {
    Stop { text: error.to_string(), hint: say::remedy(error), exit: Exit::Output }
}

/// The photo's record does not hold its name: nothing of a listing can tell it.
fn measured(photo: &Path, options: &Options) -> Result<(Outcome, PhotoRecord), Stop> {
    let stop = |text, hint| Stop { text: format!("{}: {text}", photo.display()), hint, exit: Exit::Some };
    match guarded(|| pipeline::run(photo, options)) {
        Ok(Ok(outcome)) => {
            let record = PhotoRecord::graded("", "", &outcome, options);
            Ok((outcome, record))
        }
        Ok(Err(error)) => Err(stop(error.to_string(), say::remedy(&error))),
        Err(panic) => Err(stop(
            format!("an error in the program: {panic}"),
            Some("please report this, with the photo if you can"),
        )),
    }
}

/// The plant with this number on its card, or else in this place; the only one if none is asked for.
fn chosen<'a>(plants: &'a [PlantRecord], wanted: Option<&str>) -> Result<&'a PlantRecord, String> {
    let names = || plants.iter().map(PlantRecord::title).collect::<Vec<_>>().join(", ");
    let Some(wanted) = wanted else {
        return match plants {
            [one] => Ok(one),
            _ => Err(format!("{} plants are in the photo ({}); choose one with --plant", plants.len(), names())),
        };
    };
    let numbered = plants.iter().find(|plant| plant.number.as_deref() == Some(wanted));
    let placed = || plants.iter().find(|plant| plant.index.to_string() == wanted);
    numbered.or_else(placed).ok_or_else(|| format!("--plant {wanted}: in the photo are {}", names()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::{Args, Command};
    use clap::Parser;

    fn parsed(line: &str) -> Result<Listing, String> {
        let args = Args::try_parse_from(line.split_whitespace()).map_err(|error| error.to_string())?;
        let Command::Listing(listing) = args.command else { panic!("another command") };
        Ok(*listing)
    }

    #[test]
    fn endings_tell_what_is_written() {
        let formats =
            |line: &str| parsed(line).map(|listing| listing.output.iter().map(|t| t.format).collect::<Vec<_>>());
        let all = "variegauge listing a.jpg -o a.HTML -o a.pdf -o a.png";
        assert_eq!(formats(all), Ok(vec![Format::Html, Format::Pdf, Format::Png]));
        for wrong in ["", "-o a.jpg", "-o pdf", "-o a.pdf b.jpg"] {
            assert!(parsed(&format!("variegauge listing a.jpg {wrong}")).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_plant_is_chosen_by_its_number_first() {
        let plant =
            |index, number: Option<&str>| PlantRecord { index, number: number.map(Into::into), ..Default::default() };
        let plants = [plant(1, Some("2")), plant(2, None), plant(3, Some("ZB-1"))];
        let index = |wanted| chosen(&plants, wanted).map(|plant| plant.index);
        assert_eq!([index(Some("2")), index(Some("3")), index(Some("ZB-1"))], [Ok(1), Ok(3), Ok(3)]);
        assert_eq!(index(None), Err("3 plants are in the photo (1 2, 2, 3 ZB-1); choose one with --plant".into()));
        assert!(index(Some("zb-1")).is_err());
        assert_eq!(chosen(&plants[1..2], None).map(|plant| plant.index), Ok(2));
    }
}
