//! The command against another one, if there is one to compare with: whole processes, in turns, so that a busy machine
//! slows both alike.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Runs of each; the medians count.
const ROUNDS: usize = 11;
/// Photos of the long run. The difference to a run with one photo is what each further photo costs.
const PHOTOS: usize = 4;

/// If `VARIEGAUGE_PEER` holds a command that is called as `COMMAND OUT.csv PHOTO...` and works on one thread, prints
/// what both cost.
pub(crate) fn compare(photo: impl FnOnce() -> Vec<u8>) {
    #[allow(clippy::disallowed_methods, reason = "the rule is for the library")]
    let Ok(peer) = std::env::var("VARIEGAUGE_PEER") else { return };
    let folder = tempfile::tempdir().unwrap();
    let photo = photo();
    let photos: Vec<PathBuf> = (0..PHOTOS).map(|n| folder.path().join(format!("photo-{n}.jpg"))).collect();
    for path in &photos {
        std::fs::write(path, &photo).unwrap();
    }
    let table = folder.path().join("out.csv");
    let ours = |photos: &[PathBuf]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_variegauge"));
        command.args(["grade", "--quiet", "--jobs", "1", "--csv"]).arg(&table).args(photos);
        timed(command, &table)
    };
    let theirs = |photos: &[PathBuf]| {
        let mut words = peer.split_whitespace();
        let mut command = Command::new(words.next().expect("VARIEGAUGE_PEER holds a command"));
        command.args(words).arg(&table).args(photos);
        timed(command, &table)
    };
    // One column a kind of run: ours and theirs with one photo, ours and theirs with all.
    let mut times: [Vec<Duration>; 4] = Default::default();
    for _ in 0..ROUNDS {
        let round = [ours(&photos[..1]), theirs(&photos[..1]), ours(&photos), theirs(&photos)];
        times.iter_mut().zip(round).for_each(|(times, time)| times.push(time));
    }
    let [one, peer_one, all, peer_all] = times.map(median);
    let further = |all: f64, one: f64| (all - one) / (PHOTOS - 1) as f64;
    println!("\nmedians of {ROUNDS}, seconds       program    peer    peer / program");
    for (what, ours, theirs) in [
        ("one photo, with start", one, peer_one),
        ("each further photo", further(all, one), further(peer_all, peer_one)),
    ] {
        println!("{what:<28} {ours:>7.3} {theirs:>7.3} {:>17.2}", theirs / ours);
    }
}

/// How long the command takes to write the table.
fn timed(mut command: Command, table: &Path) -> Duration {
    let _ = std::fs::remove_file(table);
    let start = Instant::now();
    let output = command.stdin(Stdio::null()).output().unwrap();
    let time = start.elapsed();
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && table.is_file(), "{command:?}: {told}");
    time
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort_unstable();
    times[times.len() / 2].as_secs_f64()
}
