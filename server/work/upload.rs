//! One uploaded log: what was said beside its bytes is checked first, then it is taken in and told what it is.

use futures_util::Stream;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::take_in::{TakeIn, Taken, Upload};
use super::understood::{Understood, understood};
use super::{Refusal, Result};
use crate::store::registers::rigs;
use crate::store::{Actor, Db, RigId, Store};

/// Bytes of a file name at most.
const NAME_BYTES: usize = 255;

/// What was said beside the bytes, as it was written.
#[derive(Clone, Debug, Default)]
pub struct Said {
    /// File name.
    pub name: String,
    /// The rig it was recorded on: that of the key, or what a member chose.
    pub rig: Option<RigId>,
    /// ISO 8601; without an offset it is meant in the rig's zone. Empty: the log has a clock, or nobody knows.
    pub start: String,
    /// SHA-256 of the game's settings file as 64 hexadecimal digits. Empty: not sent.
    pub settings: String,
    /// Idempotency key and path of the request.
    pub key: Option<(String, String)>,
}

/// Takes a log in; what came of it, and what was understood of each of its segments.
///
/// # Errors
/// Refused when the name, the rig, the start or the settings' digest cannot be, and as [`TakeIn::take_in`]. Nothing is kept then.
pub async fn upload<B: AsRef<[u8]>>(
    store: &Store,
    take_in: &TakeIn,
    by: Actor,
    said: Said,
    body: impl Stream<Item = Result<B>>,
) -> Result<(Taken, Vec<Understood>)> {
    let mut db = store.read().await?;
    let start_us = start(&mut db, said.rig, &said.start, store.clock().now_us()).await?;
    drop(db);
    let settings = digest(&said.settings)?;
    let Said { name, rig: rig_id, key, .. } = said;
    let upload = Upload { name: checked_name(name)?, rig_id, start_us, settings, key };
    let taken = take_in.take_in(by, upload, body).await?;
    let segments = understood(&mut *store.read().await?, taken.segments.clone()).await?;
    Ok((taken, segments))
}

fn checked_name(name: String) -> Result<String> {
    if name.trim().is_empty() || name.len() > NAME_BYTES || name.chars().any(char::is_control) {
        return Err(Refusal::field(
            "name",
            format!(
                "A file name has 1 to {NAME_BYTES} bytes and no control characters; give this file another."
            ),
        )
        .into());
    }
    Ok(name)
}

/// A SHA-256 as it is kept; none when the text is empty.
fn digest(text: &str) -> Result<Option<String>> {
    if text.is_empty() {
        return Ok(None);
    }
    if text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Ok(Some(text.to_ascii_lowercase()));
    }
    let says = "The digest of the settings file is no SHA-256: send its 64 hexadecimal digits.";
    Err(Refusal::field("settings", says).into())
}

/// The moment that `text` says, microseconds UTC; none when it is empty. The rig must be one of ours.
///
/// # Errors
/// Refused when it is no moment, or has no offset and no rig says in which zone it is.
pub async fn start(db: &mut Db, rig: Option<RigId>, text: &str, now_us: i64) -> Result<Option<i64>> {
    let mut zone = None;
    if let Some(id) = rig {
        if rigs::by_id(db, id).await?.is_none() {
            return Err(
                Refusal::field("rig", format!("There is no rig {id}: choose one of the rigs.")).into()
            );
        }
        let base = rigs::base_at(db, id, now_us).await?;
        zone = base.and_then(|base| TimeZone::get(&base.fields.time_zone).ok());
    }
    if text.is_empty() { Ok(None) } else { Ok(Some(moment(text, zone)?)) }
}

/// ISO 8601, with an offset or in `zone`.
fn moment(text: &str, zone: Option<TimeZone>) -> Result<i64> {
    if let Ok(at) = text.parse::<Timestamp>() {
        return Ok(at.as_microsecond());
    }
    let Ok(local) = text.parse::<DateTime>() else {
        return Err(Refusal::field(
            "start",
            format!("'{text}' is no moment: write it as in 2026-11-24T22:30:33.638+01:00."),
        )
        .into());
    };
    let at = zone.and_then(|zone| zone.to_timestamp(local).ok());
    at.map(Timestamp::as_microsecond).ok_or_else(|| {
        Refusal::field(
            "start",
            format!(
                "'{text}' does not say in which zone: add an offset, as in {text}+01:00, or choose a rig."
            ),
        )
        .into()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::work::Error;

    fn wrong(result: Result<i64>) -> String {
        let Err(Error::Refused(refusal)) = result else { panic!("{result:?}") };
        refusal.wrong("start").to_owned()
    }

    /// ISO 8601-1:2019, 5.4: date and time of day with a shift from UTC.
    #[test]
    fn a_start_has_an_offset_or_a_rig_that_says_its_zone() {
        let at = 1_764_023_433_638_000;
        assert_eq!(moment("2025-11-24T22:30:33.638Z", None).unwrap(), at);
        assert_eq!(moment("2025-11-24T23:30:33.638+01:00", None).unwrap(), at);
        let berlin = TimeZone::get("Europe/Berlin").unwrap();
        assert_eq!(moment("2025-11-24T23:30:33.638", Some(berlin)).unwrap(), at);
        assert!(wrong(moment("2025-11-24T23:30", None)).contains("zone"));
        assert!(wrong(moment("yesterday", None)).contains("no moment"));
    }

    #[test]
    fn a_settings_file_is_told_by_its_digest() {
        assert_eq!(digest("").unwrap(), None);
        assert_eq!(digest(&"A1".repeat(32)).unwrap(), Some("a1".repeat(32)));
        for bad in ["a1", &"g1".repeat(32), &"a1".repeat(33)] {
            assert!(digest(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_name_is_one_line_of_text() {
        assert_eq!(checked_name("a b.csv".to_owned()).unwrap(), "a b.csv");
        for bad in ["", " ", "a\nb", &"x".repeat(256)] {
            assert!(checked_name(bad.to_owned()).is_err(), "{bad}");
        }
    }
}
