//! Ctrl-C: the first asks for a good end, the second ends at once.

use super::{Exit, say};
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// How soon a Ctrl-C is answered.
pub(super) const SOON: Duration = Duration::from_millis(50);

/// Gives the flag that the first Ctrl-C, or a request to end, sets; `answer` is then told at once. With the flag set, the next
/// one ends the program: files in the making keep their temporary names.
pub(super) fn flag(answer: &'static str) -> Arc<AtomicBool> {
    // Two flags, as the program may set the one that it is given for reasons of its own.
    let (stop, asked) = (Arc::<AtomicBool>::default(), Arc::default());
    // Where the system refuses, a signal ends the program as ever.
    let _ = listen(&stop, &asked);
    thread::spawn(move || {
        while !asked.load(Ordering::SeqCst) {
            thread::sleep(SOON);
        }
        say::line(answer);
    });
    stop
}

fn listen(stop: &Arc<AtomicBool>, asked: &Arc<AtomicBool>) -> io::Result<()> {
    for signal in [SIGINT, SIGTERM] {
        // First this one, so that it finds the flag as it was before the signal.
        flag::register_conditional_shutdown(signal, Exit::Interrupted as i32, Arc::clone(asked))?;
        flag::register(signal, Arc::clone(asked))?;
        flag::register(signal, Arc::clone(stop))?;
    }
    Ok(())
}

/// Makes a file that outgrows the user's limit a write error, as a full disk is, and no end of the program.
pub(super) fn outlive_limits() {
    // Where the system refuses, it ends the program as ever.
    #[cfg(unix)]
    let _ = flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
}
