//! How far the batch is, on the standard error.

use super::say;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// Batches of up to this many photos are left without progress.
const FEW: usize = 3;

/// Time between lines where there is no terminal.
const PAUSE: Duration = Duration::from_secs(10);

/// Progress of a batch.
pub(super) enum Progress {
    /// Few photos, or not wanted.
    Silent,
    /// A line that moves.
    Bar(ProgressBar),
    /// A line every ten seconds.
    Lines { done: usize, all: usize, last: Instant },
}

impl Progress {
    pub(super) fn new(photos: usize, quiet: bool) -> Self {
        if quiet || photos <= FEW {
            return Self::Silent;
        }
        if !std::io::stderr().is_terminal() {
            return Self::Lines { done: 0, all: photos, last: Instant::now() };
        }
        let style =
            ProgressStyle::with_template("{bar:20} {pos}/{len} photos  {eta} left").expect("the template is sound");
        let bar = ProgressBar::new(photos as u64).with_style(style);
        bar.tick();
        Self::Bar(bar)
    }

    /// One more photo is done.
    pub(super) fn step(&mut self) {
        match self {
            Self::Silent => {}
            Self::Bar(bar) => bar.inc(1),
            Self::Lines { done, all, last } => {
                *done += 1;
                if last.elapsed() >= PAUSE {
                    *last = Instant::now();
                    say::line(&format!("{done}/{all} photos"));
                }
            }
        }
    }

    /// Prints something while the moving line is out of the way.
    pub(super) fn aside(&self, print: impl FnOnce()) {
        match self {
            Self::Bar(bar) => bar.suspend(print),
            Self::Silent | Self::Lines { .. } => print(),
        }
    }

    /// Takes the line away.
    pub(super) fn end(&self) {
        if let Self::Bar(bar) = self {
            bar.finish_and_clear();
        }
    }
}
