//! The terminal: a screen that stands still, and keys.

use std::io::{self, IsTerminal, Write};
use std::sync::mpsc::SyncSender;
use std::thread;

use crossterm::event::{self, KeyCode, KeyEventKind, KeyModifiers};
use crossterm::terminal;

use super::event::{Event, Key};
use super::told::Told;
use crate::sheet::CAUTION;

/// The rows of each figure, three dots wide: the highest bit is the left one.
const FIGURES: [(char, [u8; 5]); 15] = [
    ('0', [7, 5, 5, 5, 7]),
    ('1', [2, 6, 2, 2, 7]),
    ('2', [7, 1, 7, 4, 7]),
    ('3', [7, 1, 3, 1, 7]),
    ('4', [5, 5, 7, 1, 1]),
    ('5', [7, 4, 7, 1, 7]),
    ('6', [4, 4, 7, 5, 7]),
    ('7', [7, 1, 2, 2, 2]),
    ('8', [7, 5, 7, 5, 7]),
    ('9', [7, 5, 7, 1, 1]),
    ('.', [0, 0, 0, 0, 2]),
    ('-', [0, 0, 7, 0, 0]),
    ('<', [1, 2, 4, 2, 1]),
    ('>', [4, 2, 1, 2, 4]),
    ('?', [7, 1, 3, 0, 2]),
];

/// The terminal while it is this program's; given back when dropped.
pub struct Screen {
    drawn: Vec<String>,
    size: (u16, u16),
}

impl Screen {
    /// Takes the terminal, when standard output is one.
    pub fn take(tell: SyncSender<Event>) -> Option<Self> {
        if !io::stdout().is_terminal() {
            return None;
        }
        // without keys (no terminal to read them from) the screen still stands
        if terminal::enable_raw_mode().is_ok() {
            thread::spawn(move || while keys(&tell).is_some() {});
        }
        let mut out = io::stdout();
        let _ = out.write_all(b"\x1b[?1049h\x1b[?25l\x1b[2J");
        Some(Self { drawn: Vec::new(), size: (0, 0) })
    }

    /// Draws what has changed.
    pub fn draw(&mut self, told: &Told, news: &[String]) {
        let size = terminal::size().ok().filter(|(width, _)| *width > 0).unwrap_or((80, 24));
        let lines = lines(told, news, size.0.into(), size.1.into());
        if lines == self.drawn && size == self.size {
            return;
        }
        let mut text = String::from("\x1b[H");
        for line in lines.iter().take(size.1.max(1).into()) {
            text += line;
            text += "\x1b[K\r\n";
        }
        // the last line's end would move the screen
        text.truncate(text.len() - 2);
        text += "\x1b[J";
        (self.drawn, self.size) = (lines, size);
        let mut out = io::stdout().lock();
        let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let _ = terminal::disable_raw_mode();
        let mut out = io::stdout();
        let _ = out.write_all(b"\x1b[?25h\x1b[?1049l").and_then(|()| out.flush());
    }
}

