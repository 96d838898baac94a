//! What is kept of captures for speed (tracks, strips, cached results), held against what their bytes give when they are
//! read and computed again.

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::Cursor;

use jiff::tz::TimeZone;
use sha2::{Digest as _, Sha256};
use weighhouse_measure::cuts;
use weighhouse_measure::intake::{self, Known, Layout, Outcome};

use super::results::{self, hex};
use crate::store::captures::{self, Capture};
use crate::store::passes::{self, PassRow};
use crate::store::registers::{cells, rigs};
use crate::store::segments::{self, Cut, SegmentRow};
use crate::store::tracks::PackedRecording;
use crate::store::{Db, PassId, SegmentId, StoreError, check, layouts, strips};

/// Segments whose tracks or strip are not what their capture gives, and cached results that are not what their pass
/// gives, in words; also what cannot be read. Each log is read again: some milliseconds for a pass. A server may be at
/// work meanwhile: each capture and each pass is looked at as it is at one moment.
pub async fn wrong(db: &mut Db) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut broken = Vec::new();
    match captures::newest(db, u32::MAX).await {
        Ok(captures) => {
            for capture in captures.into_iter().rev() {
                match segments_astray(db, &capture).await {
                    Ok(astray) => broken.extend(astray.into_iter().map(|id| (id, capture.name.clone()))),
                    Err(error) => wrong.push(format!("capture {} ({}): {error}", capture.id, capture.name)),
                }
            }
        }
        Err(error) => wrong.push(format!("the captures cannot be read: {error}")),
    }
    let not_given = |(id, name)| format!("segment {id} ({name}): its rows are not what its capture gives");
    wrong.extend(broken.iter().cloned().map(not_given));
    match rows(db).await {
        Ok(rows) => {
            for row in rows.into_iter().filter(|row| broken.iter().all(|(id, _)| *id != row.segment_id)) {
                let what = match results_astray(db, row.id).await {
                    Ok(None) => continue,
                    Ok(Some(what)) => format!("its {what} are not what its frames give"),
                    Err(error) => error.to_string(),
                };
                wrong.push(format!("pass {} ({}): {what}", row.id, row.key));
            }
        }
        Err(error) => wrong.push(format!("the passes cannot be read: {error}")),
    }
    wrong
}

async fn rows(db: &mut Db) -> Result<Vec<PassRow>, StoreError> {
    let mut rows = Vec::new();
    for cell in cells::all(db).await? {
        rows.extend(passes::of_cell(db, cell.id).await?);
    }
    Ok(rows)
}

/// Which cached results of a pass are not what its frames give; none also where it is gone by now.
async fn results_astray(db: &mut Db, id: PassId) -> Result<Option<&'static str>, StoreError> {
    let mut db = check::moment(db).await?;
    match passes::by_id(&mut db, id).await? {
        Some(row) => results::astray(&mut db, &row).await,
        None => Ok(None),
    }
}

/// The segments of a capture that are not what it gives.
async fn segments_astray(db: &mut Db, capture: &Capture) -> Result<Vec<SegmentId>, StoreError> {
    let mut db = check::moment(db).await?;
    let kept = segments::of_capture(&mut db, capture.id).await?;
    let mut astray = Vec::new();
    if kept.is_empty() {
        return Ok(astray);
    }
    let Some(bytes) = bytes(&mut db, capture).await? else { return Ok(astray) };
    let read_with = layouts(&mut db, &kept).await?;
    let given = again(&mut db, capture, &kept, read_with, bytes).await?;
    for segment in kept {
        let there = segments::packed(&mut db, segment.id).await?;
        let levels = strips::levels(&mut db, segment.id).await?;
        let same = given.get(&(segment.member, segment.n, segment.cut)).is_some_and(|(packed, strip)| {
            there.is_some_and(|there| there.tracks == packed.tracks) && *strip == levels
        });
        if !same {
            astray.push(segment.id);
        }
    }
    Ok(astray)
}

/// Tracks and strip levels by member, number in it, and what was cut out of that.
pub type Given = HashMap<(String, i64, Cut), (PackedRecording, Vec<Vec<u8>>)>;

/// A capture's bytes. `None` where they are not those that came: the store's own check names that.
async fn bytes(db: &mut Db, capture: &Capture) -> Result<Option<Vec<u8>>, StoreError> {
    let bytes = captures::whole(db, capture.id).await?;
    Ok((hex(&Sha256::digest(&bytes)) == capture.digest).then_some(bytes))
}

/// Layouts by the shape of the header that each is for.
pub type Layouts = HashMap<String, Layout>;

/// The layouts that these segments were read with.
///
/// # Errors
/// When the store fails.
pub async fn layouts(db: &mut Db, kept: &[SegmentRow]) -> Result<Layouts, StoreError> {
    let mut read_with = Layouts::new();
    for segment in kept {
        let row = layouts::by_id(db, segment.layout_id).await?;
        if let Some(layout) = row.and_then(|row| row.layout()) {
            read_with.insert(layout.shape(), layout);
        }
    }
    Ok(read_with)
}

/// Reads a capture's bytes with these layouts into the stretches that are kept.
///
/// # Errors
/// When they cannot be read so.
pub async fn again(
    db: &mut Db,
    capture: &Capture,
    kept: &[SegmentRow],
    read_with: Layouts,
    bytes: Vec<u8>,
) -> Result<Given, StoreError> {
    let base = match capture.rig_id {
        Some(rig) => rigs::base_at(db, rig, capture.uploaded_us).await?,
        None => None,
    };
    let zone = base.and_then(|base| TimeZone::get(&base.fields.time_zone).ok());
    let name = capture.name.clone();
    let stretches: Vec<(String, i64, Cut)> =
        kept.iter().map(|segment| (segment.member.clone(), segment.n, segment.cut)).collect();
    let read = tokio::task::spawn_blocking(move || {
        let remembered = |shape: &str| read_with.get(shape).cloned();
        let known = Known { remembered: &remembered, zone: zone.as_ref(), ..Known::default() };
        let reading = intake::read_log(&mut Cursor::new(bytes), &name, &known)
            .map_err(|e| StoreError::Other(format!("it cannot be read again: {e}")))?;
        let mut given = Given::new();
        for member in reading.members {
            if let Outcome::Read { segments, .. } = member.outcome {
                for (n, segment) in (0..).zip(segments) {
                    let of_it = stretches.iter().filter(|(of, number, _)| *of == member.name && *number == n);
                    for (_, _, cut) in of_it {
                        let whole = &segment.recording;
                        let recording = match cut.window() {
                            Some(stretch) => cuts::cut(whole, stretch).map(Cow::Owned),
                            None => Some(Cow::Borrowed(whole)),
                        };
                        if let Some(recording) = recording {
                            let kept = (PackedRecording::pack(&recording)?, strips::build(&recording)?);
                            given.insert((member.name.clone(), n, *cut), kept);
                        }
                    }
                }
            }
        }
        Ok(given)
    });
    read.await.map_err(|e| StoreError::Other(format!("reading it again: {e}")))?
}
