//! A reading as people type it: its repeats in one line, what stands around them, and what is wrong with it.

use std::collections::BTreeMap;

use jiff::Timestamp;
use weighhouse_measure::readings::{Scale, level};

use crate::store::readings::{Reading, ReadingFields};
use crate::store::registers::parts::{Driver, Unit};
use crate::store::registers::reading_kinds::ReadingKind;
use crate::store::registers::rigs::{Rig, RigBase};
use crate::store::registers::tunings::Tuning;
use crate::store::{DriverId, PartId, ReadingKindId, RigBaseId, RigId, TuningId, UnitId};
use crate::work::Result;
use crate::work::registers::Typed;
use crate::work::registers::typed::{moment_of, number};

/// Repeats in one form at most.
const MOST: usize = 50;
/// Digits of a number at most.
const DIGITS: usize = 12;
/// Levels above this are no sound that anybody measures beside a part, dB.
const LOUDEST_DB: f64 = 140.0;

/// What a reading can be of.
#[derive(Clone, Debug, Default)]
pub struct Choices {
    /// Kinds.
    pub kinds: Vec<ReadingKind>,
    /// Parts as they are run.
    pub tunings: Vec<Tuning>,
    /// Samples in hand.
    pub units: Vec<Unit>,
    /// Rigs.
    pub rigs: Vec<Rig>,
    /// What they were, from when on.
    pub bases: Vec<RigBase>,
    /// Drivers.
    pub drivers: Vec<Driver>,
    /// The driver that the piece declares for each part: it is meant where none is chosen.
    pub declared: BTreeMap<PartId, DriverId>,
}

/// What was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewReading {
    /// What stands around the repeats.
    pub fields: ReadingFields,
    /// The repeats, decimal texts.
    pub repeats: Vec<String>,
}

/// Reads a new reading. `now_us`: the moment of the request, for a reading without a moment of its own.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn read(choices: &Choices, now_us: i64, mut typed: Typed<'_>) -> Result<NewReading> {
    let values = repeats(&mut typed, "repeats");
    if values.is_empty() {
        typed.wrong(
            "repeats",
            "No number was read: write what the instrument showed, such as 41.2 41.5 41.1.",
        );
    }
    let fields = around(choices, now_us, &mut typed);
    let kind = choices.kinds.iter().find(|kind| kind.id == fields.kind_id);
    if let Some(kind) = kind {
        check(&mut typed, "repeats", kind, fields.background.as_deref(), &values);
    }
    typed.done().map(|()| NewReading { fields, repeats: values })
}

/// Reads what stands around the repeats of a reading that is there.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn read_again(choices: &Choices, of: &Reading, mut typed: Typed<'_>) -> Result<ReadingFields> {
    let at_us = of.fields.at_us;
    let mut fields = around(choices, at_us, &mut typed);
    // The form shows whole minutes: left as it was, the moment stays what it was to the microsecond.
    if moment_of(fields.at_us) == moment_of(at_us) {
        fields.at_us = at_us;
    }
    let kind = choices.kinds.iter().find(|kind| kind.id == fields.kind_id);
    let values: Vec<String> =
        of.repeats.iter().filter(|repeat| repeat.counts()).map(|repeat| repeat.value.clone()).collect();
    if let Some(kind) = kind {
        check(&mut typed, "background", kind, fields.background.as_deref(), &values);
    }
    typed.done().map(|()| fields)
}

/// Reads further repeats of a reading that is there.
///
/// # Errors
/// Refused, naming the field, when one is no number or does not go with its background.
pub fn read_more(kind: &ReadingKind, of: &Reading, mut typed: Typed<'_>) -> Result<Vec<String>> {
    let values = repeats(&mut typed, "more");
    if values.is_empty() {
        typed.wrong("more", "No number was read: write what the instrument showed, such as 41.2.");
    }
    if of.repeats.len() + values.len() > MOST {
        typed.wrong("more", format!("A reading has at most {MOST} repeats: begin another one."));
    }
    check(&mut typed, "more", kind, of.fields.background.as_deref(), &values);
    typed.done().map(|()| values)
}

/// What stands around the repeats. What is not chosen has an id that no row has, and is named.
fn around(choices: &Choices, now_us: i64, typed: &mut Typed<'_>) -> ReadingFields {
    let kind = one_of(typed, "kind", choices.kinds.iter().map(|kind| kind.id), "what was read");
    let at_us = moment(typed, now_us);
    let of = of_run(choices, at_us, typed);
    ReadingFields {
        kind_id: kind.unwrap_or(ReadingKindId(0)),
        tuning_id: of.tuning_id,
        unit_id: of.unit_id,
        rig_base_id: of.rig_base_id,
        driver_id: of.driver_id,
        at_us,
        background: decimal(typed, "background", false),
        ambient_c: of.ambient_c,
        part_c: decimal(typed, "part_c", true),
        fan_rpm: typed.whole("fan_rpm", "turns a minute", 0..=50_000),
        note: of.note,
    }
}

