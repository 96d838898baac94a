//! A piece's own choices: name, deadline, passes wanted, its low, margins, baseline, drivers, working alone.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::once::By;
use super::pieces::wrong_name;
use super::{Error, Refusal, Result, deadline};
use crate::store::pieces::{self, LowDefinition, Piece, PieceFields};
use crate::store::registers::parts::{self, Driver, Part};
use crate::store::{Db, DriverId, PartId, PieceId, Store};

/// A piece's choices and what they are chosen from.
#[derive(Clone, Debug)]
pub struct Choices {
    /// The piece.
    pub piece: Piece,
    /// Parts that can be its baseline: those of its kind.
    pub parts: Vec<Part>,
    /// Parts that its cells are of, each with its drivers and the declared one.
    pub drivers: Vec<(Part, Vec<Driver>, Option<DriverId>)>,
    /// As the form has them.
    pub typed: Typed,
}

/// Choices as they were typed. Percentages are texts such as `2.5`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Typed {
    /// Name.
    pub name: String,
    /// Local date and time; may be empty.
    pub deadline: String,
    /// IANA name of its zone.
    pub zone: String,
    /// Passes wanted for each cell.
    pub wanted: String,
    /// Word of the definition of its low.
    pub low: String,
    /// Tail share of its low, tenths of a per cent.
    pub tail: String,
    /// Margin, per cent.
    pub margin: String,
    /// Margin of scenes played by hand, per cent.
    pub hand_margin: String,
    /// Precision target, per cent.
    pub precision: String,
    /// Part that others are compared with: its id, or empty.
    pub baseline: String,
    /// One person does it all.
    pub alone: bool,
    /// How many people beside the proposer agree to a figure.
    pub agreements: String,
    /// Declared driver of each part: both ids, the driver's empty where none is declared.
    pub drivers: BTreeMap<i64, String>,
}

/// Reads a piece's choices.
///
/// # Errors
/// Refused when there is no such piece.
pub async fn read(store: &Store, piece: PieceId) -> Result<Choices> {
    let mut db = store.read().await?;
    let (piece, typed) = now(&mut db, piece).await?;
    let all = parts::all(&mut db).await?;
    let used: BTreeSet<PartId> =
        pieces::selected(&mut db, piece.id).await?.iter().map(|cell| cell.part_id).collect();
    let drivers = parts::drivers(&mut db).await?;
    let declared = pieces::declared(&mut db, piece.id).await?;
    let with_drivers = |part: &Part| {
        let own = drivers.iter().filter(|driver| driver.fields.part_id == part.id).cloned().collect();
        let one =
            declared.iter().find(|declared| declared.part_id == part.id).map(|declared| declared.driver_id);
        (part.clone(), own, one)
    };
    Ok(Choices {
        drivers: all.iter().filter(|part| used.contains(&part.id)).map(with_drivers).collect(),
        parts: all.into_iter().filter(|part| part.fields.kind == piece.fields.kind).collect(),
        piece,
        typed,
    })
}

async fn now(db: &mut Db, id: PieceId) -> Result<(Piece, Typed)> {
    let piece = pieces::by_id(db, id).await?.ok_or_else(|| Refusal::missing("piece", id))?;
    let declared = pieces::declared(db, id).await?;
    let mut typed = Typed::of(&piece.fields);
    typed.drivers = declared.iter().map(|d| (d.part_id.0, d.driver_id.to_string())).collect();
    Ok((piece, typed))
}

/// What was there before, and the version that stands now: all that taking it back needs.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Saved {
    /// The former choices.
    pub before: Typed,
    /// The version that stands now.
    pub version: i64,
}

