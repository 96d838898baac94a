//! Embargo and notes of a piece: what people type, an owner's word, and whether anything may leave now.

use jiff::Timestamp;
use weighhouse_web::format;

use super::deadline;
use super::once::By;
use super::registers::Typed;
use super::{Error, Kind, Refusal, Result};
use crate::store::notes::{self, Notes, NotesFields, Said, UnderEmbargo, Word};
use crate::store::people::{self, Role};
use crate::store::{Actor, Db, PieceId, Store, Tx};

/// Notes of a piece with what owners said.
#[derive(Clone, Debug)]
pub struct Read {
    /// The notes.
    pub notes: Notes,
    /// What owners said of its embargoes, oldest first.
    pub said: Vec<Said>,
    /// Units in it that were lent under embargoes of their own.
    pub units: Vec<UnderEmbargo>,
}

impl Read {
    /// When the last embargo of the piece and of its units ends, microseconds UTC.
    pub fn end(&self) -> Option<i64> {
        let units = self.units.iter().map(|unit| unit.embargo_us);
        units.chain(self.notes.fields.embargo_us).max()
    }

    /// The word that stands on the present embargo.
    pub fn word(&self) -> Option<&Said> {
        let end = self.end()?;
        self.said.iter().rev().find(|said| said.embargo_us == end)
    }

    /// Whether nothing may leave at this moment.
    pub fn holds(&self, now_us: i64) -> bool {
        let ends = self.end().is_some_and(|end| now_us < end);
        ends && self.word().is_none_or(|said| said.says == Word::Hold)
    }

    /// End of the embargo in the piece's zone.
    pub fn until(&self) -> String {
        self.end().map_or_else(String::new, |end| self.moment(end))
    }

    /// A moment in the piece's zone.
    pub fn moment(&self, us: i64) -> String {
        let at = Timestamp::from_microsecond(us).ok();
        at.map_or_else(String::new, |at| format::moment(at, &self.notes.fields.embargo_zone))
    }
}

/// Reads the notes of a piece.
///
/// # Errors
/// When the store fails.
pub async fn read(store: &Store, piece: PieceId) -> Result<Read> {
    of_piece(&mut *store.read().await?, piece).await
}

async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Read> {
    Ok(Read {
        notes: notes::of_piece(db, piece).await?,
        said: notes::said(db, piece).await?,
        units: notes::units_under_embargo(db, piece).await?,
    })
}

/// Whether a pack or a link to an edition may leave now.
///
/// # Errors
/// Refused while the piece is under embargo and no owner let it go.
pub async fn may_leave(store: &Store, piece: PieceId, now_us: i64) -> Result<()> {
    let read = read(store, piece).await?;
    if !read.holds(now_us) {
        return Ok(());
    }
    let says = format!("The piece is under embargo until {}.", read.until());
    let mend = "An owner can let it go before that, with a reason, under 'Embargo and notes' of the piece.";
    Err(Refusal::new(Kind::NotAllowed, "Under embargo", says, mend).into())
}

/// Reads what was typed.
///
/// # Errors
/// Refused, naming every field that is wrong.
pub fn typed(mut typed: Typed<'_>) -> Result<NotesFields> {
    let zone = match typed.text("zone") {
        "" => "UTC",
        zone => zone,
    };
    let embargo_us = match deadline::read(typed.text("embargo"), zone) {
        Ok(end) => end,
        Err(("zone", says)) => {
            typed.wrong("zone", says);
            None
        }
        Err((_, says)) => {
            typed.wrong("embargo", says);
            None
        }
    };
    let fields = NotesFields {
        embargo_us,
        embargo_zone: zone.to_owned(),
        settings: typed.free("settings"),
        caches: typed.free("caches"),
        order_of_run: typed.free("order_of_run"),
        disclosure: typed.free("disclosure"),
    };
    typed.done().map(|()| fields)
}

/// Notes as a form shows them.
pub fn texts(of: &NotesFields) -> Vec<(String, String)> {
    let embargo = of.embargo_us.map_or_else(String::new, |end| deadline::written(end, &of.embargo_zone));
    [
        ("embargo", embargo),
        ("zone", of.embargo_zone.clone()),
        ("settings", of.settings.clone()),
        ("caches", of.caches.clone()),
        ("order_of_run", of.order_of_run.clone()),
        ("disclosure", of.disclosure.clone()),
    ]
    .map(|(name, text)| (name.to_owned(), text))
    .to_vec()
}

