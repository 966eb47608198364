//! The outputs of a run: all are opened before the work, and a broken one does not stop the others.

use super::args::{Color, Outputs, Target};
use super::say;
use std::collections::HashSet;
use std::ffi::OsString;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};
use variegauge::error::{Error, Result};
use variegauge::pipeline::Outcome;
use variegauge::record::{PhotoRecord, PlantRecord, Status};
use variegauge::report::file::{self, Inputs, Output};
use variegauge::report::html::batch::{Report, Seen};
use variegauge::report::table::Table;
use variegauge::report::thumbnail::{self, Thumbnail};
use variegauge::report::{bands, csv, explain, jsonl, masks, names, overlay};
use variegauge::tissue::TissueMap;

/// Columns of the table where no terminal tells its width.
const WIDTH: usize = 100;

/// Files that each photo gets; shared by the threads.
pub(super) struct Pictures<'a> {
    masks: Option<PathBuf>,
    overlay: Option<PathBuf>,
    /// Whether the report needs a picture a plant.
    report: bool,
    inputs: &'a Inputs,
}

/// Tables over all photos, filled in input order.
pub(super) struct Tables {
    csv: Option<Output>,
    explain: Option<Output>,
    jsonl: Option<Output>,
    report: Option<Output>,
    page: Option<Report>,
    table: Option<Table>,
    broken: bool,
    /// Whether a reader of the standard output has seen enough.
    closed: bool,
}

impl<'a> Pictures<'a> {
    /// Makes the folders and sees to it that no photo would be overwritten.
    pub(super) fn open(args: &Outputs, stems: &[String], inputs: &'a Inputs) -> Result<Self> {
        let folders = [(&args.masks, names::TISSUE), (&args.masks, names::PLANTS), (&args.overlay, names::OVERLAY)];
        for (folder, ending) in folders {
            let Some(folder) = folder else { continue };
            file::make_folder(folder)?;
            stems.iter().try_for_each(|stem| inputs.keep(&names::file(folder, stem, ending)))?;
        }
        Ok(Self { masks: args.masks.clone(), overlay: args.overlay.clone(), report: args.report.is_some(), inputs })
    }

    /// Writes what was asked for of one photo.
    pub(super) fn write(&self, outcome: &Outcome, record: &PhotoRecord) -> Result<()> {
        if let Some(folder) = &self.masks {
            let path = |ending| names::file(folder, &record.stem, ending);
            file::write(&path(names::TISSUE), |out| masks::write(&outcome.tissue_mask(), out))?;
            file::write(&path(names::PLANTS), |out| masks::write(&outcome.plants_mask(), out))?;
        }
        if let Some(folder) = &self.overlay {
            let maps: Vec<&TissueMap> = outcome.plants.iter().map(|plant| &plant.tissue).collect();
            let picture = overlay::draw(&outcome.calibrated.photo.rgb, &maps, record);
            let path = names::file(folder, &record.stem, names::OVERLAY);
            file::write(&path, |out| overlay::write(&picture, out))?;
            self.write_bands(outcome, record, folder)?;
        }
        Ok(())
    }

    /// The report's pictures of the plants.
    pub(super) fn thumbnails(&self, outcome: &Outcome) -> Vec<Thumbnail> {
        let maps = || outcome.plants.iter().map(|plant| &plant.tissue).collect::<Vec<_>>();
        if self.report { thumbnail::draw(&outcome.calibrated.photo.rgb, &maps()) } else { Vec::new() }
    }

    /// A picture for each plant with bands.
    fn write_bands(&self, outcome: &Outcome, record: &PhotoRecord, folder: &Path) -> Result<()> {
        for (plant, record_of_plant) in outcome.plants.iter().zip(&record.plants) {
            let marked = bands::Marked {
                bounds: plant.rosette.bounds,
                bands: &plant.bands,
                px_per_mm: plant.measures.px_per_mm.map(|scale| scale.value),
                record: record_of_plant,
            };
            let Some(picture) = bands::draw(&outcome.calibrated.photo.rgb, &marked) else { continue };
            let path = names::file(folder, &record.stem, &bands_ending(record_of_plant));
            self.inputs.keep(&path)?;
            file::write(&path, |out| overlay::write(&picture, out))?;
        }
        Ok(())
    }

    /// Whether an earlier run, which told `record`, made the pictures that are asked for of a photo that now has this stem. They
    /// are of use only if the stem is the old one and the photo is the sole one of its name: another may have had it since.
    pub(super) fn are_there(&self, record: &PhotoRecord, stem: &str, sole: bool) -> bool {
        if record.status != Status::Graded || self.masks.is_none() && self.overlay.is_none() {
            return true;
        }
        let folders = [(&self.masks, names::TISSUE), (&self.masks, names::PLANTS), (&self.overlay, names::OVERLAY)];
        let there = |folder: &Option<PathBuf>, ending: &str| {
            folder.as_ref().is_none_or(|folder| names::file(folder, stem, ending).exists())
        };
        let mut banded = record.plants.iter().filter(|plant| plant.bands.count.is_some());
        sole && record.stem == stem
            && folders.into_iter().all(|(folder, ending)| there(folder, ending))
            && banded.all(|plant| there(&self.overlay, &bands_ending(plant)))
    }

