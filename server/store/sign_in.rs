//! Signed-in browsers, and failed tries.

use super::people::Role;
use super::{Db, PersonId, StoreError, Tx};

/// A signed-in browser and its person.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct SignedIn {
    /// Who.
    pub person_id: PersonId,
    /// Their name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Since when, microseconds UTC.
    pub created_us: i64,
    /// Last request, microseconds UTC.
    pub seen_us: i64,
    /// When the password was last typed, microseconds UTC.
    pub password_us: i64,
}

/// Signs a person in: keeps the hash of a new token.
pub async fn begin(tx: &mut Tx<'_>, token_hash: &[u8; 32], person: PersonId) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO web_session (token_hash, person_id, created_us, seen_us, password_us)
         VALUES (?1, ?2, ?3, ?3, ?3)",
    )
    .bind(token_hash.as_slice())
    .bind(person)
    .bind(tx.at_us)
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Who bears the token with this hash; nobody whose account is shut. Whether it is too old is the caller's question.
pub async fn find(db: &mut Db, token_hash: &[u8; 32]) -> Result<Option<SignedIn>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT person_id, name, role, s.created_us, seen_us, password_us
         FROM web_session AS s JOIN person AS p ON p.id = s.person_id
         WHERE token_hash = ? AND disabled = 0",
    )
    .bind(token_hash.as_slice())
    .fetch_optional(db)
    .await?)
}

/// Notes that the browser was heard of.
pub async fn seen(tx: &mut Tx<'_>, token_hash: &[u8; 32]) -> Result<(), StoreError> {
    sqlx::query("UPDATE web_session SET seen_us = ? WHERE token_hash = ?")
        .bind(tx.at_us)
        .bind(token_hash.as_slice())
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Notes that the password was typed again.
pub async fn password_typed(tx: &mut Tx<'_>, token_hash: &[u8; 32]) -> Result<(), StoreError> {
    sqlx::query("UPDATE web_session SET seen_us = ?1, password_us = ?1 WHERE token_hash = ?2")
        .bind(tx.at_us)
        .bind(token_hash.as_slice())
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Signs a browser out.
pub async fn end(tx: &mut Tx<'_>, token_hash: &[u8; 32]) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM web_session WHERE token_hash = ?")
        .bind(token_hash.as_slice())
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Signs a person out everywhere.
pub async fn end_all_of(tx: &mut Tx<'_>, person: PersonId) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM web_session WHERE person_id = ?").bind(person).execute(&mut **tx).await?;
    Ok(())
}

/// Forgets browsers not heard of since `seen_before_us` or signed in before `created_before_us`.
pub async fn sweep(tx: &mut Tx<'_>, seen_before_us: i64, created_before_us: i64) -> Result<u64, StoreError> {
    let done = sqlx::query("DELETE FROM web_session WHERE seen_us < ? OR created_us < ?")
        .bind(seen_before_us)
        .bind(created_before_us)
        .execute(&mut **tx)
        .await?;
    Ok(done.rows_affected())
}

/// Notes a failed try.
pub async fn failed(tx: &mut Tx<'_>, name: &str, address: &str) -> Result<(), StoreError> {
    sqlx::query("INSERT INTO failed_sign_in (name, address, at_us) VALUES (lower(?), ?, ?)")
        .bind(name)
        .bind(address)
        .bind(tx.at_us)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// Failed tries since `since_us`: for this name, from this address.
pub async fn failures(
    db: &mut Db,
    name: &str,
    address: &str,
    since_us: i64,
) -> Result<(i64, i64), StoreError> {
    Ok(sqlx::query_as(
        "SELECT count(*) FILTER (WHERE name = lower(?)), count(*) FILTER (WHERE address = ?)
         FROM failed_sign_in WHERE at_us >= ?",
    )
    .bind(name)
    .bind(address)
    .bind(since_us)
    .fetch_one(db)
    .await?)
}

/// Forgets the failed tries before `before_us`.
pub async fn forget_failures(tx: &mut Tx<'_>, before_us: i64) -> Result<(), StoreError> {
    sqlx::query("DELETE FROM failed_sign_in WHERE at_us < ?").bind(before_us).execute(&mut **tx).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::US_PER_S;
    use crate::store::{Actor, people, testing};

    #[tokio::test]
    async fn a_browser_is_signed_in_until_it_ends_or_its_account_changes() {
        let (_folder, store) = testing::store().await;
        let ada = testing::person(&store, "Ada", Role::Owner).await;
        store
            .write(Actor::Person(ada), async move |tx| {
                for n in 1..=4 {
                    begin(tx, &[n; 32], ada).await?;
                }
                end(tx, &[1; 32]).await
            })
            .await
            .unwrap();
        store.clock().advance(US_PER_S);
        store
            .write(Actor::Person(ada), async |tx| {
                seen(tx, &[2; 32]).await?;
                password_typed(tx, &[3; 32]).await
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(find(&mut db, &[1; 32]).await.unwrap(), None);
        let second = find(&mut db, &[2; 32]).await.unwrap().unwrap();
        assert_eq!((second.created_us, second.seen_us - second.created_us), (testing::NOW_US, US_PER_S));
        assert_eq!(second.password_us, testing::NOW_US);
        assert_eq!(find(&mut db, &[3; 32]).await.unwrap().unwrap().password_us, testing::NOW_US + US_PER_S);
        drop(db);
        let swept = store
            .write(Actor::Server, async move |tx| {
                let swept = sweep(tx, testing::NOW_US + 1, 0).await?;
                people::set_disabled(tx, ada, 1, true).await?;
                Ok::<_, StoreError>(swept)
            })
            .await
            .unwrap();
        assert_eq!(swept, 1);
        assert_eq!(find(&mut store.read().await.unwrap(), &[2; 32]).await.unwrap(), None);
    }

    #[tokio::test]
    async fn failed_tries_count_by_name_and_by_address() {
        let (_folder, store) = testing::store().await;
        let counts = store
            .write(Actor::Server, async |tx| {
                failed(tx, "Ada", "10.0.0.1").await?;
                failed(tx, "ada", "10.0.0.2").await?;
                failed(tx, "bea", "10.0.0.2").await?;
                let counts = failures(tx, "ADA", "10.0.0.1", testing::NOW_US).await?;
                forget_failures(tx, testing::NOW_US + 1).await?;
                assert_eq!(failures(tx, "ada", "10.0.0.2", 0).await?, (0, 0));
                Ok::<_, StoreError>(counts)
            })
            .await
            .unwrap();
        assert_eq!(counts, (2, 1));
    }
}
