//! Browser tests: the team's day in real Chromium, and each page at the widths of a desk and a phone.
//!
//! They need `chromium` and `chromedriver`; `tests/run` installs both.

#![expect(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "what fails fails the test")]

mod carried;
mod day;
mod draft;
mod driver;
#[expect(dead_code, reason = "shared with the HTTP tests, which ask for more")]
#[path = "../http/harness.rs"]
mod harness;
mod intake;
mod last_hours;
mod looks;
mod readings;
mod remarks;
mod review;
mod stage;
mod strip;
