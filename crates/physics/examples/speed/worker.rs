//! Lets another program time a kernel turn about with something else: one order a line, one line of JSON back.
//!
//! `take NAME [TAB FOLDER]` makes the problem ready, from the folder's files of numbers if one is named; `run` does the kernel for about 20 ms
//! and gives the processor's seconds a call; `keep FILE` writes the last result's rows as numbers; `accuracy` judges it.

use std::error::Error;
use std::io::{BufRead, Write};
use std::path::Path;
use std::time::Instant;

/// Anything that goes wrong here ends the order with its sentence.
pub(crate) type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// A problem made ready.
pub(crate) trait Kernel {
    /// How it is solved.
    fn method(&self) -> String;
    /// How much of `unit` one call does.
    fn amount(&self) -> (usize, &'static str);
    /// One call.
    fn call(&mut self) -> Result<()>;
    /// The last call's result, row by row.
    fn result(&self) -> Vec<f64>;
    /// Largest relative error of the last call, against a reference of our own.
    fn error(&self) -> Result<f64>;
}

/// Makes a kernel by its name, from a folder of numbers if one is given.
pub(crate) type Make = fn(&str, Option<&Path>) -> Result<Box<dyn Kernel>>;

/// Time that one `run` fills, in seconds.
const SPAN_S: f64 = 0.02;

/// Answers orders until the input ends.
pub(crate) fn serve(make: Make) -> Result<()> {
    let mut kernel: Option<Box<dyn Kernel>> = None;
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let answer = match obey(line.trim_end(), &mut kernel, make) {
            Ok(answer) => answer,
            Err(why) => format!("{{\"fault\": {:?}}}", why.to_string()),
        };
        let mut out = std::io::stdout().lock();
        writeln!(out, "{answer}")?;
        out.flush()?;
    }
    Ok(())
}

fn obey(line: &str, kernel: &mut Option<Box<dyn Kernel>>, make: Make) -> Result<String> {
    let (order, rest) = line.split_once(' ').unwrap_or((line, ""));
    if order == "take" {
        let (name, folder) = rest.split_once('\t').map_or((rest, None), |(n, f)| (n, Some(Path::new(f))));
        let mut made = make(name, folder)?;
        made.call()?;
        let (amount, unit) = made.amount();
        let method = made.method();
        *kernel = Some(made);
        return Ok(format!(
            "{{\"method\": {method:?}, \"amount\": {amount}, \"unit\": {:?}}}",
            format!("{unit}/s")
        ));
    }
    let kernel = kernel.as_mut().ok_or("a kernel must be taken first")?;
    match order {
        "run" => Ok(format!("{{\"seconds\": {:e}}}", seconds_per_call(kernel.as_mut())?)),
        "keep" => {
            let bytes: Vec<u8> = kernel.result().iter().flat_map(|v| v.to_le_bytes()).collect();
            std::fs::write(rest, bytes)?;
            Ok("{}".to_owned())
        }
        "accuracy" => Ok(format!("{{\"max_rel_error\": {:e}}}", kernel.error()?)),
        other => Err(format!("no order `{other}`").into()),
    }
}

/// Seconds of the processor a call, over about [`SPAN_S`].
pub(crate) fn seconds_per_call(kernel: &mut dyn Kernel) -> Result<f64> {
    let (start, clock) = (processor_seconds(), Instant::now());
    let mut calls = 0u32;
    loop {
        kernel.call()?;
        calls += 1;
        // the clock is asked rarely where a call is short
        if calls.is_power_of_two() || calls.is_multiple_of(256) {
            match (start, processor_seconds()) {
                (Some(start), Some(now)) if now - start >= SPAN_S => {
                    return Ok((now - start) / f64::from(calls));
                }
                (None, _) if clock.elapsed().as_secs_f64() >= SPAN_S => {
                    return Ok(clock.elapsed().as_secs_f64() / f64::from(calls));
                }
                _ => {}
            }
        }
    }
}

/// Seconds of the processor that this process has used; `None` where it can't be asked.
#[cfg(all(target_os = "linux", target_pointer_width = "64"))]
fn processor_seconds() -> Option<f64> {
    #[repr(C)]
    struct Time {
        seconds: i64,
        nanoseconds: i64,
    }
    unsafe extern "C" {
        fn clock_gettime(clock: i32, time: *mut Time) -> i32;
    }
    /// `CLOCK_PROCESS_CPUTIME_ID` of linux/time.h.
    const OF_PROCESS: i32 = 2;
    let mut time = Time { seconds: 0, nanoseconds: 0 };
    // Sound: the C library is linked by the standard library, and the structure is what 64-bit Linux fills.
    let status = unsafe { clock_gettime(OF_PROCESS, &mut time) };
    (status == 0).then_some(time.seconds as f64 + 1e-9 * time.nanoseconds as f64)
}

/// Elsewhere the wall's clock serves.
#[cfg(not(all(target_os = "linux", target_pointer_width = "64")))]
fn processor_seconds() -> Option<f64> {
    None
}

/// Numbers of a file, little endian.
pub(crate) fn numbers(folder: &Path, name: &str) -> Result<Vec<f64>> {
    let path = folder.join(format!("{name}.f64"));
    let bytes = std::fs::read(&path).map_err(|why| format!("{}: {why}", path.display()))?;
    Ok(bytes.chunks_exact(8).filter_map(|c| Some(f64::from_le_bytes(c.try_into().ok()?))).collect())
}
