//! Tables in the forms that people have.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn glidepath(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath")).args(arguments).current_dir(folder).output().unwrap()
}

/// What a run printed.
fn text(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// What a refused run said.
fn refused(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(output.stdout.is_empty());
    let said = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(said.lines().count(), 1, "{said}");
    said
}

fn replayed(content: impl AsRef<[u8]>, flags: &[&str]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), content).unwrap();
    let output = glidepath(&[&["replay", "t.csv", "--json"], flags].concat(), folder.path());
    serde_json::from_str(&text(&output)).unwrap()
}

/// Thirty hours from 6 May 2024 00:00, five minutes apart, each time as `write` writes it.
fn rows(write: impl Fn(u32, u32, u32) -> String) -> String {
    (0..360)
        .map(|n| {
            let (day, hour, minute) = (6 + n / 288, n / 12 % 24, n % 12 * 5);
            format!("{}{}\n", write(day, hour, minute), 110 + n % 17)
        })
        .collect()
}

fn assert_read(results: &Value, what: &str) {
    assert_eq!(results["readings"], 360, "{what}: {results}");
    let ends = (results["first"].as_str().unwrap(), results["last"].as_str().unwrap());
    let start = |text: &str| text.get(..16).unwrap().to_owned();
    assert_eq!(
        (start(ends.0), start(ends.1)),
        ("2024-05-06T00:00".into(), "2024-05-07T05:55".into()),
        "{what}"
    );
}

fn half_day(hour: u32) -> (u32, &'static str) {
    (if hour.is_multiple_of(12) { 12 } else { hour % 12 }, if hour < 12 { "AM" } else { "PM" })
}

#[test]
fn dates_as_spreadsheets_write_them_are_read() {
    let header = "time,glucose_mg_dl\n";
    let points = rows(|d, h, m| format!("0{d}.05.2024 {h:02}:{m:02},"));
    assert_read(&replayed(format!("{header}{points}"), &[]), "points");
    let month_first = rows(|d, h, m| {
        let (hour, half) = half_day(h);
        format!("5/{d}/2024 {hour}:{m:02} {half},")
    });
    let read = replayed(format!("{header}{month_first}"), &[]);
    assert_read(&read, "AM and PM");
    assert_eq!(read["input"]["dates_read_as"], "month before day");
    let year_first = rows(|d, h, m| format!("2024/05/0{d} {h:02}:{m:02},"));
    assert_read(&replayed(format!("{header}{year_first}"), &[]), "year first");
    let apart = rows(|d, h, m| format!("0{d}/05/2024;{h:02}:{m:02};"));
    assert_read(&replayed(format!("Datum;Uhrzeit;Glukose (mg/dL)\n{apart}"), &[]), "two columns");
    let named = rows(|d, h, m| format!("x,0{d}-May-24,{h:02}:{m:02},"));
    let named = format!("note,on,at,glucose_mg_dl\n{named}");
    assert_read(&replayed(named, &["--time-column", "at", "--date-column", "on"]), "columns named");
    let pattern = rows(|d, h, m| format!("{h:02}h{m:02} 2024-05-0{d},"));
    let flags = ["--date-format", "%Hh%M %Y-%m-%d"];
    assert_read(&replayed(format!("{header}{pattern}"), &flags), "a pattern");
    let milliseconds: String =
        (0..360).map(|n| format!("{},{}\n", 1_714_953_600_000_u64 + n * 300_000, 110 + n % 17)).collect();
    assert_read(&replayed(format!("{header}{milliseconds}"), &[]), "milliseconds");
}

#[test]
fn a_day_that_may_be_a_month_is_refused_with_the_commands_to_run() {
    let folder = tempfile::tempdir().unwrap();
    let day: String = (0..12).map(|n| format!("05/06/2024 10:{:02},11{}\n", n * 5, n % 10)).collect();
    fs::write(folder.path().join("my day.csv"), format!("time,glucose_mg_dl\n{day}")).unwrap();
    let said = refused(&glidepath(&["replay", "my day.csv"], folder.path()));
    assert!(said.contains("line 2") && said.contains("5 June 2024 or 6 May 2024"), "{said}");
    for (order, first) in [("dmy", "2024-06-05T10:00:00"), ("mdy", "2024-05-06T10:00:00")] {
        assert!(said.contains(&format!("glidepath replay 'my day.csv' --date-format {order}")), "{said}");
        let output = glidepath(&["replay", "my day.csv", "--date-format", order, "--json"], folder.path());
        let results: Value = serde_json::from_str(&text(&output)).unwrap();
        assert_eq!(results["first"], first);
    }
}

