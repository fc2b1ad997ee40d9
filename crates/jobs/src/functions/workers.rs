//! Dear rows shared among threads, in order.

use std::ops::Range;

use datafusion::common::{Result, exec_err};

/// Computes rows on as many threads as there are processors, each a range of its own, and answers them in order. With
/// `worth_threads` rows or fewer it stays on this thread, since starting threads costs more than it saves.
pub(super) fn in_parts<T: Send>(
    rows: usize,
    worth_threads: usize,
    compute: impl Fn(Range<usize>) -> Result<Vec<T>> + Sync,
) -> Result<Vec<T>> {
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    if rows <= worth_threads || workers == 1 {
        return compute(0..rows);
    }
    let share = rows.div_ceil(workers);
    let compute = &compute;
    let parts: Vec<Result<Vec<T>>> = std::thread::scope(|scope| {
        let mut running = Vec::with_capacity(workers);
        for start in (0..rows).step_by(share) {
            let range = start..(start + share).min(rows);
            running.push(scope.spawn(move || compute(range)));
        }
        let ended = running.into_iter().map(std::thread::ScopedJoinHandle::join);
        ended.map(|part| part.unwrap_or_else(|_| exec_err!("the computation of a row broke off"))).collect()
    });
    let mut all = Vec::with_capacity(rows);
    for part in parts {
        all.append(&mut part?);
    }
    Ok(all)
}
