//! `live` as a user runs it.

#![cfg(target_os = "linux")]

use std::fs::{self, OpenOptions};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use glidepath::gatt::{CgmMeasurement, CurrentTime, DateTime, SessionStart, Sfloat};
use glidepath::{HistoryView, Settings, Side};
use serde_json::Value;
use wrist::app::{App, PairApp};
use wrist::link::Frame;

const PATIENCE: Duration = Duration::from_secs(120);

fn now() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).unwrap().as_secs()
}

/// A calm wave; the newest of `n` rows is of now, the others each five minutes before.
fn rows(n: u64) -> Vec<String> {
    let value = |k: u64| 130.0 + 20.0 * (k as f64 / 9.0).sin();
    (0..n).map(|k| format!("{},{:.0}\n", now() - (n - 1 - k) * 300, value(k))).collect()
}

const HEADER: &str = "time,glucose_mg_dl\n";

/// A moment as frames tell it.
fn date_time(at: u64) -> DateTime {
    let at = jiff::Timestamp::from_second(at as i64).unwrap().to_zoned_datetime(jiff::tz::TimeZone::UTC);
    let date = (at.year() as u16, at.month() as u8, at.day() as u8);
    DateTime::new(date, (at.hour() as u8, at.minute() as u8, at.second() as u8)).unwrap()
}

fn append(path: &Path, text: &str) {
    OpenOptions::new().append(true).create(true).open(path).unwrap().write_all(text.as_bytes()).unwrap();
}

/// A run of `live --json`, its lines as they come.
struct Run {
    child: Child,
    lines: Receiver<Value>,
}

impl Run {
    fn of(arguments: &[&str], folder: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_glidepath"))
            .args(["live", "--json"])
            .args(arguments)
            .current_dir(folder)
            .env("TZ", "UTC")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (tell, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let value = serde_json::from_str(&line).unwrap_or_else(|_| panic!("no JSON: {line}"));
                let _ = tell.send(value);
            }
        });
        Self { child, lines }
    }

    /// Waits for a line that `is` wanted; all that came before it go with it.
    fn wait(&self, what: &str, is: impl Fn(&Value) -> bool) -> Vec<Value> {
        let (until, mut seen) = (Instant::now() + PATIENCE, Vec::new());
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left);
            let line = line.unwrap_or_else(|_| panic!("no {what} after {seen:#?}"));
            let wanted = is(&line);
            seen.push(line);
            if wanted {
                return seen;
            }
        }
    }

    fn wait_readings(&self, n: u64) -> Value {
        let is = |line: &Value| line["event"] == "now" && line["counts"]["readings"] == n;
        self.wait(&format!("{n} readings"), is).pop().unwrap()
    }

    /// Asks it to end as a system does; its last line.
    fn end(mut self) -> Value {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
        let end = self.wait("end", |line| line["event"] == "end").pop().unwrap();
        assert!(self.child.wait().unwrap().success());
        end
    }
}

impl Drop for Run {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn alarms(lines: &[Value]) -> Vec<&str> {
    lines.iter().filter(|line| line["event"] == "alarm").filter_map(|line| line["kind"].as_str()).collect()
}

#[test]
fn a_pipe_is_read_to_its_end_and_what_cannot_be_read_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    let mut run = Run::of(&["-", "--until-end"], folder.path());
    let mut rows = rows(30);
    // hours ago it was very low: the past is silent
    for (k, row) in rows.iter_mut().enumerate().skip(3).take(3) {
        *row = format!("{},45\n", now() - (29 - k as u64) * 300);
    }
    rows.insert(7, "yesterday,110\n".into());
    rows.insert(9, format!("{},much\n", now()));
    rows.insert(11, format!("{},\n", now()));
    let text = format!("{HEADER}{}{},110", rows.concat(), now());
    run.child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let lines = run.wait("end", |line| line["event"] == "end");
    let end = lines.last().unwrap();
    assert_eq!(alarms(&lines), [""; 0]);
    assert_eq!(end["counts"]["readings"], 30);
    assert_eq!((&end["counts"]["broken"], &end["counts"]["blank"]), (&3.into(), &1.into()));
    let said: Vec<&str> = lines.iter().filter_map(|line| line["message"].as_str()).collect();
    assert!(said.iter().any(|what| what.contains("\"yesterday\"")), "{said:?}");
    assert!(said.iter().any(|what| what.contains("the last line has no end")), "{said:?}");
    let value = end["glucose_mg_dl"].as_f64().unwrap();
    assert!((100.0..160.0).contains(&value), "{end}");
    assert!(end["sd_mg_dl"].as_f64().unwrap() > 0.0 && end["age_s"].as_i64().unwrap() < 120);
    assert!(run.child.wait().unwrap().success());
}

