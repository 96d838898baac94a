//! People: accounts, invitations, rig keys, and the audit trail.

use askama::Template;
use jiff::Timestamp;
use serde::Serialize;

use super::{Frame, Page};
use crate::{format, paths};

/// Who may do what, and what was done. Everybody reads it; owners see its forms.
#[derive(Template, Serialize)]
#[template(path = "people.html")]
pub struct People {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    #[serde(skip)]
    /// When the page was made.
    pub now: Timestamp,
    #[serde(skip)]
    /// A link or key that was made just now: shown once.
    pub secret: Option<Secret>,
    #[serde(skip)]
    /// What is wrong with the new password; empty when nothing is.
    pub password_wrong: String,
    /// Everybody, by name.
    pub people: Vec<Person>,
    /// One-time links that still make an account.
    pub invitations: Vec<Invited>,
    /// Rig keys, by rig.
    pub keys: Vec<Key>,
    #[serde(skip)]
    /// Rigs that a key can be made for: row id and name.
    pub rigs: Vec<(i64, String)>,
    /// Entries of the audit trail, newest first.
    pub trail: Vec<Step>,
    /// Where the trail stands: number and digest of its newest entry, for noting elsewhere.
    pub head: String,
    /// Number before which older entries are; none at the end.
    pub older: Option<i64>,
}

/// What is shown once.
#[derive(Clone, Debug)]
pub enum Secret {
    /// The address of a rig's board; shown on the page of sessions.
    Board(String),
    /// The address that hands an edition over; shown on that edition's page.
    Edition(String),
    /// Address of a one-time link.
    Link(String),
    /// A rig key, and a command that uploads with it.
    Key {
        /// What the rig sends.
        key: String,
        /// A command to copy.
        example: String,
    },
}

/// A person with an account.
#[derive(Clone, Debug, Serialize)]
pub struct Person {
    /// Row id.
    pub id: i64,
    /// Name.
    pub name: String,
    /// `owner`, `member` or `guest`.
    pub role: String,
    /// Whether they may not sign in any more.
    pub disabled: bool,
    /// Since when.
    pub since: Timestamp,
    /// For stale forms.
    pub version: i64,
}

/// A one-time link that still makes an account.
#[derive(Clone, Debug, Serialize)]
pub struct Invited {
    /// Row id.
    pub id: i64,
    /// What the new person may do.
    pub role: String,
    /// Good until then.
    pub until: Timestamp,
}

/// A rig key.
#[derive(Clone, Debug, Serialize)]
pub struct Key {
    /// Row id.
    pub id: i64,
    /// Name of the rig it uploads for.
    pub rig: String,
    /// What it is called.
    pub label: String,
    /// Last upload.
    pub used: Option<Timestamp>,
    /// Whether it was taken back.
    pub revoked: bool,
}

/// An entry of the audit trail.
#[derive(Clone, Debug, Serialize)]
pub struct Step {
    /// Its number.
    pub number: i64,
    /// When.
    pub at: Timestamp,
    /// Who, in words.
    pub who: String,
    /// What was done.
    pub act: String,
    /// To what, in words.
    pub what: String,
    /// The row as it became, as JSON; none when it was removed.
    pub row: Option<String>,
}

impl People {
    fn owner(&self) -> bool {
        self.frame.person.as_ref().is_some_and(|person| person.role == "owner")
    }

    fn when(at: &Timestamp) -> String {
        format::moment(*at, "UTC")
    }

    fn used(&self, key: &Key) -> String {
        key.used
            .map_or_else(|| "never used".to_owned(), |used| format!("used {}", format::ago(used, self.now)))
    }

    fn older_href(&self) -> String {
        let before = self.older.map(|older| older.to_string()).unwrap_or_default();
        paths::with_query(&paths::people(), &[("before", &before)])
    }
}

impl Person {
    fn action(&self) -> String {
        paths::person(self.id)
    }
}

impl Invited {
    fn action(&self) -> String {
        paths::invitation_back(self.id)
    }
}

impl Key {
    fn action(&self) -> String {
        paths::key_back(self.id)
    }
}

impl Page for People {
    fn title(&self) -> String {
        "People".to_owned()
    }

    fn samples() -> Vec<Self> {
        let at = |s: i64| Timestamp::from_second(1_772_366_400 + s).unwrap_or_default();
        let person = |id, name: &str, role: &str, disabled| Person {
            id,
            name: name.into(),
            role: role.into(),
            disabled,
            since: at(0),
            version: 1,
        };
        let page = |role| People {
            frame: Frame::signed_in("Maren Oake", role, "People"),
            now: at(7200),
            secret: None,
            password_wrong: String::new(),
            people: vec![
                person(1, "Maren Oake", "owner", false),
                person(2, "Iver Stroud", "member", false),
                person(3, "Tove Linden", "guest", true),
            ],
            invitations: vec![Invited { id: 4, role: "member".into(), until: at(600_000) }],
            keys: vec![
                Key {
                    id: 1,
                    rig: "alder".into(),
                    label: "bench".into(),
                    used: Some(at(3600)),
                    revoked: false,
                },
                Key { id: 2, rig: "birch".into(), label: "old".into(), used: None, revoked: true },
            ],
            rigs: vec![(1, "alder".into()), (2, "birch".into())],
            trail: vec![Step {
                number: 12,
                at: at(60),
                who: "Maren Oake".into(),
                act: "invite".into(),
                what: "invitation 4".into(),
                row: Some("{\"id\":4,\"role\":\"member\"}".into()),
            }],
            head: "12 3f9a".into(),
            older: Some(12),
        };
        let link = Secret::Link("http://127.0.0.1:7300/invitations/5f1c".into());
        let key =
            Secret::Key { key: "ab12".into(), example: "curl -T pass.csv http://127.0.0.1:7300/".into() };
        let none = People {
            invitations: Vec::new(),
            keys: Vec::new(),
            rigs: Vec::new(),
            trail: Vec::new(),
            older: None,
            password_wrong: "This is not your password; type it again.".into(),
            ..page("owner")
        };
        vec![
            page("owner"),
            page("guest"),
            none,
            People { secret: Some(link), ..page("owner") },
            People { secret: Some(key), ..page("owner") },
        ]
    }
}
