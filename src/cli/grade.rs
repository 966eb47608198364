//! `variegauge grade`: from photos and folders to tables and pictures.

use super::args::Grade;
use super::find::{self, Found, Source};
use super::guard::guarded;
use super::keep::Keeper;
use super::outputs::{self, Pictures, Tables};
use super::progress::Progress;
use super::{Exit, say};
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::fs;
use std::path::Path;
use variegauge::base::hex::hex;
use variegauge::error::Error;
use variegauge::options::{Options, Scale};
use variegauge::photo::limits::MAX_FILE_BYTES;
use variegauge::pipeline;
use variegauge::record::seen::Numbers;
use variegauge::record::{PhotoRecord, Status};
use variegauge::report::file::Inputs;
use variegauge::report::html::batch::Seen;
use variegauge::report::names;
use variegauge::report::text::counted;

/// What became of one photo, once its pictures are written and its pixels are gone.
struct Done {
    record: PhotoRecord,
    /// What the report shows beside it.
    seen: Seen,
    /// A picture that could not be written.
    trouble: Option<Error>,
}

/// Told once a run.
const CAUTION: &str = "Decisions and scores are estimates from a photo, by the standard; stress red is of the season.";

/// How many photos ended how.
#[derive(Default)]
struct Count {
    graded: usize,
    refused: usize,
    failed: usize,
    plants: usize,
    unchanged: usize,
}

/// Runs the command.
pub(super) fn run(args: &Grade) -> Exit {
    let options = match args.measuring.options() {
        Ok(options) => options,
        Err(text) => return wrong(&say::safe(&text)),
    };
    if outputs::clash(&args.outputs) {
        return wrong(
            "two of --csv, --jsonl, --explain and --report go to one place; name files, and send at most one to `-`",
        );
    }
    let found = find::photos(&args.paths, !args.no_recursive);
    if found.sources.iter().all(|source| source.trouble.is_some()) {
        return nothing(&found);
    }
    if options.hint.is_some() && found.sources.len() > 1 {
        return wrong("--at, --box and --stroke tell of one photo, but several were found");
    }
    if matches!(options.scale, Some(Scale::Known { .. })) && found.sources.len() > 1 {
        return wrong("--known tells of one photo, but several were found");
    }
    grade(args, &options, &found).unwrap_or_else(|error| say::failed(&error))
}

fn wrong(text: &str) -> Exit {
    say::error(text);
    say::hint("variegauge grade --help shows examples");
    Exit::Usage
}

fn nothing(found: &Found) -> Exit {
    for source in &found.sources {
        let trouble = source.trouble.as_ref().map(ToString::to_string).unwrap_or_default();
        say::error(&say::safe(&format!("{}: {trouble}", source.path.display())));
    }
    if found.sources.is_empty() {
        say::error(&format!("no photo found{}", left_out(found)));
    }
    say::hint("name photos (JPEG, HEIC, PNG, WebP, TIFF) or a folder that holds some");
    Exit::NoPhoto
}

/// Grades what was found; an error is an output that cannot even be opened.
fn grade(args: &Grade, options: &Options, found: &Found) -> Result<Exit, Error> {
    let paths: Vec<&Path> = found.sources.iter().map(|source| source.path.as_path()).collect();
    let files: Vec<String> = paths.iter().map(|path| path.to_string_lossy().into_owned()).collect();
    let stems = names::stems(&paths);
    let inputs = Inputs::new(paths.iter().copied().chain(args.measuring.files_read()));
    let pictures = Pictures::open(&args.outputs, &stems, &inputs)?;
    let mut keeper = args.book.as_ref().map(|book| Keeper::open(book, options)).transpose()?;
    let mut tables = Tables::open(&args.outputs, &inputs, files.iter().map(String::as_str))?;
    let known = keeper.as_ref().filter(|_| !args.outputs.any_file()).map(Keeper::known).unwrap_or_default();
    let mut progress = Progress::new(paths.len(), args.outputs.quiet);
    let (mut count, mut told, mut numbers) = (Count::default(), HashSet::new(), Numbers::default());
    let work = |index: usize, source: &Source| {
        let kept = !known.is_empty() && hash(&source.path).is_some_and(|hash| known.contains(&hash));
        (!kept).then(|| photo(source, (&files[index], &stems[index]), options, &pictures))
    };
    pipeline::in_order(&found.sources, jobs(args, paths.len()), work, |done| {
        progress.step();
        let Some(mut done) = done else { return count.unchanged += 1 };
        numbers.mark(&mut done.record);
        count.add(&done.record);
        if let Some(keeper) = &mut keeper {
            progress.aside(|| keeper.keep(&done.record));
        }
        progress.aside(|| tell(done, &mut tables, &mut told));
    });
    progress.end();
    let whole = tables.finish();
    if !args.outputs.quiet {
        let written: Vec<String> = outputs::told(&args.outputs).into_iter().chain(pictures.told()).collect();
        say::line(&format!("{}{}", count.told(), left_out(found)));
        if count.graded > 0 {
            say::line(CAUTION);
        }
        if let Some(keeper) = &keeper {
            say::line(&keeper.told());
        }
        if whole && !written.is_empty() {
            say::line(&format!("wrote {}", written.join(", ")));
        }
    }
    if keeper.is_some_and(|keeper| keeper.broken) {
        return Ok(Exit::Book);
    }
    Ok(match (whole, count.refused + count.failed) {
        (false, _) => Exit::Output,
        (true, 0) => Exit::Graded,
        (true, _) => Exit::Some,
    })
}

