//! `compare` as a user runs it.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn glidepath(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath"))
        .arg("compare")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn json(arguments: &[&str], folder: &Path) -> Value {
    let arguments: Vec<&str> = arguments.iter().copied().chain(["--json"]).collect();
    let output = glidepath(&arguments, folder);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn text(arguments: &[&str], folder: &Path) -> String {
    let output = glidepath(arguments, folder);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    // words may be broken over lines
    String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn one_trace_under_two_names_is_noticed() {
    let folder = tempfile::tempdir().unwrap();
    let mut rows = "time,glucose_mg_dl\n".to_owned();
    for n in 0..400 {
        rows += &format!("{},{}\n", 1_700_000_000 + n * 300, 100 + n % 50);
    }
    fs::write(folder.path().join("a.csv"), rows).unwrap();
    let said = text(&["--sensor", "left=a.csv", "--sensor", "right=a.csv"], folder.path());
    assert!(said.contains("left and right show the same values at every moment"), "{said}");
    assert!(!said.contains("lower than") && !said.contains("run behind the other"), "{said}");
    let late = ["--sensor", "left=a.csv", "--sensor", "right=a.csv", "--start", "left=2099-01-01T00:00:00Z"];
    assert!(refused(&late, folder.path()).contains("--start left=2099-01-01T00:00:00Z: is after the last"));
}

/// The one sentence of a refusal.
fn refused(arguments: &[&str], folder: &Path) -> String {
    let output = glidepath(arguments, folder);
    assert_eq!(output.status.code(), Some(2), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(output.stdout.is_empty());
    let sentence = String::from_utf8(output.stderr).unwrap();
    assert_eq!(sentence.trim().lines().count(), 1, "{sentence}");
    sentence
}

fn close(value: &Value, want: f64, tolerance: f64, what: &str) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{what}: {value} is no number"));
    assert!((got - want).abs() <= tolerance, "{what}: {got} against {want}");
}

fn stamp(minute: u32) -> String {
    format!("2024-03-{:02}T{:02}:{:02}:00", 1 + minute / 1440, minute / 60 % 24, minute % 60)
}

/// Two days of a wave with a period of 200 min, shown `lag` minutes late and `off` too high.
fn wave(lag: f64, off: f64) -> String {
    let mut rows = "time,glucose_mg_dl\n".to_owned();
    for minute in (0..2880).step_by(5) {
        rows += &format!("{},{:.0}\n", stamp(minute), blood(f64::from(minute) - lag) + off);
    }
    rows
}

fn blood(minute: f64) -> f64 {
    160.0 + 60.0 * (minute * std::f64::consts::TAU / 200.0).sin()
}

/// Fingersticks through the waking hours of the same two days.
fn sticks() -> String {
    let mut rows = "time,reference_mg_dl\n".to_owned();
    for n in 0..24 {
        let minute = 420 + n % 12 * 75 + n / 12 * 1440;
        rows += &format!("{},{:.0}\n", stamp(minute), blood(f64::from(minute)));
    }
    rows
}

fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, content) in files {
        fs::write(folder.path().join(name), content).unwrap();
    }
    folder
}

const ONE: [&str; 4] = ["--sensor", "a=a.csv", "--reference", "sticks.csv"];

#[test]
fn ten_pairs_worked_by_hand() {
    // the pairs of tests/bland_altman_1986.rs, 20 min apart, in one table
    let reference = [55, 68, 82, 99, 100, 120, 150, 180, 220, 300];
    let sensor = [62, 60, 97, 84, 116, 111, 165, 150, 238, 262];
    let mut rows = "time,glucose_mg_dl,reference_mg_dl\n".to_owned();
    for ((n, reference), sensor) in (0..).zip(reference).zip(sensor) {
        rows += &format!("{},{sensor},{reference}\n", stamp(20 * n));
    }
    let folder = folder(&[("a.csv", &rows)]);
    let results = json(&["--sensor", "a=a.csv", "--reference", "a.csv"], folder.path());
    let a = &results["sensors"]["a"];
    assert_eq!(a["pairs"], 10);
    for (key, want) in [
        ("bias_mg_dl", -2.9),
        ("mad_mg_dl", 17.1),
        ("mard_percent", 12.895_133),
        ("median_ard_percent", 12.696_97),
        ("sd_mg_dl", 20.300_246),
        ("loa_lower_mg_dl", -42.6885),
        ("loa_upper_mg_dl", 36.8885),
        ("within_15_15_percent", 80.0),
        ("within_20_20_percent", 100.0),
        ("within_30_30_percent", 100.0),
        ("within_40_40_percent", 100.0),
    ] {
        close(&a[key], want, 1e-3, key);
    }
    let total = |zones: &Value| "ABCDE".chars().map(|z| zones[z.to_string()].as_u64().unwrap()).sum::<u64>();
    assert_eq!((total(&a["clarke"]), total(&a["parkes"])), (10, 10));
    assert_eq!(a["first_day"]["pairs"], 10);
    assert_eq!(a["later"]["pairs"], 0);
    assert!(a["later"]["mard_percent"].is_null());
    // the other cut by the other value
    let other = ["--sensor", "a=a.csv", "--reference", "a.csv", "--cut", "70", "--switch", "sensor"];
    close(&json(&other, folder.path())["sensors"]["a"]["within_15_15_percent"], 60.0, 1e-3, "15/15 at 70");
}

