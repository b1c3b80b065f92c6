//! The alarms' state as bytes.

use super::*;
use crate::codec::Codec;

/// The moment, and the alarms' state, as bytes.
fn bytes(alarms: &Alarms, now: u32) -> Vec<u8> {
    let mut room = [0; 1000];
    let mut codec = Codec::saving(&mut room);
    codec.now(&mut minute(now));
    alarms.clone().code(&mut codec);
    let length = codec.end().unwrap();
    room[..length].to_vec()
}

/// What is read back, unless it is refused.
fn read(bytes: &[u8]) -> Option<Alarms> {
    let mut other = Alarms::new(AlarmPlan::default());
    for mut codec in [Codec::checking(bytes), Codec::loading(bytes)] {
        codec.now(&mut minute(0));
        other.code(&mut codec);
        codec.end().filter(|end| *end == bytes.len())?;
    }
    Some(other)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 128 }))]
    #[test]
    fn whatever_they_come_to_is_read_back_as_it_was(
        round in any::<bool>(),
        story in prop::collection::vec((1..8_u32, 45.0..300.0_f32, -5.0..5.0_f32, 0.0..1.0_f32, 0..12_usize), 1..120),
    ) {
        let mut alarms = alarms(if round { everything() } else { AlarmSettings::default() });
        let mut now = 0;
        for (minutes, mg_dl, rate, ahead, event) in story {
            now += minutes;
            let kind = Kind::ALL[event % Kind::COUNT];
            let situation = at(now, mg_dl, rate).with_low_ahead(ahead);
            let _ = match event {
                0 => alarms.update(&Situation::at(minute(now))),
                1 => alarms.update(&Situation { doubt: Doubt::Pressure, ..situation }),
                2 => alarms.update(&Situation { doubt: Doubt::Disbelieved, ..situation }),
                _ => alarms.update(&situation),
            };
            if event % 4 == 3 {
                alarms.acknowledge_all();
            } else if event % 4 == 2 {
                let _ = alarms.snooze(kind, Span::from_mins(20));
            }
            let other = read(&bytes(&alarms, now));
            let other = other.map(|other| (other.state.watches, other.state.depth));
            prop_assert_eq!(other, Some((alarms.state.watches, alarms.state.depth)));
        }
    }
}
