//! What a form or a program sends with a change: the same names either way.
//!
//! A form comes as `application/x-www-form-urlencoded`, a program may send a JSON object of texts, numbers, booleans
//! and lists of them. Texts stay as they came, so that a refused form can be shown again.

use axum::extract::rejection::BytesRejection;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::header::CONTENT_TYPE;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, StatusCode};
use axum::{RequestExt as _, body::Bytes};
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use weighhouse_web::pages::Field;

use super::App;
use super::failures::too_large;
use super::session::SignedIn;
use crate::work::once::{By, Once};
use crate::work::{Error, Kind, Refusal, Result};

/// Idempotency key of a request by a program; a form has the hidden field `once`.
const KEY: HeaderName = HeaderName::from_static("idempotency-key");

/// Named texts, in the order in which they came.
#[derive(Clone, Debug, Default)]
pub struct Sent {
    pairs: Vec<(String, String)>,
    route: String,
}

impl Sent {
    /// What the query of an address says.
    pub fn of_query(query: &str) -> Self {
        Sent { pairs: form(query.as_bytes()), route: String::new() }
    }

    /// The text of this name, without blanks around it; empty when there is none.
    pub fn text(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// The text as it came, for passwords.
    pub fn raw(&self, name: &str) -> &str {
        self.pairs.iter().find(|(n, _)| n == name).map_or("", |(_, text)| text)
    }

    /// Everything, for showing a refused form again.
    pub fn pairs(&self) -> &[(String, String)] {
        &self.pairs
    }

    /// All texts of this name: ticked boxes, lists.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.pairs.iter().filter(move |(n, _)| n == name).map(|(_, text)| text.trim())
    }

    /// All names that were sent.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.pairs.iter().map(|(name, _)| name.as_str())
    }

    /// All whole numbers of this name.
    ///
    /// # Errors
    /// Refused, naming the field, when one is none.
    pub fn numbers(&self, name: &'static str) -> Result<Vec<i64>> {
        let read = |text: &str| {
            text.parse().map_err(|_| Refusal::field(name, format!("'{text}' is not a whole number.")).into())
        };
        self.all(name).map(read).collect()
    }

    /// Whether a box is ticked.
    pub fn ticked(&self, name: &str) -> bool {
        matches!(self.text(name), "1" | "true" | "on")
    }

    /// The field as it was sent, for showing a refused form again.
    pub fn field(&self, name: &str, refusal: &Refusal) -> Field {
        Field::wrong(self.raw(name), refusal.wrong(name))
    }

    /// A number, or anything else that can be read from text.
    ///
    /// # Errors
    /// Refused, naming the field, when it cannot; `what` as in 'a whole number'.
    pub fn read<T: std::str::FromStr>(&self, name: &'static str, what: &str) -> Result<T> {
        let text = self.text(name);
        text.parse().map_err(|_| Refusal::field(name, format!("'{text}' is not {what}.")).into())
    }

    /// The same, where nothing may be said.
    ///
    /// # Errors
    /// As [`Sent::read`].
    pub fn read_if_any<T: std::str::FromStr>(&self, name: &'static str, what: &str) -> Result<Option<T>> {
        if self.text(name).is_empty() { Ok(None) } else { self.read(name, what).map(Some) }
    }

    /// The version that the change was made from.
    ///
    /// # Errors
    /// Refused with 428 when it is missing.
    pub fn version(&self) -> Result<i64> {
        if self.text("version").is_empty() {
            Err(Refusal::no_version().into())
        } else {
            self.read("version", "a version")
        }
    }

    /// Who sent it, with its idempotency key.
    pub fn by(&self, who: &SignedIn) -> By {
        By::new(who.actor(), self.once())
    }

    /// The idempotency key with the digest of what was sent; none when there is no key.
    fn once(&self) -> Option<Once> {
        let key = self.text("once");
        if key.is_empty() {
            return None;
        }
        let mut hash = Sha256::new();
        for text in self.pairs.iter().filter(|(name, _)| name != "once").flat_map(|(name, text)| [name, text])
        {
            hash.update(text.len().to_be_bytes());
            hash.update(text);
        }
        Some(Once { key: key.to_owned(), route: self.route.clone(), asked: hash.finalize().to_vec() })
    }
}

/// What the query of an address asks for, read like what is sent.
#[derive(Clone, Debug, Default)]
pub struct Asked(pub Sent);

impl FromRequestParts<App> for Asked {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(
        parts: &mut Parts,
        _: &App,
    ) -> std::result::Result<Self, std::convert::Infallible> {
        let pairs = form(parts.uri.query().unwrap_or("").as_bytes());
        Ok(Self(Sent { pairs, route: parts.uri.path().to_owned() }))
    }
}