/// A part as it was run in a rig.
#[derive(Clone, Debug)]
pub struct Run {
    /// The part at its tuning.
    pub tuning_id: TuningId,
    /// The sample in hand.
    pub unit_id: UnitId,
    /// The rig as it was.
    pub rig_base_id: RigBaseId,
    /// The part's driver.
    pub driver_id: DriverId,
    /// Air before the cooler, degrees Celsius, decimal text.
    pub ambient_c: Option<String>,
    /// Anything else.
    pub note: String,
}

/// Reads which part was run in which rig at a moment.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn run(choices: &Choices, at_us: i64, mut typed: Typed<'_>) -> Result<Run> {
    let of = of_run(choices, at_us, &mut typed);
    typed.done().map(|()| of)
}

fn of_run(choices: &Choices, at_us: i64, typed: &mut Typed<'_>) -> Run {
    let tuning = one_of(typed, "tuning", choices.tunings.iter().map(|tuning| tuning.id), "the part");
    let part = choices.tunings.iter().find(|of| Some(of.id) == tuning).map(|of| of.fields.part_id);
    let units = choices.units.iter().filter(|unit| Some(unit.fields.part_id) == part);
    let drivers = choices.drivers.iter().filter(|driver| Some(driver.fields.part_id) == part);
    let declared = part.and_then(|part| choices.declared.get(&part)).copied();
    // Without a part neither can be chosen, and that the part is missing is said already.
    let unit = part.and_then(|_| of_part(typed, "unit", None, units.map(|unit| unit.id)));
    let driver = part.and_then(|_| of_part(typed, "driver", declared, drivers.map(|driver| driver.id)));
    let rig = one_of(typed, "rig", choices.rigs.iter().map(|rig| rig.id), "the rig");
    let base = rig.and_then(|rig| base_at(typed, &choices.bases, rig, at_us));
    Run {
        tuning_id: tuning.unwrap_or(TuningId(0)),
        unit_id: unit.unwrap_or(UnitId(0)),
        rig_base_id: base.unwrap_or(RigBaseId(0)),
        driver_id: driver.unwrap_or(DriverId(0)),
        ambient_c: decimal(typed, "ambient_c", true),
        note: typed.free("note"),
    }
}

/// The rig as it was at a moment.
fn base_at(typed: &mut Typed<'_>, bases: &[RigBase], rig: RigId, at_us: i64) -> Option<RigBaseId> {
    let before = bases.iter().filter(|base| base.fields.rig_id == rig && base.fields.from_us <= at_us);
    let found = before.max_by_key(|base| base.fields.from_us).map(|base| base.id);
    if found.is_none() {
        typed.wrong("rig", "The rig has no base at that moment: say under Rigs what it was then.");
    }
    found
}

/// One of several rows by its id.
fn one_of<T: Copy + Into<i64>>(
    typed: &mut Typed<'_>,
    field: &'static str,
    of: impl Iterator<Item = T>,
    what: &str,
) -> Option<T> {
    let text = typed.text(field);
    let found = find(text, of);
    if found.is_none() {
        typed.wrong(field, format!("Choose {what}."));
    }
    found
}

/// The chosen one of a part's own; where none is chosen the usual one, or the only one there is.
fn of_part<T: Copy + PartialEq + Into<i64>>(
    typed: &mut Typed<'_>,
    field: &'static str,
    usual: Option<T>,
    of: impl Iterator<Item = T>,
) -> Option<T> {
    let all: Vec<T> = of.collect();
    let text = typed.text(field);
    let unsaid = || usual.filter(|id| all.contains(id)).or(if let [only] = *all { Some(only) } else { None });
    let found = if text.is_empty() { unsaid() } else { find(text, all.iter().copied()) };
    if found.is_none() {
        typed.wrong(
            field,
            if all.is_empty() {
                format!("The part has no {field} yet: add one under Parts.")
            } else {
                format!("The part has several of them: choose its {field}.")
            },
        );
    }
    found
}

fn find<T: Copy + Into<i64>>(text: &str, mut of: impl Iterator<Item = T>) -> Option<T> {
    of.find(|id| (*id).into().to_string() == text)
}

/// The moment that was typed, with its offset or in UTC; empty: `now_us`.
fn moment(typed: &mut Typed<'_>, now_us: i64) -> i64 {
    let text = typed.text("at");
    if text.is_empty() {
        return now_us;
    }
    if let Ok(at) = text.parse::<Timestamp>() {
        return at.as_microsecond();
    }
    typed.moment("at")
}

/// A decimal number, or none.
fn decimal(typed: &mut Typed<'_>, field: &'static str, may_be_negative: bool) -> Option<String> {
    let text = typed.text(field);
    if text.is_empty() {
        return None;
    }
    match number_of(text) {
        Ok(number) if may_be_negative || !number.starts_with('-') => Some(number),
        Ok(_) => {
            typed.wrong(field, format!("{text} is below nothing; it has no sign."));
            None
        }
        Err(why) => {
            typed.wrong(field, format!("'{text}' {why}."));
            None
        }
    }
}

