//! Work shared out between threads, with the same result on any number of them.

use std::ops::Range;
use std::sync::{Mutex, OnceLock, PoisonError};
use std::thread;

/// `f(0)`, `f(1)`, ... `f(n - 1)`, worked out in several threads, in order.
pub(crate) fn map<T: Send>(n: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    shared_out(processors().min(n), 0..n, |_, i| f(i))
}

/// `f` of one stretch of `0..n` after the other, each of so many numbers, worked out in several threads.
pub(crate) fn stretches<T: Send>(
    n: usize,
    long: usize,
    f: impl Fn(Range<usize>) -> T + Sync,
) -> Vec<T> {
    map(n.div_ceil(long), |part| {
        f(part * long..n.min((part + 1) * long))
    })
}

/// The one and the other, worked out side by side.
pub(crate) fn both<A: Send, B>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B,
) -> (A, B) {
    thread::scope(|scope| {
        let one = scope.spawn(one);
        let other = other();
        match one.join() {
            Ok(one) => (one, other),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })
}

/// Less work than this (in steps of a few nanoseconds) is done sooner than a thread is started.
const WORTH_A_THREAD: usize = 40_000;

/// Does `work` on every item, on as many threads as there are processors when there are `steps` of
/// it; the answers are in order. Items know nothing of one another, so that the answers are the
/// same on any number of threads.
pub(crate) fn each<T: Send, R: Send>(
    items: &mut [T],
    steps: usize,
    work: impl Fn(usize, &mut T) -> R + Sync,
) -> Vec<R> {
    let threads = if steps < WORTH_A_THREAD {
        1
    } else {
        processors()
    };
    shared_out(threads.min(items.len()), items.iter_mut(), work)
}

fn processors() -> usize {
    // Asked once: the answer is read from files.
    static PROCESSORS: OnceLock<usize> = OnceLock::new();
    *PROCESSORS.get_or_init(|| thread::available_parallelism().map_or(1, usize::from))
}

/// Each thread takes the next item that is left, so that uneven work leaves none idle; the answers are in
/// order.
fn shared_out<I, R: Send>(
    threads: usize,
    items: impl Iterator<Item = I> + Send,
    work: impl Fn(usize, I) -> R + Sync,
) -> Vec<R> {
    if threads <= 1 {
        return items.enumerate().map(|(i, item)| work(i, item)).collect();
    }
    let items = Mutex::new(items.enumerate());
    // Work that panics does so without the lock.
    let take = || items.lock().unwrap_or_else(PoisonError::into_inner).next();
    let some = || -> Vec<(usize, R)> {
        std::iter::from_fn(take)
            .map(|(i, item)| (i, work(i, item)))
            .collect()
    };
    let mut done = thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(some)).collect();
        let mut done = some();
        for other in others {
            match other.join() {
                Ok(more) => done.extend(more),
                // The panic of a thread goes on in this one.
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        done
    });
    done.sort_unstable_by_key(|&(i, _)| i);
    done.into_iter().map(|(_, answer)| answer).collect()
}
