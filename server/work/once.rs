//! Requests that may come twice: the second gets the first one's answer.
//!
//! A request whose answer was lost may have been kept all the same. So forms and programs send a key along, and what
//! was answered is kept in the same transaction as what it tells of.

use crate::store::requests::{FirstAnswer, first_answer, keep_answer};
use crate::store::{Actor, Tx};

use super::{Kind, Refusal, Result};

/// The key of a request and the digest of what it asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Once {
    /// As sent.
    pub key: String,
    /// Path of the request.
    pub route: String,
    /// SHA-256 of what was sent.
    pub asked: Vec<u8>,
}

fn who(by: Actor) -> String {
    match by {
        Actor::Server => "server".to_owned(),
        Actor::Person(id) => format!("person {id}"),
        Actor::RigKey(id) => format!("rig key {id}"),
    }
}

/// Does `work` unless it was done under this key: its answer, or the first one's. `work` answers with the id or key
/// of what it made. Without a key, `work` is simply done.
///
/// # Errors
/// As `work`; refused when the key came before with something else.
pub async fn once(
    tx: &mut Tx<'_>,
    once: Option<&Once>,
    work: impl AsyncFnOnce(&mut Tx<'_>) -> Result<String>,
) -> Result<String> {
    let Some(once) = once else { return work(tx).await };
    let who = who(tx.by);
    // Two forms of one page carry one key.
    let key = format!("{} {}", once.route, once.key);
    if let Some(first) = first_answer(tx, &key, &who).await? {
        return if first.asked == once.asked { Ok(first.body) } else { Err(other(&once.key)) };
    }
    let body = work(tx).await?;
    let answer = FirstAnswer { asked: once.asked.clone(), status: 201, body };
    keep_answer(tx, &key, &who, &once.route, &answer).await?;
    Ok(answer.body)
}

fn other(key: &str) -> super::Error {
    Refusal::new(
        Kind::Clash,
        "Sent before",
        format!("This form (key '{key}') was sent before with something else, and that was kept."),
        "Open the page again to see what is there, and fill in a new form.",
    )
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing;
    use crate::work::Error;

    #[tokio::test]
    async fn the_second_request_gets_the_first_answer_and_another_question_is_refused() {
        let (_folder, store) = testing::store().await;
        let key = |asked: u8| Once { key: "k".to_owned(), route: "/rigs".to_owned(), asked: vec![asked] };
        let ask = async |asked: u8, made: &'static str| {
            let key = key(asked);
            store
                .write(Actor::Server, async move |tx| {
                    once(tx, Some(&key), async |_| Ok(made.to_owned())).await
                })
                .await
        };
        assert_eq!(ask(1, "first").await.unwrap(), "first");
        assert_eq!(ask(1, "second").await.unwrap(), "first");
        let Err(Error::Refused(refusal)) = ask(2, "third").await else { panic!("kept twice") };
        assert_eq!(refusal.kind, Kind::Clash);
    }
}
