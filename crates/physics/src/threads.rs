//! Splits work over threads at block boundaries, so that the result does not depend on their number.

/// Calls `work` on matching parts of `input` and `output`, each a whole number of blocks (the last may be short).
///
/// The first part in order that fails decides the error.
pub(crate) fn in_chunks<A: Sync, B: Send, E: Send>(
    input: &[A],
    output: &mut [B],
    block: usize,
    threads: usize,
    work: impl Fn(&[A], &mut [B]) -> Result<(), E> + Sync,
) -> Result<(), E> {
    let blocks = input.len().div_ceil(block);
    let size = blocks.div_ceil(threads.max(1)).max(1) * block;
    if threads <= 1 || input.len() <= size {
        return work(input, output);
    }
    let work = &work;
    let results: Vec<Option<Result<(), E>>> = std::thread::scope(|scope| {
        let parts = input.chunks(size).zip(output.chunks_mut(size));
        let running: Vec<_> = parts.map(|(a, b)| scope.spawn(move || work(a, b))).collect();
        running.into_iter().map(|r| r.join().ok()).collect()
    });
    for result in results.into_iter().flatten() {
        result?;
    }
    Ok(())
}
