//! The built program, run as a person or a script runs it.

#![expect(clippy::unwrap_used, clippy::panic, reason = "what fails in the harness fails the test")]

mod demo;
#[expect(dead_code, reason = "these tests use a part of it")]
#[path = "../http/harness.rs"]
mod harness;
mod measure;
mod watch;
