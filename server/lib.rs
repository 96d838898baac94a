//! The Weighhouse service: uploads in, figures that two people agreed on out.

pub mod chance;
pub mod clock;
pub mod store;