/// Keeps a piece's choices; parts that `typed` does not name keep their declared driver.
///
/// # Errors
/// Refused, field by field, when something typed cannot be kept; stale, with what differs, when somebody was faster.
pub async fn save(
    store: &Store,
    by: impl Into<By>,
    id: PieceId,
    version: i64,
    typed: Typed,
) -> Result<Saved> {
    by.into()
        .write(store, async move |tx| {
            let (piece, before) = now(tx, id).await?;
            if piece.version != version {
                let (yours, theirs) = typed.unlike(&before);
                return Err(Refusal::stale(&piece.fields.name, yours, theirs).into());
            }
            let fields = typed.fields(&piece.fields)?;
            pieces::edit(tx, id, version, &fields).await?;
            let drivers = parts::drivers(tx).await?;
            for (part, text) in &typed.drivers {
                let part = PartId(*part);
                if text.is_empty() {
                    pieces::undeclare(tx, id, part).await?;
                    continue;
                }
                let of_part =
                    |driver: &&Driver| driver.fields.part_id == part && driver.id.to_string() == *text;
                let driver = drivers.iter().find(of_part).ok_or_else(|| foreign_driver(text))?;
                if before.drivers.get(&part.0) != Some(text) {
                    pieces::declare(tx, id, part, driver.id).await?;
                }
            }
            Ok(Saved { before, version: version + 1 })
        })
        .await
}

fn foreign_driver(text: &str) -> Error {
    Refusal::field("drivers", format!("Driver '{text}' is none of this part's: choose one of its own."))
        .into()
}

impl Typed {
    fn of(f: &PieceFields) -> Self {
        Typed {
            name: f.name.clone(),
            deadline: f.deadline_us.map(|at| deadline::written(at, &f.deadline_zone)).unwrap_or_default(),
            zone: f.deadline_zone.clone(),
            wanted: f.passes_wanted.to_string(),
            low: f.low_definition.to_string(),
            tail: f.low_permille.to_string(),
            margin: per_cent(f.margin_permille),
            hand_margin: per_cent(f.hand_margin_permille),
            precision: per_cent(f.precision_permille),
            baseline: f.baseline_part_id.map(|id| id.to_string()).unwrap_or_default(),
            alone: f.working_alone,
            agreements: f.agreements.unwrap_or(1).to_string(),
            drivers: BTreeMap::new(),
        }
    }

    /// What can be kept of it; what cannot be typed stays as `now`.
    fn fields(&self, now: &PieceFields) -> Result<PieceFields> {
        let mut wrong = Vec::new();
        wrong.extend(wrong_name(&self.name).map(|says| ("name", says)));
        // A deadline that nobody touched keeps its seconds.
        let unchanged = Typed::of(now);
        let deadline_us = if (&self.deadline, &self.zone) == (&unchanged.deadline, &unchanged.zone) {
            now.deadline_us
        } else {
            deadline::read(&self.deadline, &self.zone).unwrap_or_else(|field| {
                wrong.push(field);
                None
            })
        };
        let mut number = |name, says: &str, read: Option<i64>| {
            read.unwrap_or_else(|| {
                wrong.push((name, says.to_owned()));
                0
            })
        };
        let wanted = self.wanted.parse().ok().filter(|n| (1..=50).contains(n));
        let agreements = self.agreements.parse().ok().filter(|n| (1..=5).contains(n));
        let tail = self.tail.parse().ok().filter(|tail| matches!(tail, 1 | 10));
        let per_cent = "Write a percentage from 0.1 to 50, with at most one decimal place.";
        let fields = PieceFields {
            name: self.name.clone(),
            deadline_us,
            deadline_zone: self.zone.clone(),
            passes_wanted: number("wanted", "Write a whole number of passes from 1 to 50.", wanted),
            low_permille: number("tail", "Choose 1% or 0.1%.", tail),
            margin_permille: number("margin", per_cent, permille(&self.margin)),
            hand_margin_permille: number("hand_margin", per_cent, permille(&self.hand_margin)),
            precision_permille: number("precision", per_cent, permille(&self.precision)),
            working_alone: self.alone,
            agreements: Some(number("agreements", "Write how many people agree, from 1 to 5.", agreements))
                .filter(|n| *n > 1),
            ..now.clone()
        };
        let low_definition = LowDefinition::parse(&self.low).unwrap_or_else(|| {
            wrong.push(("low", "Choose quantile, tail mean or time share.".to_owned()));
            now.low_definition
        });
        let baseline_part_id = match self.baseline.parse() {
            Ok(part) => Some(PartId(part)),
            Err(_) if self.baseline.is_empty() => None,
            Err(_) => {
                wrong.push(("baseline", format!("'{}' is no part: choose one, or none.", self.baseline)));
                None
            }
        };
        if !wrong.is_empty() {
            return Err(Refusal::fields(wrong).into());
        }
        Ok(PieceFields { low_definition, baseline_part_id, ..fields })
    }