#[test]
fn a_growing_file_is_followed_its_alarms_ring_and_it_may_be_replaced_or_cut() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("trace.csv");
    let rung = folder.path().join("rung.txt");
    let tool = folder.path().join("tool");
    fs::write(&tool, "#!/bin/sh\nprintf '%s|%s\\n' \"$1\" \"$2\" >> rung.txt\n").unwrap();
    let mut may_run = fs::metadata(&tool).unwrap().permissions();
    std::os::unix::fs::PermissionsExt::set_mode(&mut may_run, 0o755);
    fs::set_permissions(&tool, may_run).unwrap();
    let all = rows(24);
    fs::write(&path, format!("{HEADER}{}", all[..20].concat())).unwrap();
    let run = Run::of(&["trace.csv", "--on-alarm", "./tool"], folder.path());
    // ages are counted from the past: the newest reading is twenty minutes old
    assert!(run.wait_readings(20)["glucose_mg_dl"].is_null());
    append(&path, &all[20..22].concat());
    run.wait_readings(22);
    // half a row is none yet
    let (half, rest) = all[22].split_at(all[22].len() - 2);
    append(&path, half);
    thread::sleep(Duration::from_millis(800));
    append(&path, rest);
    run.wait_readings(23);
    // written anew as a whole, the newest row first, beside the known ones a new one
    let newest_first: String = all.iter().rev().map(String::as_str).collect();
    fs::write(folder.path().join("new.csv"), format!("{HEADER}{newest_first}")).unwrap();
    fs::rename(folder.path().join("new.csv"), &path).unwrap();
    let told = run.wait_readings(24);
    assert_eq!(told["counts"]["repeated"], 23);
    assert!(told["glucose_mg_dl"].is_f64());
    // cut, and begun with a low
    fs::write(&path, HEADER).unwrap();
    append(&path, &format!("{},52\n{},50\n", now() + 150, now() + 301));
    let lines = run.wait("the floor", |line| line["event"] == "alarm" && line["kind"] == "floor");
    let alarm = lines.last().unwrap();
    assert_eq!(alarm["priority"], "high");
    assert!(alarm["reason"].as_str().unwrap().contains(" of 5"), "{alarm}");
    let told = run.wait("the alarm as it holds", |line| line["event"] == "now").pop().unwrap();
    assert!(told["words"].as_str().unwrap().starts_with("Alarm: very low."), "{told}");
    let until = Instant::now() + PATIENCE;
    let told = |line: &str| line.starts_with("floor|the ") && line.contains(" of 5");
    while !fs::read_to_string(&rung).unwrap_or_default().lines().any(told) {
        assert!(Instant::now() < until, "the program was not run");
        thread::sleep(Duration::from_millis(50));
    }
    run.end();
}

/// The application's state in a state file.
fn kept(state: &Path) -> Vec<u8> {
    let kept: Value = serde_json::from_slice(&fs::read(state).unwrap()).unwrap();
    kept["state"].as_array().unwrap().iter().map(|b| b.as_u64().unwrap() as u8).collect()
}

/// Readings, bit for bit.
fn bits(history: HistoryView<'_>) -> Vec<String> {
    let bits = |r: glidepath::Reading| {
        format!("{} {:08x} {:?}", r.at().secs(), r.glucose().mg_dl().to_bits(), r.status())
    };
    history.iter().map(bits).collect()
}

/// The readings kept in a state file.
fn history(state: &Path) -> Vec<String> {
    let mut app = App::new(Settings::default()).unwrap();
    app.restore(&kept(state)).unwrap();
    bits(app.monitor().history())
}

/// Those of two sensors.
fn histories(state: &Path) -> [Vec<String>; 2] {
    let mut app = PairApp::new(Settings::default()).unwrap();
    app.restore(&kept(state)).unwrap();
    Side::BOTH.map(|side| bits(app.monitor().history(side)))
}

/// Appends rows to a file one after the other, some in two halves.
fn write_slowly(path: &Path, rows: &[String]) -> thread::JoinHandle<()> {
    let (path, rows) = (path.to_owned(), rows.to_vec());
    thread::spawn(move || {
        for (k, row) in rows.iter().enumerate() {
            let (half, rest) = row.split_at(if k % 3 == 0 { row.len() / 2 } else { 0 });
            append(&path, half);
            thread::sleep(Duration::from_millis(15));
            append(&path, rest);
            thread::sleep(Duration::from_millis(15));
        }
    })
}

/// Runs it with these arguments and kills it after a random while, again and again while something is `written`.
fn killed_while(written: &dyn Fn() -> bool, arguments: &[&str], folder: &Path) {
    let (mut kills, mut random) = (0, 12_345_u64);
    while !written() {
        let run = Run::of(arguments, folder);
        random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        thread::sleep(Duration::from_millis(20 + (random >> 33) % 700));
        drop(run); // SIGKILL
        kills += 1;
    }
    println!("killed {kills} times");
    assert!(kills >= 3, "{kills}");
}

