//! How fast distributions are propagated, and a global fit with its posterior is made.
//!
//! Run with `cargo run --release -p arcmass-fit --example inference_speed`: one line of JSON a kernel, on one thread; `… speed worker` answers the
//! orders of `cargo xtask study speed`, which sets the same kernels beside other libraries. The problems: a mass from seven correlated
//! inputs, 10⁶ draws with mean, standard deviation and five quantiles; and 24 runs with seven unknowns, fitted from 0.2 away in
//! ln m, then its posterior.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::needless_range_loop)]

#[allow(dead_code)]
#[path = "../../tests/global/mod.rs"]
mod global;
mod kernels;
#[allow(dead_code)]
#[path = "../../../physics/examples/speed/worker.rs"]
mod worker;

use worker::Result;

fn main() -> Result<()> {
    if std::env::args().nth(1).as_deref() == Some("worker") {
        return worker::serve(kernels::make);
    }
    for name in kernels::NAMES {
        let mut kernel = kernels::make(name, None)?;
        kernel.call()?;
        let mut seconds =
            (0..9).map(|_| worker::seconds_per_call(kernel.as_mut())).collect::<Result<Vec<f64>>>()?;
        seconds.sort_by(f64::total_cmp);
        println!(
            "{{\"kernel\": \"{name}\", \"method\": \"{}\", \"median_s\": {:.3e}, \"best_s\": {:.3e}, \"{}_per_s\": {:.4e}, \"result\": {:?}, \"error\": {:.1e}}}",
            kernel.method(),
            seconds[4],
            seconds[0],
            kernel.amount().1.replace(' ', "_"),
            kernel.amount().0 as f64 / seconds[4],
            kernel.result(),
            kernel.error()?
        );
    }
    Ok(())
}