#[test]
fn utf16_and_lines_before_the_header_are_read() {
    let plain = format!(
        "Export of 8 May 2024\r\nname;\"invented; not real\"\r\n\r\ntime;glucose mg/dL\r\n{}",
        rows(|d, h, m| format!("2024-05-0{d}T{h:02}:{m:02}:00;")).replace('\n', "\r\n")
    );
    let results = replayed(&plain, &[]);
    assert_read(&results, "UTF-8");
    assert_eq!(results["input"]["lines_before_header"], 2);
    assert_eq!(results["input"]["crlf_lines"], 364);
    let little: Vec<u8> = plain.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let big: Vec<u8> = plain.encode_utf16().flat_map(u16::to_be_bytes).collect();
    for (what, bytes) in [
        ("little", [b"\xff\xfe", little.as_slice()].concat()),
        ("big", [b"\xfe\xff", big.as_slice()].concat()),
        ("little without a mark", little),
        ("big without a mark", big),
    ] {
        assert_read(&replayed(bytes, &[]), what);
    }
}

#[test]
fn errors_name_the_right_line_whatever_ends_the_lines_and_stands_between_them() {
    let rows = "a remark\n\ntime,glucose_mg_dl,note\n600,100,\"two\nlines\"\n\n# remark\n900,x,\n1200,100,\n";
    for end in ["\n", "\r\n", "\r"] {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("t.csv"), rows.replace('\n', end)).unwrap();
        let said = refused(&glidepath(&["replay", "t.csv"], folder.path()));
        assert!(said.contains("t.csv, line 8, column \"glucose_mg_dl\": found \"x\""), "{end:?}: {said}");
        let own = "time,glucose_mg_dl,note\n600,100,\n900,x,\"two\nlines\"\n".replace('\n', end);
        fs::write(folder.path().join("t.csv"), own).unwrap();
        let said = refused(&glidepath(&["replay", "t.csv"], folder.path()));
        assert!(said.contains("t.csv, line 3, column"), "{end:?}: {said}");
    }
}

#[test]
fn standard_input_is_a_table_once() {
    let folder = tempfile::tempdir().unwrap();
    let run = |arguments: &[&str], input: &str| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_glidepath"))
            .args(arguments)
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
        child.wait_with_output().unwrap()
    };
    let table = format!("time,glucose_mg_dl\n{}", rows(|d, h, m| format!("2024-05-0{d}T{h:02}:{m:02}:00,")));
    let results: Value = serde_json::from_str(&text(&run(&["replay", "-", "--json"], &table))).unwrap();
    assert_read(&results, "standard input");
    let said = refused(&run(&["replay", "-", "--fingersticks", "-"], &table));
    assert!(said.contains("standard input: is read already"), "{said}");
    let said = refused(&run(&["replay", "-"], "time,glucose_mg_dl\nnever,100\n"));
    assert!(said.contains("standard input, line 2"), "{said}");
}

