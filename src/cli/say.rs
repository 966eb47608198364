//! Messages: always on the standard error, so that the standard output carries data only.

use super::Exit;
use std::io::{self, Write};
use variegauge::error::Error;
use variegauge::report::text::shown;

/// One message line. A closed standard error is no reason to stop.
pub(super) fn line(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}

/// `error: TEXT`.
pub(super) fn error(text: &str) {
    line(&format!("error: {text}"));
}

/// `warning: TEXT`.
pub(super) fn warning(text: &str) {
    line(&format!("warning: {text}"));
}

/// `hint: TEXT`.
pub(super) fn hint(text: &str) {
    line(&format!("hint: {text}"));
}

/// A text from outside (a file name, a reason) on one line, without anything that a terminal would obey.
pub(super) fn safe(text: &str) -> String {
    shown(text)
}

/// Tells an error that ends the command, what to do about it, and gives the exit code.
pub(super) fn failed(failure: &Error) -> Exit {
    error(&safe(&failure.to_string()));
    remedy(failure).into_iter().for_each(hint);
    if matches!(failure, Error::Book { .. }) {
        Exit::Book
    } else if matches!(failure, Error::Write { .. } | Error::Earlier { .. }) {
        Exit::Output
    } else {
        Exit::Usage
    }
}

/// What to do about an error; a refusal or a damaged photo says it itself.
pub(super) fn remedy(error: &Error) -> Option<&'static str> {
    match error {
        Error::Read(source) if source.kind() == io::ErrorKind::NotFound => {
            Some("check the name; a folder is taken as all photos in it")
        }
        Error::Read(_) => Some("check that it is a file and that you may read it"),
        Error::Format(_) => Some("JPEG, HEIC, PNG, WebP and TIFF are read; save the photo as JPEG"),
        Error::Limit(_) => Some("the limits are at the end of --help; save a smaller copy"),
        // The message says what to do.
        Error::Write { source, .. } | Error::Earlier { source, .. } if source.get_ref().is_some() => None,
        Error::Earlier { .. } => Some("check that you may read it"),
        Error::Write { .. } => {
            Some("check that the folder exists, that you may write there, and that the disk has room")
        }
        Error::Damaged(_) | Error::Refused(_) | _ => None,
    }
}
