//! From a log's bytes to what is staged: all its members read, judged and packed.

use std::io;

use serde::Serialize;
use weighhouse_measure::cuts;
use weighhouse_measure::intake::{self, Known, Layout, Question};
use weighhouse_measure::recording::{Recording, Window};

use super::spool::{Within, disk};
use super::{Internal, Kind, Refusal, Result};
use crate::store::captures::{Came, Outcome};
use crate::store::segments::{Cut, NewSegment};
use crate::store::tracks::PackedRecording;
use crate::store::{CaptureId, LayoutId, strips};

/// What reading a log gave, ready to be staged.
pub(super) struct Got {
    pub(super) came: Came,
    pub(super) segments: Vec<ReadSegment>,
}

pub(super) struct ReadSegment {
    pub(super) new: NewSegment,
    pub(super) packed: PackedRecording,
    pub(super) strips: Vec<Vec<u8>>,
    pub(super) layout: Layout,
}

/// Reads all members. A log of which nothing can be read is refused, and so not kept.
pub(super) fn read(source: &mut Within, name: &str, known: &Known<'_>, deadline_s: u64) -> Result<Got> {
    let reading = intake::read_log(source, name, known).map_err(|error| match error.kind() {
        io::ErrorKind::TimedOut => Refusal::new(
            Kind::TooLarge,
            "It takes too long to read",
            format!("{name} could not be read within {} s.", deadline_s),
            "Give the part that is wanted, or try again when less is going on.",
        )
        .into(),
        _ => disk(error),
    })?;
    let mut got = Got { came: Came::read(), segments: Vec::new() };
    let (mut asked, mut refused) = (None, Vec::new());
    for member in reading.members {
        match member.outcome {
            intake::Outcome::Read { layout, segments } => {
                for (n, segment) in (0..).zip(segments) {
                    got.segments.push(pack(&member.name, n, segment, &layout)?);
                }
            }
            intake::Outcome::Ask(question) => asked = asked.or(Some(question)),
            intake::Outcome::Refuse { says } => refused.push(says),
        }
    }
    if let Some(question) = asked {
        got.came = ask(&question)?;
    } else if got.segments.is_empty() {
        let mend = "Nothing of it was kept.";
        return Err(Refusal::new(Kind::Invalid, "Not a log that can be read", refused.join(" "), mend).into());
    } else {
        got.came.says = refused.join(" ");
    }
    Ok(got)
}

fn ask(question: &Question) -> Result<Came> {
    Ok(Came { outcome: Outcome::Ask, says: question.why.clone(), question: Some(json(question)?) })
}

fn pack(member: &str, n: i64, segment: intake::Segment, layout: &Layout) -> Result<ReadSegment> {
    let recording = segment.recording;
    let new = NewSegment {
        // Both ids are known when it is staged.
        capture_id: CaptureId(0),
        layout_id: LayoutId(0),
        member: member.to_owned(),
        n,
        cut: Cut::default(),
        kind: recording.kind,
        rows: i64::try_from(recording.rows()).map_err(|e| Internal(e.to_string()))?,
        span_ns: recording.span_ns(),
        wall_start_ns: recording.wall_start_ns,
        problems: segment.problems,
    };
    let (packed, strips) = (PackedRecording::pack(&recording)?, strips::build(&recording)?);
    Ok(ReadSegment { new, packed, strips, layout: layout.clone() })
}

/// The rows of `whole`, which were read from segment `n` of `member`, that start in a stretch; none where none does.
pub(super) fn pack_cut(
    member: &str,
    n: i64,
    whole: &Recording,
    stretch: Window,
    layout: &Layout,
) -> Result<Option<ReadSegment>> {
    let Some((exact, recording)) = cuts::exact(whole, stretch).zip(cuts::cut(whole, stretch)) else {
        return Ok(None);
    };
    // What could not be understood is told of the log.
    let segment = intake::Segment { recording, problems: Vec::new() };
    let mut packed = pack(member, n, segment, layout)?;
    packed.new.cut = Cut::of(exact);
    Ok(Some(packed))
}

/// As JSON.
pub(super) fn json<T: Serialize>(value: &T) -> Result<String> {
    serde_json::to_string(value).map_err(|e| Internal(format!("writing JSON: {e}")).into())
}
