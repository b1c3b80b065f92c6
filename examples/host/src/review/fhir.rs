//! The review as an HL7 FHIR R4 Bundle of Observations, <https://hl7.org/fhir/R4/observation.html>.
//!
//! Units are UCUM. Three Observations carry a LOINC code, written from memory: 97507-8 (average glucose of a sensor over
//! a period), 97506-0 (glucose management indicator) and 97510-2 (time in range). The others have a text only: a wrong
//! code would be worse than none.

use glidepath::review::{Ranges, Summary, Threshold};
use serde_json::{Value, json};

use super::record::Record;
use super::words;
use crate::sheet::CAUTION;
use crate::table::Unit;

const LOINC: &str = "http://loinc.org";
const UCUM: &str = "http://unitsofmeasure.org";

struct Measure {
    text: String,
    loinc: Option<&'static str>,
    value: Option<f32>,
    /// UCUM code, and how people write it.
    unit: (&'static str, &'static str),
}

const MG_DL: (&str, &str) = ("mg/dL", "mg/dL");
const PERCENT: (&str, &str) = ("%", "%");

fn measures(s: &Summary) -> Vec<Measure> {
    let plain = |text: &str, value, unit| Measure { text: text.to_owned(), loinc: None, value, unit };
    let coded =
        |text: &str, loinc, value, unit| Measure { text: text.to_owned(), loinc: Some(loinc), value, unit };
    let share = |of: fn(&Ranges) -> f32| s.by_readings.as_ref().map(of);
    let range = |text: String, of| Measure { text, loinc: None, value: share(of), unit: PERCENT };
    let at = |limit| words::both(limit, Unit::MgDl);
    vec![
        coded("Mean glucose", "97507-8", s.mean_mg_dl, MG_DL),
        coded("Glucose management indicator", "97506-0", s.gmi_percent, PERCENT),
        Measure {
            loinc: Some("97510-2"),
            ..range(format!("Readings from 70 mg/dL (3.9 mmol/L) to {}", at(Threshold::L180)), |r| {
                r.from_70_to_180
            })
        },
        range(format!("Readings below {}", at(Threshold::L54)), |r| r.below_54),
        range(format!("Readings from {} to below {}", at(Threshold::L54), at(Threshold::L70)), |r| {
            r.from_54_to_69
        }),
        range(format!("Readings above {} to {}", at(Threshold::L180), at(Threshold::L250)), |r| {
            r.from_181_to_250
        }),
        range(format!("Readings above {}", at(Threshold::L250)), |r| r.above_250),
        plain("Standard deviation of glucose", s.sd_mg_dl, MG_DL),
        plain("Coefficient of variation of glucose", s.cv_percent, PERCENT),
        plain("Glycemia risk index", s.gri, ("1", "")),
        plain("Low blood glucose index", s.lbgi, ("1", "")),
        plain("High blood glucose index", s.hbgi, ("1", "")),
        plain("Mean amplitude of glycemic excursions", s.mage_mg_dl, MG_DL),
        plain("Mean of daily differences", s.modd_mg_dl, MG_DL),
        plain("Share of the period with readings", s.active_percent, PERCENT),
        plain("Length of the period", Some(s.days), ("d", "days")),
    ]
}

/// A collection of Observations, one for each figure; a figure that is not known says so.
pub fn bundle(record: &Record) -> Value {
    // FHIR wants a zone in every time: of a wearer's clock without one, only the days are said
    let period = record.readings.first().zip(record.readings.last()).map(|(first, last)| {
        let text = |at: glidepath::Instant| match &record.clock {
            crate::table::Clock::Own(_) => {
                record.clock.iso(at.secs().into()).chars().take(10).collect::<String>()
            }
            _ => record.clock.iso(at.secs().into()),
        };
        json!({ "start": text(first.at()), "end": text(last.at()) })
    });
    let entries: Vec<Value> = measures(&record.summary)
        .iter()
        .map(|measure| {
            let mut code = json!({ "text": measure.text });
            if let Some(loinc) = measure.loinc {
                code["coding"] = json!([{ "system": LOINC, "code": loinc }]);
            }
            let mut observation = json!({
                "resourceType": "Observation",
                "status": "final",
                "code": code,
                "method": { "text": "Computed from the readings of a continuous glucose sensor" },
                "note": [{ "text": CAUTION }],
            });
            if let Some(period) = &period {
                observation["effectivePeriod"] = period.clone();
            }
            match measure.value {
                Some(value) => {
                    let (code, unit) = measure.unit;
                    let value = (f64::from(value) * 1000.0).round() / 1000.0;
                    let mut quantity = json!({ "value": value, "system": UCUM, "code": code });
                    if !unit.is_empty() {
                        quantity["unit"] = json!(unit);
                    }
                    observation["valueQuantity"] = quantity;
                }
                None => {
                    observation["dataAbsentReason"] = json!({
                        "coding": [{
                            "system": "http://terminology.hl7.org/CodeSystem/data-absent-reason",
                            "code": "insufficient-data",
                        }],
                        "text": "too few readings",
                    });
                }
            }
            json!({ "fullUrl": full_url(&record.name, &observation), "resource": observation })
        })
        .collect();
    json!({ "resourceType": "Bundle", "type": "collection", "entry": entries })
}

/// A name that the same results always get: a UUID of version 8 (RFC 9562) from an FNV-1a hash of 128 bits.
fn full_url(name: &str, observation: &Value) -> String {
    let mut hash = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d_u128;
    for byte in name.bytes().chain(observation.to_string().bytes()) {
        hash = (hash ^ u128::from(byte)).wrapping_mul(0x0000_0000_0100_0000_0000_0000_0000_013b);
    }
    let bits = (hash & !(0xf << 76) & !(0x3 << 62)) | (8 << 76) | (2 << 62);
    let hex = format!("{bits:032x}");
    format!("urn:uuid:{}-{}-{}-{}-{}", &hex[..8], &hex[8..12], &hex[12..16], &hex[16..20], &hex[20..])
}
