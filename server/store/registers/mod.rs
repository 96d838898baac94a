//! The team's registers: entered once, used by every piece.
//!
//! Each noun has its `...Fields`, what people type, and a row: id, fields, version. Edits carry the version that
//! was read and are [`super::StoreError::Stale`] when somebody else was faster.

pub mod cells;
pub mod parts;
pub mod reading_kinds;
pub mod rigs;
pub mod scenes;
pub mod settings;
pub mod tunings;
