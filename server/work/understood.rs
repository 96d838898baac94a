//! What was understood of a segment: its rows, its time, how its columns were read.

use weighhouse_measure::intake::Layout;

use super::{Internal, Result};
use crate::store::segments::{self, SegmentRow};
use crate::store::{Db, layouts};

/// A segment with what a person wants to know of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Understood {
    /// The segment.
    pub segment: SegmentRow,
    /// Sum of the durations of its frames, ns; 0 for companions.
    pub frames_ns: i64,
    /// How it was read.
    pub layout: Layout,
}

/// What was understood of each segment.
///
/// # Errors
/// When the store fails or holds a layout that cannot be read back.
pub async fn understood(db: &mut Db, rows: Vec<SegmentRow>) -> Result<Vec<Understood>> {
    let mut out = Vec::with_capacity(rows.len());
    for segment in rows {
        let frames_ns = segments::frames_ns(db, segment.id).await?;
        let row = layouts::by_id(db, segment.layout_id).await?;
        let layout = row.and_then(|row| row.layout());
        let layout =
            layout.ok_or_else(|| Internal(format!("layout {} cannot be read", segment.layout_id)))?;
        out.push(Understood { segment, frames_ns, layout });
    }
    Ok(out)
}