#[test]
fn killed_at_any_moment_it_loses_no_reading_and_doubles_none() {
    let folder = tempfile::tempdir().unwrap();
    let (broken, whole) = (folder.path().join("broken.csv"), folder.path().join("whole.csv"));
    let all = rows(200);
    fs::write(&broken, HEADER).unwrap();
    let writer = write_slowly(&broken, &all);
    killed_while(&|| writer.is_finished(), &["broken.csv", "--state", "broken.state"], folder.path());
    writer.join().unwrap();
    let last = Run::of(&["broken.csv", "--state", "broken.state", "--until-end"], folder.path());
    let end = last.wait("end", |line| line["event"] == "end").pop().unwrap();
    // what was taken in is not even read again
    assert_eq!((&end["counts"]["broken"], &end["counts"]["repeated"]), (&0.into(), &0.into()));
    drop(last);
    fs::write(&whole, format!("{HEADER}{}", all.concat())).unwrap();
    let unbroken = Run::of(&["whole.csv", "--state", "whole.state", "--until-end"], folder.path());
    unbroken.wait("end", |line| line["event"] == "end");
    drop(unbroken);
    let (broken, whole) =
        (history(&folder.path().join("broken.state")), history(&folder.path().join("whole.state")));
    assert_eq!(whole.len(), 200);
    assert_eq!(broken, whole);
}

#[test]
fn killed_at_any_moment_it_loses_no_reading_of_either_sensor_and_doubles_none() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    // what is past; then each reads every second, as of now, in two halves
    for (name, n) in [("a.csv", 140), ("b.csv", 135)] {
        fs::write(place(name), format!("{HEADER}{}", rows(n).concat())).unwrap();
    }
    let writers = ["a.csv", "b.csv"].map(|name| {
        let path = place(name);
        thread::spawn(move || {
            for k in 0..12 {
                thread::sleep(Duration::from_millis(1000));
                let row = format!("{},{}\n", now(), 120 + k);
                let (half, rest) = row.split_at(row.len() / 2);
                append(&path, half);
                thread::sleep(Duration::from_millis(60));
                append(&path, rest);
            }
        })
    });
    let arguments = ["a.csv", "--second", "b.csv", "--state", "broken.state"];
    killed_while(&|| writers.iter().all(thread::JoinHandle::is_finished), &arguments, folder.path());
    let last = Run::of(&[&arguments[..], &["--until-end"]].concat(), folder.path());
    let end = last.wait("end", |line| line["event"] == "end").pop().unwrap();
    assert_eq!((&end["counts"]["broken"], &end["counts"]["repeated"]), (&0.into(), &0.into()));
    drop(last);
    let unbroken = ["a.csv", "--second", "b.csv", "--state", "whole.state", "--until-end"];
    let whole = Run::of(&unbroken, folder.path());
    let end = whole.wait("end", |line| line["event"] == "end").pop().unwrap();
    let of_file = |name: &str| {
        let text = fs::read_to_string(place(name)).unwrap();
        let rows = text.lines().skip(1).map(|row| row.split(',').next().unwrap().to_owned());
        rows.collect::<std::collections::BTreeSet<String>>()
    };
    let stamps = ["a.csv", "b.csv"].map(of_file);
    assert_eq!(end["counts"]["readings"], stamps.iter().map(|rows| rows.len()).sum::<usize>(), "{end}");
    drop(whole);
    let [broken, whole] = ["broken.state", "whole.state"].map(|name| histories(&place(name)));
    assert_eq!(whole.each_ref().map(Vec::len), [144, 144]);
    assert_eq!(broken, whole);
}

