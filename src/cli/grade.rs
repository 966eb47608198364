//! `variegauge grade`: from photos and folders to tables and pictures.

use super::args::{Grade, Target, Work};
use super::find::{self, Found, Source};
use super::keep::Keeper;
use super::one::{self, Done};
use super::outputs::{self, Pictures, Tables};
use super::results::Results;
use super::resume::{self, Earlier};
use super::{Exit, interrupt, say};
use std::path::Path;
use std::sync::atomic::Ordering;
use variegauge::batch::{self, Bounds};
use variegauge::error::Error;
use variegauge::options::{Options, Scale};
use variegauge::pipeline;
use variegauge::report::file::{Inputs, Output};
use variegauge::report::names;
use variegauge::report::text::counted;

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
    if args.resume && args.outputs.jsonl == Some(Target::Stdout) {
        return wrong("--resume goes on from the FILE of --jsonl: name one instead of `-`");
    }
    if args.resume && (args.outputs.report.is_some() || args.outputs.explain.is_some()) {
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
    say::hint("name photos (JPEG, HEIC, PNG, WebP, TIFF) or a folder that holds some");
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
    let keeper = book.as_ref().map(|book| Keeper::open(book, options)).transpose()?;
    let (earlier, jsonl) = lines(args, options, &inputs)?;
    let tables = Tables::open(&args.outputs, jsonl, &inputs, files.iter().map(String::as_str))?;
    let known = keeper.as_ref().filter(|_| !args.outputs.any_file()).map(Keeper::known).unwrap_or_default();
    let mut results = Results::new(args, (tables, keeper), found);
    let stop = interrupt::flag("finishing the photos in work; once more stops at once");
    let work = |index: usize, source: &Source| {
        let names = (files[index].as_str(), stems[index].as_str());
        let hash = if known.is_empty() && earlier.is_empty() { None } else { one::hash(&source.path) };
        if hash.as_ref().is_some_and(|hash| known.contains(hash)) {
            return None;
        }
        let before = hash.and_then(|hash| earlier.record(&hash));
        let before = before.filter(|record| pictures.are_there(record, names.1, earlier.is_sole(record)));
        let done = before.map(|record| Done::before(record, names));
        Some(done.unwrap_or_else(|| one::photo(source, names, options, Some(&pictures))))
    };
    let bounds = Bounds { jobs: args.work.jobs(), memory: *memory, stop: &stop };
    let take = |done| {
        results.take(done);
        if results.are_for_nobody() {
            stop.store(true, Ordering::SeqCst);
        }
    };
    batch::in_order(&found.sources, bounds, |source| need(source, *memory), work, take);
    Ok(results.end(&earlier, &pictures))
}

/// The JSON lines, and what an earlier run left in them, if this one is to go on from there.
fn lines(args: &Grade, options: &Options, inputs: &Inputs) -> Result<(Earlier, Option<Output>), Error> {
    let path = match &args.outputs.jsonl {
        None => return Ok((Earlier::default(), None)),
        Some(Target::Stdout) => return Ok((Earlier::default(), Some(outputs::stdout()))),
        Some(Target::File(path)) => path,
    };
    inputs.keep(path)?;
    let (earlier, jsonl) = resume::begin(path, args.resume.then_some(options))?;
    Ok((earlier, Some(jsonl)))
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

/// What was left out of folders, in words.
pub(super) fn left_out(found: &Found) -> String {
    let told = |n, what, fate| if n > 0 { format!("; {} {fate}", counted(n, what)) } else { String::new() };
    told(found.foreign, "other file", "left out") + &told(found.links, "link", "not followed")
}
