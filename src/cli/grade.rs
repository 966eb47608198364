//! `variegauge grade`: from photos and folders to tables and pictures.

use super::args::{Grade, Target, Work};
use super::find::{self, Found, Source};
use super::keep::Keeper;
use super::one::{self, Count, Done};
use super::outputs::{self, Pictures, Tables};
use super::progress::Progress;
use super::resume::{Earlier, Met};
use super::{Exit, interrupt, say};
use std::collections::HashSet;
use std::path::Path;
use std::sync::atomic::Ordering;
use variegauge::batch::{self, Bounds};
use variegauge::error::Error;
use variegauge::options::{Options, Scale};
use variegauge::pipeline;
use variegauge::record::seen::Numbers;
use variegauge::report::file::Inputs;
use variegauge::report::names;
use variegauge::report::text::counted;

/// Told once a run.
const CAUTION: &str = "Decisions and scores are estimates from a photo, by the standard; stress red is of the season.";

/// Runs the command.
pub(super) fn run(args: &Grade) -> Exit {
    let options = match args.work.measuring.options() {
        Ok(options) => options,
        Err(text) => return wrong(&say::safe(&text)),
    };
    if outputs::clash(&args.outputs) {
        return wrong(
            "two of --csv, --jsonl, --explain and --report go to one place; name files, and send at most one to `-`",
        );
    }
    if args.resume
        && (!matches!(args.outputs.jsonl, Some(Target::File(_)))
            || args.outputs.report.is_some()
            || args.outputs.explain.is_some())
    {
        return wrong(
            "--resume goes on from the FILE of --jsonl, which has no pictures of plants and no single leaves: it goes with --csv, \
             --book, --overlay and --masks, not with --report and --explain",
        );
    }
    let found = find::photos(&args.paths, !args.work.no_recursive);
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
    say::hint("name photos (JPEG, PNG, WebP, TIFF) or a folder that holds some");
    Exit::NoPhoto
}

/// Grades what was found; an error is an output that cannot even be opened.
fn grade(args: &Grade, options: &Options, found: &Found) -> Result<Exit, Error> {
    let Work { book, memory, measuring, .. } = &args.work;
    let paths: Vec<&Path> = found.sources.iter().map(|source| source.path.as_path()).collect();
    let files: Vec<String> = paths.iter().map(|path| path.to_string_lossy().into_owned()).collect();
    let stems = names::stems(&paths);
    let inputs = Inputs::new(paths.iter().copied().chain(measuring.files_read()));
    let pictures = Pictures::open(&args.outputs, &stems, &inputs)?;
    let mut keeper = book.as_ref().map(|book| Keeper::open(book, options)).transpose()?;
    let earlier = earlier(args, options, &inputs)?;
    let mut tables = Tables::open(&args.outputs, &inputs, files.iter().map(String::as_str))?;
    let known = keeper.as_ref().filter(|_| !args.outputs.any_file()).map(Keeper::known).unwrap_or_default();
    let mut progress = Progress::new(paths.len(), args.outputs.quiet);
    let (mut count, mut told, mut numbers, mut met) = <(Count, HashSet<_>, Numbers, Met)>::default();
    let mut lost = false;
    let stop = interrupt::flag("finishing the photos in work; once more stops at once");
    let work = |index: usize, source: &Source| {
        let names = (files[index].as_str(), stems[index].as_str());
        let hash = if known.is_empty() && earlier.is_empty() { None } else { one::hash(&source.path) };
        if hash.as_ref().is_some_and(|hash| known.contains(hash)) {
            return None;
        }
        let before = hash.and_then(|hash| earlier.record(&hash, names)).filter(|record| pictures.are_there(record));
        let before = before.map(|record| Done { before: true, ..Done::of(record, None) });
        Some(before.unwrap_or_else(|| one::photo(source, names, options, Some(&pictures))))
    };
    let bounds = Bounds { jobs: args.work.jobs(), memory: *memory, stop: &stop };
    batch::in_order(
        &found.sources,
        bounds,
        |source| need(source, *memory),
        work,
        |done| {
            progress.step();
            let Some(mut done) = done else { return count.unchanged += 1 };
            numbers.mark(&mut done.record);
            count.add(&done);
            met.note(&done.record);
            if let Some(keeper) = &mut keeper {
                progress.aside(|| keeper.keep(&done.record));
            }
            progress.aside(|| tell(done, &mut tables, &mut told));
            if keeper.is_none() && !pictures.are_wanted() && tables.are_lost() {
                lost = true;
                stop.store(true, Ordering::SeqCst);
            }
        },
    );
    progress.end();
    let whole = tables.finish(|out| earlier.write_rest(&met, out));
    if !args.outputs.quiet {
        say::line(&format!("{}{}", count.told(), left_out(found)));
        sum_up(args, &count, keeper.as_ref(), whole.then(|| pictures.told()));
    }
    let broken = keeper.is_some_and(|keeper| keeper.broken);
    let cut = !lost && count.all() < paths.len();
    if cut {
        interrupted(args, count.all(), paths.len());
    }
    Ok(match (whole, count.refused + count.failed) {
        _ if broken => Exit::Book,
        (false, _) => Exit::Output,
        _ if cut => Exit::Interrupted,
        (true, 0) => Exit::Graded,
        (true, _) => Exit::Some,
    })
}

