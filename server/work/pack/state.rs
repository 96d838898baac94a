//! `state.json` of a pack with captures: the rows that its figures rest on, for computing them anew elsewhere.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use weighhouse_measure::intake::Layout;

use super::File;
use super::names::Names;
use crate::store::extract::{self, Rows};
use crate::store::{CaptureId, Db, PieceId, SegmentId};
use crate::work::results::measure_versions;
use crate::work::{Internal, Result};

/// Raised when a program that reads an earlier one would misunderstand this one.
pub const FORMAT: u32 = 2;

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
    /// SHA-256 of captures that stand in the pack with names masked, by that of their bytes as they came.
    #[serde(default)]
    pub masked: BTreeMap<String, String>,
}

/// The state of a piece, with the names in its logs masked. Serial numbers of units and who lent them stay at home
/// unless `serials`.
///
/// # Errors
/// When the store fails.
pub async fn state(db: &mut Db, piece: PieceId, serials: bool, names: &Names) -> Result<State> {
    let mut tables = extract::of_piece(db, piece).await?;
    if !serials {
        for unit in rows_of(&mut tables, "unit") {
            unit["serial"] = "".into();
            unit["lender"] = Value::Null;
            unit["terms"] = Value::Null;
        }
    }
    for capture in rows_of(&mut tables, "capture") {
        names.mask_all(&mut capture["name"]);
        names.mask_all(&mut capture["says"]);
    }
    for segment in rows_of(&mut tables, "segment") {
        names.mask_all(&mut segment["member"]);
        json_in(&mut segment["problems"], |problems: &mut Value| names.mask_all(problems))?;
    }
    for layout in rows_of(&mut tables, "layout") {
        json_in(&mut layout["body"], |layout: &mut Layout| *layout = names.masked_layout(layout))?;
    }
    Ok(State { format: FORMAT, piece, measures: measure_versions(), tables, masked: BTreeMap::new() })
}

/// Changes a text that holds JSON. One of another form stays as it is.
fn json_in<T>(text: &mut Value, change: impl Fn(&mut T)) -> Result<()>
where
    T: Serialize + serde::de::DeserializeOwned + PartialEq + Clone,
{
    let Some(Ok(before)) = text.as_str().map(serde_json::from_str::<T>) else { return Ok(()) };
    let mut after = before.clone();
    change(&mut after);
    if after != before {
        *text = serde_json::to_string(&after).map_err(|e| Internal(format!("packing: {e}")))?.into();
    }
    Ok(())
}

fn rows_of<'a>(tables: &'a mut Rows, table: &str) -> impl Iterator<Item = &'a mut Value> {
    tables.get_mut(table).and_then(Value::as_array_mut).into_iter().flatten()
}

impl State {
    /// Row ids of the segments.
    pub fn segments(&self) -> impl Iterator<Item = SegmentId> {
        let rows = self.tables.get("segment").and_then(Value::as_array).into_iter().flatten();
        rows.filter_map(|row| row["id"].as_i64().map(SegmentId))
    }

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
