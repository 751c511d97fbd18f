//! Work shared out between threads, with the same result on any number of them.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// `f(0)`, `f(1)`, ... `f(n - 1)`, worked out in several threads, in order.
///
/// Each thread takes the next number that is left, so that uneven work leaves none idle.
pub(crate) fn map<T: Send>(n: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(n);
    if threads <= 1 {
        return (0..n).map(f).collect();
    }
    let next = AtomicUsize::new(0);
    let take = || Some(next.fetch_add(1, Ordering::Relaxed)).filter(|&i| i < n);
    let work = || -> Vec<(usize, T)> { std::iter::from_fn(take).map(|i| (i, f(i))).collect() };
    let mut done: Vec<(usize, T)> = thread::scope(|scope| {
        let threads: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        // The panic of a thread goes on in this one.
        let of = |thread: thread::ScopedJoinHandle<'_, Vec<(usize, T)>>| {
            thread
                .join()
                .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
        };
        threads.into_iter().flat_map(of).collect()
    });
    done.sort_unstable_by_key(|&(i, _)| i);
    done.into_iter().map(|(_, result)| result).collect()
}