/// A decimal text as it is kept: digits with at most one point. A comma is read as a point where it cannot part
/// thousands.
///
/// # Errors
/// What is wrong with it and the mend, to go on behind the text.
fn number_of(text: &str) -> std::result::Result<String, &'static str> {
    let plain = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    let text = text.replace('−', "-");
    let digits = text.strip_prefix('-').unwrap_or(&text);
    if digits.split_once(',').is_some_and(|(whole, rest)| may_part_thousands(whole, rest)) {
        return Err(
            "can be read in two ways: write it without marks between thousands, and decimals behind a point",
        );
    }
    let text = text.replace(',', ".");
    let digits = text.strip_prefix('-').unwrap_or(&text);
    let (whole, places) =
        digits.split_once('.').map_or((digits, None), |(whole, places)| (whole, Some(places)));
    let sound = plain(whole) && places.is_none_or(plain) && digits.len() <= DIGITS;
    if sound { Ok(text) } else { Err("is not a number: write digits with a point, such as 31.4") }
}

/// Whether a comma between these can stand between thousands.
fn may_part_thousands(whole: &str, rest: &str) -> bool {
    (1..=3).contains(&whole.len()) && !whole.starts_with('0') && rest.len() == 3
}

/// The numbers of a line, between blanks, semicolons or line ends.
fn repeats(typed: &mut Typed<'_>, field: &'static str) -> Vec<String> {
    let words =
        typed.text(field).split(|c: char| c.is_whitespace() || c == ';').filter(|word| !word.is_empty());
    let mut values = Vec::new();
    for (n, word) in (1..).zip(words) {
        match number_of(word) {
            Ok(value) => values.push(value),
            Err(why) => {
                typed.wrong(field, format!("Repeat {n}, '{word}', {why}; put blanks between repeats."));
                return Vec::new();
            }
        }
    }
    if values.len() > MOST {
        typed.wrong(field, format!("These are {} repeats; a reading has at most {MOST}.", values.len()));
    }
    values
}

/// Whether the values can be of this kind, and stand out from their background.
fn check(
    typed: &mut Typed<'_>,
    field: &'static str,
    kind: &ReadingKind,
    background: Option<&str>,
    values: &[String],
) {
    let unit = &kind.fields.unit;
    let is_level = Scale::of_unit(unit) == Scale::Level;
    let quiet: Option<f64> = background.and_then(|text| text.parse().ok());
    if let Some(text) = background.filter(|_| !is_level) {
        typed.wrong("background", format!("{text}: only levels in decibels have a background."));
    }
    for (n, text) in (1..).zip(values) {
        let Ok(value) = text.parse::<f64>() else { continue };
        if is_level && !(value > 0.0 && value <= LOUDEST_DB) {
            let says = format!(
                "Repeat {n} says {text} {unit}: beside a running part a meter shows something between 0 and {LOUDEST_DB}. Was it on?"
            );
            return typed.wrong(field, says);
        }
        if value < 0.0 && unit != "°C" {
            return typed
                .wrong(field, format!("Repeat {n} says {text} {unit}: there is no less than nothing."));
        }
        if let Some(quiet) =
            quiet.filter(|quiet| is_level && level::without_background(value, *quiet).is_none())
        {
            let says = format!(
                "Repeat {n}, {text} {unit}, is less than {} dB above the background of {quiet}: it tells of the room, not of the part. Read it again nearer or in a quieter room, or leave the background empty: then the reading has the room in it.",
                level::LEAST_APART_DB
            );
            return typed.wrong(field, says);
        }
    }
}

/// A reading as its form shows it.
pub fn texts(choices: &Choices, of: &ReadingFields) -> Vec<(String, String)> {
    let rig = choices.bases.iter().find(|base| base.id == of.rig_base_id).map(|base| base.fields.rig_id.0);
    let text = |of: &Option<String>| of.clone().unwrap_or_default();
    [
        ("kind", of.kind_id.to_string()),
        ("tuning", of.tuning_id.to_string()),
        ("unit", of.unit_id.to_string()),
        ("driver", of.driver_id.to_string()),
        ("rig", number(rig)),
        ("at", moment_of(of.at_us)),
        ("background", text(&of.background)),
        ("ambient_c", text(&of.ambient_c)),
        ("part_c", text(&of.part_c)),
        ("fan_rpm", number(of.fan_rpm)),
        ("note", of.note.clone()),
    ]
    .map(|(name, text)| (name.to_owned(), text))
    .to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_is_a_point_where_it_cannot_part_thousands() {
        for (text, kept) in [("41,2", "41.2"), ("0,125", "0.125"), ("1200,5", "1200.5"), ("−3,25", "-3.25")]
        {
            assert_eq!(number_of(text), Ok(kept.to_owned()));
        }
        for text in ["1,200", "-12,345", "999,999"] {
            assert!(number_of(text).unwrap_err().starts_with("can be read in two ways"), "{text}");
        }
        for text in ["", "1,200.5", "1,200,000", "41.2.1", "4e1", "+3", "1234567890123"] {
            assert!(number_of(text).is_err(), "{text}");
        }
    }
}
