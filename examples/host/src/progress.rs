//! How far a long job is: on standard error, only on a terminal, only after a second.

use std::io::IsTerminal;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A job under way; gone from the screen when dropped.
pub struct Progress {
    what: &'static str,
    total: u64,
    begun: Instant,
    bar: OnceLock<ProgressBar>,
}

impl Progress {
    /// A job of `total` steps, named by what it does.
    pub fn new(what: &'static str, total: u64) -> Self {
        Self { what, total, begun: Instant::now(), bar: OnceLock::new() }
    }

    /// The job is at `step`. Call it every few thousand steps.
    pub fn at(&self, step: u64) {
        if self.begun.elapsed() < Duration::from_secs(1) {
            return;
        }
        self.bar.get_or_init(|| self.draw()).set_position(step);
    }

    fn draw(&self) -> ProgressBar {
        if !std::io::stderr().is_terminal() {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::with_draw_target(Some(self.total), ProgressDrawTarget::stderr());
        let style = ProgressStyle::with_template("{msg} {bar:30} {percent} % ({eta} left)");
        if let Ok(style) = style {
            bar.set_style(style);
        }
        bar.with_message(self.what)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = self.bar.get() {
            bar.finish_and_clear();
        }
    }
}
