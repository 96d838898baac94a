//! The registers' handlers: the same four for each kind of thing that the team enters.

use std::convert::Infallible;

use axum::extract::{FromRequestParts, State};
use axum::http::request::Parts;
use axum::response::Response;
use jiff::Timestamp;
use weighhouse_web::pages::{Filled, Page, Sending};

use super::App;
use super::resources::{Of, Resource};
use super::respond::{Wants, done, refill, respond};
use super::sent::Sent;
use super::session::{Member, SignedIn};
use crate::store::{Db, StoreError};
use crate::work::registers::{self, Add, Edit, Entered, Entry, Texts, Typed};
use crate::work::{Error, Refusal, Result};

/// How a thing of the registers is shown.
pub(super) trait Kind: Entry + Sync {
    /// The page that has its form.
    type Page: Page + Send + Sync;
    /// What the address of a new one names: [`Top`], or `Of` what it belongs to.
    type Owner: FromRequestParts<App> + Send;

    /// What a new one belongs to.
    fn under(owner: Self::Owner) -> Self::Of;

    /// The page with its forms, one of them open.
    fn page(
        app: &App,
        who: &SignedIn,
        of: Self::Of,
        open: &Open,
    ) -> impl Future<Output = Result<Self::Page>> + Send;

    /// Where it is shown.
    fn place(of: Self::Of, id: i64) -> String;

    /// Where typing goes on after one was added: the form for the next one.
    fn next(of: Self::Of) -> String;
}

/// Things that stand by themselves.
pub(super) struct Top;

impl FromRequestParts<App> for Top {
    type Rejection = Infallible;

    async fn from_request_parts(_: &mut Parts, _: &App) -> std::result::Result<Self, Infallible> {
        Ok(Top)
    }
}

impl<E: Edit + Sync> Resource for Entered<E> {
    const SLOT: &'static str = E::THING;

    async fn find(db: &mut Db, named: &str) -> std::result::Result<Option<Self>, StoreError> {
        let Ok(id) = named.parse() else { return Ok(None) };
        E::find(db, id).await
    }
}

/// The form that stands open on a page.
#[derive(Debug, Default)]
pub(super) struct Open {
    thing: &'static str,
    row: Option<(i64, i64)>,
    filled: Filled,
}

impl Open {
    fn refused<E: Entry>(row: Option<(i64, i64)>, sent: &Sent, refusal: &Refusal) -> Self {
        let errors = refusal.fields.iter().map(|(name, says)| ((*name).to_owned(), says.clone())).collect();
        Self { thing: E::THING, row, filled: Filled { texts: sent.pairs().to_vec(), errors, focus: true } }
    }

    fn changing<E: Edit>(row: &Entered<E>) -> Self {
        let filled = Filled { focus: true, ..filled(row.entry.texts()) };
        Self { thing: E::THING, row: Some((row.id, row.version)), filled }
    }

    /// The row that it changes.
    pub(super) fn row(&self) -> Option<i64> {
        self.row.map(|(id, _)| id)
    }

    /// Whether it is the form for `thing`.
    pub(super) fn is(&self, thing: &str) -> bool {
        self.thing == thing
    }

    /// Whether a field of it was sent or is wrong.
    pub(super) fn mentions(&self, field: &str) -> bool {
        self.filled.texts.iter().chain(&self.filled.errors).any(|(name, _)| name == field)
    }

    /// What stands in the form for `thing`: what is open, else `usual`.
    pub(super) fn filled(&self, thing: &str, usual: Texts) -> Filled {
        if self.is(thing) { self.filled.clone() } else { filled(usual) }
    }

    /// What stands in the form of the page's own thing; typing begins there only when it was refused.
    pub(super) fn filled_own(&self, thing: &str, texts: Texts) -> Filled {
        let Filled { texts, errors, .. } = self.filled(thing, texts);
        Filled { focus: !errors.is_empty(), texts, errors }
    }

    /// Where the form for `thing` posts to and what that does: it adds by `add`, or changes the open row by `edit`.
    pub(super) fn sends(
        &self,
        thing: &str,
        add: String,
        edit: fn(i64) -> String,
        back: String,
    ) -> (String, Sending) {
        match self.row.filter(|_| self.is(thing)) {
            Some((id, version)) => (edit(id), Sending::Edit { version, back: Some(back) }),
            None => (add, Sending::Add),
        }
    }
}

fn filled(texts: Texts) -> Filled {
    let texts = texts.into_iter().map(|(name, text)| (name.to_owned(), text)).collect();
    Filled { texts, ..Filled::default() }
}

/// A moment of the store as pages show it.
pub(super) fn at(us: i64) -> Timestamp {
    // Times of the store are of this age: far within what a timestamp holds.
    Timestamp::from_microsecond(us).unwrap_or_default()
}

/// All of them.
pub(super) async fn list<K: Kind<Of = ()>>(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
) -> Result<Response> {
    respond(wants, &K::page(&app, &who, (), &Open::default()).await?)
}

/// One of them, to look at and to change.
pub(super) async fn show<K: Kind + Edit>(
    State(app): State<App>,
    who: SignedIn,
    wants: Wants,
    Of(row): Of<Entered<K>>,
) -> Result<Response> {
    respond(wants, &K::page(&app, &who, row.entry.of(), &Open::changing(&row)).await?)
}

/// Adds one.
pub(super) async fn add<K: Kind + Add>(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    owner: K::Owner,
    sent: Sent,
) -> Result<Response> {
    let of = K::under(owner);
    let added = match K::read(of, Typed::new(&|field| sent.text(field))) {
        Ok(entry) => {
            let called = entry.called();
            registers::add(&app.store, sent.by(&who), entry).await.map(|id| (id, called))
        }
        Err(error) => Err(error),
    };
    match added {
        Ok((id, called)) => {
            let to = if wants == Wants::Html { K::next(of) } else { K::place(of, id) };
            Ok(done(&who, wants, &to, format!("{called} is added.")))
        }
        Err(error) => again::<K>(&app, &who, wants, of, None, &sent, error).await,
    }
}

/// Changes one.
pub(super) async fn edit<K: Kind + Edit>(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Of(row): Of<Entered<K>>,
    sent: Sent,
) -> Result<Response> {
    let (of, id, version) = (row.entry.of(), row.id, sent.version()?);
    let saved = match K::read(of, Typed::new(&|field| sent.text(field))) {
        Ok(entry) => {
            let called = entry.called();
            registers::edit(&app.store, sent.by(&who), id, version, entry).await.map(|()| called)
        }
        Err(error) => Err(error),
    };
    match saved {
        Ok(called) => Ok(done(&who, wants, &K::place(of, id), format!("{called} is saved."))),
        Err(error) => again::<K>(&app, &who, wants, of, Some((id, version)), &sent, error).await,
    }
}

/// The form again when a field is wrong; any other error as it is.
async fn again<K: Kind>(
    app: &App,
    who: &SignedIn,
    wants: Wants,
    of: K::Of,
    row: Option<(i64, i64)>,
    sent: &Sent,
    error: Error,
) -> Result<Response> {
    match error {
        Error::Refused(refusal) if !refusal.fields.is_empty() => {
            let page = K::page(app, who, of, &Open::refused::<K>(row, sent, &refusal)).await?;
            refill(wants, &page, *refusal)
        }
        error => Err(error),
    }
}
