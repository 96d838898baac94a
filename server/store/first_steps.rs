//! How far a new team has come: what each later step needs, until it has its first pass.

use super::{Db, StoreError};

/// What is there of all that a first pass needs.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct FirstSteps {
    /// A rig with a base.
    pub rig: bool,
    /// A part with a unit and a driver.
    pub part: bool,
    /// A scene with a build.
    pub scene: bool,
    /// A setting.
    pub setting: bool,
    /// Key of the newest piece.
    pub piece: Option<String>,
    /// A cell of that piece.
    pub cell: bool,
    /// A log.
    pub log: bool,
}

/// How far the team has come; nothing once it has a pass.
pub async fn read(db: &mut Db) -> Result<Option<FirstSteps>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT EXISTS (SELECT 1 FROM rig_base) AS rig,
                EXISTS (SELECT 1 FROM unit JOIN driver USING (part_id)) AS part,
                EXISTS (SELECT 1 FROM build) AS scene,
                EXISTS (SELECT 1 FROM setting) AS setting,
                (SELECT key FROM piece ORDER BY id DESC LIMIT 1) AS piece,
                EXISTS (SELECT 1 FROM piece_cell WHERE piece_id = (SELECT max(id) FROM piece)) AS cell,
                EXISTS (SELECT 1 FROM capture) AS log
         WHERE NOT EXISTS (SELECT 1 FROM pass)",
    )
    .fetch_optional(db)
    .await?)
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Kind;

    use super::*;
    use crate::store::pieces::{self, PieceFields};
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, Store, testing};

    async fn now(store: &Store) -> Option<FirstSteps> {
        read(&mut store.read().await.unwrap()).await.unwrap()
    }

    #[tokio::test]
    async fn each_step_is_there_once_all_that_it_needs_is_and_nothing_is_said_after_the_first_pass() {
        let (_folder, store) = testing::store().await;
        let none = now(&store).await.unwrap();
        assert_eq!(
            (none.rig, none.part, none.scene, none.log, none.piece),
            (false, false, false, false, None)
        );
        let team = testing::team(&store).await;
        let entered = now(&store).await.unwrap();
        assert!(entered.rig && entered.part && entered.scene && entered.setting && !entered.cell);
        store
            .write(Actor::Person(team.person), async move |tx| {
                let piece = pieces::add(tx, "k1", &PieceFields::usual("Piece", PartKind::Card)).await?;
                pieces::select(tx, piece, team.cell).await
            })
            .await
            .unwrap();
        let chosen = now(&store).await.unwrap();
        assert_eq!((chosen.piece.as_deref(), chosen.cell, chosen.log), (Some("k1"), true, false));
        testing::segment(&store, "a.csv", Kind::Frames, 10).await;
        assert!(now(&store).await.unwrap().log);
        testing::pass(&store, team, "p1").await;
        assert_eq!(now(&store).await, None);
    }
}
