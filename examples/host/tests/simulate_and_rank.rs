//! The `simulate` and `rank` subcommands from outside: what they print and write, and how they refuse.

use std::process::{Command, Output};

use serde_json::Value;

fn glidepath(line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_glidepath")).args(line.split_whitespace()).output().expect("runs")
}

fn json(output: &Output) -> Value {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON and nothing else")
}

#[test]
fn a_simulated_trace_can_be_ranked_on() {
    let folder = tempfile::tempdir().unwrap();
    let (trace, sticks) = (folder.path().join("trace.csv"), folder.path().join("sticks.csv"));
    let (trace, sticks) = (trace.to_str().unwrap(), sticks.to_str().unwrap());
    let line = format!(
        "simulate --seed 5 --days 3 --interval 5 --out-trace {trace} --out-fingersticks {sticks} --json"
    );
    assert_eq!(json(&glidepath(&line))["readings"], 3 * 288);
    let text = std::fs::read_to_string(trace).unwrap();
    assert!(text.starts_with("time,glucose_mg_dl,plasma_mg_dl,rate_mg_dl_min\n2026-01-05T00:00:00,"));
    assert!(std::fs::read_to_string(sticks).unwrap().starts_with("time,reference_mg_dl\n"));

    let rows = json(&glidepath(&format!("rank {trace} --json")));
    let raw = &rows[0];
    assert_eq!(raw["method"], "raw, held");
    let error = raw["rmse_mg_dl"].as_f64().unwrap();
    assert!((5.0..12.0).contains(&error), "{error}");
    // what cannot be had is null
    assert!(raw["ratio_to_limit"].is_null() && raw["brier"].is_null());
}

#[test]
fn the_same_people_give_the_same_figures() {
    let folder = tempfile::tempdir().unwrap();
    let line = format!("rank --people 3 --days 2 --json --fingersticks 2 --out {}", folder.path().display());
    let (once, again) = (json(&glidepath(&line)), json(&glidepath(&line)));
    let rows = once.as_array().unwrap();
    assert!(rows.len() > 12);
    for (row, other) in rows.iter().zip(again.as_array().unwrap()) {
        for (key, value) in row.as_object().unwrap() {
            if key != "ns_per_reading" {
                assert_eq!(value, &other[key], "{key} of {}", row["method"]);
            }
        }
    }
    let ours = rows.iter().find(|row| row["method"] == "glidepath").unwrap();
    for key in [
        "rmse_mg_dl",
        "ratio_to_limit",
        "delay_min",
        "smoothness_gain",
        "rate_rmse",
        "rmse_30min",
        "lows_caught",
        "lows_caught_10min_ahead",
        "false_alarms_per_day",
        "ns_per_reading",
        "state_bytes",
    ] {
        assert!(ours[key].is_number(), "{key}: {}", ours[key]);
    }
    assert!(ours["mard_percent"]["2"].as_f64() < ours["mard_percent"]["0"].as_f64());
    let sheet = std::fs::read_to_string(folder.path().join("rank.html")).unwrap();
    assert!(sheet.contains("not a medical device"));
    // what nobody can have stands in the tables, and is never named the nearest
    let (head, rest) = sheet.split_once("</ul>").unwrap();
    assert!(
        rest.contains("fitted with the answers") && !head.contains("answers") && !head.contains("told"),
        "{head}"
    );
    assert!(folder.path().join("drawings/noise-against-delay.svg").exists());
}

#[test]
fn nonsense_is_refused_with_a_sentence() {
    for (line, expected) in [
        ("simulate --noise-scale 50", "expected 0 to 10"),
        ("simulate --interval 0", "0 is not in 1..=60"),
        ("rank --people 1 --only nosuchmethod", "no method has that in its name"),
        ("rank no-such-file.csv", "no-such-file.csv"),
    ] {
        let output = glidepath(line);
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{line}: {error}");
        assert!(error.contains(expected) && output.stdout.is_empty(), "{line}: {error}");
    }
}

