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

    #[test]
    fn a_panic_becomes_a_text_with_its_place() {
        install();
        let text = guarded(|| panic!("no leaf {}", 7)).unwrap_err();
        assert!(text.starts_with("no leaf 7 (src/cli/guard.rs:"), "{text}");
        assert_eq!(guarded(|| 5), Ok(5));
    }
}
