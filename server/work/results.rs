//! Measures and flags of passes: taken from the cache where its key still stands, else computed and kept.
//!
//! The key covers all that a result rests on (design, principle 1): segment digest, layout version, window,
//! companions with their placing, and the versions of the measures and screens.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use tokio::sync::Semaphore;
use weighhouse_measure::measures::distribution::histogram;
use weighhouse_measure::measures::steps::{Steps, steps};
use weighhouse_measure::measures::{PassInput, PassMeasures, Seed, measure, versions};
use weighhouse_measure::recording::{Placed, Placing, Recording, Window};
use weighhouse_measure::screens::{Flag, FlagKind, Profile, ScreenInput, screen_pass};

use crate::store::companions::{self, CompanionRow};
use crate::store::passes::PassRow;
use crate::store::results::ResultKind;
use crate::store::{Actor, Db, PassId, Store, StoreError, results, segments};

/// What the screens found on a pass alone, and the profile that its siblings are compared with.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Screened {
    /// Flags that rest on nothing but the pass.
    pub flags: Vec<Flag>,
    /// Its profile over time.
    pub profile: Profile,
    /// It in steps of time.
    pub steps: Steps,
    /// How its frame times are spread.
    pub spread: Spread,
}

/// Counts of frames by duration, on the grid of the measure crate's histogram.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Lower edge of the first class, ms.
    pub from_ms: f64,
    /// Frames in each class.
    pub counts: Vec<u64>,
}

impl Spread {
    fn of(frames: &Recording, window: Window) -> Self {
        let rows = window.rows(&frames.at_ns);
        let bins = histogram(frames.frame_ns.get(rows).unwrap_or_default());
        Self {
            from_ms: bins.first().map_or(0.0, |bin| bin.from_ms),
            counts: bins.iter().map(|bin| bin.frames).collect(),
        }
    }
}

/// All that is computed from one pass.
#[derive(Clone, Debug, PartialEq)]
pub struct PassResults {
    /// Its measures.
    pub measures: PassMeasures,
    /// What screens found on it alone.
    pub screened: Screened,
}

impl PassResults {
    /// Measures and what was screened, as they are cached.
    fn texts(&self) -> Result<(String, String), StoreError> {
        let unwritable =
            |e: serde_json::Error| StoreError::Other(format!("results that cannot be written: {e}"));
        let measures = serde_json::to_string(&self.measures).map_err(unwritable)?;
        Ok((measures, serde_json::to_string(&self.screened).map_err(unwritable)?))
    }
}

/// A pass and its companions, as far as their results rest on them.
#[derive(Clone, Copy, Debug)]
struct Rests<'a> {
    row: &'a PassRow,
    companions: &'a [CompanionRow],
}

impl Rests<'_> {
    /// SHA-256, hexadecimal, of everything but the versions and of `versions`.
    fn key(&self, versions: &str) -> String {
        let mut hash = Sha256::new();
        let mut field = |text: &str| {
            hash.update(u64::try_from(text.len()).unwrap_or(u64::MAX).to_be_bytes());
            hash.update(text.as_bytes());
        };
        let Window { start_ns, end_ns } = self.row.window();
        field(&format!(
            "{} {} {} {} {start_ns} {end_ns}",
            self.row.digest,
            self.row.member,
            self.row.cut.names(self.row.segment_n),
            self.row.layout_version
        ));
        for companion in self.companions {
            if let Some(Placing { offset_ns, drift_ppb }) = companion.placing() {
                field(&format!(
                    "{} {} {} {} {offset_ns} {drift_ppb}",
                    companion.digest,
                    companion.member,
                    companion.cut.names(companion.segment_n),
                    companion.layout_version
                ));
            }
        }
        field(versions);
        hex(&hash.finalize())
    }
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Versions of all measures, in words that change when one of them does.
pub fn measure_versions() -> String {
    versions().map(|(measure, version)| format!("{measure} {version}")).collect::<Vec<_>>().join(", ")
}

fn screen_versions() -> String {
    FlagKind::ALL.map(|kind| format!("{} {}", kind.key(), kind.version())).join(", ")
}

/// A cached result that is not what its pass gives when it is computed anew, in words; `None`: both are, or there is none
/// under the present key.
///
/// # Errors
/// When the store fails.
pub(super) async fn astray(db: &mut Db, row: &PassRow) -> Result<Option<&'static str>, StoreError> {
    let companions = companions::of_pass(db, row.id).await?;
    let rests = Rests { row, companions: &companions };
    let cached =
        |key: &Option<String>, versions: String| key.as_ref().is_some_and(|key| *key == rests.key(&versions));
    let (measured, flagged) =
        (cached(&row.measures_key, measure_versions()), cached(&row.flags_key, screen_versions()));
    if !measured && !flagged {
        return Ok(None);
    }
    let mut placed = Vec::new();
    for companion in &companions {
        if let Some(placing) = companion.placing() {
            placed.push((unpacked(db, companion.segment_id).await?, placing));
        }
    }
    let (frames, window, seed) = (unpacked(db, row.segment_id).await?, row.window(), seed(row)?);
    let due = tokio::task::spawn_blocking(move || compute(&frames, window, &placed, seed))
        .await
        .map_err(|e| StoreError::Other(format!("computing pass {}: {e}", row.key)))?;
    let (measures, flags) = due.texts()?;
    Ok(match () {
        () if measured && row.measures.as_ref() != Some(&measures) => Some("measures"),
        () if flagged && row.flags.as_ref() != Some(&flags) => Some("flags"),
        () => None,
    })
}

