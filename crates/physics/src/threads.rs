//! Splits work over threads at block boundaries, so that the result does not depend on their number.

use crate::many::VectorColumns;

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

/// The same for vectors in columns; `output` is made as long as `input`.
pub(crate) fn in_columns<E: Send>(
    input: &VectorColumns,
    output: &mut VectorColumns,
    block: usize,
    threads: usize,
    work: impl for<'a, 'b> Fn([&'a [f64]; 3], [&'b mut [f64]; 3]) -> Result<(), E> + Sync,
) -> Result<(), E> {
    let len = input.len();
    for column in [&mut output.x, &mut output.y, &mut output.z] {
        column.resize(len, 0.0);
    }
    let size = len.div_ceil(block).div_ceil(threads.max(1)).max(1) * block;
    let all = |column: &'_ Vec<f64>| -> usize { column.len().min(len) };
    let [x, y, z] = [&input.x, &input.y, &input.z].map(|c| c.get(..all(c)).unwrap_or(&[]));
    if threads <= 1 || len <= size {
        return work([x, y, z], [&mut output.x, &mut output.y, &mut output.z]);
    }
    let work = &work;
    let inputs = x.chunks(size).zip(y.chunks(size)).zip(z.chunks(size));
    let (bx, by, bz) = (output.x.chunks_mut(size), output.y.chunks_mut(size), output.z.chunks_mut(size));
    let parts = inputs.zip(bx.zip(by).zip(bz));
    let results: Vec<Option<Result<(), E>>> = std::thread::scope(|scope| {
        let start = |(((x, y), z), ((bx, by), bz))| scope.spawn(move || work([x, y, z], [bx, by, bz]));
        let running: Vec<_> = parts.map(start).collect();
        running.into_iter().map(|r| r.join().ok()).collect()
    });
    for result in results.into_iter().flatten() {
        result?;
    }
    Ok(())
}