#[test]
fn of_two_growing_files_the_lower_sensor_rings_and_each_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (a, b) = (folder.path().join("a.csv"), folder.path().join("b.csv"));
    let calm = rows(30);
    // the second reads less, its file has its newest row first, was begun an hour later and is in mmol/L
    let less = |row: &String| {
        let (at, value) = row.trim().split_once(',').unwrap();
        let (at, value) = (at.parse::<u64>().unwrap(), value.parse::<f64>().unwrap());
        format!("{},{:.2}\n", at - 480, (value - 7.0) / 18.0156)
    };
    let second: String = calm[12..].iter().rev().map(less).collect();
    fs::write(&a, format!("{HEADER}{}", calm.concat())).unwrap();
    fs::write(&b, format!("time,glucose_mmol_l\n{second}")).unwrap();
    let run = Run::of(&["a.csv", "--second", "b.csv", "--page", "0"], folder.path());
    let message = |line: &Value| line["message"].as_str().unwrap_or_default().to_owned();
    let line = run.wait("the page", |line| message(line).contains("The page:")).pop().unwrap();
    let port: u16 = message(&line).rsplit(':').next().unwrap().trim_end_matches('/').parse().unwrap();
    let told = run.wait_readings(48);
    assert_eq!(told["pair"]["agreement"], "together", "{told}");
    let of = |side: &str| told["pair"][side]["glucose_mg_dl"].as_f64().unwrap();
    assert!((of("first") - of("second") - 7.0).abs() < 0.2, "{told}");
    let value = told["glucose_mg_dl"].as_f64().unwrap();
    assert!(value > of("first").min(of("second")) && value < of("first").max(of("second")), "{told}");
    // the second reads a low, the first goes on
    append(&b, &format!("{},2.9\n{},2.8\n", now() - 180, now()));
    let lines = run.wait("the floor", |line| line["event"] == "alarm" && line["kind"] == "floor");
    assert_eq!(lines.last().unwrap()["priority"], "high");
    run.wait_readings(50);
    let parts = [
        "<dt>sensors</dt>",
        "<dt>1st sensor</dt>",
        "<dt>2nd sensor</dt>",
        "squares: the second",
        "the second sensor&#39;s readings</li>",
        "dots beside",
    ];
    let _ = page_with(port, &parts);
    // one file is written anew, with an older reading: of that one what is known is left out
    fs::write(&b, format!("time,glucose_mmol_l\n{second}{}", less(&calm[11]))).unwrap();
    let said = run.wait("the other file", |line| message(line).contains("The file is another"));
    assert!(message(said.last().unwrap()).starts_with("Second sensor: "), "{said:?}");
    let known = |line: &Value| line["event"] == "now" && line["counts"]["repeated"] == 18;
    run.wait("what is known", known);
    let end = run.end();
    assert_eq!(end["counts"]["readings"], 51, "{end}");
}

#[test]
fn of_two_files_of_frames_the_past_is_lived_through_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let session = |minutes_ago: u64, back: &mut dyn Iterator<Item = u64>| {
        let start = Frame::Start(SessionStart::new(date_time(now() - minutes_ago * 60)));
        let measured = back.map(|back| {
            let value = 120.0 + (back / 5 % 4) as f32;
            Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(value), (minutes_ago - back) as u16))
        });
        std::iter::once(start).chain(measured).collect::<Vec<_>>()
    };
    // the first was followed by a new one three hours ago; the second's newest measurements come first
    let mut first = session(3 * 1440, &mut (40..80).rev().map(|k| 5 * k));
    first.extend(session(182, &mut (0..25).rev().map(|k| 5 * k)));
    let second = session(5 * 1440, &mut (0..80).map(|k| 5 * k));
    for (name, frames) in [("a.frames", first), ("b.frames", second)] {
        let bytes: Vec<u8> = frames.iter().flat_map(|frame| frame.stuffed().to_vec()).collect();
        fs::write(folder.path().join(name), bytes).unwrap();
    }
    let arguments = ["a.frames", "--second", "b.frames", "--state", "live.state", "--until-end"];
    let run = Run::of(&arguments, folder.path());
    let end = run.wait("end", |line| line["event"] == "end").pop().unwrap();
    assert_eq!((&end["counts"]["readings"], &end["counts"]["refused"]), (&145.into(), &0.into()), "{end}");
    assert_eq!(end["pair"]["agreement"], "together", "{end}");
    for side in ["first", "second"] {
        assert!(end["pair"][side]["age_s"].as_i64().unwrap() < 120, "{end}");
    }
    assert_eq!(end["pair"]["first"]["reasons"], serde_json::json!(["first_day"]), "{end}");
    assert_eq!(end["pair"]["second"]["reasons"], serde_json::json!([]), "{end}");
    drop(run);
    assert_eq!(histories(&folder.path().join("live.state")).map(|history| history.len()), [65, 80]);
}

#[test]
fn a_second_sensor_may_come_by_standard_input() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.csv"), format!("{HEADER}{}", rows(30).concat())).unwrap();
    let mut run = Run::of(&["a.csv", "--second", "-", "--until-end"], folder.path());
    let mut pipe = run.child.stdin.take().unwrap();
    thread::sleep(Duration::from_millis(600));
    pipe.write_all(format!("{HEADER}{}", rows(12).concat()).as_bytes()).unwrap();
    drop(pipe);
    let end = run.wait("end", |line| line["event"] == "end").pop().unwrap();
    assert_eq!(end["counts"]["readings"], 42, "{end}");
    assert_eq!(end["pair"]["agreement"], "together", "{end}");
    assert!(run.child.wait().unwrap().success());
}