async fn unpacked(db: &mut Db, segment: crate::store::SegmentId) -> Result<Recording, StoreError> {
    let found = segments::packed(db, segment).await?;
    found.ok_or_else(|| StoreError::Other(format!("segment {segment} has gone")))?.unpack()
}

/// Results of passes, in their order. `companions` are those of all of them.
pub async fn of_passes(
    store: &Store,
    rows: &[PassRow],
    companions: &[CompanionRow],
) -> Result<Vec<PassResults>, StoreError> {
    let (for_measures, for_flags) = (measure_versions(), screen_versions());
    let mut found: Vec<Option<PassResults>> = Vec::with_capacity(rows.len());
    let mut computing = Vec::new();
    let two_at_once = Arc::new(Semaphore::new(2));
    for (at, row) in rows.iter().enumerate() {
        let own: Vec<CompanionRow> = companions.iter().filter(|c| c.pass_id == row.id).cloned().collect();
        let rests = Rests { row, companions: &own };
        let keys = [rests.key(&for_measures), rests.key(&for_flags)];
        let cached = cached(row, &keys);
        if cached.is_none() {
            let (store, row, turn) = (store.clone(), row.clone(), two_at_once.clone());
            computing.push(tokio::spawn(async move {
                let _turn = turn.acquire().await.map_err(|e| StoreError::Other(e.to_string()))?;
                Ok::<_, StoreError>((at, compute_and_keep(&store, &row, &own, keys).await?))
            }));
        }
        found.push(cached);
    }
    for task in computing {
        let (at, results) = task.await.map_err(|e| StoreError::Other(format!("computing a pass: {e}")))??;
        if let Some(place) = found.get_mut(at) {
            *place = Some(results);
        }
    }
    found
        .into_iter()
        .map(|results| results.ok_or_else(|| StoreError::Other("a pass without results".to_owned())))
        .collect()
}

fn cached(row: &PassRow, [measures_key, flags_key]: &[String; 2]) -> Option<PassResults> {
    if row.measures_key.as_ref() != Some(measures_key) || row.flags_key.as_ref() != Some(flags_key) {
        return None;
    }
    Some(PassResults {
        measures: serde_json::from_str(row.measures.as_deref()?).ok()?,
        screened: serde_json::from_str(row.flags.as_deref()?).ok()?,
    })
}

async fn compute_and_keep(
    store: &Store,
    row: &PassRow,
    companions: &[CompanionRow],
    [measures_key, flags_key]: [String; 2],
) -> Result<PassResults, StoreError> {
    let frames = recording(store, row.segment_id).await?;
    let mut placed = Vec::new();
    for companion in companions {
        if let Some(placing) = companion.placing() {
            placed.push((recording(store, companion.segment_id).await?, placing));
        }
    }
    let seed = seed(row)?;
    let window = row.window();
    let results = tokio::task::spawn_blocking(move || compute(&frames, window, &placed, seed))
        .await
        .map_err(|e| StoreError::Other(format!("computing pass {}: {e}", row.key)))?;
    keep(store, row.id, &results, measures_key, flags_key).await?;
    Ok(results)
}

async fn recording(store: &Store, segment: crate::store::SegmentId) -> Result<Recording, StoreError> {
    let found = segments::recording(store, segment).await?;
    found.ok_or_else(|| StoreError::Other(format!("segment {segment} has gone")))
}

fn seed(row: &PassRow) -> Result<Seed, StoreError> {
    let broken = || StoreError::Other(format!("pass {} has no digest that can be read", row.key));
    let mut digest = [0; 32];
    for (at, byte) in digest.iter_mut().enumerate() {
        let pair = row.digest.get(2 * at..2 * at + 2).ok_or_else(broken)?;
        *byte = u8::from_str_radix(pair, 16).map_err(|_| broken())?;
    }
    if row.cut.window().is_some() {
        // Stretches of one log draw numbers of their own, too.
        let names = row.cut.names(row.segment_n);
        digest = Sha256::new().chain_update(digest).chain_update(names).finalize().into();
    }
    Ok(Seed { digest, segment: u32::try_from(row.segment_n).map_err(|_| broken())? })
}

/// Measures and pass-only flags of frames with placed companions: pure.
pub fn compute(
    frames: &Recording,
    window: Window,
    companions: &[(Recording, Placing)],
    seed: Seed,
) -> PassResults {
    let placed: Vec<Placed<'_>> =
        companions.iter().map(|(recording, placing)| Placed { recording, placing: *placing }).collect();
    let input = ScreenInput { recording: frames, window, companions: &placed };
    PassResults {
        measures: measure(&PassInput { recording: frames, window, companions: &placed, seed }),
        screened: Screened {
            flags: screen_pass(&input),
            profile: Profile::of(&input),
            steps: steps(&frames.at_ns, &frames.frame_ns, window),
            spread: Spread::of(frames, window),
        },
    }
}

async fn keep(
    store: &Store,
    pass: PassId,
    of: &PassResults,
    measures_key: String,
    flags_key: String,
) -> Result<(), StoreError> {
    let (measures, flags) = of.texts()?;
    let note = store.note(Actor::Server, async move |tx| {
        results::keep(tx, pass, ResultKind::Measures, &measures_key, &measures).await?;
        results::keep(tx, pass, ResultKind::Flags, &flags_key, &flags).await
    });
    note.await;
    Ok(())
}
