//! First answers to requests that may come twice, and who looked at what.

use serde::Serialize;

use super::{Db, PersonId, StoreError, Tx};

/// The first answer to a request.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct FirstAnswer {
    /// Digest of what was sent; the same key with something else is refused.
    pub asked: Vec<u8>,
    /// HTTP status.
    pub status: u16,
    /// Body.
    pub body: String,
}

/// What `who` ('person 3', 'rig key 2') was answered under this idempotency key, if it came before.
pub async fn first_answer(db: &mut Db, key: &str, who: &str) -> Result<Option<FirstAnswer>, StoreError> {
    Ok(sqlx::query_as("SELECT asked, status, body FROM first_answer WHERE key = ? AND who = ?")
        .bind(key)
        .bind(who)
        .fetch_optional(db)
        .await?)
}

/// Keeps the first answer, in the same transaction as what it tells of.
pub async fn keep_answer(
    tx: &mut Tx<'_>,
    key: &str,
    who: &str,
    route: &str,
    answer: &FirstAnswer,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO first_answer (key, who, route, asked, status, body, at_us) VALUES (?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(key)
    .bind(who)
    .bind(route)
    .bind(&answer.asked)
    .bind(answer.status)
    .bind(&answer.body)
    .bind(tx.at_us)
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Forgets the answers given before `before_us`.
pub async fn forget_answers(tx: &mut Tx<'_>, before_us: i64) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM first_answer WHERE at_us < ?").bind(before_us).execute(&mut **tx).await?;
    Ok(())
}

/// Somebody looked at or downloaded something.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Look {
    /// When, microseconds UTC.
    pub at_us: i64,
    /// Who.
    pub person_id: Option<PersonId>,
    /// What.
    pub what: String,
}

/// Notes that who acts looked at or downloaded `what`.
pub async fn looked(tx: &mut Tx<'_>, what: &str) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO access_log (at_us, person_id, what) VALUES (?, ?, ?)")
        .bind(tx.at_us)
        .bind(tx.by.person())
        .bind(what)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// The newest looks, at most `count`.
pub async fn looks(db: &mut Db, count: u32) -> Result<Vec<Look>, StoreError> {
    Ok(sqlx::query_as("SELECT at_us, person_id, what FROM access_log ORDER BY id DESC LIMIT ?")
        .bind(count)
        .fetch_all(db)
        .await?)
}

/// Forgets the looks before `before_us`.
pub async fn forget_looks(tx: &mut Tx<'_>, before_us: i64) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM access_log WHERE at_us < ?").bind(before_us).execute(&mut **tx).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::people::Role;
    use crate::store::{Actor, Conflict, testing};

    #[tokio::test]
    async fn the_first_answer_is_kept_once_for_each_who() {
        let (_folder, store) = testing::store().await;
        let answer = FirstAnswer { asked: vec![1, 2], status: 201, body: "{}".to_owned() };
        let kept = answer.clone();
        store
            .write(Actor::Server, async move |tx| {
                keep_answer(tx, "k", "person 1", "/api/v1/captures", &kept).await?;
                let twice = keep_answer(tx, "k", "person 1", "/", &kept).await;
                assert!(
                    matches!(twice, Err(StoreError::Conflict { kind: Conflict::Unique, .. })),
                    "{twice:?}"
                );
                keep_answer(tx, "k", "rig key 1", "/", &kept).await
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(first_answer(&mut db, "k", "person 1").await.unwrap(), Some(answer));
        assert_eq!(first_answer(&mut db, "k", "person 2").await.unwrap(), None);
        drop(db);
        store.write(Actor::Server, async |tx| forget_answers(tx, testing::NOW_US + 1).await).await.unwrap();
        assert_eq!(first_answer(&mut store.read().await.unwrap(), "k", "person 1").await.unwrap(), None);
    }

    #[tokio::test]
    async fn looks_are_noted_outside_the_trail_and_may_be_forgotten() {
        let (_folder, store) = testing::store().await;
        let ada = testing::person(&store, "Ada", Role::Guest).await;
        let head = *store.head().borrow();
        store.write(Actor::Person(ada), async |tx| looked(tx, "pack of a piece").await).await.unwrap();
        assert_eq!(*store.head().borrow(), head);
        let seen = looks(&mut store.read().await.unwrap(), 10).await.unwrap();
        assert_eq!((seen.len(), seen[0].person_id), (1, Some(ada)));
        store.write(Actor::Server, async |tx| forget_looks(tx, testing::NOW_US + 1).await).await.unwrap();
        assert_eq!(looks(&mut store.read().await.unwrap(), 10).await.unwrap(), []);
    }
}
