//! How far long work has come, on a terminal only.

use arcmass_lab::photograph::Progress;
use arcmass_notebook::printable;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar on standard error that is not drawn where nobody sees it.
pub(crate) struct Bar(ProgressBar);

impl Bar {
    /// A bar for one kind of work.
    pub(crate) fn new(work: &'static str) -> Self {
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{prefix} {bar:24} {pos} of {len}  {msg}") {
            bar.set_style(style);
        }
        bar.set_prefix(work);
        Self(bar)
    }

    /// Takes the bar away.
    pub(crate) fn finish(&self) {
        self.0.finish_and_clear();
    }
}

impl Progress for Bar {
    fn done(&self, done: usize, of: usize, name: &str) {
        self.0.set_length(of as u64);
        self.0.set_message(printable(name));
        self.0.set_position(done as u64);
    }
}
