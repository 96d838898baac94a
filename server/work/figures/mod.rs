//! Figures: numbers for print that two people agree on, tied to what they rest on.
//!
//! [`what`] it is -> [`value`] it has, [`digest`] of what it rests on -> [`state`] it is in -> [`ledger`] of all of a
//! piece's; people move it on by [`steps`], and [`changes`] says why it lapsed; [`holds`] says whether it survives other choices.

pub mod changes;
mod derived;
pub mod digest;
pub mod holds;
pub mod ledger;
pub mod many;
mod of_reading;
pub mod state;
pub mod steps;
pub mod value;
pub mod what;

pub use what::What;
