//! The monitor's state to bytes and back.

use crate::{Event, Hash, Stream};
use core::hint::black_box;
use glidepath::{Monitor, Settings, snapshot};

const ROOM: usize = 24;

/// Settings to bytes and back, and with each byte in turn wrong.
fn settings(hash: &mut Hash) {
    let shipped = Settings::default();
    let settings = black_box(shipped)
        .with_model(shipped.model)
        .with_forecast(shipped.forecast)
        .with_drift(shipped.drift)
        .with_bands(shipped.bands)
        .with_quality(shipped.quality)
        .with_alarms(shipped.alarms);
    hash.put(settings.quality.checked().is_ok());
    let (gain, offset) = (settings.drift.gain(), settings.drift.offset());
    hash.put((gain.0, gain.1));
    hash.put((offset.0, offset.1));
    hash.put((settings.drift.scatter(), settings.drift.required_benefit()));
    hash.put((settings.bands.moderate(), settings.bands.fast(), settings.bands.margin()));
    hash.put((settings.bands.widest_sd(), settings.bands.missing_costs()));
    let (quality, span) = (settings.quality, |minutes| glidepath::Span::from_mins(black_box(minutes)));
    let other = quality.with_range_mg_dl(10.0, 500.0).with_gap(span(40)).with_jump_sd(8.0);
    let other = other.with_pressure(0.2, span(10)).with_night(60, 300).with_stuck(5, span(20));
    let other = other.with_noisy_scale(3.0).with_warm_up(span(30)).with_first_day(span(720));
    hash.put((other.checked().is_ok(), other.with_wear(span(1)).checked().is_ok()));
    let model =
        settings.model.with_rate_time(black_box(glidepath::Span::from_mins(20))).unwrap_or(settings.model);
    hash.put((model.process_noise(), model.coloured_sd(), model.white_sd()));
    hash.put((model.lag(), model.rate_time(), model.coloured_time()));
    hash.put((model.is_corrected(), settings.alarms.slots().count() == 0));
    if let Err(error) = model.with_process_noise(black_box(-1.0)) {
        hash.put((error.section(), error.value(), error.range().map(|(least, _)| least)));
    }
    let mut buffer = [0; snapshot::SETTINGS_BYTES];
    let Ok(length) = snapshot::save_settings(settings, &mut buffer) else { return };
    for place in 0..length {
        hash.put(buffer.get(place).copied().unwrap_or(0));
        hash.put(snapshot::read_settings(&buffer) == Ok(settings));
        if let Some(byte) = buffer.get_mut(place) {
            *byte ^= 0x10;
        }
        hash.put(snapshot::read_settings(&buffer).is_err());
        if let Some(byte) = buffer.get_mut(place) {
            *byte ^= 0x10;
        }
    }
}

/// A monitor that is saved and loaded at every eighth event goes on as one whose power was away then.
pub fn kept(events: usize) -> Hash {
    let mut hash = Hash::new();
    hash.put(snapshot::bytes_needed(black_box(288)));
    settings(&mut hash);
    let mut buffer = [0; snapshot::bytes_needed(ROOM)];
    let (Ok(mut plain), Ok(mut kept)) = (
        Monitor::<ROOM>::new(black_box(Settings::default())),
        Monitor::<ROOM>::new(black_box(Settings::default())),
    ) else {
        return hash;
    };
    for (k, event) in Stream::new(black_box(51)).take(events).enumerate() {
        let Event::Reading(reading) = event else { continue };
        let same = plain.push(&reading) == kept.push(&reading);
        hash.put(same);
        hash.not_finite = hash.not_finite.saturating_add(u32::from(!same));
        if k % 8 != 0 {
            continue;
        }
        let Ok(length) = snapshot::save(&mut kept, &mut buffer) else { continue };
        let saved = buffer.get(..length).unwrap_or_default();
        saved.iter().for_each(|byte| hash.put(*byte));
        if snapshot::restore(&mut kept, saved).is_ok() {
            plain.power_returned();
        }
        // one wrong byte, and less room than it takes
        if let Some(byte) = buffer.get_mut(k % length.max(1)) {
            *byte ^= 0x40;
        }
        hash.put(snapshot::restore(&mut kept, &buffer).is_err());
        hash.put(snapshot::save(&mut plain, buffer.get_mut(..length / 2).unwrap_or_default()).is_err());
    }
    hash
}
