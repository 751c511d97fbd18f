//! Work shared out between threads, with the same result on any number of them.

use std::ops::Range;
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
pub(crate) fn both<A: Send, B>(one: impl FnOnce() -> A + Send, other: impl FnOnce() -> B) -> (A, B) {
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
        thread::available_parallelism().map_or(1, usize::from)
    };
    let threads = threads.min(items.len()).max(1);
    if threads == 1 {
        return items
            .iter_mut()
            .enumerate()
            .map(|(i, item)| work(i, item))
            .collect();
    }
    let share = items.len().div_ceil(threads);
    let work = &work;
    let mut answers = Vec::with_capacity(items.len());
    thread::scope(|scope| {
        let mut shares = items.chunks_mut(share).enumerate();
        let own = shares.next();
        let others: Vec<_> = shares
            .map(|(chunk, items)| {
                scope.spawn(move || {
                    let numbered = items.iter_mut().enumerate();
                    let answer = |(i, item)| work(chunk * share + i, item);
                    numbered.map(answer).collect::<Vec<R>>()
                })
            })
            .collect();
        if let Some((_, items)) = own {
            answers.extend(items.iter_mut().enumerate().map(|(i, item)| work(i, item)));
        }
        for other in others {
            match other.join() {
                Ok(more) => answers.extend(more),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    answers
}