#[test]
fn folders_of_people_are_ranked_set_by_set() {
    let folder = tempfile::tempdir().unwrap();
    for (set, seed) in [("alder", 21), ("birch", 22)] {
        std::fs::create_dir_all(folder.path().join(set)).unwrap();
        let file = folder.path().join(set).join("p.csv");
        let line = format!("simulate --seed {seed} --days 4 --out-trace {}", file.display());
        assert!(glidepath(&line).status.success());
    }
    let line =
        format!("rank {} --people 3 --days 3 --only raw --only glidepath --json", folder.path().display());
    let report = json(&glidepath(&line));
    let sets = report["sets"].as_array().unwrap();
    let names: Vec<&str> = sets.iter().map(|set| set["set"].as_str().unwrap()).collect();
    assert_eq!(names, ["alder", "birch", "all"]);
    let number = |value: &serde_json::Value| value.as_f64().unwrap_or_else(|| panic!("{value}"));
    // all people are the sum of the sets
    for key in ["people", "days", "lows"] {
        assert!(
            (number(&sets[0][key]) + number(&sets[1][key]) - number(&sets[2][key])).abs() < 1e-6,
            "{key}"
        );
    }
    let all = sets[2]["methods"].as_array().unwrap();
    let method = |name: &str| all.iter().find(|row| row["method"] == name).unwrap();
    let (held, ours) = (method("raw, held"), method("glidepath"));
    assert!(held["ahead"].as_array().unwrap().iter().all(|ahead| ahead["rmse_over_holding"] == 1.0));
    assert!(held["brier_skill"].is_null() && held["ahead"][0]["interval_95_holds_percent"].is_null());
    assert!(number(&ours["ahead"][1]["rmse_over_holding"]) < 0.95, "{ours}");
    let held_95 = number(&ours["ahead"][1]["interval_95_holds_percent"]);
    assert!((85.0..=100.0).contains(&held_95), "{held_95}");
    for row in all.iter().flat_map(|row| row["signs"].as_array().unwrap()) {
        let shares: Vec<f64> = row.as_array().unwrap().iter().map(number).collect();
        assert!(shares.len() == 6 && (shares.iter().sum::<f64>() - 1.0).abs() < 1e-6, "{row}");
    }
    let ring = &sets[2]["rings"][0];
    assert!(number(&ring["rings_per_night"]) <= number(&ring["rings_per_day"]), "{ring}");
    // the head answers, the curve beside it is a file of its own, and one unit is used throughout
    let (sheet, traces) = (folder.path().join("sheet"), folder.path().display().to_string());
    let line = format!("rank {traces}/alder --people 2 --days 3 --unit mmol/L --out {}", sheet.display());
    assert!(glidepath(&line).status.success());
    let html = std::fs::read_to_string(sheet.join("rank.html")).unwrap();
    let head = html.split("<ul class=\"five\">").nth(1).and_then(|rest| rest.split("</ul>").next()).unwrap();
    assert_eq!(head.matches("<li>").count(), 5, "{head}");
    for part in ["Nearest in half an hour", "false alarms a day, by", "mmol/L off; the reading"] {
        assert!(head.contains(part), "{part}: {head}");
    }
    let before_prose = html.split("In words").next().unwrap();
    assert!(before_prose.contains("lows warned of ten minutes ahead, %") && !html.contains("mg/dL"));
    assert!(sheet.join("drawings/lows-against-false-alarms.svg").exists());
    let mixed = glidepath(&format!("rank {0} {0}/alder/p.csv", folder.path().display()));
    assert_eq!(mixed.status.code(), Some(2));
}

#[test]
fn a_program_of_ones_own_ranks_its_methods_beside_the_others() {
    // built beside this test: at once when all tests are run, for then it is there
    let built = std::path::Path::new(env!("CARGO_BIN_EXE_glidepath")).parent().unwrap();
    let mut build = Command::new(env!("CARGO"));
    build.args([
        "build",
        "--quiet",
        "--package",
        "glidepath-host",
        "--example",
        "own_smoother",
        "--target-dir",
    ]);
    build.arg(built.parent().unwrap());
    let profile = built.file_name().and_then(|name| name.to_str()).unwrap();
    build.args(["--profile", if profile == "debug" { "dev" } else { profile }]);
    assert!(build.status().unwrap().success());
    let program = built.join("examples/own_smoother").with_extension(std::env::consts::EXE_EXTENSION);
    let own = |line: &str| Command::new(&program).args(line.split_whitespace()).output().expect("runs");
    let folder = tempfile::tempdir().unwrap();
    let (traces, sheet) = (folder.path().join("traces"), folder.path().join("sheet"));
    std::fs::create_dir(&traces).unwrap();
    let line = format!("simulate --seed 23 --days 4 --out-trace {}", traces.join("p.csv").display());
    assert!(glidepath(&line).status.success());
    let line = format!("{} --people 2 --days 3 --json --out {}", traces.display(), sheet.display());
    let report = json(&own(&line));
    let methods = report["sets"][1]["methods"].as_array().unwrap();
    let over = |name: &str| {
        let row = methods.iter().find(|row| row["method"] == name).unwrap_or_else(|| panic!("no {name}"));
        row["ahead"][1]["rmse_over_holding"].as_f64().unwrap()
    };
    // a straight line goes too far, half of it not so far, and ours is nearest
    let errors = ["half step", "half the change", "glidepath"].map(over);
    assert!(errors[0] > 1.0 && errors[1] < 1.0 && errors[2] < errors[1], "{errors:?}");
    let html = std::fs::read_to_string(sheet.join("rank.html")).unwrap();
    let legend = html.split("class=\"legend\"").nth(1).and_then(|rest| rest.split("</ul>").next()).unwrap();
    assert!(legend.contains("half "), "one's own is drawn: {legend}");
    let rows = json(&own("--people 2 --days 2 --only half --only glidepath --json"));
    let bytes = |name: &str| {
        rows.as_array().unwrap().iter().find(|row| row["method"] == name).unwrap()["state_bytes"].as_u64()
    };
    assert_eq!(bytes("half step"), Some(16));
    assert_eq!(own("--only nosuchmethod").status.code(), Some(2));
}
