//! A settings file as the frame that brings it to the wrist.

use glidepath::{Settings, snapshot};
use wrist::link::stuffed_settings;
use wrist::settings::number;

/// The frame, and the name that the wrist calls the settings by.
///
/// # Errors
/// Says where in the file, and what was wrong there.
pub fn frame(text: &str) -> Result<(Vec<u8>, String), String> {
    let settings: Settings = toml::from_str(text).map_err(|e| e.to_string())?;
    let mut message = [0; snapshot::SETTINGS_BYTES];
    let length = snapshot::save_settings(settings, &mut message).map_err(|e| e.to_string())?;
    let message = message.get(..length).unwrap_or_default();
    let name = number(message).map_or_else(String::new, |number| format!("{number:08X}"));
    Ok((stuffed_settings(message).to_vec(), name))
}
