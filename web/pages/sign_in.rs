//! Sign-in: name and password, and where to go afterwards.

use askama::Template;
use serde::Serialize;

use super::{Field, Frame, Page};
use crate::paths;

/// The sign-in form.
#[derive(Template, Serialize)]
#[template(path = "sign_in.html")]
pub struct SignIn {
    #[serde(skip)]
    /// Around the page.
    pub frame: Frame,
    /// Name as written.
    pub name: Field,
    /// Address within the service to go to afterwards; empty: the pieces.
    pub next: String,
    /// Why the last try was refused; the same sentence for an unknown name and a wrong password.
    pub refused: String,
}

impl Page for SignIn {
    fn title(&self) -> String {
        "Sign in".to_owned()
    }

    fn samples() -> Vec<Self> {
        let empty = SignIn {
            frame: Frame::default(),
            name: Field::default(),
            next: String::new(),
            refused: String::new(),
        };
        let refused = SignIn {
            frame: Frame {
                warnings: vec![
                    "This page came over plain http: others on this network can read what you type.".into(),
                ],
                ..Frame::default()
            },
            name: Field::of("Maren Oake"),
            next: paths::review("k3v9"),
            refused: "Name and password do not go together. Try again, or ask an owner for a new link."
                .into(),
        };
        vec![empty, refused]
    }
}