#[test]
fn offset_and_lag_put_in_come_out() {
    let folder =
        folder(&[("a.csv", &wave(10.0, 0.0)), ("b.csv", &wave(0.0, -9.0)), ("sticks.csv", &sticks())]);
    let arguments = ["--sensor", "a=a.csv", "--sensor", "b=b.csv", "--reference", "sticks.csv"];
    let results = json(&arguments, folder.path());
    let (a, b, between) = (&results["sensors"]["a"], &results["sensors"]["b"], &results["between"]);
    close(&a["lag_min"], 10.0, 1.0, "lag of a");
    close(&b["lag_min"], 0.0, 1.0, "lag of b");
    close(&b["bias_mg_dl"], -9.0, 0.5, "bias of b");
    close(&between["bias_mg_dl"], 9.0, 0.3, "a minus b");
    close(&between["lag_min"], 10.0, 0.3, "a behind b");
    assert_eq!(between["beyond_chance"], true);
    assert_eq!(between["pairs"], 576);
    // seen five minutes apart and ten minutes late
    close(&between["hours_together"], 47.917, 0.01, "hours");
    let words = text(&arguments, folder.path());
    assert!(words.contains("b reads 9 mg/dL lower than a, 95 % interval"), "{words}");
    assert!(
        words.contains("a runs 10.0 min behind b") || words.contains("a runs 9.9 min behind b"),
        "{words}"
    );
    // with the lag corrected for, nothing is left of it
    let corrected: Vec<&str> = arguments.iter().copied().chain(["--correct-lag", "a=10"]).collect();
    close(&json(&corrected, folder.path())["sensors"]["a"]["sd_mg_dl"], 0.0, 0.5, "spread of a, corrected");
}

/// Slow glucose and a noisy sensor: the valley of the lag is wide, and no number comes of it.
#[test]
fn a_lag_that_cannot_be_known_is_withheld() {
    let slow = |minute: u32| 160.0 + 40.0 * (f64::from(minute) * std::f64::consts::TAU / 1440.0).sin();
    let (mut seed, mut trace) = (1_u32, "time,glucose_mg_dl\n".to_owned());
    for minute in (0..6 * 1440).step_by(5) {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = f64::from(seed >> 16) / 65_536.0 * 30.0 - 15.0;
        trace += &format!("{},{:.0}\n", stamp(minute), slow(minute) + noise);
    }
    let sticks: String =
        (0..36).map(|n| format!("{},{:.0}\n", stamp(n * 240 + 30), slow(n * 240 + 30))).collect();
    let sticks = format!("time,reference_mg_dl\n{sticks}");
    let folder = folder(&[("a.csv", &trace), ("sticks.csv", &sticks)]);
    let arguments = ["--sensor", "a=a.csv", "--reference", "sticks.csv"];
    let a = &json(&arguments, folder.path())["sensors"]["a"];
    assert!(
        a["pairs"].as_u64() > Some(30) && a["lag_min"].is_null() && a["lag_interval_min"].is_null(),
        "{a}"
    );
    assert!(text(&arguments, folder.path()).contains("how late it is these references do not show"));
}

#[test]
fn the_first_day_stands_apart_and_hours_can_be_skipped() {
    let folder = folder(&[("a.csv", &wave(0.0, 5.0)), ("sticks.csv", &sticks())]);
    let results = json(&ONE, folder.path());
    let a = &results["sensors"]["a"];
    assert_eq!(
        (&a["pairs"], &a["first_day"]["pairs"], &a["later"]["pairs"]),
        (&24.into(), &12.into(), &12.into())
    );
    assert_eq!(a["last_day"]["pairs"], 12);
    let skipping: Vec<&str> =
        ONE.iter().copied().chain(["--skip-hours", "24", "--first-day-hours", "9"]).collect();
    let results = json(&skipping, folder.path());
    let a = &results["sensors"]["a"];
    assert_eq!((&a["pairs"], &a["skipped_pairs"]), (&12.into(), &12.into()));
    assert_eq!(a["first_day"]["pairs"], 2);
    // a sensor put on half-way has its first day there
    let start = format!("a={}", stamp(1440));
    let anew: Vec<&str> =
        ONE.iter().copied().chain(["--start", "a=2024-03-01T00:00:00", "--start", &start]).collect();
    assert_eq!(json(&anew, folder.path())["sensors"]["a"]["first_day"]["pairs"], 24);
}