    /// Folders that were written to, in words.
    pub(super) fn told(&self) -> Vec<String> {
        let told = |what: &str, folder: &PathBuf| format!("{what} in {}", say::safe(&folder.to_string_lossy()));
        let masks = self.masks.as_ref().map(|folder| told("masks", folder));
        masks.into_iter().chain(self.overlay.as_ref().map(|folder| told("overlays", folder))).collect()
    }
}

impl Tables {
    /// Opens the tables and prints the heading of the one on the terminal.
    pub(super) fn open<'a>(
        args: &Outputs,
        jsonl: Option<Output>,
        inputs: &Inputs,
        files: impl Iterator<Item = &'a str>,
    ) -> Result<Self> {
        let open = |target: &Option<Target>| match target {
            None => Ok(None),
            Some(Target::Stdout) => Ok(Some(stdout())),
            Some(Target::File(path)) => inputs.keep(path).and_then(|()| Output::create(path)).map(Some),
        };
        let (mut csv, mut explain) = (open(&args.csv)?, open(&args.explain)?);
        for (out, heading) in [(&mut csv, csv::heading as Heading), (&mut explain, explain::heading)] {
            out.as_mut().map_or(Ok(()), |out| out.put(|out| heading(args.excel, out)))?;
        }
        let mut report = open(&args.report)?;
        let page = report.as_mut().map(|out| page(out, args.report.as_ref())).transpose()?;
        let data = targets(args).into_iter().any(|target| *target == Some(Target::Stdout));
        let table = (!args.quiet && !data).then(|| table(args.color, files));
        let mut tables = Self { csv, explain, jsonl, report, page, table, broken: false, closed: false };
        if let Some(table) = tables.table {
            tables.print(&table.heading());
        }
        Ok(tables)
    }

    /// Whether the reader sees the reasons of failed photos in the table, so that they need not be told again.
    pub(super) fn are_seen(&self) -> bool {
        self.table.is_some() && io::stdout().is_terminal() && io::stderr().is_terminal()
    }

    /// Takes the next photo.
    pub(super) fn add(&mut self, record: PhotoRecord, seen: &Seen) {
        if let Some(table) = self.table {
            self.print(&table.lines(&record));
        }
        self.put(|tables| &mut tables.csv, |out| csv::rows(&record, out));
        self.put(|tables| &mut tables.explain, |out| explain::rows(&record, out));
        self.put(|tables| &mut tables.jsonl, |out| jsonl::write(&record, out));
        if let Some(mut page) = self.page.take() {
            // The output's error tells where there is no room.
            self.put(|tables| &mut tables.report, |_| page.add(record, seen));
            self.page = Some(page);
        }
    }

    /// Whether there were outputs and none is left: further work is for nobody.
    pub(super) fn are_lost(&self) -> bool {
        (self.broken || self.closed)
            && self.table.is_none()
            && [&self.csv, &self.explain, &self.jsonl, &self.report].into_iter().all(Option::is_none)
    }

    /// Completes the files, the JSON lines with `rest`; true if all outputs are whole.
    pub(super) fn finish(mut self, rest: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> bool {
        self.put(|tables| &mut tables.jsonl, rest);
        if let Some(page) = self.page.take() {
            self.put(|tables| &mut tables.report, |out| page.write(out));
        }
        for out in [self.csv.take(), self.explain.take(), self.report.take(), self.jsonl.take()] {
            out.map_or(Ok(()), Output::finish).unwrap_or_else(|error| self.break_at(&error));
        }
        !self.broken
    }

    /// Writes to an output, if it is there and sound.
    fn put(
        &mut self,
        output: impl Fn(&mut Self) -> &mut Option<Output>,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) {
        if let Some(Err(error)) = output(self).as_mut().map(|out| out.put(write)) {
            *output(self) = None;
            self.break_at(&error);
        }
    }

    /// Reports an output that cannot be written. A reader of the standard output that has seen enough is no error.
    pub(super) fn break_at(&mut self, error: &Error) {
        if matches!(error, Error::Write { source, .. } if source.kind() == ErrorKind::BrokenPipe) {
            self.closed = true;
            return;
        }
        say::error(&error.to_string());
        if !std::mem::replace(&mut self.broken, true) {
            say::remedy(error).into_iter().for_each(say::hint);
        }
    }

    fn print(&mut self, text: &str) {
        let mut out = io::stdout().lock();
        if let Err(source) = out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            self.table = None;
            self.break_at(&Error::Write { path: "the standard output".into(), source });
        }
    }
}

/// The standard output.
pub(super) fn stdout() -> Output {
    Output::stream("the standard output", io::stdout())
}

