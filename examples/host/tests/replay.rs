//! `replay` as a user runs it.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn glidepath(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath")).args(arguments).current_dir(folder).output().unwrap()
}

fn json(arguments: &[&str], folder: &Path) -> Value {
    let output = glidepath(arguments, folder);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Twenty hours of a calm wave, five minutes apart.
fn wave() -> String {
    let mut rows = "time,glucose_mg_dl\n".to_owned();
    for n in 0..240 {
        let value = 130.0 + 40.0 * (f64::from(n) / 20.0).sin();
        rows += &format!("2024-03-01T{:02}:{:02}:00,{value:.0}\n", n / 12, n % 12 * 5);
    }
    rows
}

#[test]
fn the_demo_estimate_is_neither_further_off_nor_later_than_its_sensor() {
    let folder = tempfile::tempdir().unwrap();
    let results = json(&["replay", "--json"], folder.path());
    let (plasma, sensor) = (&results["truth"]["plasma"], &results["truth"]["sensor"]);
    // lag is not undone beyond what paid on recorded blood, so that no gain is promised here
    assert!(number(&plasma["rmse_mg_dl"]) <= 1.01 * number(&sensor["rmse_mg_dl"]), "{plasma} {sensor}");
    assert!(number(&plasma["delay_min"]) <= number(&sensor["delay_min"]), "{plasma} {sensor}");
    assert!(number(&sensor["delay_min"]) > 4.0);
    // what was put into it shows
    assert!(number(&results["episodes_below_70"]) >= 3.0);
    assert_eq!(number(&results["gaps"]), 1.0);
    assert!(number(&results["verdicts"]["pressure"]) >= 2.0);
    assert!(number(&results["calibration"]["fingersticks_used"]) >= 10.0);
    let kinds: Vec<&str> =
        results["alarms"].as_array().unwrap().iter().filter_map(|alarm| alarm["kind"].as_str()).collect();
    for kind in ["low", "low_ahead", "high", "no_data"] {
        assert!(kinds.contains(&kind), "{kind}");
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "nothing was to be written");
}

#[test]
fn without_arguments_the_demo_leaves_a_sheet_and_tables_that_replay_to_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let output = glidepath(&[], folder.path());
    assert!(output.status.success());
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("invented demo") && said.contains("not a medical device"));
    let sheet = said.lines().find_map(|line| line.strip_prefix("The sheet: ")).unwrap();
    let html = fs::read_to_string(folder.path().join(sheet)).unwrap();
    for part in ["invented demo", "not a medical device", "<svg", "prefers-color-scheme", "<desc"] {
        assert!(html.contains(part), "{part}");
    }
    assert_eq!(html.matches("This is an invented demo").count(), 1, "said above, and not again in words");
    assert!(html.contains(", 19 times in 20; "));
    assert!(!html.contains("src=") && !html.contains("@import") && !html.contains("NaN"));
    let demo = json(&["replay", "--json"], folder.path());
    let arguments =
        ["replay", "glidepath-out/trace.csv", "--fingersticks", "glidepath-out/fingersticks.csv", "--json"];
    let again = json(&arguments, folder.path());
    for key in ["readings", "gaps", "days", "alarms", "calibration", "noise_mg_dl", "verdicts"] {
        assert_eq!(demo[key], again[key], "{key}");
    }
}

