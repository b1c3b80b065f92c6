//! A sheet: one HTML file with its drawings inside, readable offline, on a phone and on a desk.
//!
//! One scale of colours for all sheets, after Okabe and Ito (2008), with a contrast of 4.5 to 1 at least on white and on
//! dark paper; each also differs by place, shape, pattern or text. A light script shows the values under the pointer and
//! zooms; without it everything can still be read.

mod axis;
mod chart;

#[allow(unused_imports, reason = "each subcommand uses its part of the kit")]
pub use axis::Axis;
#[allow(unused_imports, reason = "each subcommand uses its part of the kit")]
pub use chart::{Chart, Mark, Panel, Scale};

/// What every sheet says at its end.
pub const CAUTION: &str = "This is not a medical device and not for treatment decisions. Confirm with a \
    fingerstick when symptoms and reading disagree, and follow your care team and local rules.";

/// What it says at its head, shorter.
pub const DEVICE: &str = "Not a medical device, not for treatment decisions; more at the end.";

/// A figure at the head of a sheet.
pub struct Figure {
    pub name: String,
    pub value: String,
    pub note: String,
}

impl Figure {
    /// A figure, and what stands under it in small print.
    pub fn new(name: &str, value: impl Into<String>, note: impl Into<String>) -> Self {
        Self { name: name.to_owned(), value: value.into(), note: note.into() }
    }
}

/// A sheet under way.
pub struct Page {
    title: String,
    body: String,
    open_section: bool,
    /// Rules of its own, after the common ones.
    style: &'static str,
}

impl Page {
    /// An empty sheet.
    pub fn new(title: &str) -> Self {
        Self { title: title.to_owned(), body: String::new(), open_section: false, style: "" }
    }

    /// The same sheet with style rules of its own.
    pub fn with_style(self, style: &'static str) -> Self {
        Self { style, ..self }
    }

    /// Markup of the sheet's own making; text in it must have gone through [`escape`].
    pub fn markup(&mut self, markup: &str) {
        self.body += markup;
    }

    /// The head: five figures at most, and one drawing.
    pub fn head(&mut self, figures: &[Figure], chart: Option<&Chart>) {
        self.body += "<ul class=\"five\">";
        for Figure { name, value, note } in figures.iter().take(5) {
            let class = narrower(value);
            let [name, value, note] = [name, value, &together(note)].map(|text| escape(text));
            self.body += &format!("<li><span>{name}</span><b{class}>{value}</b><span>{note}</span></li>");
        }
        self.body += "</ul>\n";
        if let Some(chart) = chart {
            self.chart(chart);
        }
    }

    /// A line in small print below the title.
    pub fn note(&mut self, text: &str) {
        self.body += &format!("<p class=\"device\">{}</p>\n", escape(text));
    }

    /// What the figures mean in plain words, folded; a sentence or two for each thought. `figure` is what stands in none of
    /// the five above it.
    pub fn summary(&mut self, thoughts: &[String], figure: &str) {
        self.body += &format!("<details class=\"more\"><summary>In words{}</summary>\n", main_figure(figure));
        for thought in thoughts {
            self.text(thought);
        }
        self.body += "</details>\n";
    }

    /// Drawings of days, folded, each with its main figure behind its name: one is open at a time, with ways to the days
    /// beside it.
    pub fn days(&mut self, days: &[Chart], figures: &[String]) {
        // of many the printed sheet has the open one only
        let many = if days.len() > 14 { " many" } else { "" };
        for (n, chart) in days.iter().enumerate() {
            let way = |to: Option<&Chart>, words: &str| {
                to.map_or_else(String::new, |to| format!("<a href=\"#{}\">{words}</a>", to.id()))
            };
            let before = way(n.checked_sub(1).and_then(|n| days.get(n)), "‹ the day before");
            let after = way(days.get(n + 1), "the day after ›");
            let (name, figure) = (escape(chart.title()), chart.figure());
            let main = main_figure(figures.get(n).map_or("", String::as_str));
            self.body += &format!(
                "<details class=\"day{many}\" name=\"day\"><summary>{name}{main}</summary>{figure}<p class=\"step\">{before} {after} \
                 <a href=\"#overview\">all days</a></p></details>\n"
            );
        }
    }

