//! Crash tests: the built program, killed and copied in the middle of its work, keeps what it acknowledged.

#![expect(clippy::unwrap_used, clippy::panic, reason = "what fails in the harness fails the test")]

mod copies;
mod disk;
#[expect(dead_code, reason = "shared with the HTTP tests, which have their server in their own process")]
#[path = "../http/harness.rs"]
mod harness;
mod kills;
mod program;
mod tampering;
