//! The draft of a piece: its text kept as versions, what people decided on its numbers, and the check of both against
//! the piece's figures.

pub mod export;
pub mod known;

use weighhouse_measure::draft::{self, Decision, Form, Known, Link, Report};

use crate::store::drafts::{self, DraftNumber, DraftText};
use crate::store::{PieceId, Store};
use crate::work::figures::ledger::Ledger;
use crate::work::once::By;
use crate::work::{Refusal, Result};

/// Characters of a text: the schema's rule.
const MOST: usize = 1_000_000;

/// A text as it is checked.
#[derive(Clone, Debug)]
pub struct Text {
    /// How it is written.
    pub form: Form,
    /// The text, lines ended by one sign.
    pub body: String,
}

impl Text {
    /// A text as it was sent.
    ///
    /// # Errors
    /// Refused, naming the field, when the form is unknown or the text too long.
    pub fn read(form: &str, body: &str) -> Result<Text> {
        let form = Form::parse(form).ok_or_else(|| {
            Refusal::field("form", format!("'{form}' is no form of text; it is plain, markdown, srt or vtt."))
        })?;
        let body = body.trim_start_matches('\u{feff}').replace("\r\n", "\n").replace(['\r', '\0'], "\n");
        let length = body.chars().count();
        if length > MOST {
            let says = format!("The text has {length} characters; keep at most {MOST}, or cut it in two.");
            return Err(Refusal::field("body", says).into());
        }
        Ok(Text { form, body })
    }

    /// A version as kept.
    pub fn of(version: &DraftText) -> Text {
        Text { form: Form::parse(&version.form).unwrap_or_default(), body: version.body.clone() }
    }
}

/// A checked text with what it was checked against.
#[derive(Clone, Debug)]
pub struct Checked {
    /// What it can quote.
    pub known: Vec<Known>,
    /// Its numbers.
    pub report: Report,
}

/// Checks a text of a piece.
///
/// # Errors
/// When the store fails.
pub async fn check(store: &Store, ledger: &Ledger, text: &Text) -> Result<Checked> {
    let decided = drafts::decisions(&mut *store.read().await?, ledger.evidence.piece.id).await?;
    let decisions: Vec<Decision> = decided.into_iter().map(decision).collect();
    let known = known::known(ledger);
    let body = text.body.clone();
    let form = text.form;
    // A long text takes a while: not on a thread that answers others.
    let checked = tokio::task::spawn_blocking(move || {
        let report = draft::check(&body, form, &known, &decisions);
        Checked { known, report }
    });
    checked.await.map_err(|e| crate::work::Internal(format!("checking a text: {e}")).into())
}

fn decision(d: DraftNumber) -> Decision {
    let leave = d.link.is_empty();
    Decision { number: d.number, before: d.before, behind: d.behind, link: d.link, leave }
}

/// Keeps a text as the next version; its number. The same text again is no new version.
///
/// # Errors
/// Stale when `from`, the version it was written from, is not the latest.
pub async fn keep(
    store: &Store,
    by: impl Into<By>,
    piece: PieceId,
    (from, text): (i64, Text),
) -> Result<i64> {
    by.into()
        .write(store, async move |tx| {
            let latest = drafts::latest(tx, piece).await?;
            let number = latest.as_ref().map_or(0, |latest| latest.number);
            if let Some(latest) = latest {
                if latest.body == text.body && latest.form == text.form.key() {
                    return Ok(number);
                }
                if from != number {
                    return Err(Refusal::stale("the text", text.body, latest.body).into());
                }
            }
            drafts::add(tx, piece, number + 1, (text.form.key(), &text.body)).await?;
            Ok(number + 1)
        })
        .await
}

/// What a person says of a number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Says {
    /// It quotes this: keys as [`Link::text`] writes them.
    Quotes(String),
    /// It is left alone.
    Leave,
    /// What was said before is forgotten.
    Forget,
}

/// Keeps what a person says of a number of the text.
///
/// # Errors
/// Refused, naming the field, when the link names no figure of the piece.
pub async fn decide(
    store: &Store,
    by: impl Into<By>,
    ledger: &Ledger,
    (place, says): (DraftNumber, Says),
) -> Result<()> {
    let piece = ledger.evidence.piece.id;
    if place.number.is_empty() || place.number.chars().count() > 200 {
        return Err(Refusal::field("number", "Say which number of the text is meant.").into());
    }
    let link = match &says {
        Says::Quotes(link) => {
            if Link::parse(link, &known::known(ledger)).is_none() {
                let wrong = format!("'{link}' is no figure of this piece; choose one of the list.");
                return Err(Refusal::field("link", wrong).into());
            }
            link.clone()
        }
        Says::Leave | Says::Forget => String::new(),
    };
    let place = DraftNumber { link, ..place };
    by.into()
        .write(store, async move |tx| {
            if says == Says::Forget {
                drafts::forget(tx, piece, &place).await?;
            } else {
                drafts::decide(tx, piece, &place).await?;
            }
            Ok(())
        })
        .await
}
