//! Drawings: panels one above the other over a common direction of time.
//!
//! A drawing has no width of its own: data are drawn in boxes that stretch, while text, strokes and signs keep
//! their size. So one drawing is legible on a phone and on a desk.

use std::fmt::Write;

use super::axis::Axis;
use super::escape;
use crate::table::Unit;

/// The inner width of a panel's own units; its height has [`FINE`] units a pixel.
const WIDE: f64 = 2880.0;
const FINE: f64 = 4.0;
/// Room beside the panels for labels, pixels.
const LEFT: f64 = 44.0;
const RIGHT: f64 = 18.0;
const BELOW: f64 = 20.0;
const BETWEEN: f64 = 8.0;
/// The width of a drawing saved as a file of its own.
const ALONE: f64 = 960.0;

/// A sign that marks a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// An alarm of high priority.
    High,
    /// An alarm of medium priority.
    Medium,
    /// An alarm of low priority.
    Low,
    /// An alarm that went on.
    Again,
    /// A fingerstick that was used.
    Fingerstick,
    /// A fingerstick that was refused.
    Refused,
}

impl Mark {
    pub(super) fn id(self) -> &'static str {
        match self {
            Self::High => "sign-high",
            Self::Medium => "sign-medium",
            Self::Low => "sign-low",
            Self::Again => "sign-again",
            Self::Fingerstick => "sign-stick",
            Self::Refused => "sign-refused",
        }
    }
}

/// The signs and patterns that drawings refer to.
pub(super) fn signs() -> &'static str {
    "<defs>\
     <path id=\"sign-high\" class=\"sign high\" d=\"M0-5.5L5.5 4.5H-5.5Z\"/>\
     <path id=\"sign-medium\" class=\"sign medium\" d=\"M0-5L5 0 0 5-5 0Z\"/>\
     <path id=\"sign-low\" class=\"sign low\" d=\"M-3.5-3.5H3.5V3.5H-3.5Z\"/>\
     <circle id=\"sign-again\" class=\"again\" r=\"1.7\"/>\
     <g id=\"sign-stick\" class=\"sign stick\"><circle r=\"4.5\"/><path d=\"M-2 0H2M0-2V2\"/></g>\
     <g id=\"sign-refused\" class=\"sign refused\"><circle r=\"4.5\"/><path d=\"M-3-3L3 3\"/></g>\
     <pattern id=\"hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
     patternTransform=\"rotate(45)\"><path class=\"hatch\" d=\"M3 0V6\"/></pattern>\
     </defs>"
}

/// How the values of a panel are read out under the pointer.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Scale {
    /// As they are, to three digits.
    #[default]
    Plain,
    /// Glucose in mg/dL, told in this unit.
    Glucose(Unit),
    /// The natural logarithm of it.
    LogGlucose(Unit),
    /// Not at all.
    None,
}

/// One panel: a direction of its own, over the drawing's common one.
pub struct Panel {
    height: f64,
    x: Axis,
    y: Axis,
    name: String,
    scale: Scale,
    /// What stretches with the width.
    stretched: String,
    /// What stands under and over it and keeps its size.
    under: String,
    over: String,
}

impl Panel {
    /// An empty panel `height` pixels high; `x` as in its drawing. `name` stands at its upper left.
    pub fn new(height: f64, x: &Axis, y: Axis, name: &str) -> Self {
        let mut under = String::new();
        for (at, label, _) in &y.ticks {
            let y = (1.0 - y.place(*at)) * height;
            let _ = write!(under, "<line class=\"tick\" x2=\"100%\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>");
            let _ = write!(under, "<text class=\"y\" x=\"-5\" y=\"{:.1}\">{}</text>", y + 3.5, escape(label));
        }
        for (at, ..) in x.ticks.iter() {
            let x = x.place(*at) * 100.0;
            let _ = write!(under, "<line class=\"tick\" x1=\"{x:.2}%\" x2=\"{x:.2}%\" y2=\"{height}\"/>");
        }
        let over = format!("<text class=\"name\" x=\"4\" y=\"11\">{}</text>", escape(name));
        let (x, name) = (x.clone(), name.to_owned());
        Self { height, x, y, name, scale: Scale::Plain, stretched: String::new(), under, over }
    }

    /// The same, its values read out on `scale`.
    pub fn reading(self, scale: Scale) -> Self {
        Self { scale, ..self }
    }

