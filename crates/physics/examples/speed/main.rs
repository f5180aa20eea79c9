//! Times the crate's kernels: one JSON line each, on one thread, with the accuracy reached.
//!
//! Run with `cargo run --release -p arcmass-physics --example speed`; `… speed worker` answers the orders of `cargo xtask study speed`, which
//! sets the same kernels beside other libraries. Unit of length: coil radius; centre field 1; orbits of radius 0.35 with 5° of tilt, one turn.

mod kernels;
mod worker;

use arcmass_physics::VectorWidth;
use worker::Result;

fn main() -> Result<()> {
    if std::env::args().nth(1).as_deref() == Some("worker") {
        return worker::serve(kernels::make);
    }
    let only = std::env::args().nth(1);
    for name in kernels::NAMES.iter().filter(|n| only.as_deref().is_none_or(|o| n.contains(o))) {
        // what the machine's plain instructions do is only for the field, where it takes no minutes
        for width in VectorWidth::available().into_iter().rev() {
            let widest = width == VectorWidth::widest();
            if widest || name.starts_with("field") && width != VectorWidth::Portable {
                report(name, width)?;
            }
        }
    }
    Ok(())
}

fn report(name: &str, width: VectorWidth) -> Result<()> {
    let mut kernel = kernels::make_at_width(name, None, width)?;
    kernel.call()?;
    let mut seconds =
        (0..9).map(|_| worker::seconds_per_call(kernel.as_mut())).collect::<Result<Vec<f64>>>()?;
    seconds.sort_by(f64::total_cmp);
    let rate = |i: usize| seconds.get(i).map_or(f64::NAN, |s| kernel.amount().0 as f64 / s);
    println!(
        "{{\"kernel\": \"{name}\", \"method\": \"{}\", \"width\": \"{width:?}\", \"unit\": \"{}/s\", \"median\": {:.3e}, \
         \"best\": {:.3e}, \"max_rel_error\": {:.1e}}}",
        kernel.method(),
        kernel.amount().1,
        rate(4),
        rate(0),
        kernel.error()?
    );
    Ok(())
}
