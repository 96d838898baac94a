//! Statistics that know no captures.

pub mod changepoint;
pub mod distributions;
pub mod moderation;
pub mod robust;
pub mod trend;