    /// Begins a section, folded: its main figure stands behind the heading, to be read without opening it.
    pub fn section(&mut self, heading: &str, figure: &str) {
        debug_assert!(!figure.is_empty(), "nothing behind {heading:?}");
        self.begin(heading, figure, "");
    }

    /// Begins a section that is open.
    pub fn open_section(&mut self, heading: &str) {
        self.begin(heading, "", " open");
    }

    fn begin(&mut self, heading: &str, figure: &str, open: &str) {
        self.close_section();
        self.open_section = true;
        let (heading, figure) = (escape(heading), main_figure(figure));
        self.body += &format!(
            "<section><details class=\"part\"{open}><summary><h2>{heading}</h2>{figure}</summary>\n"
        );
    }

    fn close_section(&mut self) {
        if std::mem::take(&mut self.open_section) {
            self.body += "</details></section>\n";
        }
    }

    /// A paragraph.
    pub fn text(&mut self, text: &str) {
        self.body += &format!("<p>{}</p>\n", escape(&together(text)));
    }

    /// A drawing over the whole width.
    pub fn chart(&mut self, chart: &Chart) {
        self.body += &chart.figure();
    }

    /// Drawings side by side, as many in a row as there is room for; a few are drawn larger.
    pub fn side_by_side(&mut self, charts: &[Chart]) {
        let class = if charts.len() <= 6 { "grid few" } else { "grid" };
        self.body += &format!("<div class=\"{class}\">\n");
        for chart in charts {
            self.body += &chart.figure();
        }
        self.body += "</div>\n";
    }

    /// What the lines and signs of the drawings mean: a sample and its words.
    pub fn legend(&mut self, entries: &[(Sample, &str)]) {
        self.body += "<ul class=\"legend\">";
        for (sample, words) in entries {
            let drawn = match sample {
                Sample::Line(class) => format!("<path class=\"line {class}\" d=\"M1 8H27\"/>"),
                Sample::Dots(class) => {
                    format!("<path class=\"dots {class}\" d=\"M5 8h.1M14 6h.1M23 9h.1\"/>")
                }
                Sample::Band(class) => {
                    format!("<rect class=\"band {class}\" y=\"2\" width=\"28\" height=\"12\"/>")
                }
                Sample::Stretch => "<rect class=\"stretch\" y=\"1\" width=\"28\" height=\"14\"/>".to_owned(),
                Sample::Mark(mark) => format!("<use href=\"#{}\" x=\"14\" y=\"8\"/>", mark.id()),
            };
            let words = escape(words);
            let of = match sample {
                Sample::Line(class) => format!(" data-of=\"line {class}\""),
                Sample::Dots(class) => format!(" data-of=\"dots {class}\""),
                _ => String::new(),
            };
            self.body += &format!(
                "<li{of}><svg width=\"28\" height=\"16\" aria-hidden=\"true\">{drawn}</svg> {words}</li>"
            );
        }
        self.body += "</ul>\n";
    }

    /// The same beside the drawing above it, folded, and what else is to be known of it.
    pub fn key(&mut self, entries: &[(Sample, &str)], said: &str) {
        self.body += "<details class=\"key\"><summary>What is drawn</summary>";
        self.legend(entries);
        if !said.is_empty() {
            self.text(said);
        }
        self.body += "</details>\n";
    }

