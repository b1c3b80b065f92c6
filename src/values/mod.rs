//! What comes in, the room it is kept in, the time it came, and what stages hand on.

pub mod estimate;
pub mod history;
pub mod reading;
pub mod timeline;