#[test]
fn criteria_give_all_three_bounds_and_say_when_pairs_are_too_few() {
    let folder = folder(&[("a.csv", &wave(0.0, 5.0)), ("sticks.csv", &sticks())]);
    let results = json(&ONE, folder.path());
    let rule = results["sensors"]["a"]["regulation"].as_array().unwrap();
    let letters: String = rule.iter().filter_map(|one| one["criterion"].as_str()).collect();
    assert_eq!(letters, "ABCDEFGHIJK");
    let find = |letter: &str| rule.iter().find(|one| one["criterion"] == letter).unwrap();
    assert_eq!(find("A")["verdict"], "no pairs");
    assert!(find("A")["rate_percent"].is_null() && find("A")["lower_bound_percent"].is_null());
    let e = find("E");
    assert!(e["verdict"].as_str().unwrap().ends_with("of at least 299"), "{e}");
    let g = find("G");
    assert_eq!(
        (&g["n"], &g["rate_percent"], &g["verdict"]),
        (&24.into(), &100.0.into(), &"met by this sample".into())
    );
    close(&g["lower_bound_percent"], 100.0 * 0.05_f64.powf(1.0 / 24.0), 0.01, "G");
    assert!(g["cluster_lower_percent"].is_null(), "clean days say nothing");
    close(&g["required_percent"], 87.0, 0.0, "G");
    let words = text(&ONE, folder.path());
    assert!(words.contains("a home sample decides nothing"), "{words}");
}

#[test]
fn costs_of_several_parts_add_up() {
    let folder = folder(&[("a.csv", &wave(0.0, 5.0)), ("sticks.csv", &sticks())]);
    for costs in [vec!["--cost", "a=42/14", "--cost", "a=90/90"], vec!["--cost", "a=42/14+90/90"]] {
        let arguments: Vec<&str> = ONE.iter().copied().chain(costs).collect();
        close(&json(&arguments, folder.path())["sensors"]["a"]["cost_per_day"], 4.0, 1e-5, "cost");
    }
    let wrong: Vec<&str> = ONE.iter().copied().chain(["--cost", "a=42"]).collect();
    assert!(refused(&wrong, folder.path()).contains("expected a price, a slash and days"));
    let nobody: Vec<&str> = ONE.iter().copied().chain(["--cost", "b=42/14"]).collect();
    assert!(refused(&nobody, folder.path()).contains("no sensor has this name, expected one of a"));
}

#[test]
fn a_meter_is_judged_by_the_reference() {
    let folder = folder(&[("a.csv", &wave(0.0, 0.0)), ("sticks.csv", &sticks())]);
    let arguments: Vec<&str> = ONE.iter().copied().chain(["--meter", "sticks.csv"]).collect();
    let meter = &json(&arguments, folder.path())["meter"];
    assert_eq!(
        (&meter["pairs"], &meter["within_limits"], &meter["met_by_this_sample"]),
        (&24.into(), &24.into(), &true.into())
    );
}

#[test]
fn the_weighing_template_can_be_used() {
    let folder =
        folder(&[("a.csv", &wave(10.0, 0.0)), ("b.csv", &wave(0.0, -9.0)), ("sticks.csv", &sticks())]);
    let template = glidepath(&["--weighing-template"], folder.path());
    let filled =
        String::from_utf8(template.stdout).unwrap().replacen("marks = {}", "marks = { a = 9, b = 3 }", 1);
    fs::write(folder.path().join("mine.toml"), filled).unwrap();
    let arguments = [
        "--sensor",
        "a=a.csv",
        "--sensor",
        "b=b.csv",
        "--reference",
        "sticks.csv",
        "--weighing",
        "mine.toml",
    ];
    let score = &json(&arguments, folder.path())["weighing"];
    assert!(score["verdict"].as_str().is_some_and(|verdict| !verdict.is_empty()));
    let lines = score["lines"].as_array().unwrap();
    let felt =
        lines.iter().find(|line| !line["contributes"].is_null() && line["first_value"].is_null()).unwrap();
    assert_eq!((felt["first_marks"].as_f64(), felt["second_marks"].as_f64()), (Some(9.0), Some(3.0)));
    let left_out = score["left_out"].as_array().unwrap();
    assert!(left_out.contains(&"cost".into()), "{left_out:?}");
}