#[test]
fn json_and_samples_have_the_promised_names() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("wave.csv"), wave()).unwrap();
    let results = json(&["replay", "wave.csv", "--json", "--samples", "samples.csv"], folder.path());
    for key in [
        "readings",
        "refused",
        "gaps",
        "days",
        "interval_s",
        "episodes_below_70",
        "episodes_below_54",
        "alarms",
        "noise_mg_dl",
    ] {
        assert!(!results[key].is_null(), "{key}");
    }
    assert_eq!(results["readings"], 240);
    assert_eq!(results["interval_s"], 300);
    // nothing to calibrate by is no calibration of 1 and 0
    assert!(results["calibration"]["gain"].is_null() && results["calibration"]["offset_mg_dl"].is_null());
    assert_eq!(results["calibration"]["fingersticks_used"], 0);
    assert!(results["truth"].is_null());

    let samples = fs::read_to_string(folder.path().join("samples.csv")).unwrap();
    let mut lines = samples.lines();
    let header = "time,sensor_mg_dl,plasma_mg_dl,plasma_sd_mg_dl,rate_mg_dl_min,rate_sd_mg_dl_min,trend,\
        predicted_30min_mg_dl,predicted_30min_sd_mg_dl,low_probability_30min,minutes_to_low,verdict,alarms,\
        predicted_15min_mg_dl,predicted_15min_sd_mg_dl,predicted_60min_mg_dl,predicted_60min_sd_mg_dl,\
        low_ahead_signal,direction_mg_dl_min";
    assert_eq!(lines.next(), Some(header));
    let rows: Vec<Vec<&str>> = lines.map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 240);
    assert!(rows.iter().all(|row| row.len() == header.split(',').count()));
    assert_eq!(rows[0][0], "2024-03-01T00:00:00");
    let column = |n: usize| rows.iter().filter(move |row| !row[n].is_empty()).map(move |row| row[n]);
    assert!(column(2).all(|value| value.parse::<f32>().unwrap() > 40.0));
    // without fingersticks what a factory's calibration leaves open is in it: the estimate's own is 5 or so
    assert!(column(3).count() > 200 && column(3).all(|value| value.parse::<f32>().unwrap() > 10.0));
    assert!(column(9).all(|value| (0.0..=1.0).contains(&value.parse::<f32>().unwrap())));
    assert!(samples.contains(",accepted,") && !samples.contains("NaN"));
}

#[test]
fn silence_rings_at_its_own_time() {
    let folder = tempfile::tempdir().unwrap();
    let mut rows: Vec<String> = wave().lines().map(str::to_owned).collect();
    // nothing from 05:00 to 06:55
    rows.drain(61..84);
    fs::write(folder.path().join("gap.csv"), rows.join("\n")).unwrap();
    let results = json(&["replay", "gap.csv", "--json"], folder.path());
    assert_eq!(results["gaps"], 1);
    let alarms = results["alarms"].as_array().unwrap();
    let silent = alarms.iter().find(|alarm| alarm["kind"] == "no_data").unwrap();
    let time = silent["time"].as_str().unwrap();
    assert!(("2024-03-01T05:05:00".."2024-03-01T06:00:00").contains(&time), "{time}");
}

#[test]
fn rows_add_up_whatever_is_in_them() {
    let folder = tempfile::tempdir().unwrap();
    let mut rows = wave();
    rows += "2024-03-01T20:00:00,LOW\n2024-03-01T20:05:00,HIGH\n2024-03-01T20:10:00,\n";
    rows +=
        "2024-03-01T19:55:00,99\n2024-03-01T10:00:00,130\n2024-03-01T10:00:00,131\n2024-03-01T20:15:00,5\n";
    fs::write(folder.path().join("odd.csv"), rows).unwrap();
    let results = json(&["replay", "odd.csv", "--json"], folder.path());
    let input = &results["input"];
    assert_eq!(number(&input["rows"]), number(&results["readings"]) + number(&results["refused"]));
    let judged: f64 = results["verdicts"].as_object().unwrap().values().map(number).sum();
    let set_aside = ["blank", "exact_repeats", "conflicting_stamps"].map(|key| number(&input[key]));
    assert_eq!(number(&input["rows"]), judged + set_aside.iter().sum::<f64>());
    assert_eq!(results["verdicts"]["out_of_range"], 1);
    assert_eq!((&input["low_text"], &input["high_text"], &input["blank"]), (&1.into(), &1.into(), &1.into()));
}

