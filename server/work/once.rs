//! Requests that may come twice: the second gets the first one's answer.
//!
//! A request whose answer was lost may have been kept all the same. So forms and programs send a key along, and what
//! the work answered is kept in the same transaction as what it did. Each change that a person asks for goes through
//! [`By::write`].

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::store::requests::{FirstAnswer, first_answer, keep_answer};
use crate::store::{Actor, Db, PersonId, Store, Tx};

use super::{Internal, Kind, Refusal, Result};

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

/// Who asks for a change, and under which key; without a key it is simply done.
#[derive(Clone, Debug)]
pub struct By {
    actor: Actor,
    once: Option<Once>,
}

impl From<Actor> for By {
    fn from(actor: Actor) -> Self {
        Self { actor, once: None }
    }
}

impl From<PersonId> for By {
    fn from(person: PersonId) -> Self {
        Actor::Person(person).into()
    }
}

impl By {
    /// Somebody with the key of a request.
    pub fn new(actor: Actor, once: Option<Once>) -> Self {
        Self { actor, once }
    }

    /// Who.
    pub fn actor(&self) -> Actor {
        self.actor
    }

    /// What was answered under this key before: asked for where work looks at the store before it writes, and would
    /// find its own traces there.
    ///
    /// # Errors
    /// Refused when the key came before with something else.
    pub async fn first<T: DeserializeOwned>(&self, store: &Store) -> Result<Option<T>> {
        match &self.once {
            Some(once) => once.first(&mut *store.read().await?, self.actor).await,
            None => Ok(None),
        }
    }

    /// Does `work` in one transaction, unless it was done under this key: its answer, or the first one's.
    ///
    /// # Errors
    /// As `work`; refused when the key came before with something else.
    pub async fn write<T, F>(self, store: &Store, work: F) -> Result<T>
    where
        F: AsyncFnOnce(&mut Tx<'_>) -> Result<T> + Send + 'static,
        T: Serialize + DeserializeOwned + Send + 'static,
    {
        let Self { actor, once } = self;
        let Some(once) = once else { return store.write(actor, work).await };
        store
            .write(actor, async move |tx| {
                if let Some(first) = once.first(tx, actor).await? {
                    return Ok(first);
                }
                let answer = work(tx).await?;
                once.keep(tx, &answer).await?;
                Ok(answer)
            })
            .await
    }

    /// Text that is the same for the same request, and no other's; none without a key.
    pub fn request(&self) -> Option<String> {
        let once = self.once.as_ref()?;
        Some(format!("{} {} {:?}", who(self.actor), once.place(), once.asked))
    }
}

impl Once {
    /// A program may send one key to several routes.
    fn place(&self) -> String {
        format!("{} {}", self.route, self.key)
    }

    async fn first<T: DeserializeOwned>(&self, db: &mut Db, by: Actor) -> Result<Option<T>> {
        let Some(first) = first_answer(db, &self.place(), &who(by)).await? else { return Ok(None) };
        if first.asked != self.asked {
            return Err(other(&self.key));
        }
        let answer = serde_json::from_str(&first.body);
        answer.map(Some).map_err(|e| Internal(format!("a first answer under {}: {e}", self.route)).into())
    }

    async fn keep<T: Serialize>(&self, tx: &mut Tx<'_>, answer: &T) -> Result<()> {
        let body = serde_json::to_string(answer).map_err(|e| Internal(e.to_string()))?;
        let answer = FirstAnswer { asked: self.asked.clone(), status: 201, body };
        let who = who(tx.by);
        Ok(keep_answer(tx, &self.place(), &who, &self.route, &answer).await?)
    }
}

fn who(by: Actor) -> String {
    match by {
        Actor::Server => "server".to_owned(),
        Actor::Person(id) => format!("person {id}"),
        Actor::RigKey(id) => format!("rig key {id}"),
    }
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
        let by = |asked: u8| {
            let once = Once { key: "k".to_owned(), route: "/rigs".to_owned(), asked: vec![asked] };
            By::new(Actor::Server, Some(once))
        };
        let ask = async |asked: u8, made: &'static str| {
            by(asked).write(&store, async move |_| Ok(made.to_owned())).await
        };
        assert_eq!(by(1).first::<String>(&store).await.unwrap(), None);
        assert_eq!(ask(1, "first").await.unwrap(), "first");
        assert_eq!(ask(1, "second").await.unwrap(), "first");
        assert_eq!(by(1).first::<String>(&store).await.unwrap().as_deref(), Some("first"));
        let Err(Error::Refused(refusal)) = ask(2, "third").await else { panic!("kept twice") };
        assert_eq!(refusal.kind, Kind::Clash);
        assert!(by(2).first::<String>(&store).await.is_err());
    }

    #[tokio::test]
    async fn what_was_refused_may_be_sent_again_under_its_key() {
        let (_folder, store) = testing::store().await;
        let once = Once { key: "k".to_owned(), route: "/rigs".to_owned(), asked: vec![1] };
        let by = By::new(Actor::Server, Some(once));
        let refused: Result<i64> =
            by.clone().write(&store, async |_| Err(Refusal::field("name", "Say one.").into())).await;
        assert!(refused.is_err());
        assert_eq!(by.write(&store, async |_| Ok(7)).await.unwrap(), 7);
    }
}
