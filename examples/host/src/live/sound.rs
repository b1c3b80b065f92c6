//! Making an alarm heard: the terminal's bell, a desktop notification where a program for it is found, and a command of
//! the user's.

use std::env;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::SyncSender;
use std::thread;
use std::time::Duration;

use super::event::Event;
use super::told::Alarm;
use crate::failure::Failure;

/// Between two strokes of the bell.
const BEAT: Duration = Duration::from_millis(350);
/// So many programs may run at a time: one that hangs must not fill the machine.
const MOST: usize = 8;

/// What makes alarms heard.
pub struct Sound {
    bell: bool,
    notify: Option<PathBuf>,
    command: Option<PathBuf>,
    running: Arc<AtomicUsize>,
    tell: SyncSender<Event>,
}

impl Sound {
    /// With the user's own command, if there is one; it is looked for now, not when it is needed.
    ///
    /// # Errors
    /// When the command is not found.
    pub fn new(command: Option<&Path>, tell: SyncSender<Event>) -> Result<Self, Failure> {
        let command = match command {
            Some(given) => Some(found(given).ok_or_else(|| {
                Failure::file(given, "is not found, expected a program to run at an alarm")
            })?),
            None => None,
        };
        let desktop = ["DISPLAY", "WAYLAND_DISPLAY", "DBUS_SESSION_BUS_ADDRESS"];
        let desktop = desktop.iter().any(|name| env::var_os(name).is_some());
        let notify = found(Path::new("notify-send")).filter(|_| desktop);
        Ok(Self { bell: std::io::stderr().is_terminal(), notify, command, running: Arc::default(), tell })
    }

    /// What an alarm does here, in words.
    pub fn ways(&self) -> String {
        let mut ways = Vec::new();
        if self.bell {
            ways.push("the terminal's bell".to_owned());
        }
        if self.notify.is_some() {
            ways.push("a desktop notification".to_owned());
        }
        if let Some(command) = &self.command {
            ways.push(command.display().to_string());
        }
        match ways.as_slice() {
            [] => {
                "Alarms make no sound here: there is no terminal, no notification and no --on-alarm.".into()
            }
            ways => format!("Alarms are told by {}.", ways.join(", ")),
        }
    }

    /// An alarm rings.
    pub fn ring(&self, alarm: &Alarm) {
        if self.bell {
            let strokes = alarm.marks().len();
            thread::spawn(move || {
                for _ in 0..strokes {
                    let _ = std::io::stderr().write_all(b"\x07");
                    thread::sleep(BEAT);
                }
            });
        }
        if let Some(notify) = &self.notify {
            let urgency = match alarm.priority {
                "high" => "critical",
                "medium" => "normal",
                _ => "low",
            };
            let title = format!("{} {}", alarm.marks(), alarm.message);
            self.run(notify, &["--app-name=glidepath", "--urgency", urgency, "--", &title, &alarm.reason]);
        }
        if let Some(command) = &self.command {
            self.run(command, &[alarm.kind, &alarm.reason]);
        }
    }

    /// Runs a program without waiting for it; what goes wrong is told.
    fn run(&self, program: &Path, arguments: &[&str]) {
        let trouble = |what: String| Event::Trouble(format!("{} {what}", program.display()));
        if self.running.fetch_add(1, Ordering::Relaxed) >= MOST {
            self.running.fetch_sub(1, Ordering::Relaxed);
            let _ = self.tell.try_send(trouble(format!("is not run: {MOST} of its kind have not ended")));
            return;
        }
        let child = Command::new(program)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        match child {
            Ok(mut child) => {
                let (running, tell) = (Arc::clone(&self.running), self.tell.clone());
                let program = program.display().to_string();
                thread::spawn(move || {
                    let ended = child.wait();
                    running.fetch_sub(1, Ordering::Relaxed);
                    let failed = match ended {
                        Ok(status) if status.success() => return,
                        Ok(status) => format!("{program} has failed ({status})"),
                        Err(error) => format!("{program} cannot be waited for ({error})"),
                    };
                    let _ = tell.try_send(Event::Trouble(failed));
                });
            }
            Err(error) => {
                self.running.fetch_sub(1, Ordering::Relaxed);
                let _ = self.tell.try_send(trouble(format!("cannot be run ({error})")));
            }
        }
    }
}

/// Where a program is: as it is named, or in the folders of the search path.
fn found(name: &Path) -> Option<PathBuf> {
    if name.components().count() > 1 {
        return name.is_file().then(|| name.to_owned());
    }
    let folders = env::var_os("PATH")?;
    env::split_paths(&folders).map(|folder| folder.join(name)).find(|path| path.is_file())
}