#[test]
fn zones_by_offset_and_units_in_any_case() {
    let table = format!("time,glucose_mg_dl\n{}", rows(|d, h, m| format!("2024-05-0{d}T{h:02}:{m:02}:00,")));
    for zone in ["+02:00", "-0330", "Europe/Vienna"] {
        let results = replayed(&table, &["--zone", zone]);
        assert_read(&results, zone);
        let offset = if zone == "-0330" { "-03:30" } else { "+02:00" };
        assert_eq!(results["first"], format!("2024-05-06T00:00:00{offset}"));
    }
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), &table).unwrap();
    fs::write(
        folder.path().join("m.csv"),
        "time,glucose_mmol_l\n2024-05-06T00:00:00,6.1\n2024-05-06T00:05:00,6.2\n",
    )
    .unwrap();
    let said = refused_by_flags(&glidepath(&["replay", "t.csv", "--zone", "+99:00"], folder.path()));
    assert!(said.contains("Europe/Vienna, UTC or +02:00"), "{said}");
    for (file, unit, shown) in [
        ("t.csv", Some("MMOL/L"), "3.9 to 10.0 mmol/L"),
        ("t.csv", None, "70 to 180 mg/dL"),
        ("m.csv", Some("Mg/Dl"), "70 to 180 mg/dL"),
        ("m.csv", None, "3.9 to 10.0 mmol/L"),
    ] {
        let flags: Vec<&str> =
            ["replay", file].into_iter().chain(unit.map_or(vec![], |u| vec!["--unit", u])).collect();
        let said = text(&glidepath(&flags, folder.path()));
        assert!(said.contains(shown), "{file} {unit:?}: {said}");
    }
}

/// What was said of a flag that cannot be.
fn refused_by_flags(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(2));
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn a_trace_s_own_reference_column_is_its_fingersticks() {
    let mut table = "time,glucose_mg_dl,reference_mmol_l\n".to_owned();
    for n in 0..240 {
        // a fingerstick in a row of its own, too
        let stick = if n % 60 == 50 { "6.5" } else { "" };
        table += &format!("{},{},{stick}\n", 1_714_953_600 + n * 300, 117);
    }
    table += &format!("{},,6.5\n", 1_714_953_600 + 100 * 300 + 60);
    let results = replayed(&table, &[]);
    let sticks = &results["calibration"];
    let all =
        sticks["fingersticks_used"].as_u64().unwrap() + sticks["fingersticks_refused"].as_u64().unwrap();
    assert_eq!((all, results["readings"].as_u64()), (5, Some(240)), "{results}");
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), &table).unwrap();
    let output = glidepath(&["compare", "--sensor", "it=t.csv", "--json"], folder.path());
    let compared: Value = serde_json::from_str(&text(&output)).unwrap();
    assert_eq!(compared["sensors"]["it"]["pairs"], 5, "{compared}");
}

#[test]
fn an_hour_missing_where_clocks_are_set_forward_is_named() {
    let around = |day: u32| {
        let mut table = "time,glucose_mg_dl\n".to_owned();
        for n in (0..24).chain(36..120) {
            table += &format!("2024-03-{day}T{:02}:{:02}:00,120\n", n / 12, n % 12 * 5);
        }
        table
    };
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), around(31)).unwrap();
    let said = text(&glidepath(&["replay", "t.csv"], folder.path()));
    assert!(said.contains("an hour is missing at 2024-03-31 01:55:00: --zone"), "{said}");
    // not on a Saturday, and not where the zone knows
    assert_eq!(replayed(around(30), &[])["input"]["clock_changes"].as_array().unwrap().len(), 0);
    let zoned = replayed(around(31), &["--zone", "Europe/Vienna"]);
    assert_eq!(
        (&zoned["gaps"], zoned["input"]["clock_changes"].as_array().unwrap().len()),
        (&Value::from(0), 0)
    );
}

#[test]
fn days_can_be_chosen_for_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, off: u32| {
        let rows: String = (0..2880)
            .map(|n| {
                format!(
                    "{},{},{}\n",
                    1_714_953_600 + n * 300,
                    110 + off + n % 17,
                    if n % 50 == 0 { "115" } else { "" }
                )
            })
            .collect();
        fs::write(folder.path().join(name), format!("time,glucose_mg_dl,reference_mg_dl\n{rows}")).unwrap();
    };
    write("a.csv", 0);
    write("b.csv", 5);
    let days = ["--from", "2024-05-08", "--to", "2024-05-09"];
    let json = |arguments: &[&str]| -> Value {
        serde_json::from_str(&text(&glidepath(&[arguments, &days, &["--json"]].concat(), folder.path())))
            .unwrap()
    };
    let replayed = json(&["replay", "a.csv"]);
    assert_eq!((&replayed["readings"], &replayed["days"]), (&Value::from(576), &Value::from(2)));
    assert_eq!(replayed["input"]["outside_period"], 2304);
    assert_eq!(replayed["first"], "2024-05-08T00:00:00+00:00");
    assert_eq!(json(&["review", "a.csv"])["days"], 2.0);
    assert!(
        json(&["review", "a.csv", "b.csv"])["records"].as_array().unwrap().iter().all(|r| r["days"] == 2.0)
    );
    let compared = json(&["compare", "--sensor", "a=a.csv", "--sensor", "b=b.csv", "--reference", "a.csv"]);
    assert_eq!(compared["sensors"]["a"]["pairs"], 12, "{compared}");
    assert!(json(&["rank", "a.csv", "--only", "raw, held"]).is_array());
    let none = glidepath(&["replay", "a.csv", "--from", "2025-01-01"], folder.path());
    assert!(refused(&none).contains("the table runs from 2024-05-06 to 2024-05-15"));
}

