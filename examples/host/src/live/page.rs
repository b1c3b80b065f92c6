//! The local page: for browsers on this machine only, and only when asked for.
//!
//! It listens on 127.0.0.1, answers to that name alone (another site's name that leads here is refused), and takes an
//! acknowledgement only with the token that its own form holds.

use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::SyncSender;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use super::event::{Event, Key};
use super::told::Told;
use crate::failure::Failure;
use crate::sheet::{CAUTION, Chart, DEVICE, Sample, escape, together};

/// The longest request read, bytes.
const LONGEST: usize = 8 * 1024;
/// The most connections at a time.
const MOST: usize = 16;
/// A connection that says nothing is let go after so long.
const PATIENCE: Duration = Duration::from_secs(5);
/// What is shown must have been renewed so recently.
const FRESH: Duration = Duration::from_secs(10);

/// What the page shows.
#[derive(Default)]
struct Shown {
    main: String,
    title: String,
    json: String,
    at: Option<Instant>,
}

/// The page while it is served.
pub struct Page {
    shown: Arc<Mutex<Shown>>,
    port: u16,
    rings: u64,
}

struct Server {
    shown: Arc<Mutex<Shown>>,
    port: u16,
    token: String,
    nonce: String,
    tell: SyncSender<Event>,
    open: AtomicUsize,
}

/// 128 random bits, as text.
fn secret() -> Result<String, Failure> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes).map_err(|error| Failure::new(format!("no random numbers ({error})")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

impl Page {
    /// Begins to serve it.
    ///
    /// # Errors
    /// When the port is taken.
    pub fn serve(port: u16, tell: SyncSender<Event>) -> Result<Self, Failure> {
        let cannot = |error| Failure::new(format!("no page at port {port} ({error}), expected a free port"));
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(cannot)?;
        let port = listener.local_addr().map_err(cannot)?.port();
        let shown = Arc::<Mutex<Shown>>::default();
        let server = Server {
            shown: Arc::clone(&shown),
            port,
            token: secret()?,
            nonce: secret()?,
            tell,
            open: AtomicUsize::new(0),
        };
        let server = Arc::new(server);
        thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                if server.open.fetch_add(1, Ordering::Relaxed) < MOST {
                    let server = Arc::clone(&server);
                    thread::spawn(move || {
                        // an error is the other side's: it has gone
                        let _ = server.answer(stream);
                        server.open.fetch_sub(1, Ordering::Relaxed);
                    });
                } else {
                    server.open.fetch_sub(1, Ordering::Relaxed);
                }
            }
        });
        Ok(Self { shown, port, rings: 0 })
    }

    /// Where it is.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// An alarm rang.
    pub fn ring(&mut self) {
        self.rings += 1;
    }

    /// Shows this from now on.
    pub fn show(&self, told: &Told, chart: Option<&Chart>) {
        let title = format!("{} {}", told.for_people.figure, told.for_people.unit);
        let title = match told.alarms.iter().find(|alarm| !alarm.acknowledged) {
            Some(alarm) => format!("{} {} {title}", alarm.marks(), alarm.message),
            None => title,
        };
        let shown = Shown {
            main: self.main(told, chart, &title),
            title,
            json: serde_json::to_string(told).unwrap_or_default(),
            at: Some(Instant::now()),
        };
        *self.shown.lock().unwrap_or_else(PoisonError::into_inner) = shown;
    }

    fn main(&self, told: &Told, chart: Option<&Chart>, title: &str) -> String {
        let people = &told.for_people;
        let strokes = told.alarms.iter().filter(|alarm| !alarm.acknowledged).map(|alarm| alarm.marks().len());
        let strokes = strokes.max().unwrap_or(0);
        let mut out = format!(
            "<main data-rings=\"{}\" data-strokes=\"{strokes}\" data-title=\"{}\">\n<div id=\"alarms\" role=\"alert\">",
            self.rings,
            escape(title)
        );
        for alarm in &told.alarms {
            let seen = if alarm.acknowledged { " seen" } else { "" };
            out += &format!("<p class=\"alarm{seen}\">{}</p>", escape(&alarm.line()));
        }
        out += "</div>\n<div id=\"heed\">";
        if people.asks {
            out += "<form method=\"post\" action=\"/acknowledge\">TOKEN<button>Seen</button></form>\
                    <form method=\"post\" action=\"/snooze\">TOKEN<button>Silent for 15 min</button></form>";
        }
        let doubted = if told.doubted { " doubted" } else { "" };
        out += &format!(
            "</div>\n<div id=\"value\"><p class=\"figure{doubted}\">{} <small>{}</small></p>",
            escape(&people.figure),
            people.unit
        );
        if let Some(matter) = &people.matter {
            out += &format!("<p class=\"matter\">{}</p>", escape(matter));
        }
        out += "<dl>";
        for (name, what) in &people.rows {
            out += &format!("<dt>{name}</dt><dd>{}</dd>", escape(&together(what)));
        }
        out += "</dl></div>\n<div id=\"drawing\">";
        if let Some(chart) = chart {
            let mut body = crate::sheet::Page::new("");
            body.chart(chart);
            if told.pair.is_some() {
                body.legend(&[
                    (Sample::Dots("sensor"), "the first sensor's readings"),
                    (Sample::Dots("beside"), "the second sensor's readings"),
                ]);
            }
            out += &body.into_body();
        }
        out += &format!(
            "</div>\n<p class=\"small\" id=\"when\">As of {}</p>\n</main>",
            told.time.replace('T', " ")
        );
        out
    }
}