/// Waits for a key; none when there is nobody to tell it to, or no keys.
fn keys(tell: &SyncSender<Event>) -> Option<()> {
    let event::Event::Key(key) = event::read().ok()? else { return Some(()) };
    if key.kind != KeyEventKind::Press {
        return Some(());
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    let key = match key.code {
        KeyCode::Char('c' | 'q') if control => Key::Quit,
        KeyCode::Char('q') => Key::Quit,
        KeyCode::Char('a' | ' ') | KeyCode::Enter => Key::Acknowledge,
        KeyCode::Char('s') => Key::Snooze,
        KeyCode::Char('u') => Key::Unit,
        _ => return Some(()),
    };
    tell.send(Event::Key(key)).ok()
}

/// A value in large figures.
fn large(text: &str) -> [String; 5] {
    std::array::from_fn(|row| {
        let figures = text.chars().filter_map(|c| FIGURES.iter().find(|(figure, _)| *figure == c));
        let mut line = String::from("  ");
        for (_, rows) in figures {
            for bit in [4, 2, 1] {
                line += if rows[row] & bit == 0 { "  " } else { "██" };
            }
            line += "  ";
        }
        line
    })
}

/// Everything on the screen, line by line, none longer than `width`; of the news as much as there is room for.
fn lines(told: &Told, news: &[String], width: usize, height: usize) -> Vec<String> {
    let people = &told.for_people;
    let mut lines =
        vec![plain(&format!("glidepath live  {}", told.time.replace('T', " ")), width), String::new()];
    let mut large = large(&people.figure);
    large[4] += people.unit;
    lines.extend(large.iter().map(|line| plain(line, width)));
    lines.push(String::new());
    if let Some(matter) = &people.matter {
        lines.push(format!("\x1b[1m{}\x1b[0m", plain(&format!("  {matter}"), width)));
    }
    for (name, what) in &people.rows {
        lines.push(plain(&format!("  {name:<12}{what}"), width));
    }
    lines.push(String::new());
    for alarm in &told.alarms {
        let text = plain(&format!("  {}", alarm.line()), width);
        // light on dark turned round, for one that asks for attention
        lines.push(if alarm.acknowledged { text } else { format!("\x1b[7;1m{text}\x1b[0m") });
    }
    if told.alarms.is_empty() {
        lines.push("  no alarm".into());
    }
    lines.push(String::new());
    let caution = wrapped(CAUTION, width.saturating_sub(4));
    let room = height.saturating_sub(lines.len() + 1 + caution.len()).min(news.len());
    let newest = news.get(news.len() - room..).unwrap_or_default();
    lines.extend(newest.iter().map(|line| plain(&format!("  {line}"), width)));
    lines.push(plain("  a seen   s silent for 15 min   u unit   q end (ends the alarms too)", width));
    lines.extend(caution.iter().map(|line| format!("  {line}")));
    // rather no gaps than no caution
    while lines.len() > height
        && let Some(gap) = lines.iter().rposition(String::is_empty)
    {
        lines.remove(gap);
    }
    lines
}

/// A line without control characters, cut to `width`.
fn plain(text: &str, width: usize) -> String {
    text.chars().filter(|c| !c.is_control()).take(width).collect()
}

fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.last().map_or(0, |line| line.chars().count());
        if last > 0 && last + 1 + word.chars().count() > width {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::told::Alarm;

    #[test]
    fn figures_differ_and_every_line_fits() {
        for (n, (_, one)) in FIGURES.iter().enumerate() {
            assert!(FIGURES.iter().skip(n + 1).all(|(_, other)| one != other));
            assert!(one.iter().all(|row| *row < 8));
        }
        assert_eq!(large("1-")[2], format!("    ██    {}  ", "██".repeat(3)));
        let told = Told::default();
        for width in [20, 40, 80, 200] {
            let lines = lines(&told, &["x".repeat(300)], width, 24);
            assert!(lines.iter().all(|line| line.chars().count() <= width), "{lines:?}");
            let all: Vec<&str> = lines.iter().flat_map(|line| line.split_whitespace()).collect();
            assert!(all.join(" ").contains(CAUTION), "{width}");
        }
        assert_eq!(plain("a\x1b[2Jb", 80), "a[2Jb");
        // the caution stays when there is little room
        let news: Vec<String> = (0..9).map(|n| format!("news {n}")).collect();
        let lines = lines(&told, &news, 80, 18);
        assert!(lines.len() == 18 && lines.contains(&"  news 8".into()), "{lines:#?}");
        // and so it does with two sensors and their alarms, in a terminal of the usual height
        let alarm = Alarm {
            kind: "low",
            priority: "medium",
            cause: "new",
            message: "glucose is low",
            reason: "the sensor's reading of 62 mg/dL".into(),
            acknowledged: false,
        };
        let mut full = Told { alarms: vec![alarm; 2], ..Told::default() };
        full.for_people.matter = Some("LOW".into());
        full.for_people.rows = vec![("row", "what".into()); 8];
        let lines = super::lines(&full, &news, 80, 24);
        assert!(lines.len() == 24 && lines.last().unwrap().ends_with("local rules."), "{lines:#?}");
    }
}
