//! A bug that panics on one photo costs this photo, not the batch.

use std::cell::{Cell, RefCell};
use std::panic::{self, AssertUnwindSafe};

thread_local! {
    /// Whether this thread works inside [`guarded`].
    static GUARDED: Cell<bool> = const { Cell::new(false) };
    /// What went wrong last on this thread, and where.
    static LAST: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Keeps panics inside [`guarded`] off the terminal; others are shown as ever.
pub(super) fn install() {
    let default = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if !GUARDED.get() {
            return default(info);
        }
        let place = info.location().map(|l| format!("{}:{}", l.file(), l.line())).unwrap_or_default();
        LAST.set(format!("{} ({place})", info.payload_as_str().unwrap_or("panic")));
    }));
}

/// Runs `work`; if it panics, says what happened and where.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    GUARDED.set(true);
    // What `work` borrows is only read by others: nothing half-written survives the panic.
    let result = panic::catch_unwind(AssertUnwindSafe(work));
    GUARDED.set(false);
    result.map_err(|_| LAST.take())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    /// One test, because the hook is the whole process's. Panics that are caught further in, as a decoder's are, stay off
    /// the terminal too.
    #[test]
    fn only_panics_inside_are_kept_off_the_terminal() {
        static SHOWN: Mutex<Vec<String>> = Mutex::new(Vec::new());
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |info| match info.payload_as_str() {
            Some(text) if text.starts_with("no leaf") => SHOWN.lock().unwrap().push(text.into()),
            _ => usual(info),
        }));
        install();
        let caught = |number: u8| assert!(panic::catch_unwind(|| panic!("no leaf {number}")).is_err());
        let text = guarded(|| panic!("no leaf {}", 7)).unwrap_err();
        assert!(text.starts_with("no leaf 7 (src/cli/guard.rs:"), "{text}");
        assert_eq!(guarded(|| caught(8)), Ok(()));
        caught(9);
        assert_eq!(*SHOWN.lock().unwrap(), ["no leaf 9"]);
    }
}