#[test]
fn wrong_input_gets_one_clear_sentence() {
    let typed_wrong = sticks().replacen(",160\n", ",2044.8\n", 1).replacen(",161\n", ",2044.8\n", 1);
    let typed_wrong = if typed_wrong.contains("2044.8") {
        typed_wrong
    } else {
        format!("{typed_wrong}{},2044.8\n", stamp(2879))
    };
    let swapped_columns = "time,glucose_mg_dl\n120,2024-03-01T00:00:00\n125,2024-03-01T00:05:00\n";
    let zoned = sticks().replace(":00,", ":00+01:00,");
    let later = sticks().replace("2024-", "2025-");
    let named_alike = sticks().replace("reference_mg_dl", "glucose_mg_dl");
    let wave = wave(0.0, 5.0);
    let folder = folder(&[
        ("alike.csv", &named_alike),
        ("a.csv", &wave),
        ("sticks.csv", &sticks()),
        ("typed.csv", &typed_wrong),
        ("columns.csv", swapped_columns),
        ("zoned.csv", &zoned),
        ("later.csv", &later),
    ]);
    for (sensor, reference, expected) in [
        ("a=a.csv", "typed.csv", "found \"2044.8\", expected a glucose value from 0 to 2000"),
        (
            "a=columns.csv",
            "sticks.csv",
            "line 2, column \"glucose_mg_dl\": found \"2024-03-01T00:00:00\", expected a number",
        ),
        ("a=a.csv", "columns.csv", "columns.csv, line 2"),
        (
            "a=alike.csv",
            "a.csv",
            "the two seem swapped, expected --sensor NAME=TRACE and --reference FINGERSTICKS",
        ),
        ("a=a.csv", "zoned.csv", "the times of zoned.csv name a zone and those of a do not, expected --zone"),
        ("a=a.csv", "later.csv", "no time in common"),
        ("a=missing.csv", "sticks.csv", "missing.csv: cannot be read"),
    ] {
        let sentence = refused(&["--sensor", sensor, "--reference", reference], folder.path());
        assert!(sentence.contains(expected), "{sentence:?} lacks {expected:?}");
    }
    let path = folder.path();
    assert!(refused(&["--sensor", "a=a.csv"], path).contains("one sensor alone cannot be compared"));
    assert!(refused(&["--reference", "sticks.csv"], path).contains("there is no sensor to judge"));
    let twice = ["--sensor", "a=a.csv", "--sensor", "a=a.csv"];
    assert!(refused(&twice, path).contains("two sensors have this name"));
    assert_eq!(fs::read_dir(path).unwrap().count(), 7, "nothing was to be written");
}

#[test]
fn one_pair_and_few_pairs_are_said_to_be_so() {
    let one = format!("time,reference_mg_dl\n{},150\n", stamp(600));
    let few: String = sticks().lines().take(6).collect::<Vec<_>>().join("\n");
    let folder = folder(&[("a.csv", &wave(0.0, 5.0)), ("one.csv", &one), ("few.csv", &few)]);
    let arguments = ["--sensor", "a=a.csv", "--reference", "one.csv"];
    let words = text(&arguments, folder.path());
    assert!(words.contains("one pair says nothing of a sensor"), "{words}");
    assert!(words.contains("too few"), "{words}");
    let a = &json(&arguments, folder.path())["sensors"]["a"];
    assert_eq!(a["pairs"], 1);
    for key in ["sd_mg_dl", "loa_lower_mg_dl", "within_15_15_percent", "lag_min", "bias_interval_mg_dl"] {
        assert!(a[key].is_null(), "{key}: {}", a[key]);
    }
    let words = text(&["--sensor", "a=a.csv", "--reference", "few.csv"], folder.path());
    assert!(words.contains("5 pairs are too few for rates"), "{words}");
}

