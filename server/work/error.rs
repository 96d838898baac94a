//! The two ways in which work fails: a person can mend it ([`Refusal`]), or it is our fault ([`Internal`]).

use crate::chance::NoChance;
use crate::store::{Conflict, StoreError};

/// What work returns.
pub type Result<T> = std::result::Result<T, Error>;

/// Why something was not done. Nothing was changed, unless the text says otherwise.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The sender can mend it.
    #[error(transparent)]
    Refused(Box<Refusal>),
    /// Nobody outside can; logged once, at the edge.
    #[error(transparent)]
    Internal(#[from] Internal),
}

/// What went wrong on our side. Its text is for the log, never for the sender.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Internal(pub String);

/// The sorts of refusals, each with its own status.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nobody is signed in, or a key is wrong.
    SignedOut,
    /// This person, key or page may not do it.
    NotAllowed,
    /// There is no such thing.
    Missing,
    /// The address is right, the method is not.
    Method,
    /// The request itself cannot be read.
    Unreadable,
    /// A value is not one that can be kept.
    Invalid,
    /// It does not go together with what is there.
    Clash,
    /// Somebody else changed it since it was read.
    Stale,
    /// The version that was read is not named.
    NoVersion,
    /// More bytes than are taken here.
    TooLarge,
    /// A body of a kind that is not read here.
    MediaType,
    /// The sender took too long.
    TooSlow,
    /// Too many tries.
    TooMany,
    /// Not at this moment.
    NotNow,
    /// The disk is full.
    DiskFull,
}

/// Something a person can mend: which value, where, and what next.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}: {says} {mend}")]
pub struct Refusal {
    /// Which sort.
    pub kind: Kind,
    /// In a few words, as a title: 'No such piece'.
    pub what: String,
    /// Which value or place, in a sentence.
    pub says: String,
    /// What to do about it, in a sentence.
    pub mend: String,
    /// Fields of the form that are wrong, each with what is wrong with it.
    pub fields: Vec<(&'static str, String)>,
    /// What was sent and what stands there now, when somebody else was faster.
    pub both: Option<Both>,
    /// For how many seconds to wait before another try.
    pub wait_s: Option<u32>,
}

/// Two texts that clash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Both {
    /// As sent.
    pub yours: String,
    /// As it stands.
    pub theirs: String,
}

impl Refusal {
    /// A refusal in three texts.
    pub fn new(
        kind: Kind,
        what: impl Into<String>,
        says: impl Into<String>,
        mend: impl Into<String>,
    ) -> Self {
        let (what, says, mend) = (what.into(), says.into(), mend.into());
        Self { kind, what, says, mend, fields: Vec::new(), both: None, wait_s: None }
    }

    /// There is no such `thing`; `named` is what was asked for.
    pub fn missing(thing: &str, named: impl std::fmt::Display) -> Self {
        Self::new(
            Kind::Missing,
            format!("No such {thing}"),
            format!("There is no {thing} '{named}'."),
            "Go back to where you came from: it may have been removed, or the address has a slip.",
        )
    }

    /// This role may not do it.
    pub fn not_allowed(says: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Kind::NotAllowed, "Not allowed", says, mend)
    }

    /// One field is wrong: its name in the form, and what is wrong and how to mend it in a sentence.
    pub fn field(name: &'static str, wrong: impl Into<String>) -> Self {
        Self::fields(vec![(name, wrong.into())])
    }

    /// Several fields are wrong.
    pub fn fields(fields: Vec<(&'static str, String)>) -> Self {
        let says = fields.iter().map(|(_, wrong)| wrong.as_str()).collect::<Vec<_>>().join(" ");
        let mend = "Mend it and send the form again; nothing was changed.";
        Self { fields, ..Self::new(Kind::Invalid, "Not kept", says, mend) }
    }

    /// Somebody else was faster; `thing` as in 'this rig'.
    pub fn stale(thing: &str, yours: impl Into<String>, theirs: impl Into<String>) -> Self {
        let both = Some(Both { yours: yours.into(), theirs: theirs.into() });
        Self {
            both,
            ..Self::new(
                Kind::Stale,
                "Somebody was faster",
                format!("Somebody changed {thing} after you opened it; your change was not kept."),
                "Both texts are here. Open it again and write what should stand.",
            )
        }
    }

    /// The form or request does not say which version it was made from.
    pub fn no_version() -> Self {
        Self::new(
            Kind::NoVersion,
            "Version missing",
            "The request does not say which version it changes.",
            "Read the thing first and send its 'version' along.",
        )
    }

    /// What is wrong with this field; empty when nothing is.
    pub fn wrong(&self, name: &str) -> &str {
        self.fields.iter().find(|(field, _)| *field == name).map_or("", |(_, wrong)| wrong)
    }
}