impl FromRequest<App> for Sent {
    type Rejection = Error;

    async fn from_request(request: Request, _: &App) -> Result<Self> {
        let kind = content_type(request.headers());
        let route = request.uri().path().to_owned();
        let key = request.headers().get(KEY).and_then(|key| key.to_str().ok()).map(str::to_owned);
        let bytes: Bytes = request.extract().await.map_err(|e: BytesRejection| unread(e.status()))?;
        let mut pairs = match kind.as_str() {
            "application/x-www-form-urlencoded" => form(&bytes),
            "application/json" => json(&bytes)?,
            "" if bytes.is_empty() => Vec::new(),
            other => return Err(unknown_kind(other)),
        };
        if let Some(key) = key {
            pairs.retain(|(name, _)| name != "once");
            pairs.push(("once".to_owned(), key));
        }
        Ok(Self { pairs, route })
    }
}

fn content_type(headers: &HeaderMap) -> String {
    let line = headers.get(CONTENT_TYPE).and_then(|line| line.to_str().ok()).unwrap_or("");
    line.split(';').next().unwrap_or("").trim().to_ascii_lowercase()
}

fn form(bytes: &[u8]) -> Vec<(String, String)> {
    form_urlencoded::parse(bytes).into_owned().collect()
}

fn json(bytes: &[u8]) -> Result<Vec<(String, String)>> {
    let read: std::result::Result<serde_json::Map<String, Value>, _> = serde_json::from_slice(bytes);
    let object = read.map_err(|e| unreadable(&format!("The JSON cannot be read as an object: {e}.")))?;
    let mut pairs = Vec::new();
    for (name, value) in object {
        match value {
            Value::Array(values) => {
                for value in values {
                    pairs.push((name.clone(), plain(&name, value)?));
                }
            }
            Value::Null => {}
            value => {
                let text = plain(&name, value)?;
                pairs.push((name, text));
            }
        }
    }
    Ok(pairs)
}

fn plain(name: &str, value: Value) -> Result<String> {
    match value {
        Value::String(text) => Ok(text),
        Value::Number(number) => Ok(number.to_string()),
        Value::Bool(true) => Ok("1".to_owned()),
        Value::Bool(false) => Ok(String::new()),
        Value::Null | Value::Array(_) | Value::Object(_) => {
            Err(unreadable(&format!("'{name}' must be a text, a number or a list of them.")))
        }
    }
}

fn unreadable(says: &str) -> Error {
    Refusal::new(Kind::Unreadable, "Not understood", says, "Mend it and send it again; nothing was changed.")
        .into()
}

fn unknown_kind(kind: &str) -> Error {
    Refusal::new(
        Kind::MediaType,
        "Not understood",
        format!("A body of type '{kind}' is not read here."),
        "Send a form (application/x-www-form-urlencoded) or JSON (application/json).",
    )
    .into()
}

/// The body did not arrive whole.
fn unread(code: StatusCode) -> Error {
    if code == StatusCode::PAYLOAD_TOO_LARGE {
        too_large().into()
    } else {
        unreadable("The body of the request did not arrive whole.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_and_json_give_the_same_names() {
        let from_form = form(b"name=a%20b&cell=1&cell=2&box=1");
        let from_json = json(br#"{"name":"a b","cell":[1,"2"],"box":true,"no":null}"#).unwrap();
        let (mut a, mut b) = (from_form, from_json);
        a.sort();
        b.sort();
        assert_eq!(a, b);
        assert!(json(br#"{"name":{"a":1}}"#).is_err());
        assert!(json(b"[1]").is_err());
    }

    #[test]
    fn the_same_key_with_other_texts_is_another_question() {
        let sent = |text: &str| Sent {
            pairs: vec![("once".to_owned(), "k".to_owned()), ("name".to_owned(), text.to_owned())],
            route: "/rigs".to_owned(),
        };
        let (a, b) = (sent("a").once().unwrap(), sent("b").once().unwrap());
        assert_eq!(a.key, b.key);
        assert_ne!(a.asked, b.asked);
        assert_eq!(a.asked, sent("a").once().unwrap().asked);
        assert!(Sent::default().once().is_none());
    }

    #[test]
    fn a_missing_version_is_told_apart_from_a_wrong_one() {
        let Err(Error::Refused(missing)) = Sent::default().version() else { panic!("not refused") };
        assert_eq!(missing.kind, Kind::NoVersion);
        let sent = Sent { pairs: vec![("version".to_owned(), "x".to_owned())], route: String::new() };
        let Err(Error::Refused(wrong)) = sent.version() else { panic!("not refused") };
        assert_eq!(wrong.kind, Kind::Invalid);
    }
}
