//! HTTP tests: a real server on a real database file, asked as browsers and rigs ask.
//!
//! Folders and files mirror `server/http`. Each route: success, unknown id, signed out, wrong role, bad input.

#![expect(clippy::unwrap_used, clippy::panic, reason = "what fails in the harness fails the test")]

mod across;
mod against;
mod agreements;
mod assets;
mod carried;
mod charts;
mod companions;
mod cuts;
mod disputes;
mod draft;
mod editions;
mod figures;
mod figures_many;
mod first_steps;
mod guard;
mod harness;
mod intake;
mod layouts;
mod limits;
mod links;
mod live;
mod names;
mod notes;
mod openapi;
mod outdated;
mod pack;
mod package;
mod pass;
mod people;
mod pieces;
mod plan;
mod quotes;
mod readings;
mod registers;
mod reproduce;
mod review;
mod rig_check;
mod screens;
mod sessions;
mod sign_in;
mod soaks;
mod tuning;
mod twice;
mod upload;
mod uploads;
mod worth;
