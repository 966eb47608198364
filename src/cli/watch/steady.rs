//! Which files of a folder are whole: those that two looks find the same.

use super::super::find::Source;
use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// What tells that a file has changed: its length and time.
type State = (u64, SystemTime);

/// What the looks at a folder have seen so far.
#[derive(Default)]
pub(super) struct Folder(HashMap<PathBuf, Seen>);

/// A file as it was seen last.
struct Seen {
    state: State,
    /// Whether it was handed out so.
    given: bool,
}

impl Folder {
    /// Passes over files as they are now.
    pub(super) fn pass(&mut self, sources: &[Source]) {
        for Source { path, .. } in sources {
            self.0.extend(state(path).map(|state| (path.clone(), Seen { state, given: true })));
        }
    }

    /// Of the files that a look finds, those that are as the last look found them and were not handed out so before.
    pub(super) fn ready(&mut self, sources: Vec<Source>) -> Vec<Source> {
        sources.into_iter().filter(|source| source.trouble.is_none() && self.is_ready(&source.path)).collect()
    }

    fn is_ready(&mut self, path: &Path) -> bool {
        let Some(state) = state(path) else { return false };
        match self.0.get_mut(path) {
            Some(seen) if seen.state == state => !std::mem::replace(&mut seen.given, true),
            _ => {
                self.0.insert(path.to_owned(), Seen { state, given: false });
                false
            }
        }
    }

    /// Whether a file is as it was handed out; if not, a later look hands it out again.
    pub(super) fn is_still(&self, path: &Path) -> bool {
        self.0.get(path).is_some_and(|seen| state(path) == Some(seen.state))
    }
}

fn state(path: &Path) -> Option<State> {
    let about = fs::metadata(path).ok()?;
    Some((about.len(), about.modified().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_ready_once_when_two_looks_find_it_the_same_and_again_when_it_changed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        let mut seen = Folder::default();
        let mut look = |text: Option<&str>| {
            if let Some(text) = text {
                fs::write(&path, text).unwrap();
            }
            seen.ready(vec![Source { path: path.clone(), trouble: None }]).len()
        };
        assert_eq!(look(None), 0, "there is no file yet");
        assert_eq!([look(Some("ab")), look(Some("abc")), look(None), look(None)], [0, 0, 1, 0]);
        assert_eq!([look(Some("abcd")), look(None), look(None)], [0, 1, 0]);
        assert!(seen.is_still(&path));
        fs::write(&path, "x").unwrap();
        assert!(!seen.is_still(&path));
    }

    #[test]
    fn what_was_there_is_passed_over_until_it_changes() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        fs::write(&path, "a").unwrap();
        let sources = || vec![Source { path: path.clone(), trouble: None }];
        let mut seen = Folder::default();
        seen.pass(&sources());
        assert_eq!([seen.ready(sources()).len(), seen.ready(sources()).len()], [0, 0]);
        fs::write(&path, "other").unwrap();
        assert_eq!([seen.ready(sources()).len(), seen.ready(sources()).len()], [0, 1]);
    }
}