/// Keeps the notes. While an embargo holds, only an owner moves or lifts it.
///
/// # Errors
/// Refused when somebody was faster, or a member would end an embargo.
pub async fn keep(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (version, fields): (i64, NotesFields),
    (is_owner, now_us): (bool, i64),
) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let now = of_piece(tx, piece).await?;
            if now.notes.version != version {
                let line = |of: &NotesFields| {
                    let texts = texts(of).into_iter().filter(|(_, text)| !text.is_empty());
                    texts.map(|(name, text)| format!("{name}: {text}")).collect::<Vec<_>>().join("\n")
                };
                return Err(Refusal::stale("these notes", line(&fields), line(&now.notes.fields)).into());
            }
            let earlier = fields.embargo_us < now.notes.fields.embargo_us;
            if earlier && now.holds(now_us) && !is_owner {
                return Err(owners_word().into());
            }
            Ok(notes::keep(tx, piece, version, &fields).await?)
        })
        .await
}

/// Holds a change that ends an embargo before its time to owners.
///
/// # Errors
/// Refused when the person who acts is no owner.
pub async fn owner_acts(tx: &mut Tx<'_>) -> Result<()> {
    let person = match tx.by {
        Actor::Person(id) => people::by_id(tx, id).await?,
        Actor::Server | Actor::RigKey(_) => None,
    };
    if person.is_some_and(|person| person.role == Role::Owner) { Ok(()) } else { Err(owners_word().into()) }
}

fn owners_word() -> Refusal {
    let says = "Only an owner ends an embargo before its time.";
    Refusal::not_allowed(says, "Ask an owner; nothing was changed.")
}

/// An owner's word on the present embargo.
///
/// # Errors
/// Refused when there is no embargo, no reason, or the person is no owner.
pub async fn say(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (word, reason): (Word, String),
    is_owner: bool,
) -> Result<()> {
    if !is_owner {
        return Err(owners_word().into());
    }
    if !(1..=400).contains(&reason.trim().chars().count()) {
        return Err(
            Refusal::field("reason", "Say why, in 1 to 400 characters: it stays in the trail.").into()
        );
    }
    by.into()
        .write(store, async move |tx| {
            let now = of_piece(tx, piece).await?;
            let Some(end) = now.end() else {
                let says = "The piece has no embargo.";
                return Err(Error::from(Refusal::new(
                    Kind::Clash,
                    "Nothing to say",
                    says,
                    "Set its end first.",
                )));
            };
            notes::say(tx, piece, end, (word, reason.trim())).await?;
            Ok(())
        })
        .await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(end: Option<i64>, said: &[(i64, Word)]) -> Read {
        let said = said.iter().map(|(embargo_us, says)| Said {
            embargo_us: *embargo_us,
            says: *says,
            reason: "r".to_owned(),
            person: "Ada".to_owned(),
            at_us: 0,
        });
        let fields = NotesFields { embargo_us: end, ..NotesFields::default() };
        Read { notes: Notes { fields, version: 1 }, said: said.collect(), units: Vec::new() }
    }

    #[test]
    fn a_lent_units_embargo_holds_the_piece_too() {
        let unit = UnderEmbargo { part: "Tarnwick Curlew".to_owned(), unit: "A".to_owned(), embargo_us: 20 };
        let read = Read { units: vec![unit], ..read(Some(10), &[(10, Word::LetGo)]) };
        assert!(read.holds(15) && !read.holds(20));
        assert_eq!(
            (read.end(), read.word()),
            (Some(20), None),
            "the word on the piece's own end is another one"
        );
    }

    #[test]
    fn an_embargo_holds_until_its_end_or_an_owners_word_on_it() {
        assert!(!read(None, &[]).holds(0));
        assert!(read(Some(10), &[]).holds(9));
        assert!(!read(Some(10), &[]).holds(10));
        assert!(!read(Some(10), &[(10, Word::LetGo)]).holds(9));
        assert!(read(Some(10), &[(10, Word::LetGo), (10, Word::Hold)]).holds(9));
        assert!(read(Some(12), &[(10, Word::LetGo)]).holds(9), "another end needs another word");
    }

    #[test]
    fn a_wrong_moment_or_zone_is_named() {
        for (pairs, field) in [
            ([("embargo", "soon"), ("zone", "UTC")], "embargo"),
            ([("embargo", "2026-11-27T18:00"), ("zone", "Nowhere")], "zone"),
        ] {
            let text = |name: &str| pairs.iter().find(|(of, _)| *of == name).map_or("", |(_, text)| *text);
            let Err(Error::Refused(refusal)) = typed(Typed::new(&text)) else { panic!("kept") };
            assert_eq!(refusal.fields[0].0, field);
        }
        let pairs = [("embargo", "2026-11-27T18:00"), ("zone", "Europe/Berlin")];
        let text = |name: &str| pairs.iter().find(|(of, _)| *of == name).map_or("", |(_, text)| *text);
        let fields = typed(Typed::new(&text)).unwrap();
        assert_eq!(texts(&fields)[0].1, "2026-11-27T18:00");
    }
}
