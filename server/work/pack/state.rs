//! `state.json` of a pack with captures: the rows that its figures rest on, for computing them anew elsewhere.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::File;
use super::mask::masked;
use crate::store::extract::{self, Rows};
use crate::store::{CaptureId, Db, PieceId};
use crate::work::results::measure_versions;
use crate::work::{Internal, Result};

/// Raised when a program that reads an earlier one would misunderstand this one.
pub const FORMAT: u32 = 1;

/// The file.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct State {
    /// [`FORMAT`].
    pub format: u32,
    /// Row id of the piece.
    pub piece: PieceId,
    /// Measures with their versions.
    pub measures: String,
    /// The rows.
    pub tables: Rows,
}

/// The state of a piece. Serial numbers of units and who lent them stay at home unless `serials`.
///
/// # Errors
/// When the store fails.
pub async fn state(db: &mut Db, piece: PieceId, serials: bool) -> Result<State> {
    let mut tables = extract::of_piece(db, piece).await?;
    if !serials {
        for unit in rows_of(&mut tables, "unit") {
            unit["serial"] = "".into();
            unit["lender"] = Value::Null;
            unit["terms"] = Value::Null;
        }
        for capture in rows_of(&mut tables, "capture") {
            let name = capture["name"].as_str().unwrap_or_default();
            capture["name"] = masked(name).into();
        }
    }
    Ok(State { format: FORMAT, piece, measures: measure_versions(), tables })
}

fn rows_of<'a>(tables: &'a mut Rows, table: &str) -> impl Iterator<Item = &'a mut Value> {
    tables.get_mut(table).and_then(Value::as_array_mut).into_iter().flatten()
}

impl State {
    /// Digests and row ids of the captures, in the order of the digests.
    pub fn captures(&self) -> BTreeMap<String, CaptureId> {
        let rows = self.tables.get("capture").and_then(Value::as_array).into_iter().flatten();
        rows.filter_map(|row| Some((row["digest"].as_str()?.to_owned(), CaptureId(row["id"].as_i64()?))))
            .collect()
    }

    /// As a file.
    ///
    /// # Errors
    /// Never with rows that came from a store.
    pub fn file(&self) -> Result<File> {
        let text = serde_json::to_string_pretty(self).map_err(|e| Internal(format!("packing: {e}")))?;
        Ok(File::text("state.json", text + "\n"))
    }
}
