//! # The guide
//!
//! Short chapters to read in order, and recipes to copy from. Every example here is compiled and run by the
//! crate's tests; people and sensors in them are invented.
//!
//! **Not a medical device.** Not for treatment decisions. Confirm with a fingerstick when symptoms and reading
//! disagree, and follow your care team and local rules.
//!
//! | chapter | what it answers |
//! | --- | --- |
//! | [1. The sensor](chapter_1_sensor) | what a sensor measures, and how it errs |
//! | [2. The stages](chapter_2_stages) | what each part does, and how they are joined |
//! | [3. Settings](chapter_3_settings) | which numbers to change for your sensor and your nights, and what each costs |
//! | [4. Uncertainty](chapter_4_uncertainty) | what the standard deviations and probabilities mean, and what they do not |
//! | [5. Time and clocks](chapter_5_time) | what happens when a clock is set, stops or is missing, and what a reset keeps |
//! | [6. How good](chapter_6_how_good) | how far off it was, on which people, beside plain methods and the best possible |
//!
//! | recipe | you have | you get |
//! | --- | --- | --- |
//! | [A trend needle](recipe_trend_needle) | firmware with readings and nothing else | angle and pace of glucose, "not known" when it is not |
//! | [A bedside light](recipe_bedside_light) | five lamps | a light with a second cue for colour-blind eyes, "not known" when it is not |
//! | [Two sensors](recipe_two_sensors) | two sensors worn together, fingersticks | which of them came nearer, and how sure that is |
//! | [Handover](recipe_handover) | an ending sensor and a new one, live | one glucose without a leap, the new one trusted step by step |
//! | [Your own smoother](recipe_own_smoother) | an idea | its rank among the others |
//! | [A power cut](recipe_power_cut) | flash | a monitor that goes on where it was |
//! | [A week's review](recipe_week_review) | 8 KiB | ranges, episodes and patterns of weeks |
//!
//! How the crate itself is built, and every figure it was measured at, is in [`developers`](crate::developers).

#[doc = include_str!("chapter_1_sensor.md")]
pub mod chapter_1_sensor {}
#[doc = include_str!("chapter_2_stages.md")]
pub mod chapter_2_stages {}
#[doc = include_str!("chapter_3_settings.md")]
pub mod chapter_3_settings {}
#[doc = include_str!("chapter_4_uncertainty.md")]
pub mod chapter_4_uncertainty {}
#[doc = include_str!("chapter_5_time.md")]
pub mod chapter_5_time {}
#[doc = include_str!("chapter_6_how_good.md")]
pub mod chapter_6_how_good {}
#[doc = include_str!("recipe_trend_needle.md")]
pub mod recipe_trend_needle {}
#[doc = include_str!("recipe_bedside_light.md")]
pub mod recipe_bedside_light {}
#[doc = include_str!("recipe_two_sensors.md")]
pub mod recipe_two_sensors {}
#[doc = include_str!("recipe_handover.md")]
pub mod recipe_handover {}
#[doc = include_str!("recipe_own_smoother.md")]
pub mod recipe_own_smoother {}
#[doc = include_str!("recipe_power_cut.md")]
pub mod recipe_power_cut {}
#[doc = include_str!("recipe_week_review.md")]
pub mod recipe_week_review {}