    /// A part across the whole width that leads to another place of the sheet.
    pub fn leads(&mut self, low: f64, high: f64, to: &str, words: &str) {
        let (top, bottom) = (self.down(high), self.down(low));
        let (height, to, words) = (bottom - top, escape(to), escape(words));
        let _ = write!(
            self.over,
            "<a href=\"#{to}\"><title>{words}</title><rect class=\"row\" width=\"100%\" y=\"{top:.1}\" \
             height=\"{height:.1}\"/></a>"
        );
    }

    /// An area between `low` and `high` over the whole width.
    pub fn zone(&mut self, class: &str, low: f64, high: f64) {
        let (top, bottom) = (self.down(high), self.down(low));
        let height = bottom - top;
        let _ = write!(
            self.under,
            "<rect class=\"zone {class}\" width=\"100%\" y=\"{top:.1}\" height=\"{height:.1}\"/>"
        );
    }

    /// A line across at `y`.
    pub fn rule(&mut self, class: &str, y: f64) {
        let y = self.down(y);
        let _ = write!(self.under, "<line class=\"rule {class}\" x2=\"100%\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>");
    }

    /// A stretch of time, hatched over the whole height, with what it is for whoever points at it.
    pub fn stretch(&mut self, from: f64, to: f64, what: &str) {
        let (from, to) = (self.x.place(from) * 100.0, self.x.place(to) * 100.0);
        let (width, height, what) = (to - from, self.height, escape(what));
        let _ = write!(
            self.under,
            "<rect class=\"stretch\" x=\"{from:.2}%\" width=\"{width:.2}%\" height=\"{height}\">\
             <title>{what}</title></rect>"
        );
    }

    /// A line through points in order of `x`; it breaks where they are further apart than `longest_step`.
    pub fn line(&mut self, class: &str, points: impl IntoIterator<Item = (f64, f64)>, longest_step: f64) {
        let mut pen = Pen::default();
        let mut before = f64::NEG_INFINITY;
        for (x, y) in points {
            pen.to(self.units(x, y), !(0.0..=longest_step).contains(&(x - before)));
            before = x;
        }
        self.path("line", class, &pen.path);
    }

    /// The area between a low and a high line, broken as [`Self::line`].
    pub fn band(&mut self, class: &str, points: &[(f64, f64, f64)], longest_step: f64) {
        let mut pen = Pen::default();
        for run in points.chunk_by(|a, b| (0.0..=longest_step).contains(&(b.0 - a.0))) {
            for (n, (x, low, _)) in run.iter().enumerate() {
                pen.to(self.units(*x, *low), n == 0);
            }
            for (x, _, high) in run.iter().rev() {
                pen.to(self.units(*x, *high), false);
            }
            pen.close();
        }
        self.path("band", class, &pen.path);
    }

    /// The area between the lower end and points, broken as [`Self::line`].
    pub fn area(&mut self, class: &str, points: impl IntoIterator<Item = (f64, f64)>, longest_step: f64) {
        let floor = self.y.low;
        let points: Vec<_> = points.into_iter().map(|(x, y)| (x, floor, y)).collect();
        self.band(class, &points, longest_step);
    }

    /// Upright bars from `low` to `high`, each over a stretch of `x`.
    pub fn bars(&mut self, class: &str, bars: impl IntoIterator<Item = (f64, f64, f64, f64)>) {
        let mut path = String::new();
        for (from, to, low, high) in bars {
            let ((x0, y0), (x1, y1)) = (self.units(from, low), self.units(to, high));
            let _ = write!(path, "M{x0} {y0}V{y1}H{x1}V{y0}z");
        }
        self.path("bars", class, &path);
    }

    /// Single points; those outside the panel stand at its edge.
    pub fn dots(&mut self, class: &str, points: impl IntoIterator<Item = (f64, f64)>) {
        let mut path = String::new();
        for (x, y) in points {
            let (x, y) = self.units(x, y);
            // not of length zero: printed, square ends of such a line are left out (ISO 32000-1, 8.5.3.2)
            let _ = write!(path, "M{x} {y}h1");
        }
        self.path("dots", class, &path);
    }

