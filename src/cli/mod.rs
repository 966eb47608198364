//! The command line: arguments, printing, exit codes. The only place that reads the terminal and the environment.

mod args;
mod book;
mod card;
mod family;
mod find;
mod grade;
mod guard;
mod interrupt;
mod keep;
mod listing;
mod one;
mod outputs;
mod packaging;
mod place;
mod progress;
mod results;
mod resume;
mod say;
mod season;
mod standard;
mod values;
mod watch;

use args::{Args, Command};
use clap::Parser;
use std::process::ExitCode;

/// How the command ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Exit {
    /// All photos were graded, the cards or the listing were written, or the standard is right.
    Graded = 0,
    /// Some photos failed or were refused.
    Some = 1,
    /// Wrong usage (also clap's own code for it).
    Usage = 2,
    /// No photo was found.
    NoPhoto = 3,
    /// An output cannot be written.
    Output = 4,
    /// The stock book is busy or damaged.
    Book = 5,
    /// Stopped by Ctrl-C; 128 and the number of the signal, as shells have it.
    Interrupted = 130,
}

/// Runs the command and gives the exit code.
pub(crate) fn main() -> ExitCode {
    guard::install();
    interrupt::outlive_limits();
    let exit = match Args::parse().command {
        Command::Grade(args) => grade::run(&args),
        Command::Watch(args) => watch::run(&args),
        Command::Book(args) => book::run(&args),
        Command::Mothers(args) => family::mothers(&args),
        Command::Tree(args) => family::tree(&args),
        Command::Season(args) => season::season(&args),
        Command::Growth(args) => season::growth(&args),
        Command::Card(args) => card::run(&args),
        Command::Listing(args) => listing::run(&args),
        Command::Standard(args) => standard::run(&args),
        Command::Completions(args) => packaging::completions(&args),
        Command::Man(args) => packaging::manual(&args),
    };
    ExitCode::from(exit as u8)
}
