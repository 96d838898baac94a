//! Figures: numbers for print that two people agree on, tied to what they rest on.

pub mod digest;
pub mod state;
pub mod value;
pub mod what;

pub use what::What;