    /// A sign, with its words for whoever points at it.
    pub fn mark(&mut self, mark: Mark, x: f64, y: f64, words: &str) {
        let (x, y, id, words) = (self.x.place(x) * 100.0, self.down(y), mark.id(), escape(words));
        let _ =
            write!(self.over, "<use href=\"#{id}\" x=\"{x:.2}%\" y=\"{y:.1}\"><title>{words}</title></use>");
    }

    /// A thin upright line at `x`.
    pub fn upright(&mut self, class: &str, x: f64) {
        let (x, height) = (self.x.place(x) * 100.0, self.height);
        let _ = write!(
            self.under,
            "<line class=\"upright {class}\" x1=\"{x:.2}%\" x2=\"{x:.2}%\" y2=\"{height}\"/>"
        );
    }

    /// Words at a place of the panel.
    pub fn words(&mut self, class: &str, x: f64, y: f64, words: &str) {
        let (x, y, words) = (self.x.place(x) * 100.0, self.down(y), escape(words));
        let _ = write!(self.over, "<text class=\"{class}\" x=\"{x:.2}%\" y=\"{y:.1}\">{words}</text>");
    }

    fn path(&mut self, kind: &str, class: &str, path: &str) {
        if !path.is_empty() {
            let _ = write!(self.stretched, "<path class=\"{kind} {class}\" d=\"{path}\"/>");
        }
    }

    fn down(&self, y: f64) -> f64 {
        (1.0 - self.y.place(y)) * self.height
    }

    fn units(&self, x: f64, y: f64) -> (i64, i64) {
        ((self.x.place(x) * WIDE).round() as i64, (self.down(y) * FINE).round() as i64)
    }

    fn draw(&self, top: f64) -> String {
        let Self { height, under, stretched, over, .. } = self;
        let (scale, unit) = match self.scale {
            Scale::Plain => ("plain", Unit::MgDl),
            Scale::Glucose(unit) => ("glucose", unit),
            Scale::LogGlucose(unit) => ("log", unit),
            Scale::None => ("none", Unit::MgDl),
        };
        let (name, factor, fine) = (escape(&self.name), unit.in_mg_dl(), height * FINE);
        let (low, high) = (self.y.low, self.y.high);
        format!(
            "<svg class=\"panel\" y=\"{top}\" width=\"100%\" height=\"{height}\" overflow=\"visible\" data-y0=\"{low}\" \
             data-y1=\"{high}\" data-high=\"{fine}\" data-scale=\"{scale}\" data-factor=\"{factor}\" data-named=\"{name}\">\
             <rect class=\"all\" width=\"100%\" height=\"{height}\" fill=\"none\"/>{under}\
             <svg width=\"100%\" height=\"{height}\" viewBox=\"0 0 {WIDE} {}\" \
             preserveAspectRatio=\"none\" overflow=\"visible\">{stretched}</svg>{over}</svg>\n",
            height * FINE
        )
    }
}

/// Writes a path in short steps.
#[derive(Default)]
struct Pen {
    path: String,
    at: (i64, i64),
    stepping: bool,
}

impl Pen {
    fn to(&mut self, (x, y): (i64, i64), lift: bool) {
        if lift || self.path.is_empty() {
            let _ = write!(self.path, "M{x} {y}");
            self.stepping = false;
        } else {
            let (dx, dy) = (x - self.at.0, y - self.at.1);
            // numbers need a blank between them only where a sign does not part them
            let before = if !self.stepping {
                "l"
            } else if dx < 0 {
                ""
            } else {
                " "
            };
            let between = if dy < 0 { "" } else { " " };
            let _ = write!(self.path, "{before}{dx}{between}{dy}");
            self.stepping = true;
        }
        self.at = (x, y);
    }

    fn close(&mut self) {
        self.path.push('z');
        self.stepping = false;
    }
}

/// A drawing: panels one above the other over a common direction.
pub struct Chart {
    id: String,
    title: String,
    description: String,
    x: Axis,
    /// What the common direction counts, where it is no clock.
    along: String,
    panels: Vec<Panel>,
}

impl Chart {
    /// An empty drawing. `id` names it within its sheet and as a file; `description` is for who cannot see it.
    pub fn new(id: &str, title: &str, description: &str, x: Axis) -> Self {
        let id = id.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
        let (title, description) = (title.to_owned(), description.to_owned());
        Self { id, title, description, x, along: String::new(), panels: Vec::new() }
    }