impl From<Refusal> for Error {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(Box::new(refusal))
    }
}

impl From<NoChance> for Error {
    fn from(error: NoChance) -> Self {
        Internal(error.to_string()).into()
    }
}

impl From<StoreError> for Error {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Conflict { kind, constraint } => conflict(kind, &constraint),
            StoreError::Stale => Refusal::stale("this", "", "").into(),
            StoreError::DiskFull => Refusal::new(
                Kind::DiskFull,
                "The disk is full",
                "The disk that holds the store has no room left; nothing was changed.",
                "Make room on it and send this again: no restart is needed.",
            )
            .into(),
            StoreError::OutcomeUnknown => Refusal::new(
                Kind::NotNow,
                "Outcome unknown",
                "The disk failed while this was being kept: it may or may not be there. The service stops now.",
                "When it runs again, try again with the same key, by sending this same form: it is never kept twice.",
            )
            .into(),
            StoreError::Stopped => Refusal::new(
                Kind::NotNow,
                "The service is stopping",
                "It takes no changes at the moment; nothing was changed.",
                "Send this again when it is back.",
            )
            .into(),
            StoreError::Other(text) => Internal(text).into(),
        }
    }
}

/// Named rules of the schema in the words of the form that can break them.
const RULES: &[(&str, &str, &str)] = &[
    ("person_name", "name", "Somebody already has this name; choose another."),
    ("rig.name", "name", "There is already a rig of this name; choose another."),
    (
        "rig_base.rig_id, rig_base.from_us",
        "from",
        "This rig already has a base from this moment; change that one.",
    ),
    ("part.maker, part.model", "model", "This model of this maker is already there."),
    ("unit.part_id, unit.label", "label", "This part already has a unit of this label; choose another."),
    ("driver.part_id, driver.name", "name", "This part already has a driver of this name."),
    ("tuning.part_id, tuning.name", "name", "This part already has a tuning of this name; choose another."),
    (
        "scene.game, scene.passage",
        "passage",
        "This passage of this game is already there; choose another name.",
    ),
    ("build.scene_id, build.name", "name", "This scene already has a build of this name."),
    ("reader.piece_id, reader.name", "name", "This piece already has a reader of this name; choose another."),
    (
        "quote.piece_id, quote.name",
        "name",
        "This piece already quotes a number of this name; choose another.",
    ),
    ("setting.name", "name", "There is already a setting of this name; choose another."),
];

fn conflict(kind: Conflict, constraint: &str) -> Error {
    if let Some((_, field, says)) = RULES.iter().find(|(rule, ..)| *rule == constraint) {
        return Refusal { kind: Kind::Clash, ..Refusal::field(field, *says) }.into();
    }
    match kind {
        Conflict::Unique => Refusal::new(
            Kind::Clash,
            "Already there",
            format!("There is already one like this ({constraint})."),
            "Use that one, or give this one another name.",
        )
        .into(),
        Conflict::Reference => Refusal::new(
            Kind::Clash,
            "Still needed",
            "It refers to something that is not there, or something else still refers to it.",
            "Open the page again and look at what it belongs to.",
        )
        .into(),
        Conflict::Check => Refusal::new(
            Kind::Invalid,
            "Not kept",
            format!("A value is outside what can be kept ({constraint})."),
            "Mend it and send the form again; nothing was changed.",
        )
        .into(),
        Conflict::AppendOnly => Internal(format!("tried to change what is append-only: {constraint}")).into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_broken_rule_of_the_schema_names_the_field_of_the_form() {
        let error = StoreError::Conflict { kind: Conflict::Unique, constraint: "person_name".to_owned() };
        let Error::Refused(refusal) = error.into() else { panic!("not refused") };
        assert_eq!(refusal.kind, Kind::Clash);
        assert_eq!(refusal.wrong("name"), "Somebody already has this name; choose another.");
        assert_eq!(refusal.wrong("role"), "");
    }

    #[test]
    fn what_people_cannot_mend_is_ours() {
        assert!(matches!(Error::from(StoreError::Other("x".to_owned())), Error::Internal(_)));
        let error = StoreError::Conflict { kind: Conflict::AppendOnly, constraint: String::new() };
        assert!(matches!(Error::from(error), Error::Internal(_)));
    }
}
