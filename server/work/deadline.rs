//! A deadline as people write it, in the zone in which it was said.

use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, tz};

/// What is wrong with a deadline: the field of the form and a sentence.
pub type Wrong = (&'static str, String);

/// Microseconds UTC of a local date and time (`2026-11-27T18:00`) in a zone (IANA name); none for an empty one. An hour
/// that comes twice is taken the first time: a deadline missed by nobody.
///
/// # Errors
/// Names the field, `deadline` or `zone`, and how to mend it.
pub fn read(local: &str, zone: &str) -> Result<Option<i64>, Wrong> {
    let place = self::zone(zone)?;
    if local.is_empty() {
        return Ok(None);
    }
    let said: DateTime = local
        .parse()
        .map_err(|_| ("deadline", format!("'{local}' is no date and time: write it as 2026-11-27T18:00.")))?;
    let moment = place.to_ambiguous_timestamp(said);
    if let AmbiguousOffset::Gap { .. } = moment.offset() {
        return Err((
            "deadline",
            format!("The clocks of {zone} skip {local}: take an hour before or after."),
        ));
    }
    let at =
        moment.earlier().map_err(|_| ("deadline", format!("'{local}' is too far away for a deadline.")))?;
    Ok(Some(at.as_microsecond()))
}

/// The zone of this IANA name.
///
/// # Errors
/// Names the field `zone`.
pub fn zone(name: &str) -> Result<TimeZone, Wrong> {
    let unknown = |_: jiff::Error| {
        ("zone", format!("There is no time zone '{name}': write one such as Europe/Berlin, or UTC."))
    };
    tz::TimeZone::get(name).map_err(unknown)
}

/// A moment as the form writes it: the way back of [`read`].
pub fn written(at_us: i64, zone: &str) -> String {
    let place = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    Timestamp::from_microsecond(at_us)
        .map(|at| place.to_datetime(at).strftime("%Y-%m-%dT%H:%M").to_string())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EU summer time ends on the last Sunday of October at 01:00 UTC and begins on that of March (Directive
    /// 2000/84/EC, articles 2 and 3): 2026-10-25 and 2026-03-29.
    #[test]
    fn a_deadline_is_read_in_its_zone_and_written_back() {
        let us = |text: &str| text.parse::<Timestamp>().unwrap().as_microsecond();
        let cases = [
            ("2026-11-27T18:00", "Europe/Berlin", "2026-11-27T17:00:00Z"),
            ("2026-07-01T18:00", "Europe/Berlin", "2026-07-01T16:00:00Z"),
            ("2026-10-25T02:30", "Europe/Berlin", "2026-10-25T00:30:00Z"),
            ("2026-11-27T18:00", "UTC", "2026-11-27T18:00:00Z"),
        ];
        for (local, zone, utc) in cases {
            let at = read(local, zone).unwrap().unwrap();
            assert_eq!(at, us(utc), "{local} {zone}");
            assert_eq!(written(at, zone), local);
        }
        assert_eq!(read("", "UTC"), Ok(None));
    }

    #[test]
    fn what_is_no_moment_is_refused_with_its_field() {
        let cases = [
            ("2026-03-29T02:30", "Europe/Berlin", "deadline", "skip"),
            ("2026-02-30T18:00", "UTC", "deadline", "no date and time"),
            ("tomorrow", "UTC", "deadline", "no date and time"),
            ("2026-11-27T18:00", "Europe/Nowhere", "zone", "no time zone"),
            ("", "", "zone", "no time zone"),
        ];
        for (local, zone, field, says) in cases {
            let (at, wrong) = read(local, zone).unwrap_err();
            assert_eq!(at, field, "{local}");
            assert!(wrong.contains(says), "{wrong}");
        }
    }
}
