//! Progress of long work, on standard error.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A count that shows itself only where the work takes longer than a second.
pub(super) struct Bar {
    bar: ProgressBar,
    started: Instant,
}

impl Bar {
    const PATIENCE: Duration = Duration::from_secs(1);

    /// Counts to `length`, where the end is known; `template` as indicatif has it.
    pub(super) fn new(length: Option<u64>, template: &str) -> Bar {
        let bar = ProgressBar::with_draw_target(length, ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Bar {
            bar,
            started: Instant::now(),
        }
    }

    /// The count stands at `position`.
    pub(super) fn stand(&self, position: usize) {
        self.show();
        self.bar.set_position(position as u64);
    }

    /// One more is done.
    pub(super) fn step(&self) {
        self.show();
        self.bar.inc(1);
    }

    fn show(&self) {
        if self.bar.is_hidden() && self.started.elapsed() > Self::PATIENCE {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }

    pub(super) fn finish(self) {
        self.bar.finish_and_clear();
    }
}