    /// Names of the form's fields with what stands in them: a form of these takes a change back.
    pub fn pairs(&self) -> Vec<(String, String)> {
        let text = |name: &str, value: &str| (name.to_owned(), value.to_owned());
        let mut pairs = vec![
            text("name", &self.name),
            text("deadline", &self.deadline),
            text("zone", &self.zone),
            text("wanted", &self.wanted),
            text("low", &self.low),
            text("tail", &self.tail),
            text("margin", &self.margin),
            text("hand_margin", &self.hand_margin),
            text("precision", &self.precision),
            text("baseline", &self.baseline),
            text("agreements", &self.agreements),
            text("alone", if self.alone { "1" } else { "" }),
        ];
        pairs.extend(self.drivers.iter().map(|(part, driver)| (format!("driver_{part}"), driver.clone())));
        pairs
    }

    /// Where two differ, as two texts: for who was slower.
    fn unlike(&self, other: &Typed) -> (String, String) {
        let (mine, theirs) = (self.pairs(), other.pairs());
        let differing = |one: &[(String, String)], two: &[(String, String)]| {
            let lines = one.iter().filter(|pair| !two.contains(pair));
            let lines: Vec<String> =
                lines.map(|(name, text)| format!("{}: {text}", name.replace('_', " "))).collect();
            if lines.is_empty() { "as it stands".to_owned() } else { lines.join("\n") }
        };
        (differing(&mine, &theirs), differing(&theirs, &mine))
    }
}

/// Tenths of a per cent as a form has them: `2.5`, `2`.
fn per_cent(permille: i64) -> String {
    match permille % 10 {
        0 => format!("{}", permille / 10),
        tenth => format!("{}.{tenth}", permille / 10),
    }
}

/// The way back, from 0.1 to 50 per cent; a comma is taken for the point.
fn permille(text: &str) -> Option<i64> {
    let text = text.trim_end_matches('%').trim();
    let (whole, tenth) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if !(digits(whole) && digits(tenth) && tenth.len() == 1) {
        return None;
    }
    let permille = whole.parse::<i64>().ok()?.checked_mul(10)? + tenth.parse::<i64>().ok()?;
    (1..=500).contains(&permille).then_some(permille)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::parts::PartKind;

    #[test]
    fn percentages_are_read_and_written_alike() {
        for (text, want) in
            [("2", Some(20)), ("2.5", Some(25)), ("2,5", Some(25)), ("0.1", Some(1)), ("50 %", Some(500))]
        {
            assert_eq!(permille(text), want, "{text}");
        }
        for text in ["", "0", "0.0", "50.1", "-1", "1e1", "2.55", ".5", "2.", "two"] {
            assert_eq!(permille(text), None, "{text}");
        }
        assert_eq!((per_cent(25).as_str(), per_cent(20).as_str(), per_cent(1).as_str()), ("2.5", "2", "0.1"));
    }

    #[test]
    fn what_was_kept_is_typed_again_without_a_change() {
        let fields =
            PieceFields { deadline_us: Some(1_000_001), ..PieceFields::usual("Piece", PartKind::Card) };
        assert_eq!(Typed::of(&fields).fields(&fields).unwrap(), fields);
    }

    #[test]
    fn each_wrong_field_is_named() {
        let fields = PieceFields::usual("Piece", PartKind::Card);
        let typed = Typed { zone: "UTC".to_owned(), ..Typed::default() };
        let Err(Error::Refused(refusal)) = typed.fields(&fields) else { panic!("kept") };
        let names: Vec<_> = refusal.fields.iter().map(|(name, _)| *name).collect();
        assert_eq!(
            names,
            ["name", "wanted", "tail", "margin", "hand_margin", "precision", "agreements", "low"]
        );
    }

    #[test]
    fn the_slower_one_sees_where_the_two_differ() {
        let theirs = Typed::of(&PieceFields::usual("Piece", PartKind::Card));
        let mine = Typed { wanted: "5".to_owned(), ..theirs.clone() };
        assert_eq!(mine.unlike(&theirs), ("wanted: 5".to_owned(), "wanted: 3".to_owned()));
    }
}
