//! How moments and lengths of time are written.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

use super::{SPACE, plural};

/// The zone of this IANA name; UTC when there is none of that name.
fn zone_of(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap_or(TimeZone::UTC)
}

/// A moment in a zone (IANA name): `Fri 27 Nov 2026, 18:00 CET`.
pub fn moment(at: Timestamp, zone: &str) -> String {
    at.to_zoned_datetime(zone_of(zone)).strftime("%a %-d %b %Y, %H:%M %Z").to_string()
}

/// A day in a zone (IANA name): `27 Nov 2026`.
pub fn day(at: Timestamp, zone: &str) -> String {
    at.to_zoned_datetime(zone_of(zone)).strftime("%-d %b %Y").to_string()
}

/// A weekday and an hour in a zone (IANA name): `Fri 18:05`.
pub fn hour(at: Timestamp, zone: &str) -> String {
    at.to_zoned_datetime(zone_of(zone)).strftime("%a %H:%M").to_string()
}

/// Where something began: a day in a zone, or `the start` for what was so from the first moment on.
pub fn since(at: Timestamp, zone: &str) -> String {
    if at == Timestamp::UNIX_EPOCH { "the start".to_owned() } else { day(at, zone) }
}

/// What is left until `deadline`: `31 h left`, `3 days left`, `40 min left`, `4 h over`.
pub fn left(deadline: Timestamp, now: Timestamp) -> String {
    let gap = deadline.duration_since(now);
    let word = if gap < SignedDuration::ZERO { "over" } else { "left" };
    format!("{} {word}", duration(gap))
}

/// A length of time to the second: `9 min 0 s`, `45 s`.
pub fn minutes(seconds: f64) -> String {
    let whole = seconds.max(0.0).round();
    let minutes = (whole / 60.0).floor();
    let rest = format!("{:.0}{SPACE}s", whole - 60.0 * minutes);
    if minutes == 0.0 { rest } else { format!("{minutes:.0}{SPACE}min {rest}") }
}

/// How long ago `at` was: `just now`, `12 min ago`.
pub fn ago(at: Timestamp, now: Timestamp) -> String {
    let gap = now.duration_since(at);
    if gap < SignedDuration::from_mins(1) { "just now".to_owned() } else { format!("{} ago", duration(gap)) }
}

/// A length of time in its largest fitting unit, cut, never rounded up: minutes below 2 h, hours below 3 days.
pub fn duration(length: SignedDuration) -> String {
    let minutes = length.as_secs().unsigned_abs() / 60;
    match minutes {
        0..120 => format!("{minutes}{SPACE}min"),
        120..4320 => format!("{}{SPACE}h", minutes / 60),
        _ => plural(minutes / 1440, "day", "days"),
    }
}

/// Whole minutes, rounded up: nobody plans by the second.
pub fn whole_minutes(seconds: u32) -> String {
    duration(SignedDuration::from_secs(i64::from(seconds.div_ceil(60)) * 60))
}