#[test]
fn garbage_ends_with_one_sentence_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let cases: [(&str, &[u8], &str); 8] = [
        ("empty.csv", b"", "line 1"),
        ("no_header.csv", b"2024-03-01T00:00:00,100\n", "line 1"),
        ("binary.csv", b"\x7fELF\x00\x01\x02", "line 1"),
        ("unit.csv", b"time,glucose_mg_dl\n2024-03-01T00:00:00,5.5\n", "line 2, column \"glucose_mg_dl\""),
        ("old.csv", b"time,glucose_mg_dl\n1900-01-01T00:00:00,100\n", "line 2, column \"time\""),
        ("nan.csv", b"time,glucose_mg_dl\n2024-03-01T00:00:00,NaN\n", "line 2, column \"glucose_mg_dl\""),
        ("less.csv", b"time,glucose_mg_dl\n2024-03-01T00:00:00,-1\n", "line 2, column \"glucose_mg_dl\""),
        ("more.csv", b"time,glucose_mg_dl\n2024-03-01T00:00:00,1e30\n", "line 2, column \"glucose_mg_dl\""),
    ];
    for (name, content, place) in cases {
        fs::write(folder.path().join(name), content).unwrap();
        let output =
            glidepath(&["replay", name, "--out", "out", "--samples", "s.csv", "--json"], folder.path());
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(output.stdout.is_empty(), "{name}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(said.contains(name) && said.contains(place) && said.contains("expected"), "{said}");
        assert!(!folder.path().join("out").exists() && !folder.path().join("s.csv").exists(), "{name}");
    }
    let output = glidepath(&["replay", "nowhere.csv"], folder.path());
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn the_trace_itself_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("samples.csv"), wave()).unwrap();
    for to in [["--samples", "samples.csv"], ["--out", "."]] {
        let output = glidepath(&["replay", "samples.csv", to[0], to[1]], folder.path());
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains("samples.csv: is read from"), "{said}");
    }
    assert_eq!(fs::read_to_string(folder.path().join("samples.csv")).unwrap(), wave());
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing was to be written");
}

#[test]
fn a_reader_that_has_left_is_no_failure() {
    for arguments in [&["settings"][..], &["compare", "--weighing-template"], &["simulate", "--days=1"]] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output =
            Command::new(env!("CARGO_BIN_EXE_glidepath")).args(arguments).stdout(writer).output().unwrap();
        assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(0), &b""[..]), "{arguments:?}");
    }
}

#[test]
fn mmol_in_and_out() {
    let folder = tempfile::tempdir().unwrap();
    let mut rows = "Zeit;Wert (mmol/L)\n".to_owned();
    for n in 0..60 {
        rows += &format!("2024-03-01 {:02}:{:02};{},{}\n", n / 12, n % 12 * 5, 5 + n / 12, n % 10);
    }
    fs::write(folder.path().join("de.csv"), rows).unwrap();
    let columns = ["--time-column", "Zeit", "--glucose-column", "Wert (mmol/L)", "--unit", "mmol/L"];
    let output = glidepath(&[&["replay", "de.csv"][..], &columns].concat(), folder.path());
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("3.9 to 10.0 mmol/L") && said.contains("the most 9.9 mmol/L"), "{said}");
}

#[test]
fn the_wrists_display_is_drawn_reading_by_reading_and_through_a_silence() {
    let folder = tempfile::tempdir().unwrap();
    let rows = wave();
    // an hour is missing
    let gappy: Vec<&str> = rows.lines().filter(|row| !row.contains("T15:")).collect();
    fs::write(folder.path().join("trace.csv"), gappy.join("\n")).unwrap();
    let output = glidepath(&["replay", "trace.csv", "--wrist", "display"], folder.path());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

    let decoder = |name: &str| {
        let file = fs::File::open(folder.path().join("display").join(name)).unwrap();
        png::Decoder::new(std::io::BufReader::new(file)).read_info().unwrap()
    };
    let lit = |name: &str| {
        let mut reader = decoder(name);
        let mut bits = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut bits).unwrap();
        assert_eq!((info.width, info.height), (512, 256));
        bits.iter().map(|byte| byte.count_ones()).sum::<u32>()
    };
    let mut names: Vec<String> = fs::read_dir(folder.path().join("display"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names.pop().unwrap(), "wrist.png");
    let frames = decoder("wrist.png").info().animation_control.unwrap().num_frames;
    assert_eq!(frames as usize, names.len());
    assert!((228 + 5..228 + 14).contains(&names.len()), "{}", names.len());
    assert_eq!(names[0], "00001_2024-03-01_00-00.png");
    assert!(names.last().unwrap().ends_with("_2024-03-01_19-55.png"));
    // digits have more ink than three strokes
    let at = |time: &str| lit(names.iter().find(|name| name.ends_with(time)).unwrap());
    assert!(at("_14-55.png") > at("_15-13.png") + 1000);
}