    /// A table; the first column names the rows.
    pub fn table(&mut self, caption: &str, head: &[&str], rows: &[Vec<String>]) {
        self.body += &format!("<div class=\"wide\"><table><caption>{}</caption><thead><tr>", escape(caption));
        let words: Vec<bool> = (0..head.len()).map(|n| n > 0 && holds_words(rows, n)).collect();
        let class = |n: usize| if words.get(n) == Some(&true) { " class=\"words\"" } else { "" };
        for (n, cell) in head.iter().enumerate() {
            self.body += &format!("<th scope=\"col\"{}>{}</th>", class(n), escape(cell));
        }
        self.body += "</tr></thead><tbody>\n";
        for row in rows {
            self.body += "<tr>";
            for (n, cell) in row.iter().enumerate() {
                let (open, close) = if n == 0 { ("th scope=\"row\"", "th") } else { ("td", "td") };
                self.body += &format!("<{open}{}>{}</{close}>", class(n), escape(&typeset(cell)));
            }
            self.body += "</tr>\n";
        }
        self.body += "</tbody></table></div>\n";
    }

    /// What it holds so far, to stand within another sheet.
    pub fn into_body(mut self) -> String {
        self.close_section();
        self.body
    }

    /// The whole file.
    pub fn finish(mut self) -> String {
        self.close_section();
        let (title, body) = (escape(&self.title), &self.body);
        let (page_style, chart_style) = (include_str!("page.css"), include_str!("chart.css"));
        let script = include_str!("sheet.js");
        let (signs, caution) = (chart::signs(), escape(CAUTION));
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <title>{title}</title>\n<style>\n{page_style}{chart_style}{}</style>\n</head>\n<body>\n\
             <svg width=\"0\" height=\"0\" aria-hidden=\"true\" style=\"position:absolute\">{signs}</svg>\n\
             <main>\n<h1>{title}</h1>\n<p class=\"device\">{DEVICE}</p>\n{body}<footer><p class=\"caution\">{caution}</p></footer>\n</main>\n\
             <script>\n{script}</script>\n</body>\n</html>\n",
            self.style
        )
    }
}

/// The main figure of what is folded, as it stands in the heading.
fn main_figure(figure: &str) -> String {
    if figure.is_empty() {
        return String::new();
    }
    format!(" <span class=\"main\">{}</span>", escape(&together(figure)))
}

/// The same with no line break between a number and its unit.
pub fn together(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let number = out.ends_with(|c: char| c.is_ascii_digit());
        let unit = ["%", "mg/dL", "mmol/L", "min", "h"].iter().any(|unit| {
            let after = rest.clone().nth(unit.len());
            rest.clone().take(unit.len()).eq(unit.chars()) && !after.is_some_and(char::is_alphanumeric)
        });
        out.push(if c == ' ' && number && unit { '\u{a0}' } else { c });
    }
    out
}

/// A cell as it is printed: a minus for a number below zero, a dash for what is not known.
fn typeset(cell: &str) -> String {
    match cell.strip_prefix('-') {
        Some("") => "–".to_owned(),
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("−{rest}"),
        _ => cell.to_owned(),
    }
}

/// How a figure is set so that it stays on one line of a card, of which five stand side by side.
fn narrower(value: &str) -> &'static str {
    match value.chars().count() {
        0..=17 => "",
        18..=22 => " class=\"long\"",
        _ => " class=\"longer\"",
    }
}

/// Whether a column is to be read rather than compared: each of its cells begins with a letter, or one is long.
fn holds_words(rows: &[Vec<String>], column: usize) -> bool {
    const LONG: usize = 20;
    let mut cells = rows.iter().filter_map(|row| row.get(column)).filter(|cell| !cell.is_empty()).peekable();
    cells.peek().is_some()
        && (cells.clone().all(|cell| cell.starts_with(char::is_alphabetic))
            || cells.any(|cell| cell.chars().count() > LONG))
}

