//! Command line.

/// Runs the command and gives the exit code.
pub(crate) fn main() -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
