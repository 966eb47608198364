//! Many items at a time, their results in order, within bounds of threads and memory, and stopped between items.

use rayon::ThreadPoolBuilder;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError, mpsc};

/// Results that wait for an earlier one, or for whoever takes them, with the items in work: this many times the jobs. Beyond
/// it no item is begun, so that a slow one does not pile up the results of those after it.
const AHEAD: usize = 4;

/// What bounds a batch.
#[derive(Debug, Clone, Copy)]
pub struct Bounds<'a> {
    /// Most items in work at a time; 0 counts as 1.
    pub jobs: usize,
    /// Most bytes that the items in work need together; one that needs more is done alone.
    pub memory: Option<u64>,
    /// Once this is set no item is begun; those in work are finished.
    pub stop: &'a AtomicBool,
}

/// Does `work` on each item and hands the results to `take` on the calling thread, in the order of the items, each as soon as
/// all before it are there. Items are begun in order; where memory is bounded, `need` tells how many bytes each will take, and
/// the next waits until it fits. It waits only for items in work and for `take`, so there is always one that goes on.
///
/// # Panics
/// If `work` or `take` panics, or if the threads cannot be started.
pub fn in_order<T: Sync, R: Send>(
    items: &[T],
    bounds: Bounds,
    need: impl Fn(&T) -> u64 + Sync,
    work: impl Fn(usize, &T) -> R + Sync,
    mut take: impl FnMut(R),
) {
    let queue = Queue { bounds, state: Mutex::default(), changed: Condvar::new() };
    let (queue, need, work) = (&queue, &need, &work);
    let (sender, results) = mpsc::channel();
    let jobs = bounds.jobs.clamp(1, items.len().max(1));
    let pool = ThreadPoolBuilder::new().num_threads(jobs).build().expect("threads can be started");
    pool.in_place_scope(|scope| {
        for _ in 0..jobs {
            let sender = sender.clone();
            scope.spawn(move |_| {
                while let Some((index, bytes)) = queue.begin(items, need) {
                    let result = catch_unwind(AssertUnwindSafe(|| work(index, &items[index])));
                    queue.end(bytes);
                    // Nobody receives any more when `take` has panicked.
                    let _ = sender.send((index, result));
                }
            });
        }
        drop(sender);
        let all = || {
            let mut waiting = BTreeMap::new();
            let mut next = 0;
            for (index, result) in &results {
                waiting.insert(index, result.unwrap_or_else(|panic| resume_unwind(panic)));
                while let Some(result) = waiting.remove(&next) {
                    take(result);
                    next += 1;
                    queue.taken(next);
                }
            }
        };
        // The threads are waited for in any case, so they must come to an end.
        catch_unwind(AssertUnwindSafe(all)).unwrap_or_else(|panic| {
            queue.close();
            resume_unwind(panic)
        });
    });
}

/// Who may begin what.
struct Queue<'a> {
    bounds: Bounds<'a>,
    state: Mutex<State>,
    changed: Condvar,
}

#[derive(Default)]
struct State {
    /// The item to be begun next.
    next: usize,
    /// What it needs, once that was asked for.
    need: Option<u64>,
    /// How many results were taken.
    taken: usize,
    in_work: usize,
    /// What the items in work need.
    bytes: u64,
    closed: bool,
}

