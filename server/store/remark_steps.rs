//! What people did with a remark: answered, settled, opened it again. And which passes were touched of late.

use serde::Serialize;

use super::audit::REMARK_STEP;
use super::words::words;
use super::{Db, PassId, RemarkId, RemarkStepId, StoreError, Tx};

words! {
    /// What somebody did with a remark.
    Does {
        /// Wrote below it.
        Answer = "answer",
        /// Settled it.
        Settle = "settle",
        /// Opened it again.
        Open = "open",
    }
}

/// One of them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct RemarkStep {
    /// Row id.
    pub id: RemarkStepId,
    /// The remark.
    pub remark_id: RemarkId,
    /// What was done.
    pub does: Does,
    /// What was written; empty: nothing.
    pub says: String,
    /// Who.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

/// The steps of all remarks on a pass, oldest first.
pub async fn of_pass(db: &mut Db, pass: PassId) -> Result<Vec<RemarkStep>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT s.id, remark_id, does, s.says, p.name AS person, s.at_us
         FROM remark_step AS s JOIN remark AS m ON m.id = s.remark_id JOIN person AS p ON p.id = s.person_id
         WHERE m.pass_id = ? ORDER BY s.id",
    )
    .bind(pass)
    .fetch_all(db)
    .await?)
}

/// Adds one, in the name of the person who acts.
pub async fn add(
    tx: &mut Tx<'_>,
    remark: RemarkId,
    does: Does,
    says: &str,
) -> Result<RemarkStepId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO remark_step (remark_id, does, says, person_id, at_us) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(remark)
    .bind(does)
    .bind(says)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(RemarkStepId)?;
    tx.record("answer", &REMARK_STEP, id).await?;
    Ok(id)
}

/// Keys of the passes that entries of the trail after one and up to another are about.
pub async fn touched(db: &mut Db, after: i64, up_to: i64) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar(
        "SELECT DISTINCT p.key FROM audit_entry AS e JOIN pass AS p ON p.id = CASE e.of_table
             WHEN 'pass' THEN e.row_id
             WHEN 'remark_step' THEN (SELECT pass_id FROM remark WHERE id = e.row ->> 'remark_id')
             ELSE e.row ->> 'pass_id' END
         WHERE e.seq > ? AND e.seq <= ?
           AND e.of_table IN ('pass', 'ruling', 'remark', 'remark_step', 'companion') ORDER BY p.key",
    )
    .bind(after)
    .bind(up_to)
    .fetch_all(db)
    .await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, Conflict, audit, rulings, testing};

    #[tokio::test]
    async fn a_remark_is_answered_and_settled_and_its_pass_is_touched() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        testing::pass(&store, team, "q").await;
        let before = *store.head().borrow();
        let by = Actor::Person(team.person);
        let tampered = store
            .write(by, async move |tx| {
                let remark = rulings::remark(tx, pass, None, "a hitch").await?;
                add(tx, remark, Does::Answer, "an updater").await?;
                add(tx, remark, Does::Settle, "").await?;
                let steps = of_pass(tx, pass).await?;
                let said: Vec<_> =
                    steps.iter().map(|s| (s.does, s.says.as_str(), s.person.as_str())).collect();
                assert_eq!(said, [(Does::Answer, "an updater", "Ada"), (Does::Settle, "", "Ada")]);
                let now = audit::head(tx).await?.seq;
                assert_eq!(touched(tx, before, now).await?, ["p"]);
                assert_eq!(touched(tx, now, now).await?, Vec::<String>::new());
                assert_eq!(audit::wrong(tx).await?, Vec::<String>::new());
                assert!(add(tx, remark, Does::Answer, " ").await.is_err());
                sqlx::query("DELETE FROM remark_step").execute(&mut **tx).await.map_err(StoreError::from)
            })
            .await;
        assert!(matches!(tampered, Err(StoreError::Conflict { kind: Conflict::AppendOnly, .. })));
    }
}