fn jobs(args: &Grade, photos: usize) -> usize {
    let cores = || std::thread::available_parallelism().map_or(1, usize::from);
    args.jobs.map_or_else(cores, usize::from).min(photos)
}

/// Grades one photo and writes its pictures; whatever happens, there is a record.
fn photo(source: &Source, (file, stem): (&str, &str), options: &Options, pictures: &Pictures) -> Done {
    let stopped = |status, reason| PhotoRecord::stopped(file, stem, (status, reason), options);
    let unmeasured = |error: &Error| Done {
        record: PhotoRecord { sha256: hash(&source.path), ..stopped(Status::of(error), error.to_string()) },
        seen: Seen { remedy: say::remedy(error), ..Seen::default() },
        trouble: None,
    };
    let attempt = || {
        if let Some(error) = &source.trouble {
            return Done {
                record: stopped(Status::Failed, error.to_string()),
                seen: Seen { remedy: say::remedy(error), ..Seen::default() },
                trouble: None,
            };
        }
        let outcome = match pipeline::run(&source.path, options) {
            Ok(outcome) => outcome,
            Err(error) => return unmeasured(&error),
        };
        let record = PhotoRecord::graded(file, stem, &outcome, options);
        let trouble = pictures.write(&outcome, &record).err();
        Done { record, seen: Seen { remedy: None, thumbnails: pictures.thumbnails(&outcome) }, trouble }
    };
    guarded(attempt).unwrap_or_else(|panic| Done {
        record: stopped(Status::Failed, format!("an error in the program: {panic}")),
        seen: Seen { remedy: Some("please report this, with the photo if you can"), ..Seen::default() },
        trouble: None,
    })
}

/// SHA-256 of a photo that was not graded, so that it can be known again.
fn hash(path: &Path) -> Option<String> {
    let small = fs::metadata(path).is_ok_and(|kind| kind.is_file() && kind.len() <= MAX_FILE_BYTES);
    let bytes = if small { fs::read(path).ok() } else { None };
    bytes.map(|bytes| hex(&Sha256::digest(bytes)))
}

/// Hands a photo to the tables and says what went wrong; what to do about it is told once a run.
fn tell(done: Done, tables: &mut Tables, told: &mut HashSet<&'static str>) {
    let Done { record, seen, trouble } = done;
    let remedy = seen.remedy;
    let reason = record.error.as_ref().map(|reason| say::safe(&format!("{}: {reason}", record.file)));
    tables.add(record, seen);
    if let Some(reason) = reason {
        if !tables.are_seen() {
            say::error(&reason);
        }
        remedy.into_iter().filter(|remedy| told.insert(remedy)).for_each(say::hint);
    }
    if let Some(error) = trouble {
        tables.break_at(&error);
    }
}

impl Count {
    fn add(&mut self, record: &PhotoRecord) {
        self.plants += record.plants.len();
        match record.status {
            Status::Graded => self.graded += 1,
            Status::Refused => self.refused += 1,
            Status::Failed => self.failed += 1,
        }
    }

    fn told(&self) -> String {
        let Self { graded, refused, failed, plants, unchanged } = self;
        let photos = counted(graded + refused + failed + unchanged, "photo");
        let unchanged = if *unchanged > 0 { format!("{unchanged} unchanged, ") } else { String::new() };
        let plants = counted(*plants, "plant");
        format!("{photos}: {unchanged}{graded} graded ({plants}), {refused} refused, {failed} failed")
    }
}

/// What was left out of folders, in words.
fn left_out(found: &Found) -> String {
    let told = |n, what, fate| if n > 0 { format!("; {} {fate}", counted(n, what)) } else { String::new() };
    told(found.foreign, "other file", "left out") + &told(found.links, "link", "not followed")
}
