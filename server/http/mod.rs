//! HTTP: requests become calls into `work`, page values become answers. No SQL, no arithmetic.
//!
//! What a new route needs is in `routes.rs`. A handler takes extractors ([`session`], [`resources`], `sent`), makes
//! one call into `work`, and answers with [`respond`]; errors are returned as they are and shown by `failures.rs`.

mod across;
mod against;
mod answers;
mod app;
mod assets;
mod beside;
mod board;
mod capture;
mod cells;
mod changes;
mod chart;
mod draft;
mod editions;
mod failures;
mod figure;
mod figures;
mod front;
mod headers;
mod health;
mod intake;
mod intake_form;
mod invitation;
mod lane;
mod latency;
mod layout;
mod layouts;
mod live;
mod noise_prior;
mod openapi;
mod origin;
mod pack;
mod panics;
mod parts;
mod pass;
mod people;
mod piece;
mod piece_frame;
mod pieces;
mod plan;
mod readers;
mod registers;
pub mod resources;
pub mod respond;
mod review;
mod rig_check;
mod rigs;
mod routes;
mod scenes;
pub mod screens;
mod sent;
mod server;
pub mod session;
mod sessions;
mod sign_in;
mod trace;
mod tuning;
mod upload;
mod upload_form;
mod uploads;
mod value;
mod worth;

pub use app::App;
pub use server::Server;
