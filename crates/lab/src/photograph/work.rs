//! Many like tasks side by side, results in the order of the tasks.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Does `task` for each item on at most `workers` threads; tells `done` after each, with how many are done.
pub(crate) fn side_by_side<T: Sync, R: Send>(
    items: &[T],
    workers: usize,
    task: impl Fn(&T) -> R + Sync,
    done: impl Fn(usize, &T) + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let finished = AtomicUsize::new(0);
    let results: Mutex<Vec<(usize, R)>> = Mutex::new(Vec::with_capacity(items.len()));
    let work = || {
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(index) else { return };
            let result = task(item);
            if let Ok(mut results) = results.lock() {
                results.push((index, result));
            }
            done(finished.fetch_add(1, Ordering::Relaxed) + 1, item);
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..workers.clamp(1, items.len().max(1)) {
            scope.spawn(work);
        }
        work();
    });
    let mut results = results.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_tasks() {
        let items: Vec<usize> = (0..50).collect();
        let told = AtomicUsize::new(0);
        let squares = side_by_side(
            &items,
            4,
            |i| i * i,
            |_, _| {
                told.fetch_add(1, Ordering::Relaxed);
            },
        );
        assert_eq!(squares, items.iter().map(|i| i * i).collect::<Vec<_>>());
        assert_eq!(told.into_inner(), 50);
    }
}