/// A request, as far as it matters.
struct Request {
    method: String,
    path: String,
    host: String,
    origin: Option<String>,
    body: Vec<u8>,
}

/// Reads a request; `None` when it is none.
fn request(stream: &mut impl Read) -> std::io::Result<Option<Request>> {
    let mut bytes = Vec::new();
    let mut buffer = [0; 1024];
    loop {
        let read = stream.read(&mut buffer)?;
        if read == 0 || bytes.len() > LONGEST {
            return Ok(None);
        }
        bytes.extend_from_slice(buffer.get(..read).unwrap_or_default());
        let mut headers = [httparse::EMPTY_HEADER; 64];
        let mut parsed = httparse::Request::new(&mut headers);
        let head = match parsed.parse(&bytes) {
            Ok(httparse::Status::Complete(head)) => head,
            Ok(httparse::Status::Partial) => continue,
            Err(_) => return Ok(None),
        };
        let header = |name: &str| {
            let mut found = parsed.headers.iter().filter(|header| header.name.eq_ignore_ascii_case(name));
            let first = found.next().map(|header| String::from_utf8_lossy(header.value).into_owned());
            // one said twice may mean either
            first.filter(|_| found.next().is_none())
        };
        let length = header("content-length").and_then(|length| length.parse().ok()).unwrap_or(0_usize);
        if length > LONGEST {
            return Ok(None);
        }
        if bytes.len() < head + length {
            continue;
        }
        return Ok(Some(Request {
            method: parsed.method.unwrap_or_default().to_owned(),
            path: parsed.path.unwrap_or_default().to_owned(),
            host: header("host").unwrap_or_default(),
            origin: header("origin"),
            body: bytes.get(head..head + length).unwrap_or_default().to_vec(),
        }));
    }
}