#[test]
fn an_input_that_brings_nothing_does_not_keep_the_other_sensor_from_ringing() {
    let folder = tempfile::tempdir().unwrap();
    let low: String = (0..3).map(|k| format!("{},6{k}\n", now() - k * 300)).collect();
    fs::write(folder.path().join("a.csv"), format!("{HEADER}{low}")).unwrap();
    let begun = Instant::now();
    let run = Run::of(&["a.csv", "--second", "-"], folder.path());
    let lines = run.wait("low", |line| line["event"] == "alarm" && line["kind"] == "low");
    let waited = begun.elapsed().as_secs();
    assert!((25..60).contains(&waited), "{waited} s");
    // nothing is told before the past was lived through
    assert!(lines.iter().all(|line| line["event"] != "now"), "{lines:?}");
    // what it brings then is of the same past
    let mut run = run;
    let mut pipe = run.child.stdin.take().unwrap();
    pipe.write_all(format!("{HEADER}{}", rows(144).concat()).as_bytes()).unwrap();
    let told = run.wait_readings(147);
    assert!(told["pair"]["first"]["age_s"].as_i64().unwrap() < 120, "{told}");
    assert!(told["pair"]["second"]["age_s"].as_i64().unwrap() < 120, "{told}");
}

fn ask(port: u16, request: &str) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.write_all(request.replace("HOST", &format!("127.0.0.1:{port}")).as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

/// The page once it holds all of these: it is made anew after programs are told.
fn page_with(port: u16, parts: &[&str]) -> String {
    let mut whole = String::new();
    for _ in 0..100 {
        whole = ask(port, "GET / HTTP/1.1\r\nHost: HOST\r\n\r\n");
        if parts.iter().all(|part| whole.contains(part)) {
            break;
        }
        thread::sleep(Duration::from_millis(100));
    }
    for part in parts {
        assert!(whole.contains(part), "{part}: {whole}");
    }
    whole
}

#[test]
fn the_page_is_served_on_loopback_only_and_takes_an_acknowledgement() {
    let folder = tempfile::tempdir().unwrap();
    let low: String = (0..3).map(|k| format!("{},6{k}\n", now() - k * 300)).collect();
    fs::write(folder.path().join("trace.csv"), format!("{HEADER}{low}")).unwrap();
    let run = Run::of(&["trace.csv", "--page", "0", "--state", "live.state"], folder.path());
    let message = |line: &Value| line["message"].as_str().unwrap_or_default().to_owned();
    let line = run.wait("the page", |line| message(line).contains("The page:")).pop().unwrap();
    let port: u16 = message(&line).rsplit(':').next().unwrap().trim_end_matches('/').parse().unwrap();
    run.wait("low", |line| line["event"] == "alarm" && line["kind"] == "low");
    run.wait("how it holds", |line| line["event"] == "now");
    // no other address of this machine answers
    let sockets = fs::read_to_string("/proc/net/tcp").unwrap()
        + &fs::read_to_string("/proc/net/tcp6").unwrap_or_default();
    let listening: Vec<&str> = sockets
        .lines()
        .filter_map(|line| line.split_whitespace().nth(1))
        .filter(|local| local.ends_with(&format!(":{port:04X}")))
        .collect();
    assert!(
        !listening.is_empty() && listening.iter().all(|local| local.starts_with("0100007F:")),
        "{listening:?}"
    );
    let parts = ["glucose is low", "not a medical device", "Seen", "http-equiv=\"refresh\"", "<svg"];
    let whole = page_with(port, &parts);
    assert!(ask(port, "GET / HTTP/1.1\r\nHost: example.org\r\n\r\n").starts_with("HTTP/1.1 403"));
    let before = fs::read(folder.path().join("live.state")).unwrap();
    let token = whole.split("name=\"token\" value=\"").nth(1).unwrap()[..32].to_owned();
    let body = format!("token={token}");
    let post =
        format!("POST /acknowledge HTTP/1.1\r\nHost: HOST\r\nContent-Length: {}\r\n\r\n{body}", body.len());
    assert!(ask(port, &post).starts_with("HTTP/1.1 303"));
    run.wait("the alarm, seen", |line| line["alarms"][0]["acknowledged"] == true);
    assert!(!ask(port, "GET /now HTTP/1.1\r\nHost: HOST\r\n\r\n").contains("<form"));
    run.end();
    assert_ne!(before, fs::read(folder.path().join("live.state")).unwrap(), "that it was seen is kept");
}

mod terminals {
    use super::*;
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use std::fs::File;

    /// A pseudo terminal: the far end, and the path of the near one.
    fn terminal() -> (File, String) {
        let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&far).unwrap();
        unlockpt(&far).unwrap();
        let near = ptsname(&far, Vec::new()).unwrap().into_string().unwrap();
        (File::from(far), near)
    }

    #[test]
    fn frames_over_a_serial_line_ring_and_outlive_a_restart() {
        let folder = tempfile::tempdir().unwrap();
        let (mut far, near) = terminal();
        let arguments = [near.as_str(), "--state", "live.state", "--baud", "19200"];
        let run = Run::of(&arguments, folder.path());
        let opened =
            run.wait("the line", |line| line["message"].as_str().is_some_and(|m| m.contains("19200 baud")));
        assert!(!opened.is_empty());
        let start = now() - 3 * 86_400;
        let measured = |value: f32, back: u64| {
            let minute = ((now() - start) / 60 - back) as u16;
            Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(value), minute))
        };
        for frame in [
            Frame::Time(CurrentTime::new(date_time(now()))),
            Frame::Start(SessionStart::new(date_time(start))),
            measured(110.0, 5),
        ] {
            far.write_all(&frame.stuffed()).unwrap();
        }
        // a damaged one
        let mut hit = measured(200.0, 3).stuffed();
        hit[3] ^= 0x10;
        far.write_all(&hit).unwrap();
        run.wait_readings(1);
        far.write_all(&measured(50.0, 0).stuffed()).unwrap();
        run.wait("the floor", |line| line["event"] == "alarm" && line["kind"] == "floor");
        let end = run.end();
        assert_eq!((&end["counts"]["readings"], &end["counts"]["broken"]), (&2.into(), &1.into()));
        // again: the session and the readings are known, the one sent again is not taken twice
        let run = Run::of(&arguments, folder.path());
        run.wait("the line", |line| line["message"].as_str().is_some_and(|m| m.contains("baud")));
        far.write_all(&measured(50.0, 0).stuffed()).unwrap();
        run.wait("the same again", |line| line["event"] == "now" && line["counts"]["repeated"] == 1);
        run.end();
        assert_eq!(history(&folder.path().join("live.state")).len(), 2);
    }

    #[test]
    fn frames_of_two_sensors_come_over_two_lines() {
        let folder = tempfile::tempdir().unwrap();
        let (mut one, first) = terminal();
        let (mut two, second) = terminal();
        let arguments = [first.as_str(), "--second", second.as_str(), "--state", "live.state"];
        let run = Run::of(&arguments, folder.path());
        for _ in 0..2 {
            run.wait("a line", |line| line["message"].as_str().is_some_and(|m| m.contains("baud")));
        }
        let start = now() - 3 * 86_400;
        let measured = |value: f32, back: u64| {
            let minute = ((now() - start) / 60 - back) as u16;
            Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(value), minute)).stuffed()
        };
        for (line, value) in [(&mut one, 110.0), (&mut two, 116.0)] {
            line.write_all(&Frame::Time(CurrentTime::new(date_time(now()))).stuffed()).unwrap();
            line.write_all(&Frame::Start(SessionStart::new(date_time(start))).stuffed()).unwrap();
            line.write_all(&measured(value, 5)).unwrap();
        }
        let told = run.wait_readings(2);
        assert_eq!(told["pair"]["first"]["glucose_mg_dl"], 110.0, "{told}");
        assert_eq!(told["pair"]["second"]["glucose_mg_dl"], 116.0, "{told}");
        two.write_all(&measured(50.0, 0)).unwrap();
        run.wait("the floor", |line| line["event"] == "alarm" && line["kind"] == "floor");
        run.end();
        // both sessions are known: the same again is not taken twice
        let run = Run::of(&arguments, folder.path());
        for _ in 0..2 {
            run.wait("a line", |line| line["message"].as_str().is_some_and(|m| m.contains("baud")));
        }
        two.write_all(&measured(50.0, 0)).unwrap();
        run.wait("the same again", |line| line["event"] == "now" && line["counts"]["repeated"] == 1);
        run.end();
        assert_eq!(histories(&folder.path().join("live.state")).map(|history| history.len()), [1, 2]);
    }

    #[test]
    fn frames_tell_the_wearers_own_time_whatever_the_zone() {
        for (zone, ahead) in [("+05:00", 5 * 3600), ("-08:00", -8 * 3600)] {
            let folder = tempfile::tempdir().unwrap();
            let (mut far, near) = terminal();
            let run = Run::of(&[near.as_str(), "--zone", zone], folder.path());
            run.wait("the line", |line| line["message"].as_str().is_some_and(|m| m.contains("baud")));
            let local = now().checked_add_signed(ahead).unwrap();
            let start = local - 86_400;
            for frame in [
                Frame::Time(CurrentTime::new(date_time(local))),
                Frame::Start(SessionStart::new(date_time(start))),
                Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(110.0), 1440)),
            ] {
                far.write_all(&frame.stuffed()).unwrap();
            }
            let told = run.wait_readings(1);
            assert_eq!(told["glucose_mg_dl"], 110.0, "{told}");
            assert!(told["age_s"].as_i64().unwrap() < 90, "{told}");
            let hour = date_time(local).instant().unwrap().secs() / 3600 % 24;
            assert!(told["time"].as_str().unwrap().contains(&format!("T{hour:02}:")), "{told}");
        }
    }

    #[test]
    fn the_screen_shows_the_alarm_and_keys_work() {
        let folder = tempfile::tempdir().unwrap();
        let low: String = (0..3).map(|k| format!("{},6{k}\n", now() - k * 300)).collect();
        fs::write(folder.path().join("trace.csv"), format!("{HEADER}{low}")).unwrap();
        let (mut far, near) = terminal();
        let end = || Stdio::from(OpenOptions::new().read(true).write(true).open(&near).unwrap());
        let mut child = Command::new(env!("CARGO_BIN_EXE_glidepath"))
            .args(["live", "trace.csv"])
            .current_dir(folder.path())
            .stdin(end())
            .stdout(end())
            .stderr(end())
            .spawn()
            .unwrap();
        let mut reader = far.try_clone().unwrap();
        let (tell, told) = channel();
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(read @ 1..) = reader.read(&mut buffer) {
                let _ = tell.send(String::from_utf8_lossy(&buffer[..read]).into_owned());
            }
        });
        let mut seen = String::new();
        let mut wait = |what: &str| {
            let until = Instant::now() + PATIENCE;
            while !seen.contains(what) {
                let left = until.saturating_duration_since(Instant::now());
                seen += &told.recv_timeout(left).unwrap_or_else(|_| panic!("no {what:?} on {seen}"));
            }
            let at = seen.find(what).unwrap();
            seen.drain(..at);
        };
        wait("\x1b[?1049h");
        wait("██");
        wait("LOW");
        wait("uncertainty");
        wait("\x1b[7;1m  !! glucose is low (medium priority): by the ");
        wait("not a medical device");
        wait("\x07");
        far.write_all(b"a").unwrap();
        wait("; seen");
        far.write_all(b"u").unwrap();
        wait("mmol/L");
        far.write_all(b"q").unwrap();
        wait("\x1b[?1049l");
        wait("Ended: 3 readings");
        assert!(child.wait().unwrap().success());
    }
}

