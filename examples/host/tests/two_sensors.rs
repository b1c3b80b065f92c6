//! Two sensors worn at once, through the program: replayed, drawn, judged. All traces are invented.

use std::path::{Path, PathBuf};
use std::process::Command;

fn glidepath(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_glidepath")).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// One person, two sensors; the rows of the second are changed by `change` (minute, value) before they are written.
fn pair(folder: &Path, change: impl Fn(usize, f64) -> Option<f64>) -> (String, String) {
    let place = |name: &str| folder.join(name).to_string_lossy().into_owned();
    let (first, second) = (place("trace.csv"), place("trace_b.csv"));
    for (path, sensor) in [(&first, "11"), (&second, "15")] {
        glidepath(&[
            "simulate",
            "--seed",
            "11",
            "--sensor-seed",
            sensor,
            "--sensor",
            "early",
            "--days",
            "2",
            "--out-trace",
            path,
        ]);
    }
    let text = std::fs::read_to_string(&second).unwrap();
    let mut rows = vec!["time,glucose_mg_dl".to_owned()];
    for (n, row) in text.lines().skip(1).enumerate() {
        let mut cells = row.split(',');
        let (time, value) = (cells.next().unwrap(), cells.next().unwrap().parse::<f64>().unwrap());
        rows.extend(change(5 * n, value).map(|value| format!("{time},{value}")));
    }
    std::fs::write(&second, rows.join("\n") + "\n").unwrap();
    (first, second)
}

fn json(first: &str, second: &str) -> serde_json::Value {
    serde_json::from_str(&glidepath(&["replay", first, "--second", second, "--json"])).unwrap()
}

#[test]
fn two_that_are_well_are_nearer_to_the_truth_than_one() {
    let folder = folder("two-well");
    let (first, second) = pair(&folder, |_, value| Some(value));
    let both = json(&first, &second);
    let alone: serde_json::Value = serde_json::from_str(&glidepath(&["replay", &first, "--json"])).unwrap();
    let off = |report: &serde_json::Value| report["truth"]["plasma"]["rmse_mg_dl"].as_f64().unwrap();
    assert!(off(&both) < off(&alone), "{} {}", off(&both), off(&alone));
    assert_eq!(both["readings"], alone["readings"]);
    let told = &both["pair"];
    assert!(told["together_percent"].as_f64().unwrap() > 95.0, "{told}");
    assert!((0.3..=0.7).contains(&told["first_weight"].as_f64().unwrap()), "{told}");
    assert!(alone.get("pair").is_none());
}

#[test]
fn the_one_that_leaps_is_named_in_words_in_the_table_and_in_the_drawing() {
    let folder = folder("two-leap");
    let leaps = |minute, value| Some(if minute >= 1800 { value + 70.0 } else { value });
    let (first, second) = pair(&folder, leaps);
    let out = folder.join("sheet");
    let words = glidepath(&["replay", &first, "--second", &second, "--out", out.to_str().unwrap()]);
    assert!(words.contains("while the second was"), "{words}");
    let told = &json(&first, &second)["pair"];
    assert!(told["second_errs_percent"].as_f64().unwrap() > 20.0, "{told}");
    assert!(told["first_errs_percent"].as_f64().unwrap() < 1.0, "{told}");
    let samples = std::fs::read_to_string(out.join("samples.csv")).unwrap();
    let columns: Vec<&str> = samples.lines().next().unwrap().split(',').collect();
    let place = |name: &str| columns.iter().position(|column| *column == name).unwrap();
    let (side, agreement, weight) = (place("side"), place("agreement"), place("first_weight"));
    let mut sides = [0, 0];
    let mut named = 0;
    for row in samples.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        assert_eq!(cells.len(), columns.len(), "{row}");
        sides[usize::from(cells[side] == "second")] += 1;
        if cells[agreement] == "second_suspect" {
            named += 1;
            // where both are as old it is less than half; for a while in a fast fall the newer one may be the named one
            assert!(cells[weight].parse::<f64>().unwrap() > 0.45, "{row}");
        }
    }
    assert!(sides[0] > 500 && sides[1] > 500 && named > 200, "{sides:?} {named}");
    let html = std::fs::read_to_string(out.join("replay.html")).unwrap();
    for part in [
        "class=\"dots beside\"",
        "class=\"bars errs\"",
        "class=\"line weight\"",
        "the second sensor&#39;s readings",
    ] {
        assert!(html.contains(part), "{part}");
    }
}