/// What is answered: status, kind of content, more headers, content.
type Answer = (&'static str, &'static str, &'static str, String);

impl Server {
    fn answer(&self, mut stream: TcpStream) -> std::io::Result<()> {
        stream.set_read_timeout(Some(PATIENCE))?;
        stream.set_write_timeout(Some(PATIENCE))?;
        let answer = match request(&mut stream)? {
            Some(request) => self.answered(&request),
            None => plain("400 Bad Request"),
        };
        let (status, kind, more, content) = answer;
        let policy = format!(
            "default-src 'none'; style-src 'unsafe-inline'; script-src 'nonce-{}'; connect-src 'self'; img-src data:; \
             form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
            self.nonce
        );
        write!(
            stream,
            "HTTP/1.1 {status}\r\nContent-Type: {kind}; charset=utf-8\r\nContent-Length: {}\r\n{more}\
             Content-Security-Policy: {policy}\r\nX-Content-Type-Options: nosniff\r\nReferrer-Policy: same-origin\r\n\
             Cache-Control: no-store\r\nConnection: close\r\n\r\n{content}",
            content.len()
        )?;
        stream.flush()
    }

    fn answered(&self, request: &Request) -> Answer {
        let names = [format!("127.0.0.1:{}", self.port), format!("localhost:{}", self.port)];
        let is_ours = |host: &str| names.iter().any(|name| name.eq_ignore_ascii_case(host));
        let origin = request.origin.as_deref().map(|origin| origin.strip_prefix("http://").unwrap_or(origin));
        if !is_ours(&request.host) || origin.is_some_and(|origin| !is_ours(origin)) {
            return plain("403 Forbidden");
        }
        match (request.method.as_str(), request.path.as_str()) {
            ("GET", "/") => ("200 OK", "text/html", "", self.whole()),
            ("GET", "/now") => ("200 OK", "text/html", "", self.main()),
            ("GET", "/now.json") => self.json(),
            ("POST", "/acknowledge") => self.heed(request, Key::Acknowledge),
            ("POST", "/snooze") => self.heed(request, Key::Snooze),
            ("GET" | "POST", _) => plain("404 Not Found"),
            _ => plain("405 Method Not Allowed"),
        }
    }

    fn heed(&self, request: &Request, key: Key) -> Answer {
        if request.body.strip_prefix(b"token=") != Some(self.token.as_bytes()) {
            return plain("403 Forbidden");
        }
        if self.tell.send(Event::Key(key)).is_err() {
            return plain("503 Service Unavailable");
        }
        // what is shown then is without the alarm
        thread::sleep(Duration::from_millis(400));
        ("303 See Other", "text/plain", "Location: /\r\n", String::new())
    }

    /// What is shown, while it is fresh.
    fn fresh<T>(&self, what: impl Fn(&Shown) -> T) -> Option<T> {
        let shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.at.filter(|at| at.elapsed() < FRESH).map(|_| what(&shown))
    }

    fn json(&self) -> Answer {
        match self.fresh(|shown| shown.json.clone()) {
            Some(json) => ("200 OK", "application/json", "", json),
            None => plain("503 Service Unavailable"),
        }
    }

    fn main(&self) -> String {
        let token = format!("<input type=\"hidden\" name=\"token\" value=\"{}\">", self.token);
        let main = self.fresh(|shown| shown.main.replace("TOKEN", &token));
        main.unwrap_or_else(|| {
            "<main data-stale=\"1\"><p class=\"gone\">No values: glidepath live does not answer.</p></main>"
                .into()
        })
    }

    fn whole(&self) -> String {
        let title = self.fresh(|shown| shown.title.clone()).unwrap_or_else(|| "no values".into());
        let (title, main, caution) = (escape(&title), self.main(), escape(CAUTION));
        let (colours, style, script) =
            (include_str!("../sheet/chart.css"), include_str!("page.css"), include_str!("page.js"));
        let nonce = &self.nonce;
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <noscript><meta http-equiv=\"refresh\" content=\"20\"></noscript>\n<link rel=\"icon\" href=\"data:,\">\n\
             <title>{title}</title>\n<style>\n{colours}{style}</style>\n</head>\n<body>\n<header><h1>glidepath live</h1><p class=\"small\">{DEVICE}</p></header>\n{main}\n\
             <div id=\"gone\" class=\"gone\" hidden>No connection to glidepath live. No value is shown, for none would be of \
             now.</div>\n\
             <footer><button id=\"sound\" hidden>Sound on this page</button>\n<p>{caution}</p>\n\
             <p class=\"small\">Only this machine sees this page, every account on it included.</p></footer>\n\
             <script nonce=\"{nonce}\">\n{script}</script>\n</body>\n</html>\n"
        )
    }
}