impl Queue<'_> {
    /// Waits until the next item may be begun and gives its index with the bytes it needs; `None` when there are no more.
    fn begin<T>(&self, items: &[T], need: impl Fn(&T) -> u64) -> Option<(usize, u64)> {
        let Bounds { jobs, memory, stop } = self.bounds;
        let mut state = self.state();
        loop {
            let item = items.get(state.next)?;
            if state.closed || stop.load(Ordering::SeqCst) {
                return None;
            }
            let bytes = memory.map_or(0, |_| *state.need.get_or_insert_with(|| need(item)));
            let fits = state.in_work == 0 || memory.is_none_or(|most| state.bytes.saturating_add(bytes) <= most);
            if fits && state.next < state.taken + AHEAD * jobs.max(1) {
                let index = state.next;
                *state = State {
                    next: index + 1,
                    need: None,
                    in_work: state.in_work + 1,
                    bytes: state.bytes + bytes,
                    ..*state
                };
                return Some((index, bytes));
            }
            state = self.changed.wait(state).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn end(&self, bytes: u64) {
        let mut state = self.state();
        state.in_work -= 1;
        state.bytes -= bytes;
        self.changed.notify_all();
    }

    fn taken(&self, taken: usize) {
        self.state().taken = taken;
        self.changed.notify_all();
    }

    fn close(&self) {
        self.state().closed = true;
        self.changed.notify_all();
    }

    /// Every change of the state is a single step, so that a panic leaves nothing half done.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::AtomicUsize;
    use std::thread;
    use std::time::Duration;

    static GO: AtomicBool = AtomicBool::new(false);

    fn jobs(jobs: usize) -> Bounds<'static> {
        Bounds { jobs, memory: None, stop: &GO }
    }

    fn pause(ms: u64) {
        thread::sleep(Duration::from_millis(ms));
    }

    #[test]
    fn results_come_in_input_order_whatever_the_threads() {
        let items: Vec<u64> = (0..40).collect();
        for threads in [0, 1, 2, 7] {
            let mut got = Vec::new();
            let work = |_: usize, &n: &u64| {
                pause((n * 7) % 5);
                n * n
            };
            in_order(&items, jobs(threads), |_| 0, work, |r| got.push(r));
            assert_eq!(got, items.iter().map(|n| n * n).collect::<Vec<_>>(), "{threads} jobs");
        }
        in_order(&[(); 0], jobs(3), |()| 0, |_, ()| (), |()| panic!("there is nothing to take"));
    }

    /// The most that `work` had at a time, counted by `weight`.
    fn most(items: &[u64], bounds: Bounds) -> u64 {
        let (now, most) = (Mutex::new(0), Mutex::new(0));
        let work = |_: usize, n: &u64| {
            let held = {
                let mut now = now.lock().unwrap();
                *now += n;
                *now
            };
            let mut most = most.lock().unwrap();
            *most = held.max(*most);
            drop(most);
            pause(2);
            *now.lock().unwrap() -= n;
        };
        in_order(items, bounds, |n| *n, work, |()| ());
        most.into_inner().unwrap()
    }

    #[test]
    fn no_more_than_jobs_items_are_in_work() {
        assert!((2..=3).contains(&most(&[1; 30], jobs(3))));
    }

    #[test]
    fn memory_bounds_what_is_in_work_and_a_giant_is_done_alone() {
        let bounds = |memory| Bounds { memory: Some(memory), ..jobs(8) };
        assert!((8..=10).contains(&most(&[2, 3, 4, 1, 5, 2, 2, 3, 3, 4, 1, 1, 1], bounds(10))));
        assert_eq!(most(&[2, 3, 50, 4, 1], bounds(10)), 50);
        assert_eq!(most(&[7; 5], bounds(0)), 7);
    }

    #[test]
    fn results_behind_a_slow_item_are_few() {
        let (begun, least) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let work = |index: usize, (): &()| {
            begun.fetch_add(1, Ordering::SeqCst);
            if index == 0 {
                pause(100);
                least.store(begun.load(Ordering::SeqCst), Ordering::SeqCst);
            }
        };
        in_order(&[(); 500], jobs(2), |()| 0, work, |()| ());
        assert_eq!(least.into_inner(), 2 * AHEAD);
        assert_eq!(begun.into_inner(), 500);
    }

    #[test]
    fn a_stopped_batch_ends_with_a_whole_beginning() {
        let stop = AtomicBool::new(false);
        let mut got = Vec::new();
        let work = |index: usize, (): &()| {
            pause(1);
            if index == 20 {
                stop.store(true, Ordering::SeqCst);
            }
            index
        };
        in_order(&[(); 500], Bounds { stop: &stop, ..jobs(4) }, |()| 0, work, |index| got.push(index));
        assert!((21..500).contains(&got.len()), "{}", got.len());
        assert_eq!(got, (0..got.len()).collect::<Vec<_>>());
    }

    #[test]
    fn a_panic_comes_through_and_nobody_waits_for_ever() {
        let work = |index: usize, (): &()| assert!(index != 3, "at work");
        assert!(catch_unwind(|| in_order(&[(); 100], jobs(2), |()| 0, work, |()| ())).is_err());
        let take = |index: usize| assert!(index != 3, "at taking");
        assert!(catch_unwind(|| in_order(&[(); 100], jobs(2), |()| 0, |index, ()| index, take)).is_err());
    }
}
