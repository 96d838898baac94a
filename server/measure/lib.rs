//! Weighhouse's pure core: bytes in, numbers out.
//!
//! Data flows one way: bytes -> [`intake`] -> [`recording::Recording`] -> [`measures`] and [`screens`] ->
//! [`compare`]; [`plan`] makes sessions of what is missing, [`readings`] tells what has no frames,
//! [`align`] places companions and [`draft`] checks a text against
//! what came of it. Nothing here knows of HTTP, SQL, files or the time of day; every function takes values and
//! returns values, and gives the same bits on every machine (ordered, compensated sums; `libm` for logs and
//! exponentials; an own counter-based generator with explicit seeds).

pub mod align;
pub mod compare;
pub mod cuts;
pub mod draft;
pub mod intake;
pub mod measures;
pub mod memory;
pub mod names;
pub mod plan;
pub mod readings;
pub mod recording;
pub mod screens;
pub mod stats;
