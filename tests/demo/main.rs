//! The truth test: what the service answers on the demo's bench week, held against what the week was made of.
//!
//! The week is the one that the demo shows: one fixed seed, so every run sees the same bytes and gives the same answers.
//! What is tested: the four overall ratios lie in the tool's own 95% intervals; of the intervals of single scenes so many
//! hold their truth as intervals of 95% should; verdicts, left-out scenes, the difference between rigs, and
//! each planted fault with kind and time. A change of the service that moves an answer away from the truth fails here.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

mod answers;
mod carried;
mod faults;
mod more_answers;
mod readings;
mod week;
