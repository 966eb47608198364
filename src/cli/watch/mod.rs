//! `variegauge watch`: grades photos as they come into a folder, as from a phone that syncs.

mod content;
mod sink;
mod steady;

use super::args::{Target, Watch};
use super::find::{self, Source};
use super::keep::Keeper;
use super::one::{self, Count, Done};
use super::outputs;
use super::place::Place;
use super::{Exit, grade, interrupt, say};
use sink::{Form, Sink};
use std::collections::HashSet;
use std::fs;
use std::io::{self, Write};
use std::path::Path;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::Instant;
use steady::Folder;
use variegauge::batch::{self, Bounds};
use variegauge::error::Result;
use variegauge::options::{Options, Scale};
use variegauge::record::Status;
use variegauge::report::file::Inputs;
use variegauge::report::names;
use variegauge::report::table::Table;

pub(super) const ABOUT: &str = "Grades photos as they come into a folder, e.g. from a phone that syncs: each is taken when it has \
    not changed between two looks, so that half-copied files wait. Photos are only read, never changed.";

pub(super) const EXAMPLES: &str = "\
Examples:
  variegauge watch ~/Phone --csv grades.csv              a table that grows
  variegauge watch ~/Phone --book default --new-only     into the stock book, only what comes from now on";

pub(super) const AFTER: &str = "All photos of the folder are graded that are not yet in the files named, with these settings; so it may be \
    ended and started again. Rows are added; what is in the files stays. A photo that cannot be read is told once and tried again \
    when it changes or can be read. A file that grows after it was taken, as when the film of a moving photo comes after a pause, is another photo with rows of \
    its own. Left out: hidden files, links, and names that end in .tmp, .part and the like. Ctrl-C ends it.";

/// Photos taken between two looks: this many times the jobs, so that what comes need not wait for a backlog.
const AHEAD: usize = 4;

/// Where photos go, and what has come of them so far.
struct Watching {
    table: Option<Table>,
    sinks: Vec<Sink>,
    keeper: Option<Keeper>,
    /// SHA-256 of the photos in the stock book.
    kept: HashSet<String>,
    count: Count,
    /// Files that could not be read, which is told once.
    told: HashSet<String>,
}

/// Runs the command.
pub(super) fn run(args: &Watch) -> Exit {
    let wrong = |text: &str| {
        say::error(&say::safe(text));
        say::hint("variegauge watch --help shows examples");
        Exit::Usage
    };
    let options = match args.work.measuring.options() {
        Ok(options) => options,
        Err(text) => return wrong(&text),
    };
    if options.hint.is_some() || matches!(options.scale, Some(Scale::Known { .. })) {
        return wrong("--at, --box, --stroke and --known tell of one photo, but many may come");
    }
    if [&args.csv, &args.jsonl].into_iter().flatten().any(|target| *target == Target::Stdout) {
        return wrong("rows are added to files: name one instead of `-`");
    }
    let kept = args.csv.is_some() || args.jsonl.is_some() || args.work.book.is_some();
    if args.quiet && !kept {
        return wrong("with --quiet and without --csv, --jsonl or --book nothing would come of it; name one of them");
    }
    if clash(args) {
        return wrong("two of --csv, --jsonl and --book are one file; name several");
    }
    if !args.folder.is_dir() {
        return no_folder(&args.folder);
    }
    if !kept {
        say::hint("the table is shown only; --csv, --jsonl or --book keeps it");
    }
    watch(args, &options).unwrap_or_else(|error| say::failed(&error))
}

fn no_folder(path: &Path) -> Exit {
    let (told, remedy) = if path.exists() {
        ("is a file, not a folder", "name the folder into which photos come; variegauge grade takes single photos")
    } else {
        ("no such folder", "check the name, or make the folder first")
    };
    say::error(&say::safe(&format!("{}: {told}", path.display())));
    say::hint(remedy);
    Exit::NoPhoto
}

fn watch(args: &Watch, options: &Options) -> Result<Exit> {
    let mut watching = Watching::open(args, options)?;
    let stop = interrupt::flag("ending; once more stops at once");
    if !args.quiet {
        say::line(&say::safe(&format!("watching {}; Ctrl-C ends it", args.folder.display())));
    }
    let bounds = Bounds { jobs: args.work.jobs(), memory: args.work.memory, stop: &stop };
    let (mut folder, mut trouble, mut here) = (Folder::new(args.every), None, true);
    if args.new_only {
        folder.pass(&look(args));
    }
    let stopped = || stop.load(Ordering::SeqCst);
    while !stopped() {
        let begin = Instant::now();
        tell_whether_there(&args.folder, &mut here);
        let ready = folder.ready(look(args), begin).into_iter().take_while(|_| !stopped());
        let is_next = |source: &Source| {
            folder.give(&source.path);
            watching.is_new(&source.path)
        };
        let new: Vec<Source> = ready.filter(is_next).take(AHEAD * bounds.jobs).collect();
        let mut pause = new.len() < AHEAD * bounds.jobs;
        let work = |_: usize, source: &Source| graded(source, options);
        let mut sources = new.iter();
        batch::in_order(
            &new,
            bounds,
            |source| grade::need(source, bounds.memory),
            work,
            |done| {
                let Some(Source { path, .. }) = sources.next() else { return };
                let is_still = folder.is_still(path);
                pause |= done.unread;
                if done.unread || !is_still {
                    folder.again(path);
                }
                if let Some(Err(error)) = is_still.then(|| watching.take(&done)) {
                    stop.store(true, Ordering::SeqCst);
                    trouble = Some(error);
                }
            },
        );
        while pause && begin.elapsed() < args.every && !stopped() {
            thread::sleep(interrupt::SOON);
        }
    }
    if !args.quiet {
        say::line(&watching.count.told());
        watching.keeper.iter().for_each(|keeper| say::line(&keeper.told()));
    }
    match trouble {
        Some(error) => Err(error),
        None if watching.keeper.is_some_and(|keeper| keeper.broken) => Ok(Exit::Book),
        None => Ok(Exit::Graded),
    }
}