#[test]
fn a_second_that_begins_later_is_in_its_first_day() {
    let folder = folder("two-later");
    let later = |minute, value| (minute >= 1200).then_some(value * 0.7);
    let (first, second) = pair(&folder, later);
    let told = &json(&first, &second)["pair"];
    assert!(told["only_one_percent"].as_f64().unwrap() > 20.0, "{told}");
    assert!(told["second_offset_mg_dl"].as_f64().unwrap() < -15.0, "{told}");
    assert!(told["first_offset_mg_dl"].as_f64().unwrap() < 15.0, "{told}");
    let out = folder.join("samples.csv");
    glidepath(&["replay", &first, "--second", &second, "--samples", out.to_str().unwrap()]);
    let samples = std::fs::read_to_string(out).unwrap();
    let columns: Vec<&str> = samples.lines().next().unwrap().split(',').collect();
    let place = |name: &str| columns.iter().position(|column| *column == name).unwrap();
    let weight = |row: &str| row.split(',').nth(place("first_weight")).unwrap().parse::<f64>().unwrap();
    let both = samples.lines().skip(1).filter(|row| !row.contains(",only_"));
    let weights: Vec<f64> = both.take(24).map(weight).collect(); // its first hour
    assert_eq!(weights.len(), 24);
    assert!(weights.iter().sum::<f64>() / 24.0 > 0.7, "{weights:?}");
}

/// Writes a table of five-minute readings over 20 hours, those left out for which there is no value.
fn table(path: &Path, value: impl Fn(u32) -> Option<f64>) -> String {
    let row = |minute: u32| Some(format!("{},{}\n", 1_800_000_000 + 60 * minute, value(minute)?));
    let rows: String = (0..1200).step_by(5).filter_map(row).collect();
    std::fs::write(path, format!("time,glucose_mg_dl\n{rows}")).unwrap();
    path.to_string_lossy().into_owned()
}

#[test]
fn lows_gaps_and_alarms_are_counted_by_both_sensors() {
    let folder = folder("two-counted");
    let wave = |minute: u32| 125.0 + 8.0 * (f64::from(minute) / 40.0).sin();
    // the first is silent for three hours, in which the second reads a low; later both are silent for an hour
    let silent = |minute| (840..900).contains(&minute);
    let first = table(&folder.join("a.csv"), |minute| {
        (!(300..480).contains(&minute) && !silent(minute)).then(|| wave(minute))
    });
    let second = table(&folder.join("b.csv"), |minute| {
        let value = match minute {
            360..400 => 62.0,
            1000..1045 => 50.0, // and the first reads on
            _ => wave(minute),
        };
        (!silent(minute)).then_some(value)
    });
    let both = json(&first, &second);
    assert_eq!((&both["episodes_below_70"], &both["gaps"]), (&2.into(), &1.into()));
    assert_eq!(both["episodes_below_54"], 1);
    let of = |report: &serde_json::Value, kind: &str| {
        let kinds = report["rehearsal"]["kinds"].as_array().unwrap().clone();
        let of = kinds.into_iter().find(|of| of["kind"] == kind).unwrap();
        (of["alarms"].as_u64().unwrap(), of["true_alarms"].as_u64())
    };
    let (rang, right) = of(&both, "low");
    assert!(rang > 0 && right == Some(rang), "{rang} {right:?}");
    assert_eq!(both["rehearsal"]["lows"], 2);
    // 20 hours less an hour and five minutes, which count as three and a half readings
    assert_eq!(both["rehearsal"]["days"], 0.8);
    let alone: serde_json::Value = serde_json::from_str(&glidepath(&["replay", &first, "--json"])).unwrap();
    assert_eq!((&alone["episodes_below_70"], &alone["gaps"]), (&0.into(), &2.into()));

    let settings = ["--vary", "low.limit=60,75", "--out"];
    let out = folder.join("sheet");
    let out = [&["replay", &first, "--second", &second][..], &settings, &[out.to_str().unwrap()]].concat();
    let words = glidepath(&out);
    for said in [
        "with a gap of 65 min in which neither sensor read.",
        "Below 70 mg/dL for 15 minutes or more, by the lower of the two sensors: 2 times (1 below 54 mg/dL), the longest 40 min.",
        "a low by the readings of either sensor held or followed within 60 minutes (a high by both as they weigh,",
        " of 2 lows warned of (",
        "The two sensors read 70 to 180 ",
    ] {
        assert!(words.contains(said), "{said}: {words}");
    }
    // one that ends is no gap while the other goes on less often
    let ends = table(&folder.join("c.csv"), |minute| (minute < 600).then(|| wave(minute)));
    let seldom = table(&folder.join("d.csv"), |minute| minute.is_multiple_of(20).then(|| wave(minute)));
    assert_eq!(json(&ends, &seldom)["gaps"], 0);
    assert_eq!(json(&seldom, &ends)["gaps"], 0);
}

