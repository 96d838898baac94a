//! Passes that were recorded in place of ones that are to be run again.

use serde::Serialize;

use super::audit::REPLACEMENT;
use super::{Db, PassId, PersonId, PieceId, ReplacementId, StoreError, Tx};

/// A pass in another's place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Replacement {
    /// Row id.
    pub id: ReplacementId,
    /// The newer pass.
    pub pass_id: PassId,
    /// The pass in whose place it was recorded.
    pub replaces_id: PassId,
    /// Who said so.
    pub person_id: PersonId,
    /// When, microseconds UTC.
    pub at_us: i64,
}

macro_rules! replacements {
    ($rest:literal) => {
        concat!("SELECT id, pass_id, replaces_id, person_id, at_us FROM replacement ", $rest)
    };
}

/// Those among the passes of a piece, by the pass that was replaced.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Replacement>, StoreError> {
    Ok(sqlx::query_as(replacements!(
        "WHERE replaces_id IN (SELECT s.id FROM pass AS s JOIN piece_cell AS c ON c.cell_id = s.cell_id
                               WHERE c.piece_id = ?) ORDER BY replaces_id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// Those that a pass has a part in, as the newer one or as the one replaced.
pub async fn of_pass(db: &mut Db, pass: PassId) -> Result<Vec<Replacement>, StoreError> {
    Ok(sqlx::query_as(replacements!("WHERE ?1 IN (pass_id, replaces_id) ORDER BY id"))
        .bind(pass)
        .fetch_all(db)
        .await?)
}

/// Says, in the name of the person who acts, that a pass was recorded in another's place.
pub async fn tie(tx: &mut Tx<'_>, pass: PassId, replaces: PassId) -> Result<ReplacementId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO replacement (pass_id, replaces_id, person_id, at_us) VALUES (?, ?, ?, ?) RETURNING id",
    )
    .bind(pass)
    .bind(replaces)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(ReplacementId)?;
    tx.record("replace", &REPLACEMENT, id).await?;
    Ok(id)
}

/// Takes it back; where there is none, nothing is done.
pub async fn untie(tx: &mut Tx<'_>, pass: PassId, replaces: PassId) -> Result<(), StoreError> {
    let id: Option<ReplacementId> =
        sqlx::query_scalar("DELETE FROM replacement WHERE pass_id = ? AND replaces_id = ? RETURNING id")
            .bind(pass)
            .bind(replaces)
            .fetch_optional(&mut **tx)
            .await?;
    match id {
        Some(id) => tx.record("take replacement back", &REPLACEMENT, id).await,
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, Conflict, audit, testing};

    #[tokio::test]
    async fn a_pass_takes_the_place_of_one_other_until_it_is_taken_back() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let (bad, good) =
            (testing::pass(&store, team, "bad").await, testing::pass(&store, team, "good").await);
        let by = Actor::Person(team.person);
        store.write(by, async move |tx| tie(tx, good, bad).await).await.unwrap();
        let twice = store.write(by, async move |tx| tie(tx, good, bad).await).await;
        assert!(matches!(twice, Err(StoreError::Conflict { kind: Conflict::Unique, .. })), "{twice:?}");
        let mut db = store.read().await.unwrap();
        let tied = of_pass(&mut db, bad).await.unwrap();
        assert_eq!((tied[0].pass_id, tied[0].replaces_id), (good, bad));
        assert_eq!(of_pass(&mut db, good).await.unwrap(), tied);
        assert_eq!(of_piece(&mut db, PieceId(1)).await.unwrap(), []);
        drop(db);
        for _ in 0..2 {
            store.write(by, async move |tx| untie(tx, good, bad).await).await.unwrap();
        }
        let mut db = store.read().await.unwrap();
        assert_eq!(of_pass(&mut db, good).await.unwrap(), []);
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
