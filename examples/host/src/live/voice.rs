//! Telling: on the screen, in lines for people or for programs, on the page, and aloud.

use std::path::Path;
use std::sync::mpsc::SyncSender;

use serde::Serialize;

use super::drawing;
use super::event::Event;
use super::page::Page;
use super::screen::Screen;
use super::sensors::Sensors;
use super::sound::Sound;
use super::told::{Alarm, Told};
use super::watch::{Counts, News, Present, Watch};
use crate::failure::Failure;
use crate::output::say;
use crate::sheet::CAUTION;
use crate::table::{Clock, Unit, count};

/// Lines that stay on the screen.
const LINES: usize = 5;
/// The page is made anew this often, and the state of things told to programs that often, milliseconds.
const PAGE_MS: u64 = 1000;
const NOW_MS: u64 = 60_000;

/// A line for a program.
#[derive(Serialize)]
#[serde(tag = "event", rename_all = "snake_case")]
enum Line<'a> {
    Now(&'a Told),
    Alarm {
        time: &'a str,
        #[serde(flatten)]
        alarm: &'a Alarm,
    },
    Input {
        message: &'a str,
    },
    End(&'a Told),
}

impl Line<'_> {
    fn say(&self) {
        say(&serde_json::to_string(self).unwrap_or_default());
    }
}

/// All the ways of telling.
pub struct Voice {
    json: bool,
    screen: Option<Screen>,
    page: Option<Page>,
    sound: Sound,
    /// What happened last, for the screen.
    lines: Vec<String>,
    turned: bool,
    /// When programs and the page are next told how things are.
    now_ms: u64,
    page_ms: u64,
    last: Option<Told>,
    /// What plain lines said last beside the value.
    matter: Option<String>,
}

impl Voice {
    /// Takes the terminal, if there is one and nothing else is asked for.
    ///
    /// # Errors
    /// When the page cannot be served, or the command at alarms is not found.
    pub fn new(
        json: bool,
        page: Option<u16>,
        command: Option<&Path>,
        tell: &SyncSender<Event>,
    ) -> Result<Self, Failure> {
        let sound = Sound::new(command, tell.clone())?;
        let page = page.map(|port| Page::serve(port, tell.clone())).transpose()?;
        let screen = if json { None } else { Screen::take(tell.clone()) };
        let mut voice = Self {
            json,
            screen,
            page,
            sound,
            lines: Vec::new(),
            turned: false,
            now_ms: 0,
            page_ms: 0,
            last: None,
            matter: None,
        };
        if voice.screen.is_none() && !json {
            say(CAUTION);
        }
        voice.input(voice.sound.ways());
        if let Some(page) = &voice.page {
            voice.input(format!("The page: {}", page.address()));
        }
        Ok(voice)
    }

    /// Something happened to the input, or in the way of telling.
    pub fn input(&mut self, what: String) {
        if self.json {
            Line::Input { message: &what }.say();
        } else if self.screen.is_none() {
            eprintln!("glidepath: {what}");
        }
        self.lines.push(what);
        let surplus = self.lines.len().saturating_sub(LINES);
        self.lines.drain(..surplus);
    }

    /// The present has begun.
    pub fn begun(&mut self, counts: &Counts) {
        if counts.readings > 0 {
            self.input(format!("Lived through {} of the past.", count(counts.readings, "reading")));
        }
        self.due();
    }

    /// All is to be told at once.
    pub fn due(&mut self) {
        (self.now_ms, self.page_ms) = (0, 0);
    }

    /// Shows the other unit.
    pub fn other_unit(&mut self) {
        self.turned = !self.turned;
        self.due();
    }

    /// Tells what has happened, and how things are.
    pub fn tell<M: Sensors>(
        &mut self,
        watch: &mut Watch<M>,
        news: &[News],
        clock: &Clock,
        present: Present,
        unit: Unit,
    ) {
        let unit = match (self.turned, unit) {
            (false, unit) => unit,
            (true, Unit::MgDl) => Unit::MmolL,
            (true, Unit::MmolL) => Unit::MgDl,
        };
        watch.show_in(if unit == Unit::MgDl { wrist::face::Unit::MgDl } else { wrist::face::Unit::MmolL });
        let told = Told::of(watch, clock, present.stamp, unit);
        for news in news {
            match news {
                News::Rang(ring) => self.ring(&Alarm::of(ring, unit, false), &told),
                News::Settings => {
                    self.input("Settings that come as a frame are left out; --settings gives them.".into())
                }
                News::Taken => {}
            }
        }
        if !news.is_empty() {
            self.due();
        }
        let is_due = self.now_ms == 0;
        let matter = told.for_people.matter.clone();
        if present.ms >= self.now_ms || matter != self.matter {
            self.now_ms = present.ms + NOW_MS;
            if self.json {
                Line::Now(&told).say();
            } else if self.screen.is_none() && (is_due || matter != self.matter) {
                say(&told.line());
            }
            self.matter = matter;
        }
        if let Some(screen) = &mut self.screen {
            screen.draw(&told, &self.lines);
        }
        if let Some(page) = self.page.as_ref().filter(|_| present.ms >= self.page_ms) {
            self.page_ms = present.ms + PAGE_MS;
            page.show(&told, Some(&drawing::draw(watch, clock, present.stamp, unit)));
        }
        self.last = Some(told);
    }

    fn ring(&mut self, alarm: &Alarm, told: &Told) {
        self.sound.ring(alarm);
        if let Some(page) = &mut self.page {
            page.ring();
        }
        if self.json {
            Line::Alarm { time: &told.time, alarm }.say();
        } else if self.screen.is_none() {
            say(&format!("{} ALARM {}", told.time, alarm.line()));
        }
    }

    /// The run is over: the terminal is given back, and what became of everything is told.
    pub fn end(self) {
        let Self { json, screen, last, .. } = self;
        drop(screen);
        let Some(told) = last else { return };
        if json {
            Line::End(&told).say();
            return;
        }
        let Counts { readings, repeated, refused, broken, blank, too_old } = told.counts;
        say(&format!(
            "Ended: {} taken in, {repeated} known already, {refused} refused, {blank} without a value, {too_old} too old, \
             {broken} that could not be read. No alarm sounds from now on.",
            count(readings, "reading")
        ));
    }
}
