//! A one-time link: the form that makes an account.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};

/// The form behind a one-time link.
#[derive(Template, Serialize)]
#[template(path = "invitation.html")]
pub struct Invitation {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    #[serde(skip)]
    /// What the link carries.
    pub token: String,
    /// What the new person may do: `owner`, `member` or `guest`.
    pub role: String,
    /// Name as written.
    pub name: Field,
    /// What is wrong with the password; empty when nothing is. The password itself is never shown again.
    pub password_wrong: String,
}

impl Page for Invitation {
    fn title(&self) -> String {
        "Make your account".to_owned()
    }

    fn samples() -> Vec<Self> {
        let empty = Invitation {
            frame: Frame::default(),
            token: "5f1c".into(),
            role: "owner".into(),
            name: Field::default(),
            password_wrong: String::new(),
        };
        let refused = Invitation {
            frame: Frame::default(),
            token: "5f1c".into(),
            role: "member".into(),
            name: Field::wrong("Maren Oake", "Somebody already has this name; choose another."),
            password_wrong: "A password has 8 to 128 characters; this one has 3.".into(),
        };
        vec![empty, refused]
    }
}
