//! How far long work has come, on a terminal only.

use arcmass_lab::photograph::Progress;
use arcmass_notebook::printable;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar on standard error that is not drawn where nobody sees it.
pub(crate) struct Bar(ProgressBar);

impl Bar {
    /// A bar for one kind of work; it counts once it is known how far.
    pub(crate) fn new(work: &'static str) -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
        styled(&bar, "{prefix} …");
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
        if of == 0 {
            return;
        }
        if self.0.length().is_none() {
            styled(&self.0, "{prefix} {bar:24} {pos} of {len}  {msg}");
        }
        self.0.set_length(of as u64);
        self.0.set_message(printable(name));
        self.0.set_position(done as u64);
    }
}

fn styled(bar: &ProgressBar, template: &str) {
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_counted_before_it_is_known_how_far() {
        let bar = Bar::new("measuring photographs");
        assert_eq!(bar.0.length(), None);
        bar.done(0, 0, "");
        assert_eq!(bar.0.length(), None, "never 0 of 0");
        bar.done(1, 9, "ring-01.jpg");
        assert_eq!((bar.0.length(), bar.0.position()), (Some(9), 1));
    }
}