#[test]
fn doubtful_input_is_said_and_not_dropped_in_silence() {
    // a decimal point lost, and a clock an hour fast
    let lost = sticks() + &format!("{},1605\n{},55\n", stamp(2500), stamp(2600));
    let mut fast = "time,reference_mg_dl\n".to_owned();
    for n in 0..24 {
        let minute = 420 + n % 12 * 75 + n / 12 * 1440;
        fast += &format!("{},{:.0}\n", stamp(minute), blood(f64::from(minute) - 60.0));
    }
    let folder = folder(&[("a.csv", &wave(0.0, 0.0)), ("lost.csv", &lost), ("fast.csv", &fast)]);
    let words = text(&["--sensor", "a=a.csv", "--reference", "lost.csv"], folder.path());
    assert!(words.contains("the value 1605.0 mg/dL at 2024-03-02T17:40:00 is none a meter shows"), "{words}");
    let words = text(&["--sensor", "a=a.csv", "--reference", "fast.csv"], folder.path());
    assert!(words.contains("with the reference's clock moved by -1 h the two agree far better"), "{words}");
}

#[test]
fn the_sheet_stands_alone_and_the_tables_hold_every_pair() {
    let folder = tempfile::tempdir().unwrap();
    let output = glidepath(&["--out", "out", "--unit", "mmol/L", "--cost", "alder=42/14"], folder.path());
    assert!(output.status.success());
    let out = folder.path().join("out");
    let html = fs::read_to_string(out.join("compare.html")).unwrap();
    for expected in [
        "invented",
        "Which is nearer to the blood",
        "clarke",
        "parkes",
        "by-day",
        "mmol/L",
        "not a medical device",
    ] {
        assert!(html.contains(expected), "{expected}");
    }
    assert!(!html.contains("NaN") && !html.contains("http"));
    let pairs = fs::read_to_string(out.join("pairs.csv")).unwrap();
    let results = json(&[], folder.path());
    let wanted: u64 =
        ["alder", "birch"].iter().map(|name| results["sensors"][name]["pairs"].as_u64().unwrap()).sum();
    assert_eq!(pairs.lines().count() as u64, 1 + wanted);
    assert!(out.join("drawings/clarke.svg").exists());
}

#[test]
fn a_drift_put_in_comes_out() {
    // eight days, the sensor going up by 3 mg/dL a day
    let (mut rows, mut sticks) = ("time,glucose_mg_dl\n".to_owned(), "time,reference_mg_dl\n".to_owned());
    for minute in (0..8 * 1440).step_by(5) {
        let value = blood(f64::from(minute));
        rows += &format!("{},{:.0}\n", stamp(minute), value + 3.0 * f64::from(minute) / 1440.0);
        if minute % 200 == 100 {
            sticks += &format!("{},{value:.0}\n", stamp(minute));
        }
    }
    let folder = folder(&[("a.csv", &rows), ("sticks.csv", &sticks)]);
    let a = &json(&ONE, folder.path())["sensors"]["a"];
    close(&a["drift_mg_dl_per_day"], 3.0, 0.1, "drift");
    assert!(json(&ONE, folder.path())["between"].is_null());
    assert!(text(&ONE, folder.path()).contains("a drifts up by 3.0 mg/dL a day of wear"));
}

/// With GLIDEPATH_TRACES set to a folder of open traces: 20 people with laboratory values beside the sensor
/// (Metwally et al. 2024, doi:10.1038/s41551-024-01311-6). Figures by a plain computation over the rows that have
/// both.
#[test]
fn open_traces_agree_with_a_plain_computation() {
    let Some(traces) = std::env::var_os("GLIDEPATH_TRACES") else {
        println!("skipped: GLIDEPATH_TRACES is not set");
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let mut seen = 0;
    for entry in fs::read_dir(Path::new(&traces).join("ogtt_venous")).unwrap() {
        let path = entry.unwrap().path();
        let rows: Vec<(f64, f64)> = fs::read_to_string(&path)
            .unwrap()
            .lines()
            .skip(1)
            .filter_map(|row| {
                let mut cells = row.split(',').skip(1).map(str::parse::<f64>);
                Some((cells.next()?.ok()?, cells.next()?.ok()?))
            })
            .collect();
        let n = rows.len() as f64;
        let bias = rows.iter().map(|(s, r)| s - r).sum::<f64>() / n;
        let mard = rows.iter().map(|(s, r)| 100.0 * (s - r).abs() / r).sum::<f64>() / n;
        let sd = (rows.iter().map(|(s, r)| (s - r - bias).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let name = path.display().to_string();
        let results = json(&["--sensor", &format!("s={name}"), "--reference", &name], folder.path());
        let s = &results["sensors"]["s"];
        assert_eq!(s["pairs"].as_u64(), Some(rows.len() as u64), "{name}");
        close(&s["bias_mg_dl"], bias, 1e-3, &name);
        close(&s["mard_percent"], mard, 1e-3, &name);
        close(&s["sd_mg_dl"], sd, 1e-3, &name);
        seen += 1;
    }
    assert!(seen >= 20);
}