/// What an earlier run left, if this one is to go on from there.
fn earlier(args: &Grade, options: &Options, inputs: &Inputs) -> Result<Earlier, Error> {
    match &args.outputs.jsonl {
        Some(Target::File(path)) if args.resume => {
            inputs.keep(path)?;
            Earlier::open(path, options)
        }
        _ => Ok(Earlier::default()),
    }
}

/// Bytes that a photo needs; told if they are more than all that it may have.
pub(super) fn need(source: &Source, memory: Option<u64>) -> u64 {
    let need = pipeline::need(&source.path);
    if memory.is_some_and(|memory| need > memory) {
        let megabytes = need / 1_000_000;
        say::warning(&say::safe(&format!(
            "{}: needs about {megabytes} MB, more than --memory; it is done alone",
            source.path.display()
        )));
    }
    need
}

/// Tells what a batch that was stopped has, and how to go on.
fn interrupted(args: &Grade, done: usize, all: usize) {
    say::warning(&format!("interrupted: {done} of {all} photos are done"));
    let state = matches!(args.outputs.jsonl, Some(Target::File(_)));
    say::hint(match () {
        () if args.resume => "the same command goes on from there",
        () if state => "the same command with --resume goes on from there",
        () if args.work.book.is_some() && !args.outputs.any_file() => {
            "the same command goes on with the photos that are not in the book"
        }
        () => "with --jsonl FILE, --resume can go on from there",
    });
}

fn sum_up(args: &Grade, count: &Count, keeper: Option<&Keeper>, pictures: Option<Vec<String>>) {
    if count.graded > 0 {
        say::line(CAUTION);
    }
    if let Some(keeper) = keeper {
        say::line(&keeper.told());
    }
    let written: Vec<String> =
        pictures.map(|pictures| outputs::told(&args.outputs).into_iter().chain(pictures).collect()).unwrap_or_default();
    if !written.is_empty() {
        say::line(&format!("wrote {}", written.join(", ")));
    }
}

/// Hands a photo to the tables and says what went wrong; what to do about it is told once a run.
fn tell(done: Done, tables: &mut Tables, told: &mut HashSet<&'static str>) {
    let Done { record, seen, trouble, .. } = done;
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

/// What was left out of folders, in words.
fn left_out(found: &Found) -> String {
    let told = |n, what, fate| if n > 0 { format!("; {} {fate}", counted(n, what)) } else { String::new() };
    told(found.foreign, "other file", "left out") + &told(found.links, "link", "not followed")
}