    /// The same with a name for the common direction, below it.
    pub fn along(self, name: &str) -> Self {
        Self { along: name.to_owned(), ..self }
    }

    /// One more panel, below the others, if there is one.
    pub fn extend(&mut self, panel: Option<Panel>) {
        self.panels.extend(panel);
    }

    /// One more panel, below the others.
    pub fn push(&mut self, panel: Panel) {
        self.panels.push(panel);
    }

    /// Its name within the sheet and as a file.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// What it shows.
    pub fn title(&self) -> &str {
        &self.title
    }

    fn height(&self) -> f64 {
        self.panels.iter().map(|panel| panel.height + BETWEEN).sum::<f64>() + BELOW + self.named()
    }

    /// Room for the name below, pixels.
    fn named(&self) -> f64 {
        if self.along.is_empty() { 0.0 } else { 16.0 }
    }

    fn inside(&self) -> String {
        let (title, description) = (escape(&self.title), escape(&self.description));
        let id = &self.id;
        let mut out =
            format!("<title id=\"{id}-t\">{title}</title><desc id=\"{id}-d\">{description}</desc>\n");
        let mut top = 4.0;
        for panel in &self.panels {
            out += &panel.draw(top);
            top += panel.height + BETWEEN;
        }
        for (at, label, spare) in &self.x.ticks {
            let (x, label) = (self.x.place(*at) * 100.0, escape(label));
            let class = if *spare { "x spare" } else { "x" };
            let _ =
                write!(out, "<text class=\"{class}\" x=\"{x:.2}%\" y=\"{:.1}\">{label}</text>", top + 8.0);
        }
        if !self.along.is_empty() {
            let along = escape(&self.along);
            let _ = write!(out, "<text class=\"along\" x=\"100%\" y=\"{:.1}\">{along}</text>", top + 24.0);
        }
        out
    }

    /// As a figure of a sheet.
    pub(super) fn figure(&self) -> String {
        let (id, height, inside, title) = (&self.id, self.height(), self.inside(), escape(&self.title));
        format!(
            "<figure id=\"{id}\"><figcaption>{title}</figcaption><div class=\"scroll\">\
             <svg class=\"chart\" height=\"{height}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\" data-x0=\"{}\" \
             data-x1=\"{}\" data-clock=\"{}\" style=\"padding:0 {RIGHT}px 0 {LEFT}px;\
             width:calc(100% * var(--zoom,1) - {}px)\">{inside}</svg></div></figure>\n",
            self.x.low,
            self.x.high,
            u8::from(self.x.is_clock),
            LEFT + RIGHT
        )
    }

    /// As a file of its own.
    pub fn alone(&self) -> String {
        let (height, inside) = (self.height() + 18.0, self.inside());
        let (style, signs, title) = (include_str!("chart.css"), signs(), escape(&self.title));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{ALONE}\" height=\"{height}\" \
             viewBox=\"0 0 {ALONE} {height}\"><style>{style}</style>{signs}\
             <rect class=\"paper\" width=\"100%\" height=\"100%\"/>\
             <text class=\"heading\" x=\"{LEFT}\" y=\"14\">{title}</text>\
             <svg class=\"chart\" x=\"{LEFT}\" y=\"18\" width=\"{}\" height=\"{height}\" overflow=\"visible\">\
             {inside}</svg></svg>\n",
            ALONE - LEFT - RIGHT
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_at_gaps_and_stay_short() {
        let x = Axis::linear(0.0, 2880.0, 4);
        let mut panel = Panel::new(100.0, &x, Axis::linear(0.0, 100.0, 4), "");
        panel.line("plasma", [(0.0, 50.0), (10.0, 49.0), (20.0, 51.0), (100.0, 50.0), (110.0, 50.0)], 15.0);
        assert!(panel.stretched.contains("d=\"M0 200l10 4 10-8M100 200l10 0\""), "{}", panel.stretched);
        panel.band("plasma", &[(0.0, 40.0, 60.0), (10.0, 40.0, 60.0)], 15.0);
        assert!(panel.stretched.contains("d=\"M0 240l10 0 0-80-10 0z\""), "{}", panel.stretched);
        panel.dots("sensor", [(0.0, 1e9), (5000.0, -5.0)]);
        assert!(panel.stretched.contains("d=\"M0 0h1M2880 400h1\""), "{}", panel.stretched);
    }
}