fn plain(status: &'static str) -> Answer {
    (status, "text/plain", "", format!("{status}\n"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::{Receiver, sync_channel};

    fn page() -> (Page, Receiver<Event>) {
        let (tell, told) = sync_channel(8);
        let page = Page::serve(0, tell).unwrap();
        (page, told)
    }

    fn ask(page: &Page, request: &str) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", page.port)).unwrap();
        let request = request.replace("HOST", &format!("127.0.0.1:{}", page.port));
        stream.write_all(request.replace('\n', "\r\n").as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    }

    fn post(page: &Page, path: &str, body: &str, more: &str) -> String {
        let length = body.len();
        ask(page, &format!("POST {path} HTTP/1.1\nHost: HOST\n{more}Content-Length: {length}\n\n{body}"))
    }

    #[test]
    fn nothing_is_shown_that_is_not_renewed() {
        let (page, _told) = page();
        let answer = ask(&page, "GET / HTTP/1.1\nHost: HOST\n\n");
        assert!(answer.starts_with("HTTP/1.1 200") && answer.contains("does not answer"), "{answer}");
        assert!(ask(&page, "GET /now.json HTTP/1.1\nHost: HOST\n\n").starts_with("HTTP/1.1 503"));
        let mut told = Told::default();
        told.for_people.rows.push(("low ahead", "under 1 %".to_owned()));
        page.show(&told, None);
        let now = ask(&page, "GET /now HTTP/1.1\nHost: HOST\n\n");
        assert!(now.contains("<dd>under 1\u{a0}%</dd>"), "a number on one line, its unit on the next: {now}");
        assert!(!ask(&page, "GET /now HTTP/1.1\nHost: HOST\n\n").contains("does not answer"));
        page.shown.lock().unwrap().at = Instant::now().checked_sub(FRESH);
        assert!(ask(&page, "GET /now HTTP/1.1\nHost: HOST\n\n").contains("data-stale"));
    }

    #[test]
    fn other_names_other_sites_and_other_tokens_are_refused() {
        let (page, told) = page();
        let mut asks = Told::default();
        asks.for_people.asks = true;
        page.show(&asks, None);
        for refused in [
            "GET / HTTP/1.1\nHost: example.org\n\n",
            "GET / HTTP/1.1\nHost: 127.0.0.1\n\n",
            "GET / HTTP/1.1\n\n",
            "GET / HTTP/1.1\nHost: HOST\nHost: example.org\n\n",
            "GET /now HTTP/1.1\nHost: HOST\nOrigin: http://example.org\n\n",
        ] {
            assert!(ask(&page, refused).starts_with("HTTP/1.1 403"), "{refused}");
        }
        assert!(ask(&page, "PUT / HTTP/1.1\nHost: HOST\n\n").starts_with("HTTP/1.1 405"));
        assert!(ask(&page, "GET /etc HTTP/1.1\nHost: HOST\n\n").starts_with("HTTP/1.1 404"));
        assert!(ask(&page, "nonsense\n\n").starts_with("HTTP/1.1 400"));
        let whole = ask(&page, "GET / HTTP/1.1\nHost: HOST\n\n");
        assert!(!whole.contains("TOKEN") && !whole.contains("src=") && !whole.contains("https:"), "{whole}");
        let token = whole.split("name=\"token\" value=\"").nth(1).and_then(|rest| rest.get(..32)).unwrap();
        let wrong = "token=00000000000000000000000000000000";
        assert!(post(&page, "/acknowledge", wrong, "").starts_with("HTTP/1.1 403"));
        assert!(post(&page, "/acknowledge", "", "").starts_with("HTTP/1.1 403"));
        let right = format!("token={token}");
        let from = "Origin: http://example.org\n";
        assert!(post(&page, "/acknowledge", &right, from).starts_with("HTTP/1.1 403"));
        assert!(told.try_recv().is_err());
        assert!(post(&page, "/acknowledge", &right, "").starts_with("HTTP/1.1 303"));
        assert!(post(&page, "/snooze", &right, "").starts_with("HTTP/1.1 303"));
        let keys: Vec<Event> = told.try_iter().collect();
        assert!(matches!(keys.as_slice(), [Event::Key(Key::Acknowledge), Event::Key(Key::Snooze)]));
    }
}
