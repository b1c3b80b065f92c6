//! The history against a sorted map that drops its oldest.
#![no_main]

use glidepath::{Glucose, History, Inserted, Instant, Reading};
use libfuzzer_sys::fuzz_target;
use std::collections::BTreeMap;

const ROOM: usize = 5;

fuzz_target!(|inserts: Vec<(u16, u16)>| {
    let mut history = History::<ROOM>::new();
    let mut model = BTreeMap::new();
    for (at, tenths) in inserts {
        let (at, value) = (u32::from(at % 64), f32::from(tenths % 8192) / 10.0);
        let reading = Reading::new(Instant::from_secs(at), Glucose::from_mg_dl(value).expect("in range"));
        let newest = model.last_key_value().is_none_or(|(last, _)| *last < at);
        let full = model.len() == ROOM;
        let expected = if model.contains_key(&at) {
            Inserted::Duplicate
        } else if full && model.first_key_value().is_some_and(|(first, _)| at < *first) {
            Inserted::TooOld
        } else {
            model.insert(at, value);
            if model.len() > ROOM {
                model.pop_first();
            }
            if newest { Inserted::Newest } else { Inserted::Between }
        };
        assert_eq!(history.insert(&reading), expected);
        let view = history.view();
        assert!(
            view.iter().map(|r| (r.at().secs(), r.glucose().mg_dl())).eq(model.iter().map(|(k, v)| (*k, *v)))
        );
        let from = at.saturating_sub(7);
        let since = view.since(Instant::from_secs(from)).map(|r| r.at().secs());
        assert!(since.eq(model.range(from..).map(|(k, _)| *k)));
        assert_eq!(view.newest().map(|r| r.at().secs()), model.last_key_value().map(|(k, _)| *k));
        assert_eq!(view.oldest().map(|r| r.at().secs()), model.first_key_value().map(|(k, _)| *k));
    }
});
