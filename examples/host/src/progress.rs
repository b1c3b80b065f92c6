//! How far a long job is: on standard error, only on a terminal, only after a second; or told to whoever asked.

use std::cell::RefCell;
use std::io::IsTerminal;
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Called with what is done, the step it is at, and how many there are.
pub type Told = Arc<dyn Fn(&'static str, u64, u64) + Send + Sync>;

/// Who is told how far a job is.
#[derive(Clone, Default)]
pub enum Watcher {
    /// A person at a terminal, by a bar.
    #[default]
    Terminal,
    Nobody,
    Caller(Told),
}

thread_local! {
    static WATCHER: RefCell<Watcher> = const { RefCell::new(Watcher::Terminal) };
}

/// Does `work`; the jobs that this thread begins in it are told to `watcher`.
pub fn watched<T>(watcher: Watcher, work: impl FnOnce() -> T) -> T {
    struct Before(Watcher);
    impl Drop for Before {
        fn drop(&mut self) {
            WATCHER.replace(std::mem::take(&mut self.0));
        }
    }
    let _before = Before(WATCHER.replace(watcher));
    work()
}

/// A job under way; gone from the screen when dropped.
pub struct Progress {
    what: &'static str,
    watcher: Watcher,
    total: u64,
    begun: Instant,
    bar: OnceLock<ProgressBar>,
}

impl Progress {
    /// A job of `total` steps, named by what it does.
    pub fn new(what: &'static str, total: u64) -> Self {
        let watcher = WATCHER.with_borrow(Watcher::clone);
        Self { what, watcher, total, begun: Instant::now(), bar: OnceLock::new() }
    }

    /// The job is at `step`. Call it every few thousand steps.
    pub fn at(&self, step: u64) {
        match &self.watcher {
            Watcher::Terminal => {}
            Watcher::Nobody => return,
            Watcher::Caller(told) => return told(self.what, step.min(self.total), self.total),
        }
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn jobs_are_told_to_who_asked_and_to_nobody_after() {
        let heard = Arc::new(Mutex::new(Vec::new()));
        let told = heard.clone();
        let watcher =
            Watcher::Caller(Arc::new(move |what, at, of| told.lock().unwrap().push((what, at, of))));
        watched(watcher, || {
            let job = Progress::new("counting", 9);
            watched(Watcher::Nobody, || Progress::new("in silence", 1).at(1));
            std::thread::scope(|scope| scope.spawn(|| job.at(4)).join()).unwrap();
            Progress::new("again", 3).at(5);
        });
        Progress::new("later", 1).at(1);
        assert_eq!(*heard.lock().unwrap(), [("counting", 4, 9), ("again", 3, 3)]);
    }
}