/// A sample in a legend, by the class of its drawing.
#[derive(Clone, Copy, Debug)]
pub enum Sample {
    /// A line.
    Line(&'static str),
    /// Single points.
    Dots(&'static str),
    /// An area.
    Band(&'static str),
    /// A sign.
    Mark(Mark),
    /// A hatched stretch of time.
    Stretch,
}

/// Text made safe to stand in HTML and SVG.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() && !matches!(c, '\n' | '\t') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_become_markup() {
        let hostile = "<script>alert('x')</script> & \"q\"\u{0}";
        let mut page = Page::new(hostile);
        page.summary(&[hostile.to_owned()], hostile);
        page.section(hostile, hostile);
        page.days(&[Chart::new(hostile, hostile, hostile, Axis::linear(0.0, 1.0, 5))], &[hostile.to_owned()]);
        page.table(hostile, &[hostile], &[vec![hostile.to_owned()]]);
        page.legend(&[(Sample::Line("plasma"), hostile)]);
        page.chart(&Chart::new(hostile, hostile, hostile, Axis::linear(0.0, 1.0, 5)));
        let html = page.finish();
        // the sheet's own script, and no other
        assert!(html.matches("<script").count() == 1 && !html.contains('\u{0}'));
        page_has_no_more_markup(&html);
        assert!(html.contains(&escape(CAUTION)));
        assert_eq!(html.matches("<section>").count(), html.matches("</section>").count());
    }

    #[test]
    fn a_folded_heading_tells_its_figure_once() {
        let mut page = Page::new("t");
        page.section("Lows", "3 of 4 lows warned of");
        page.open_section("All days");
        let day = |id: &str| Chart::new(id, id, id, Axis::linear(0.0, 1.0, 5));
        page.days(&[day("mon"), day("tue")], &["83 % in range".to_owned(), "71 % in range".to_owned()]);
        page.summary(&["Words.".to_owned()], "nothing recurs");
        page.key(&[(Sample::Line("plasma"), "blood glucose")], "and more");
        let html = page.into_body();
        let main = |words: &str| format!(" <span class=\"main\">{words}</span></summary>");
        for (name, words) in [
            ("<h2>Lows</h2>", "3 of 4 lows warned of"),
            ("mon", "83\u{a0}% in range"),
            ("tue", "71\u{a0}% in range"),
            ("In words", "nothing recurs"),
        ] {
            assert_eq!(html.matches(&format!("<summary>{name}{}", main(words))).count(), 1, "{html}");
        }
        assert!(html.contains("<summary><h2>All days</h2></summary>"));
        assert!(
            html.contains("<summary>What is drawn</summary><ul class=\"legend\">")
                && html.contains("<p>and more</p>")
        );
        assert_eq!(html.matches("class=\"main\"").count(), 4);
    }

    fn page_has_no_more_markup(html: &str) {
        assert!(!html.contains("alert('x')") && html.contains("alert(&#39;x&#39;)"));
        assert_eq!(html.matches("<details").count(), html.matches("</details>").count());
    }

    /// The relative luminance of a colour such as #1a2b3c or #abc (Web Content Accessibility Guidelines 2.2).
    fn luminance(colour: &str) -> f64 {
        let digits = colour.trim_start_matches('#');
        let wide: String =
            if digits.len() == 3 { digits.chars().flat_map(|c| [c, c]).collect() } else { digits.to_owned() };
        let part = |n: usize| {
            let value = f64::from(u8::from_str_radix(&wide[n..n + 2], 16).unwrap()) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
        a.max(b) / a.min(b)
    }

    /// The colours on light paper, on dark, and printed, each block with those it takes over from the light one.
    fn colours() -> [std::collections::BTreeMap<&'static str, &'static str>; 3] {
        let style = include_str!("chart.css");
        let blocks: Vec<&str> = style.split(":root{").skip(1).filter_map(|b| b.split('}').next()).collect();
        let read =
            |block: &&'static str| block.split(';').filter_map(|one| one.trim().split_once(':')).collect();
        let [light, dark, print]: [std::collections::BTreeMap<_, _>; 3] =
            blocks.iter().map(read).collect::<Vec<_>>().try_into().expect("three blocks");
        assert!(light.keys().eq(dark.keys()), "a colour that one paper has and the other has not");
        // a tip is not printed
        let printed = light.keys().filter(|name| !name.starts_with("--tip"));
        assert!(printed.eq(print.keys()), "printed from a dark screen a colour would be the dark one");
        // what comes later holds
        let order =
            [":root{", "prefers-color-scheme:dark", "@media print"].map(|mark| style.find(mark).unwrap());
        assert!(order.is_sorted());
        [light, dark, print]
    }

    #[test]
    fn every_colour_is_seen_on_every_paper() {
        for colours in colours() {
            let grounds = ["--paper", "--grid", "--card", "--tipink"];
            for (name, colour) in colours.iter().filter(|(name, _)| !grounds.contains(name)) {
                let seen = contrast(colour, colours["--paper"]);
                assert!(seen >= 4.5, "{name} {colour}: {seen:.2}");
            }
            for text in ["--ink", "--muted"] {
                let seen = contrast(colours[text], colours["--card"]);
                assert!(seen >= 4.5, "{text} on a card: {seen:.2}");
            }
            // a button's and a figure's ground is seen as one, and the grid does not outshine what is drawn over it
            assert!(contrast(colours["--card"], colours["--paper"]) < 1.2);
            assert!((1.1..2.0).contains(&contrast(colours["--grid"], colours["--paper"])));
        }
        let [light, dark, print] = colours();
        for tips in [&light, &dark] {
            assert!(contrast(tips["--tip"], tips["--tipink"]) >= 4.5);
        }
        let [on_light, on_dark, on_print] = [&light, &dark, &print].map(|paper| luminance(paper["--paper"]));
        assert!(on_light > 0.9 && on_dark < 0.02 && on_print == 1.0, "{on_light} {on_dark} {on_print}");
    }

    #[test]
    fn colours_have_one_home() {
        let styles = [
            include_str!("page.css"),
            include_str!("../review/sheet.css"),
            include_str!("../live/page.css"),
            include_str!("chart.css").rsplit_once(":root{").unwrap().1.split_once("}}").unwrap().1,
        ];
        for style in styles {
            for rule in ["color:", "fill:", "stroke:", "background:"] {
                for (at, _) in style.match_indices(rule) {
                    let value = style[at + rule.len()..].split([';', '}']).next().unwrap();
                    let known =
                        ["var(--", "none", "transparent", "url(#", "linear-gradient(to left,var(--", "exact"];
                    // `color-scheme` and the like are no colours
                    assert!(known.iter().any(|known| value.starts_with(known)), "{rule}{value}");
                }
            }
        }
    }

    fn printed(selector: &str) -> String {
        declared(include_str!("page.css").split_once("@media print{").unwrap().1, selector)
    }

    /// The declarations of a selector among rules.
    fn declared(rules: &str, selector: &str) -> String {
        let of = |rule: &str| {
            let (selectors, declared) = rule.split_once('{')?;
            selectors.trim().split(',').any(|one| one.trim() == selector).then(|| format!("{declared};"))
        };
        rules.split('}').filter_map(of).collect()
    }

    #[test]
    fn a_printed_sheet_is_whole_and_keeps_together_what_belongs_together() {
        for apart in ["tr", "table", "figure", ".five", ".legend", "p"] {
            assert!(printed(apart).contains("break-inside:avoid"), "{apart} may be parted");
        }
        for leading in
            ["summary", "h2", "caption", "figcaption", ".legend", "details>p", "figure:has(+.legend)"]
        {
            assert!(printed(leading).contains("break-after:avoid"), "{leading} may stand alone");
        }
        for trailing in ["figure+.legend", ".more>p"] {
            assert!(printed(trailing).contains("break-after:auto"), "{trailing} draws the next page along");
        }
        for of_screens in ["figcaption button", ".cursor", ".tip", ".step", ".day>summary"] {
            assert!(printed(of_screens).contains("display:none"), "{of_screens} is printed");
        }
        assert!(printed("details::details-content").contains("content-visibility:visible"));
        assert!(printed("details.day.many:not([open])").contains("display:none"));
        assert!(printed("*").contains("print-color-adjust:exact"));
        assert!(printed("thead").contains("table-header-group"));
        assert!(!printed(".device").contains("display:none"), "what it is must be on the first page");
    }

    #[test]
    fn a_printed_review_has_room_on_one_page() {
        let rules = include_str!("../review/sheet.css").split_once("@media print{").unwrap().1;
        for (selector, saves) in [
            (".device", "display:none"),
            (".foot td.words", "white-space:nowrap"),
            (".foot thead:has(th:first-child:empty+th:last-child)", "display:none"),
            ("figcaption", "margin:0"),
        ] {
            assert!(declared(rules, selector).contains(saves), "{selector}");
        }
    }

    #[test]
    fn rows_keep_their_names_where_a_table_is_wider_than_the_screen() {
        let rules = include_str!("page.css").split_once("@media screen{").unwrap().1;
        let name = declared(rules, "tbody th:first-child");
        assert!(
            name.contains("position:sticky;left:0") && name.contains("background:var(--paper)"),
            "{name}"
        );
    }

    #[test]
    fn the_head_has_five_figures_and_a_drawing() {
        let figures: Vec<Figure> =
            (0..6).map(|n| Figure::new(&format!("n{n}"), format!("{n} %"), "stable up to 36 %")).collect();
        let mut page = Page::new("t");
        page.head(&figures, Some(&Chart::new("id", "t", "d", Axis::linear(0.0, 1.0, 5))));
        let html = page.into_body();
        assert_eq!(html.matches("<li>").count(), 5, "{html}");
        assert!(
            html.contains("<li><span>n4</span><b>4 %</b><span>stable up to 36\u{a0}%</span></li>"),
            "{html}"
        );
        let figure = html.find("<figure").unwrap();
        assert!(html.find("</ul>").unwrap() < figure);
        assert_eq!(narrower(&"x".repeat(17)), "");
        assert!(narrower(&"x".repeat(18)).contains("long\"") && narrower(&"x".repeat(23)).contains("longer"));
    }

    #[test]
    fn numbers_are_set_as_they_are_printed() {
        assert_eq!(together("70 % of 12 h, 5 mg/dL"), "70\u{a0}% of 12\u{a0}h, 5\u{a0}mg/dL");
        assert_eq!(
            together("at 5 minutes, 2 hours, a % of 3 pairs"),
            "at 5 minutes, 2 hours, a % of 3 pairs"
        );
        assert_eq!(together("5 min"), "5\u{a0}min");
        let all = ["-", "-1.5", "-a", "1-2", ""].map(typeset);
        assert_eq!(all, ["–", "−1.5", "-a", "1-2", ""]);
        let mut page = Page::new("t");
        page.table("c", &["r", "n"], &[vec!["a".to_owned(), "-3".to_owned()]]);
        assert!(page.into_body().contains("<td>−3</td>"));
    }

    #[test]
    fn dots_have_a_length_that_prints() {
        let mut page = Page::new("t");
        page.legend(&[(Sample::Dots("second"), "w")]);
        let html = page.into_body();
        assert!(html.contains("h.1") && !html.contains("h0"), "{html}");
    }

    #[test]
    fn words_stand_left_and_numbers_right() {
        let mut page = Page::new("t");
        let row = |cells: [&str; 4]| cells.map(str::to_owned).to_vec();
        page.table(
            "c",
            &["r", "n", "w", "m"],
            &[row(["a", "1", "low", "too few"]), row(["b", "2", "high", "3"])],
        );
        let html = page.into_body();
        assert_eq!(html.matches("class=\"words\"").count(), 3, "{html}");
        assert!(html.contains("<th scope=\"col\" class=\"words\">w</th>"));
    }

    #[test]
    fn a_sheet_needs_nothing_from_elsewhere() {
        let html = Page::new("t").finish();
        assert!(!html.contains("http") && !html.contains("src=") && !html.contains("@import"));
    }
}
