//! Work shared out between threads, with the same result on any number of them.

use std::thread;

/// `f(0)`, `f(1)`, ... `f(n - 1)`, worked out in several threads, in order.
pub(crate) fn map<T: Send>(n: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let share = n.div_ceil(threads).max(1);
    if n <= 1 || threads == 1 {
        return (0..n).map(f).collect();
    }
    thread::scope(|scope| {
        let f = &f;
        let work: Vec<_> = (0..n)
            .step_by(share)
            .map(|from| scope.spawn(move || (from..n.min(from + share)).map(f).collect::<Vec<T>>()))
            .collect();
        // The panic of a thread goes on in this one.
        work.into_iter()
            .flat_map(|w| {
                w.join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            })
            .collect()
    })
}
