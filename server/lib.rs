//! Weighhouse: from per-frame logs to figures that two people agreed on.
//!
//! Imports run one way: `cli` and `http` use `work`, `work` uses `store`; pages come from `weighhouse-web`, numbers
//! from `weighhouse-measure`.

pub mod chance;
pub mod cli;
pub mod clock;
pub mod config;
pub mod http;
pub mod store;
pub mod work;