#[test]
fn an_alarm_that_rings_while_nothing_comes_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    // silent for eleven minutes a few seconds from now, when the value becomes too old to show
    fs::write(folder.path().join("s.toml"), "[alarms.base.no_data]\nlimit = \"11 min\"\n").unwrap();
    let newest = now() - 660 + 5;
    let calm: String = (0..20).rev().map(|k| format!("{},120\n", newest - k * 300)).collect();
    fs::write(folder.path().join("trace.csv"), format!("{HEADER}{calm}")).unwrap();
    let run = Run::of(&["trace.csv", "--state", "live.state", "--settings", "s.toml"], folder.path());
    run.wait_readings(20);
    let state = folder.path().join("live.state");
    let until = Instant::now() + PATIENCE;
    while !state.exists() {
        assert!(Instant::now() < until, "nothing is kept");
        thread::sleep(Duration::from_millis(20));
    }
    let before = fs::read(&state).unwrap();
    run.wait("silence", |line| line["event"] == "alarm" && line["kind"] == "no_data");
    while fs::read(&state).unwrap() == before {
        assert!(Instant::now() < until, "that it rang is not kept");
        thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_file_of_more_rows_than_are_taken_at_a_time_is_lived_through_whole() {
    let folder = tempfile::tempdir().unwrap();
    let n = 102_000;
    let rows: String = (0..n).map(|k| format!("{},12{}\n", now() - (n - 1 - k) * 10, k % 4)).collect();
    fs::write(folder.path().join("trace.csv"), format!("{HEADER}{rows}")).unwrap();
    let run = Run::of(&["trace.csv", "--until-end"], folder.path());
    let end = run.wait("end", |line| line["event"] == "end").pop().unwrap();
    assert_eq!((&end["counts"]["readings"], &end["counts"]["too_old"]), (&n.into(), &0.into()));
}

#[test]
fn of_the_past_the_newest_row_may_come_first() {
    let folder = tempfile::tempdir().unwrap();
    let newest_first: String = rows(30).iter().rev().map(String::as_str).collect();
    fs::write(folder.path().join("trace.csv"), format!("{HEADER}{newest_first}")).unwrap();
    let run = Run::of(&["trace.csv", "--state", "live.state", "--until-end"], folder.path());
    let end = run.wait("end", |line| line["event"] == "end").pop().unwrap();
    assert_eq!((&end["counts"]["readings"], &end["counts"]["refused"]), (&30.into(), &0.into()));
    assert!(end["glucose_mg_dl"].is_f64() && end["age_s"].as_i64().unwrap() < 60, "{end}");
    // the rate is that of the wave's end, not of it backwards
    assert_eq!(end["trend"], "steady", "{end}");
    drop(run);
    let times: Vec<u64> = history(&folder.path().join("live.state"))
        .iter()
        .map(|line| line.split(' ').next().unwrap().parse().unwrap())
        .collect();
    assert!(times.len() == 30 && times.windows(2).all(|pair| pair[0] < pair[1]), "{times:?}");
}

#[test]
fn a_state_of_two_sensors_is_of_those_two() {
    let folder = tempfile::tempdir().unwrap();
    for (name, n) in [("a.csv", 5), ("b.csv", 4)] {
        fs::write(folder.path().join(name), format!("{HEADER}{}", rows(5)[..n].concat())).unwrap();
    }
    let frame = Frame::WhichSettings.stuffed();
    fs::write(folder.path().join("frames"), &frame).unwrap();
    let ended = |arguments: &[&str]| {
        let run = Run::of(&[arguments, &["--until-end"]].concat(), folder.path());
        run.wait("end", |line| line["event"] == "end")
    };
    ended(&["a.csv", "--second", "b.csv", "--state", "two"]);
    ended(&["a.csv", "--state", "one"]);
    let before = ["one", "two"].map(|name| fs::read(folder.path().join(name)).unwrap());
    for (arguments, says) in [
        (
            &["a.csv", "--state", "two"][..],
            "two: is of two sensors, expected --second with it, or another file",
        ),
        (
            &["a.csv", "--second", "b.csv", "--state", "one"],
            "one: is of one sensor, expected another file for two",
        ),
        (&["b.csv", "--second", "a.csv", "--state", "two"], "two: is of the two sensors the other way round"),
        (&["a.csv", "--second", "./a.csv"], "come from one input, expected another for --second"),
        (&["-", "--second", "-"], "come from one input"),
        (&["a.csv", "--second", "none.csv"], "none.csv: cannot be read"),
        (&["a.csv", "--second", "frames"], "expected two of one form"),
        (&["frames", "--second", "a.csv"], "expected two of one form"),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_glidepath"))
            .args(["live", "--until-end"])
            .args(arguments)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(says), "{arguments:?}: {said}");
    }
    assert_eq!(before, ["one", "two"].map(|name| fs::read(folder.path().join(name)).unwrap()));
    // another file in the second's place is read from its beginning, and is no file that was cut
    fs::write(folder.path().join("c.csv"), HEADER).unwrap();
    fs::copy(folder.path().join("two"), folder.path().join("other")).unwrap();
    let lines = ended(&["a.csv", "--second", "c.csv", "--state", "other"]);
    assert!(
        lines.iter().all(|line| !line["message"].as_str().unwrap_or("").contains("another")),
        "{lines:?}"
    );
    // who was worn first is kept with it: a sensor whose first row comes in a later run was put on later
    fs::write(folder.path().join("long.csv"), format!("{HEADER}{}", rows(100).concat())).unwrap();
    fs::write(folder.path().join("new.csv"), HEADER).unwrap();
    let arguments = ["long.csv", "--second", "new.csv", "--state", "later"];
    ended(&arguments);
    append(&folder.path().join("new.csv"), &format!("{},120\n", now()));
    let lines = ended(&arguments);
    assert_eq!(lines.last().unwrap()["pair"]["second"]["reasons"][0], "first_day", "{lines:?}");
    // and it goes on where it was
    append(&folder.path().join("b.csv"), &format!("{},120\n", now()));
    let lines = ended(&["a.csv", "--second", "b.csv", "--state", "two"]);
    assert_eq!(lines.last().unwrap()["counts"]["readings"], 1, "{lines:?}");
}

#[test]
fn what_cannot_be_meant_is_refused_in_one_sentence() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.csv"), "time,glucose\n05/06/2024 12:00,100\n").unwrap();
    for (arguments, says) in [
        (&["none.csv"][..], "none.csv: cannot be read"),
        (&["."], "is a folder"),
        (&["a.csv"], "--date-format dmy"),
        (&["a.csv", "--from", "2024-01-01"], "--from and --to"),
        (&["a.csv", "--header", "one,two"], "expected a header row"),
        (&["a.csv", "--on-alarm", "no-such-program"], "is not found"),
        (&["a.csv", "--settings", "a.csv"], "a.csv, line 1"),
        (&["a.csv", "--state", "no/such/folder"], "cannot be kept"),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_glidepath"))
            .arg("live")
            .args(arguments)
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(says), "{arguments:?}: {said}");
    }
}
