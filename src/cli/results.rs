//! What comes out of a batch: into the tables and the book, and in words.

use super::args::{Grade, Target};
use super::find::Found;
use super::grade::left_out;
use super::keep::Keeper;
use super::one::{Count, Done};
use super::outputs::{self, Pictures, Tables};
use super::progress::Progress;
use super::resume::{Earlier, Met};
use super::{Exit, say};
use std::collections::HashSet;
use variegauge::record::seen::Numbers;
use variegauge::report::file;

/// Told once a run.
const CAUTION: &str = "Decisions and scores are estimates from a photo, by the standard; stress red is of the season.";

/// The results so far.
pub(super) struct Results<'a> {
    args: &'a Grade,
    found: &'a Found,
    tables: Tables,
    keeper: Option<Keeper>,
    progress: Progress,
    count: Count,
    /// Remedies that were told.
    told: HashSet<&'static str>,
    numbers: Numbers,
    met: Met,
}

impl<'a> Results<'a> {
    pub(super) fn new(args: &'a Grade, (tables, keeper): (Tables, Option<Keeper>), found: &'a Found) -> Self {
        let progress = Progress::new(found.sources.len(), args.outputs.quiet);
        let (count, told, numbers, met) = Default::default();
        Self { args, found, tables, keeper, progress, count, told, numbers, met }
    }

    /// Takes the next photo; `None` is one that needed no work.
    pub(super) fn take(&mut self, done: Option<Done>) {
        self.progress.step();
        let Some(mut done) = done else { return self.count.unchanged += 1 };
        self.numbers.mark(&mut done.record);
        self.count.add(&done);
        self.met.note(&done.record);
        let Self { progress, keeper, tables, told, .. } = self;
        progress.aside(|| {
            if let Some(keeper) = keeper {
                keeper.keep(&done.record);
            }
            tell(done, tables, told);
        });
    }

    /// Whether there were outputs and none is left, so that further work is for nobody.
    pub(super) fn are_for_nobody(&self) -> bool {
        let outputs = &self.args.outputs;
        self.keeper.is_none() && outputs.masks.is_none() && outputs.overlay.is_none() && self.tables.are_lost()
    }

    /// Completes the outputs and says what came of it all.
    pub(super) fn end(self, earlier: &Earlier, pictures: &Pictures) -> Exit {
        self.progress.end();
        let all = self.found.sources.len();
        let cut = self.count.all() < all && !self.are_for_nobody();
        let Self { args, found, tables, keeper, count, met, .. } = self;
        let whole = tables.finish(|out| earlier.write_rest(&met, out));
        if !args.outputs.quiet {
            say::line(&format!("{}{}", count.told(), left_out(found)));
            sum_up(args, &count, keeper.as_ref(), whole.then(|| pictures.told()));
        }
        if !whole {
            unwritten(args);
        }
        if cut {
            interrupted(args, count.all(), all);
        }
        match (whole, count.refused + count.failed) {
            _ if keeper.is_some_and(|keeper| keeper.broken) => Exit::Book,
            (false, _) => Exit::Output,
            _ if cut => Exit::Interrupted,
            (true, 0) => Exit::Graded,
            (true, _) => Exit::Some,
        }
    }
}

/// Tells where the lines are that could be written, if they have not got their name.
fn unwritten(args: &Grade) {
    let Some(Target::File(path)) = &args.outputs.jsonl else { return };
    let partial = file::partial(path);
    if partial.is_file() {
        let partial = say::safe(&partial.to_string_lossy());
        say::hint(&format!("what is done is in {partial}; the same command with --resume goes on from there"));
    }
}

/// Tells what a batch that was stopped has, and how to go on.
fn interrupted(args: &Grade, done: usize, all: usize) {
    say::warning(&format!("interrupted: {done} of {all} photos are done"));
    say::hint(if args.resume {
        "the same command goes on from there"
    } else if matches!(args.outputs.jsonl, Some(Target::File(_))) {
        "the same command with --resume goes on from there"
    } else if args.work.book.is_some() && !args.outputs.any_file() {
        "the same command goes on with the photos that are not in the book"
    } else {
        "with --jsonl FILE, --resume can go on from there"
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
    tables.add(record, &seen);
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
