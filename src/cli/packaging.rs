//! `variegauge completions` and `variegauge man`: what is installed beside the program, made from its own arguments.

use super::args::Args;
use super::book::print;
use super::{Exit, say};
use clap::{Command, CommandFactory};
use clap_complete::{Shell, generate};
use clap_mangen::Man;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use variegauge::error::Result;
use variegauge::report::file;

const NAME: &str = "variegauge";

pub(super) const SHELLS: &str = "\
Examples:
  variegauge completions bash > ~/.local/share/bash-completion/completions/variegauge
  variegauge completions zsh > ~/.zfunc/_variegauge
  variegauge completions fish > ~/.config/fish/completions/variegauge.fish";

pub(super) const PAGES: &str = "\
Examples:
  variegauge man ~/.local/share/man/man1                 then `man variegauge-grade`";

/// `variegauge completions`.
#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell
    shell: Shell,
}

/// `variegauge man`.
#[derive(Debug, clap::Args)]
pub(super) struct Manual {
    /// The folder to write them to
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

/// Runs `completions`.
pub(super) fn completions(args: &Completions) -> Exit {
    let mut script = Vec::new();
    generate(args.shell, &mut Args::command(), NAME, &mut script);
    print(&String::from_utf8_lossy(&script)).unwrap_or_else(|error| say::failed(&error))
}

/// Runs `man`.
pub(super) fn manual(args: &Manual) -> Exit {
    let mut program = Args::command().disable_help_subcommand(true);
    program.build();
    match file::make_folder(&args.folder).and_then(|()| pages(&program, &args.folder)) {
        Ok(count) => {
            say::line(&say::safe(&format!("wrote {count} pages to {}", args.folder.display())));
            Exit::Graded
        }
        Err(error) => say::failed(&error),
    }
}

/// Writes the page of a command and those of the commands under it; how many.
fn pages(command: &Command, folder: &Path) -> Result<usize> {
    let man = Man::new(command.clone()).source(concat!("variegauge ", env!("CARGO_PKG_VERSION")));
    file::write(&folder.join(man.get_filename()), |out| {
        man.render(out)?;
        examples(command, out)
    })?;
    command.get_subcommands().try_fold(1, |count, command| Ok(count + pages(command, folder)?))
}

/// The examples as they stand in the help, in lines that are not filled (groff(7): `nf`).
fn examples(command: &Command, out: &mut dyn Write) -> io::Result<()> {
    let Some(text) = command.get_before_help().map(ToString::to_string) else { return Ok(()) };
    let lines = text.replace('\\', "\\e").replace('-', "\\-").replace('\'', "\\(aq").replace('~', "\\(ti");
    writeln!(out, ".SH EXAMPLES\n.nf")?;
    lines.lines().skip(1).try_for_each(|line| writeln!(out, "{line}"))?;
    writeln!(out, ".fi")
}
