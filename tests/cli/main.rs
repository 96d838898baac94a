//! The built program, run as a person or a script runs it.

#![expect(clippy::unwrap_used, clippy::panic, reason = "what fails in the harness fails the test")]

mod demo;
mod measure;
