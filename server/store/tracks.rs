//! How the columns of a segment are packed: 65 536 values a chunk, whole numbers and floats as they were read.

use pco::ChunkConfig;
use pco::data_types::Number;
use pco::standalone::{simple_compress, simple_decompress};
use weighhouse_measure::recording::{Kind, Recording, Role, Track, Unit};

use super::StoreError;

/// Values of a track that one chunk holds at most.
pub const CHUNK_VALUES: usize = 65_536;

/// pco level: four times smaller at 190 MB/s; higher levels are ten times slower for one per cent.
const PCO_LEVEL: usize = 8;

/// Role of the track that holds the time of each row.
pub(super) const AT: &str = "at";
/// Role of the track that holds the duration of each frame.
pub(super) const FRAME: &str = "frame";

/// A track as the table holds it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackedTrack {
    /// `at`, `frame`, or a role's word.
    pub role: String,
    /// The unit it was written in.
    pub unit: String,
    /// Its header in the log.
    pub name: String,
    /// Its chunks, in order.
    pub chunks: Vec<Vec<u8>>,
}

/// A recording as the tables hold it. Packing and unpacking take a while: do it off the async threads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackedRecording {
    /// Frames or companion.
    pub kind: Kind,
    /// UTC nanoseconds of the first row.
    pub wall_start_ns: Option<i64>,
    /// `at`, then `frame` for frames, then the others.
    pub tracks: Vec<PackedTrack>,
}

pub(super) fn broken(what: impl std::fmt::Display) -> StoreError {
    StoreError::Other(format!("a track that cannot be read back: {what}"))
}

pub(super) fn pack<T: Number>(values: &[T]) -> Result<Vec<Vec<u8>>, StoreError> {
    let config = ChunkConfig::default().with_compression_level(PCO_LEVEL);
    values.chunks(CHUNK_VALUES).map(|chunk| simple_compress(chunk, &config).map_err(broken)).collect()
}

pub(super) fn unpack<T: Number>(chunks: &[Vec<u8>]) -> Result<Vec<T>, StoreError> {
    let mut values = Vec::new();
    for chunk in chunks {
        values.extend(simple_decompress::<T>(chunk).map_err(broken)?);
    }
    Ok(values)
}

/// The word of a role or unit, the same as in JSON.
pub(super) fn word<T: serde::Serialize>(value: T) -> Result<String, StoreError> {
    match serde_json::to_value(value).map_err(broken)? {
        serde_json::Value::String(word) => Ok(word),
        other => Err(broken(other)),
    }
}

fn from_word<T: serde::de::DeserializeOwned>(word: &str) -> Result<T, StoreError> {
    serde_json::from_value(serde_json::Value::String(word.to_owned())).map_err(broken)
}

impl PackedRecording {
    /// Packs a recording.
    pub fn pack(recording: &Recording) -> Result<Self, StoreError> {
        let clock = |role: &str, values: &[i64]| {
            Ok::<_, StoreError>(PackedTrack {
                role: role.to_owned(),
                unit: word(Unit::Nanosecond)?,
                name: String::new(),
                chunks: pack(values)?,
            })
        };
        let mut tracks = vec![clock(AT, &recording.at_ns)?];
        if recording.kind == Kind::Frames {
            tracks.push(clock(FRAME, &recording.frame_ns)?);
        }
        for track in &recording.tracks {
            tracks.push(PackedTrack {
                role: word(track.role)?,
                unit: word(track.unit)?,
                name: track.name.clone(),
                chunks: pack(&track.values)?,
            });
        }
        Ok(Self { kind: recording.kind, wall_start_ns: recording.wall_start_ns, tracks })
    }

    /// Unpacks it again: the same bits.
    pub fn unpack(&self) -> Result<Recording, StoreError> {
        let mut recording = Recording {
            kind: self.kind,
            wall_start_ns: self.wall_start_ns,
            at_ns: Vec::new(),
            frame_ns: Vec::new(),
            tracks: Vec::new(),
        };
        for track in &self.tracks {
            match track.role.as_str() {
                AT => recording.at_ns = unpack(&track.chunks)?,
                FRAME => recording.frame_ns = unpack(&track.chunks)?,
                role => recording.tracks.push(Track {
                    role: from_word::<Role>(role)?,
                    unit: from_word(&track.unit)?,
                    name: track.name.clone(),
                    values: unpack(&track.chunks)?,
                }),
            }
        }
        let rows = recording.rows();
        let even = recording.tracks.iter().all(|t| t.values.len() == rows)
            && (recording.kind == Kind::Companion || recording.frame_ns.len() == rows);
        if even { Ok(recording) } else { Err(broken("its tracks differ in length")) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_packed_comes_back_bit_by_bit_over_several_chunks() {
        let rows = 2 * CHUNK_VALUES + 7;
        let frame_ns: Vec<i64> =
            (0..rows).map(|i| 6_000_000 + i64::try_from(i % 977).unwrap() * 1_003).collect();
        let at_ns = frame_ns.iter().scan(0, |at, f| Some(std::mem::replace(at, *at + f))).collect();
        let values = (0..rows)
            .map(|i| if i % 10 == 0 { 300.0 + f64::from(u32::try_from(i).unwrap()) / 7.0 } else { f64::NAN });
        let recording = Recording {
            kind: Kind::Frames,
            wall_start_ns: Some(5),
            at_ns,
            frame_ns,
            tracks: vec![Track {
                role: Role::Power,
                unit: Unit::Watt,
                name: "draw".to_owned(),
                values: values.collect(),
            }],
        };
        let packed = PackedRecording::pack(&recording).unwrap();
        assert_eq!(packed.tracks.iter().map(|t| t.chunks.len()).collect::<Vec<_>>(), [3, 3, 3]);
        let back = packed.unpack().unwrap();
        let bits = |r: &Recording| r.tracks[0].values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
        assert_eq!(bits(&back), bits(&recording));
        assert_eq!(
            (back.at_ns, back.frame_ns, back.wall_start_ns),
            (recording.at_ns, recording.frame_ns, Some(5))
        );
        assert_eq!((back.tracks[0].role, back.tracks[0].unit), (Role::Power, Unit::Watt));
    }

    #[test]
    fn damage_is_an_error_and_not_a_wrong_number() {
        let recording = Recording {
            kind: Kind::Companion,
            wall_start_ns: None,
            at_ns: vec![0, 1, 2],
            frame_ns: vec![],
            tracks: vec![],
        };
        let mut packed = PackedRecording::pack(&recording).unwrap();
        assert_eq!(packed.unpack().unwrap(), recording);
        packed.tracks[0].chunks[0].truncate(4);
        assert!(packed.unpack().is_err());
        packed.tracks[0].chunks.clear();
        packed.tracks.push(PackedTrack {
            role: "power".into(),
            unit: "W".into(),
            name: String::new(),
            chunks: pack(&[1.0]).unwrap(),
        });
        assert!(packed.unpack().is_err());
    }
}