#[test]
fn what_cannot_be_written_is_a_failure() {
    let full = Path::new("/dev/full");
    if !full.exists() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let table = format!("time,glucose_mg_dl\n{}", rows(|d, h, m| format!("2024-05-0{d}T{h:02}:{m:02}:00,")));
    fs::write(folder.path().join("t.csv"), table).unwrap();
    let said = refused_by_flags(&glidepath(&["replay", "t.csv", "--samples", "/dev/full"], folder.path()));
    assert!(said.contains("/dev/full: cannot be written"), "{said}");
    assert!(!fs::metadata(full).unwrap().is_file());
    let run = |arguments: &[&str]| {
        let out = fs::OpenOptions::new().write(true).open(full).unwrap();
        let mut command = Command::new(env!("CARGO_BIN_EXE_glidepath"));
        command.args(arguments).current_dir(folder.path()).stdout(out).output().unwrap()
    };
    for arguments in [&["replay", "t.csv"][..], &["review", "t.csv", "--json"], &["simulate", "--days", "1"]]
    {
        let said = refused_by_flags(&run(arguments));
        assert!(said.contains("standard output cannot be written"), "{arguments:?}: {said}");
    }
    let samples = glidepath(&["replay", "t.csv", "--json", "--samples", "/dev/null"], folder.path());
    assert!(text(&samples).contains("readings"));
}

#[test]
fn unreadable_files_among_many_are_counted_and_left_out() {
    let folder = tempfile::tempdir().unwrap();
    let set = folder.path().join("set");
    fs::create_dir(&set).unwrap();
    let table = format!("time,glucose_mg_dl\n{}", rows(|d, h, m| format!("2024-05-0{d}T{h:02}:{m:02}:00,")));
    for name in ["a.csv", "c.csv"] {
        fs::write(set.join(name), &table).unwrap();
    }
    fs::write(set.join("b.csv"), "no,table\n1,2\n").unwrap();
    for arguments in [
        &["review", "set/a.csv", "set/b.csv", "set/c.csv"][..],
        &["rank", "set/a.csv", "set/b.csv", "set/c.csv", "--only", "raw, held"],
        &["rank", "set", "--only", "raw, held"],
    ] {
        let output = glidepath(arguments, folder.path());
        text(&output);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(said.contains("b.csv, line 1") && said.contains("1 of 3 files could not be read"), "{said}");
    }
    let output = glidepath(&["review", "set/a.csv", "set/b.csv", "set/c.csv", "--json"], folder.path());
    let results: Value = serde_json::from_str(&text(&output)).unwrap();
    assert_eq!((&results["unreadable"], results["records"].as_array().unwrap().len()), (&Value::from(1), 2));
    let none = glidepath(&["review", "set/b.csv", "set/b.csv"], folder.path());
    assert!(refused(&none).contains("none of 2 files could be read"));
}

#[test]
fn what_is_no_text_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    for (bytes, what) in [
        (&b"PK\x03\x04xx"[..], "a spreadsheet or an archive"),
        (b"PAR1\x15\x04", "Parquet"),
        (b"\x1f\x8b\x08\0", "gzip"),
    ] {
        fs::write(folder.path().join("t.csv"), bytes).unwrap();
        let said = refused(&glidepath(&["replay", "t.csv"], folder.path()));
        assert!(said.contains(what) && said.contains("save it as a table"), "{said}");
    }
}