#[test]
fn the_wrist_of_two_sensors_is_drawn() {
    let folder = folder("two-wrist");
    let wave = |minute: u32| 125.0 + 8.0 * (f64::from(minute) / 40.0).sin();
    let first = table(&folder.join("a.csv"), |minute| (minute < 600).then(|| wave(minute)));
    let second = table(&folder.join("b.csv"), |minute| Some(wave(minute) + 4.0));
    let out = folder.join("wrist");
    glidepath(&["replay", &first, "--second", &second, "--wrist", out.to_str().unwrap()]);
    let pictures = std::fs::read_dir(&out).unwrap().count();
    assert_eq!(pictures, 361, "one for each of 360 readings and one of all");
    // its words of two are there: no picture of it is one of the wrist of one sensor
    let alone = folder.join("alone");
    glidepath(&["replay", &second, "--wrist", alone.to_str().unwrap()]);
    let last = |folder: &Path| {
        let mut names: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
        names.retain(|name| name.file_name().unwrap() != "wrist.png");
        names.sort();
        std::fs::read(names.last().unwrap()).unwrap()
    };
    assert_ne!(last(&out), last(&alone));
}

#[test]
fn recorded_pairs_are_judged_by_their_own_future() {
    let folder = folder("two-judged");
    pair(&folder, |_, value| Some(value - 20.0));
    let judged: serde_json::Value =
        serde_json::from_str(&glidepath(&["pairs", folder.to_str().unwrap(), "--json"])).unwrap();
    assert_eq!(judged["people"].as_array().unwrap().len(), 1);
    assert_eq!(judged["low_minutes_unheard"], 0);
    for side in 0..2 {
        let named = judged["named_percent"][side].as_f64().unwrap();
        assert!((0.0..10.0).contains(&named), "{side}: {named}");
    }
    let leaps = self::folder("two-judged-leap");
    pair(&leaps, |minute, value| Some(if minute >= 1800 { value + 70.0 } else { value }));
    let named: serde_json::Value =
        serde_json::from_str(&glidepath(&["pairs", leaps.to_str().unwrap(), "--json"])).unwrap();
    let named = [0, 1].map(|side| named["named_percent"][side].as_f64().unwrap());
    assert!(named[0] < 1.0 && named[1] > 20.0, "{named:?}");
    for side in judged["sides"].as_array().unwrap() {
        assert!(side["forecasts"].as_f64().unwrap() > 500.0);
        let over = side["over_own"].as_f64().unwrap();
        assert!((0.7..1.05).contains(&over), "{over}");
    }
}

#[test]
fn what_two_begin_with_is_fitted_to_recorded_pairs() {
    let folder = folder("two-fitted");
    pair(&folder, |_, value| Some(value - 20.0));
    let printed = glidepath(&["fit", folder.to_str().unwrap(), "--only", "pair"]);
    for (file, held, line) in [
        ("lead.rs", include_str!("../../../src/whole/pair/lead.rs"), "const WEIGHTS: [f32; 2] = ["),
        ("mod.rs", include_str!("../../../src/whole/pair/mod.rs"), "const NARROWER: f32 = "),
        ("rare.rs", include_str!("../../../src/whole/pair/rare.rs"), "const COMMON: f32 = "),
    ] {
        assert!(held.lines().any(|held| held.starts_with(line)), "{file}");
        assert!(printed.contains(&format!("src/whole/pair/{file}:\n\n{line}")), "{printed}");
    }
    assert!(!printed.contains("NaN"), "{printed}");
    assert!(printed.contains("nobody is left out to judge by"), "{printed}");
}

#[test]
fn simulated_pairs_are_judged_in_each_way_of_failing() {
    let judged: serde_json::Value =
        serde_json::from_str(&glidepath(&["pairs", "--people", "2", "--json"])).unwrap();
    let worlds = judged.as_array().unwrap();
    assert_eq!(worlds.len(), 2);
    for way in worlds.iter().flat_map(|world| world["ways"].as_array().unwrap()) {
        assert_eq!(way["low_minutes_unheard"], 0, "{way}");
        assert!(way["rmse_mg_dl"].as_f64().unwrap() > 3.0, "{way}");
        // of each person the better of two is at least as good as one of the two for all
        let over_all = way["over_better_of_all"].as_f64();
        assert_eq!(over_all.is_some(), way["way"] == "none", "{way}");
        assert!(over_all.is_none_or(|over| over <= way["over_one"].as_f64().unwrap()), "{way}");
    }
}

#[test]
fn a_folder_without_pairs_is_refused_with_what_was_expected() {
    let folder = folder("two-none");
    let output = Command::new(env!("CARGO_BIN_EXE_glidepath"))
        .args(["pairs", folder.to_str().unwrap()])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("NAME_b.csv"));
}
