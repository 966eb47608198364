//! Which files of a folder are whole: those that two looks find the same.

use super::super::find::Source;
use std::cmp::Reverse;
use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// What tells that a file has changed: its length and time.
type State = (u64, SystemTime);

/// What the looks at a folder have seen so far.
pub(super) struct Folder {
    /// How long a file must be the same.
    every: Duration,
    files: HashMap<PathBuf, Seen>,
}

/// A file as it was seen last.
struct Seen {
    state: State,
    /// The look that found it so first, or the last try.
    since: Instant,
    /// Whether it was handed out so.
    given: bool,
    /// Whether it was tried in vain.
    tried: bool,
}

impl Folder {
    /// Nothing was seen yet.
    pub(super) fn new(every: Duration) -> Self {
        Self { every, files: HashMap::new() }
    }

    /// Passes over files as they are now.
    pub(super) fn pass(&mut self, sources: &[Source]) {
        let since = Instant::now();
        for Source { path, .. } in sources {
            self.files
                .extend(state(path).map(|state| (path.clone(), Seen { state, since, given: true, tried: false })));
        }
    }

    /// Of the files that a look at the time `now` finds, those that are as an earlier one found them and were not handed out so
    /// before. What came last is first, so that it need not wait for a backlog; what was tried in vain is last, in turn.
    pub(super) fn ready(&mut self, sources: Vec<Source>, now: Instant) -> Vec<Source> {
        let sources = sources.into_iter().filter(|source| source.trouble.is_none());
        let mut ready: Vec<Source> = sources.filter(|source| self.is_ready(&source.path, now)).collect();
        let place = |Seen { since, tried, .. }: &Seen| (*tried, (!tried).then_some(Reverse(*since)), *since);
        ready.sort_by_key(|source| self.files.get(&source.path).map(place));
        ready
    }

    fn is_ready(&mut self, path: &Path, now: Instant) -> bool {
        let Some(state) = state(path) else { return false };
        match self.files.get(path) {
            Some(seen) if seen.state == state => !seen.given && now.duration_since(seen.since) >= self.every,
            _ => {
                self.files.insert(path.to_owned(), Seen { state, since: now, given: false, tried: false });
                false
            }
        }
    }

    /// Notes that a file is handed out.
    pub(super) fn give(&mut self, path: &Path) {
        self.files.entry(path.to_owned()).and_modify(|seen| seen.given = true);
    }

    /// Lets a later look hand out a file again.
    pub(super) fn again(&mut self, path: &Path) {
        let retry = |seen: &mut Seen| *seen = Seen { since: Instant::now(), given: false, tried: true, ..*seen };
        self.files.entry(path.to_owned()).and_modify(retry);
    }

    /// Whether a file is as it was handed out.
    pub(super) fn is_still(&self, path: &Path) -> bool {
        self.files.get(path).is_some_and(|seen| state(path) == Some(seen.state))
    }
}

fn state(path: &Path) -> Option<State> {
    let about = fs::metadata(path).ok()?;
    Some((about.len(), about.modified().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How many files a look finds ready; they are handed out.
    fn look(folder: &mut Folder, paths: &[&Path]) -> Vec<PathBuf> {
        let sources = paths.iter().map(|path| Source { path: path.to_path_buf(), trouble: None }).collect();
        let ready: Vec<PathBuf> = folder.ready(sources, Instant::now()).into_iter().map(|source| source.path).collect();
        for path in &ready {
            folder.give(path);
        }
        ready
    }

    #[test]
    fn a_file_is_ready_once_when_two_looks_find_it_the_same_and_again_when_it_changed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        let mut seen = Folder::new(Duration::ZERO);
        let mut look = |text: Option<&str>| {
            if let Some(text) = text {
                fs::write(&path, text).unwrap();
            }
            look(&mut seen, &[&path]).len()
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
        let mut seen = Folder::new(Duration::ZERO);
        seen.pass(&[Source { path: path.clone(), trouble: None }]);
        let mut look = || look(&mut seen, &[&path]).len();
        assert_eq!([look(), look()], [0, 0]);
        fs::write(&path, "other").unwrap();
        assert_eq!([look(), look()], [0, 1]);
    }

    #[test]
    fn looks_that_follow_at_once_do_not_take_a_file_for_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        fs::write(&path, "a").unwrap();
        let mut seen = Folder::new(Duration::from_secs(9));
        let mut look = |after| {
            let source = Source { path: path.clone(), trouble: None };
            seen.ready(vec![source], Instant::now() + Duration::from_secs(after)).len()
        };
        assert_eq!([look(0), look(1), look(8), look(10)], [0, 0, 0, 1]);
    }

    #[test]
    fn what_came_last_is_first_and_what_is_tried_again_is_in_turn() {
        let folder = tempfile::tempdir().unwrap();
        let [a, b, c] = ["a", "b", "c"].map(|name| folder.path().join(name));
        let mut seen = Folder::new(Duration::ZERO);
        fs::write(&a, "").unwrap();
        fs::write(&b, "").unwrap();
        assert!(look(&mut seen, &[&a, &b, &c]).is_empty());
        fs::write(&c, "").unwrap();
        let sources = || [&a, &b, &c].map(|path| Source { path: path.clone(), trouble: None }).into();
        seen.ready(sources(), Instant::now());
        assert_eq!(look(&mut seen, &[&a, &b, &c]), [c, a.clone(), b.clone()]);
        seen.again(&a);
        seen.again(&b);
        assert_eq!(look(&mut seen, &[&b, &a]), [a, b]);
    }
}