/// What follows the stem in the name of the picture of a plant's bands.
fn bands_ending(plant: &PlantRecord) -> String {
    format!(".{}{}", plant.index, names::BANDS)
}

/// Writes the names of a table's columns; whether for Excel.
type Heading = fn(bool, &mut dyn Write) -> io::Result<()>;

/// A report on its way into an output, with room for its pictures in the same folder.
fn page(out: &mut Output, target: Option<&Target>) -> Result<Report> {
    let folder = target.and_then(|target| match target {
        Target::File(path) => place(path).parent().map(Path::to_owned),
        Target::Stdout => None,
    });
    let mut page = None;
    out.put(|_| {
        page = Some(Report::new(folder.as_deref())?);
        Ok(())
    })?;
    Ok(page.expect("it was made, or that was an error"))
}

fn targets(args: &Outputs) -> [&Option<Target>; 4] {
    [&args.csv, &args.jsonl, &args.explain, &args.report]
}

/// Files of the tables, in words.
pub(super) fn told(args: &Outputs) -> Vec<String> {
    let path = |target: &Option<Target>| match target {
        Some(Target::File(path)) => Some(say::safe(&path.to_string_lossy())),
        Some(Target::Stdout) | None => None,
    };
    targets(args).into_iter().filter_map(path).collect()
}

/// Whether two tables would go to one place.
pub(super) fn clash(args: &Outputs) -> bool {
    let full = |target: &Target| match target {
        Target::File(path) => Some(place(path)),
        Target::Stdout => None,
    };
    let mut places = HashSet::new();
    !targets(args).into_iter().flatten().all(|target| places.insert(full(target)))
}

/// The file that a path leads to, through links, also where it does not exist yet.
pub(super) fn place(path: &Path) -> PathBuf {
    let parent = path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let folder = || Some(parent.canonicalize().ok()?.join(path.file_name()?));
    let absolute = || std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    path.canonicalize().ok().or_else(folder).unwrap_or_else(absolute)
}

/// A table as wide as the terminal.
pub(super) fn table<'a>(color: Color, files: impl Iterator<Item = &'a str>) -> Table {
    let set = |name: &str| std::env::var_os(name).unwrap_or_default();
    Table::new(width(set), colored(color, io::stdout().is_terminal(), set), files)
}

/// Columns of the terminal; where there is none `COLUMNS` may tell them (POSIX.1-2017, Base Definitions, 8.3).
fn width(set: impl Fn(&str) -> OsString) -> usize {
    let told = || set("COLUMNS").to_str()?.parse().ok().filter(|columns| *columns > 0);
    terminal_size::terminal_size().map(|(width, _)| width.0.into()).or_else(told).unwrap_or(WIDTH)
}

/// `NO_COLOR` counts when it is not empty (no-color.org).
fn colored(color: Color, terminal: bool, set: impl Fn(&str) -> OsString) -> bool {
    match color {
        Color::Always => true,
        Color::Never => false,
        Color::Auto => terminal && set("NO_COLOR").is_empty() && set("TERM") != "dumb",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use variegauge::base::raster::Raster;
    use variegauge::calibrate::{Calibrated, White, WhiteSource};
    use variegauge::options::Options;
    use variegauge::photo::{Photo, Primaries};

    #[test]
    fn colour_needs_a_terminal_that_shows_it_and_nobody_against_it() {
        let auto = |terminal: bool, name: &str, value: &str| {
            colored(Color::Auto, terminal, |asked| if asked == name { value.into() } else { OsString::new() })
        };
        assert!(auto(true, "TERM", "xterm") && auto(true, "NO_COLOR", ""));
        assert!(!auto(true, "NO_COLOR", "1") && !auto(true, "TERM", "dumb") && !auto(false, "TERM", "xterm"));
        assert!(colored(Color::Always, false, |_| "1".into()) && !colored(Color::Never, true, |_| OsString::new()));
    }

    #[test]
    fn a_photo_gets_its_three_pictures_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let photo = Photo::of(Raster::filled(5, 3, [120, 120, 120]), Primaries::Srgb);
        let white = White { source: WhiteSource::Estimated, rgb: [1.0; 3], mired_sd: 0.0, duv_sd: 0.0 };
        let calibrated = Calibrated::new(photo, white);
        let outcome = Outcome { calibrated, plants: Vec::new() };
        let record = PhotoRecord::graded("in/IMG.jpg", "IMG-2", &outcome, &Options::default());
        let folder = folder.path();
        let inputs = Inputs::new(std::iter::empty());
        Pictures { masks: Some(folder.into()), overlay: Some(folder.into()), report: false, inputs: &inputs }
            .write(&outcome, &record)
            .unwrap();
        let size = |name| image::image_dimensions(folder.join(name)).unwrap();
        assert_eq!(size("IMG-2.tissue.png"), (5, 3));
        assert_eq!(size("IMG-2.plants.png"), (5, 3));
        assert!(size("IMG-2.overlay.jpg").0 > 1000);
        assert_eq!(folder.read_dir().unwrap().count(), 3);
    }
}
