//! What the service does: each function reads or changes the store in one transaction and knows nothing of HTTP.

pub mod across;
pub mod against;
pub mod answers;
pub mod assign;
pub mod bench_week;
mod cell_evidence;
pub mod cells;
pub mod choices;
pub mod deadline;
pub mod error;
pub mod evidence;
pub mod figures;
pub mod foot;
pub mod intake;
pub mod latency;
#[cfg(test)]
pub(crate) mod made_up;
pub mod names;
pub mod noise_prior;
pub mod once;
pub mod pack;
pub mod pass;
pub mod passwords;
pub mod pattern;
pub mod people;
pub mod pieces;
pub mod plan;
pub mod ranks;
pub mod readers;
mod reading;
pub mod reasons;
pub mod registers;
pub mod reruns;
pub mod results;
pub mod review;
pub mod rig_check;
pub mod rule;
pub mod sign_in;
mod spool;
pub mod sway;
pub mod take_in;
pub mod tuning;
pub mod understood;
pub mod upload;
pub mod worth;

pub use error::{Both, Error, Internal, Kind, Refusal, Result};
