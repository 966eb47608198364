//! The `variegauge` command. All work is in the library; this file only starts the command line.

mod cli;

fn main() -> std::process::ExitCode {
    cli::main()
}
