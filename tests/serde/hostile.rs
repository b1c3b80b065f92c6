//! Hostile values at every leaf of a file.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::fmt::Debug;

/// Every place of a file that holds no table, as keys and places in lists.
fn leaves(value: &Value, at: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                at.push(key.clone());
                leaves(value, at, found);
                at.pop();
            }
        }
        Value::Array(items) => {
            for (n, value) in items.iter().enumerate() {
                at.push(n.to_string());
                leaves(value, at, found);
                at.pop();
            }
        }
        _ => found.push(at.clone()),
    }
}

/// What a hostile file may hold at a place.
fn hostile() -> Vec<Value> {
    let whole =
        [-1_i64, -86_401, 0, 1, 3, 255, 256, 1440, 70_000, 86_401, i64::MAX, i64::MIN].map(Value::from);
    let real = [-1.0, -1e-9, 0.5, 3.9, 1.5, 1e9, 3.5e38, f64::MAX, f64::MIN].map(Value::from);
    let other = [
        json!(""),
        json!("low"),
        json!("nan"),
        json!("inf mg/dL"),
        json!("-3 min"),
        json!("1e9 h"),
        json!("9999999999999 d"),
        json!("100 mmol/L"),
        json!("24:01"),
        json!([]),
        json!({}),
        json!([70]),
        json!({ "limit": 70 }),
    ];
    whole.into_iter().chain(real).chain(other).chain([json!(true), json!(false), Value::Null]).collect()
}

/// Puts each hostile value at each leaf of `good`: it is refused, or what is read is what the constructors make of it,
/// as `rebuilt` asks them, and comes back as written. Returns the number of leaves.
pub fn drive<T: Serialize + DeserializeOwned + PartialEq + Debug>(
    good: &T,
    rebuilt: impl Fn(&T) -> Result<T, glidepath::Error>,
) -> usize {
    let whole = serde_json::to_value(good).unwrap();
    let mut places = Vec::new();
    leaves(&whole, &mut Vec::new(), &mut places);
    let (mut tried, mut taken) = (0, 0);
    for place in &places {
        let pointer = format!("/{}", place.join("/"));
        for value in hostile() {
            let mut file = whole.clone();
            *file.pointer_mut(&pointer).unwrap() = value.clone();
            tried += 1;
            let Ok(read) = serde_json::from_value::<T>(file) else { continue };
            taken += 1;
            assert_eq!(rebuilt(&read).as_ref(), Ok(&read), "{pointer} = {value}");
            let again = serde_json::to_string(&read).unwrap();
            assert_eq!(serde_json::from_str::<T>(&again).unwrap(), read, "{pointer} = {value}");
        }
        // not a number cannot be written in JSON
        for hostile in ["nan", "inf", "-inf"] {
            let mut file: toml::Value = toml::from_str(&toml::to_string(good).unwrap()).unwrap();
            let spot = place.iter().try_fold(&mut file, |at, key| match at {
                toml::Value::Table(table) => table.get_mut(key),
                toml::Value::Array(items) => items.get_mut(key.parse::<usize>().ok()?),
                _ => None,
            });
            *spot.unwrap() = toml::Value::Float(hostile.parse().unwrap());
            tried += 1;
            let refused = T::deserialize(file).expect_err(&pointer).to_string();
            assert!(!refused.is_empty(), "{pointer}");
        }
        // an unknown key beside it
        let mut file = whole.clone();
        let beside = &place[..place.len() - 1];
        let table =
            file.pointer_mut(&beside.iter().map(|key| format!("/{key}")).collect::<String>()).unwrap();
        if let Value::Object(table) = table {
            table.insert("unknown".into(), json!(1));
            assert!(serde_json::from_value::<T>(file).is_err(), "an unknown key beside {pointer}");
        }
    }
    assert!(taken > 0 && tried > 30 * places.len());
    println!("{} leaves, {tried} hostile values, {taken} of them fit", places.len());
    places.len()
}