/// Whether two of the files are one.
fn clash(args: &Watch) -> bool {
    let path = |target: &Target| match target {
        Target::File(path) => Some(outputs::place(path)),
        Target::Stdout => None,
    };
    let book = args.work.book.as_ref().and_then(|book| match book {
        Place::File(path) => Some(outputs::place(path)),
        Place::Usual => None,
    });
    let mut places = HashSet::new();
    !args.csv.iter().chain(&args.jsonl).filter_map(path).chain(book).all(|place| places.insert(place))
}

/// Tells once that the folder is gone, as when a share is cut off, and once that it is back.
fn tell_whether_there(folder: &Path, here: &mut bool) {
    let was = std::mem::replace(here, fs::read_dir(folder).is_ok());
    let name = folder.display();
    match (was, *here) {
        (true, false) => {
            say::warning(&say::safe(&format!("{name}: the folder is gone or cannot be read; waiting for it")));
        }
        (false, true) => say::line(&say::safe(&format!("{name}: the folder is back"))),
        (true, true) | (false, false) => {}
    }
}

/// The photos that are in the folder now.
fn look(args: &Watch) -> Vec<Source> {
    find::photos(std::slice::from_ref(&args.folder), !args.work.no_recursive).sources
}

fn graded(source: &Source, options: &Options) -> Done {
    let stem = names::stems(&[&source.path]).concat();
    one::photo(source, (&source.path.to_string_lossy(), &stem), options, None)
}

impl Watching {
    fn open(args: &Watch, options: &Options) -> Result<Self> {
        let photos = look(args);
        let inputs =
            Inputs::new(photos.iter().map(|photo| photo.path.as_path()).chain(args.work.measuring.files_read()));
        let open = |target: &Option<Target>, form: Form| match target {
            Some(Target::File(path)) => inputs.keep(path).and_then(|()| Sink::open(path, form, options)).map(Some),
            Some(Target::Stdout) | None => Ok(None),
        };
        let sinks = [open(&args.csv, Form::Csv)?, open(&args.jsonl, Form::Jsonl)?].into_iter().flatten().collect();
        let keeper = args.work.book.as_ref().map(|book| Keeper::open(book, options)).transpose()?;
        let files: Vec<_> = photos.iter().map(|photo| photo.path.to_string_lossy()).collect();
        let table = (!args.quiet).then(|| outputs::table(args.color, files.iter().map(AsRef::as_ref)));
        let mut watching = Self {
            table: None,
            sinks,
            kept: keeper.as_ref().map(Keeper::known).unwrap_or_default(),
            keeper,
            count: Count::default(),
            told: HashSet::new(),
        };
        watching.print(&table.map(|table| table.heading()).unwrap_or_default());
        watching.table = table;
        Ok(watching)
    }

    /// Whether a photo is missing in one of the files, or there are none.
    fn is_new(&self, path: &Path) -> bool {
        let Some(sha256) = one::hash(path) else { return true };
        let book = self.keeper.as_ref().map(|_| self.kept.contains(&sha256));
        let files = self.sinks.iter().map(|sink| sink.has(&sha256)).chain(book).collect::<Vec<_>>();
        files.is_empty() || files.contains(&false)
    }

    fn take(&mut self, done: &Done) -> Result<()> {
        let record = &done.record;
        if let Some(reason) = &record.error {
            if record.status == Status::Failed && !self.told.insert(record.file.clone()) {
                return Ok(());
            }
            say::error(&say::safe(&format!("{}: {reason}", record.file)));
        }
        self.count.add(done);
        if record.status == Status::Failed {
            return Ok(());
        }
        self.print(&self.table.map(|table| table.lines(record)).unwrap_or_default());
        if let Some(keeper) = &mut self.keeper {
            keeper.keep(record);
        }
        self.kept.extend(record.sha256.clone());
        self.sinks.iter_mut().try_for_each(|sink| sink.take(record))
    }

    /// A reader of the standard output that has seen enough is no reason to end.
    fn print(&mut self, text: &str) {
        let mut out = io::stdout().lock();
        if out.write_all(text.as_bytes()).and_then(|()| out.flush()).is_err() {
            self.table = None;
        }
    }
}
