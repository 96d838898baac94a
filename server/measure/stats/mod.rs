//! Statistics that know no captures.

pub mod distributions;
pub mod moderation;
