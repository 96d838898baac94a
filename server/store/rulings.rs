//! What people say of passes: rulings and remarks.

use serde::Serialize;

use super::audit::{DISPUTE, REASON_LIST, REMARK, RULING};
use super::words::words;
use super::{Db, PassId, PersonId, PieceId, RemarkId, RulingId, StoreError, Tx, hit};

words! {
    /// A person's decision on a pass.
    Verdict {
        /// It counts.
        Keep = "keep",
        /// It does not count.
        SetAside = "set aside",
        /// It does not count, and another one is wanted.
        RunAgain = "run again",
        /// No decision: takes an earlier one back.
        Open = "open",
    }
}

/// A ruling; the newest of a pass stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Ruling {
    /// Row id.
    pub id: RulingId,
    /// The pass.
    pub pass_id: PassId,
    /// What was decided.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// JSON list of the kinds of flag that stood.
    pub saw: String,
    /// Who decided.
    pub person_id: PersonId,
    /// Their name.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
    /// The ruling that it stands beside instead of replacing it.
    pub against_id: Option<RulingId>,
}

/// The rulings on a pass, oldest first.
pub async fn of_pass(db: &mut Db, pass: PassId) -> Result<Vec<Ruling>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT r.id, pass_id, verdict, reason, saw, person_id, p.name AS person, at_us, d.against_id
         FROM ruling AS r JOIN person AS p ON p.id = r.person_id LEFT JOIN dispute AS d ON d.ruling_id = r.id
         WHERE pass_id = ? ORDER BY r.id",
    )
    .bind(pass)
    .fetch_all(db)
    .await?)
}

/// Rules on a pass, in the name of the person who acts. `saw`: JSON list of the kinds of flag that stand.
pub async fn rule(
    tx: &mut Tx<'_>,
    pass: PassId,
    verdict: Verdict,
    reason: &str,
    saw: &str,
) -> Result<RulingId, StoreError> {
    add(tx, "rule", pass, (verdict, reason, saw)).await
}

/// Rules on a pass on which several rulings stand: this one alone stands then.
pub async fn settle(
    tx: &mut Tx<'_>,
    pass: PassId,
    verdict: Verdict,
    reason: &str,
    saw: &str,
) -> Result<RulingId, StoreError> {
    add(tx, "settle", pass, (verdict, reason, saw)).await
}

/// Rules on a pass beside the ruling `against`, which goes on to count: both stand until they are settled.
pub async fn dispute(
    tx: &mut Tx<'_>,
    pass: PassId,
    against: RulingId,
    verdict: Verdict,
    reason: &str,
    saw: &str,
) -> Result<RulingId, StoreError> {
    let id = add(tx, "dispute", pass, (verdict, reason, saw)).await?;
    let row: i64 =
        sqlx::query_scalar("INSERT INTO dispute (ruling_id, against_id) VALUES (?, ?) RETURNING id")
            .bind(id)
            .bind(against)
            .fetch_one(&mut **tx)
            .await?;
    tx.record("dispute", &DISPUTE, row).await?;
    Ok(id)
}

/// The team's own reasons.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct ReasonList {
    /// One a line.
    pub reasons: String,
    /// For stale forms.
    pub version: i64,
}

/// The team's own reasons, once somebody wrote them.
pub async fn reason_list(db: &mut Db) -> Result<Option<ReasonList>, StoreError> {
    Ok(sqlx::query_as("SELECT reasons, version FROM reason_list WHERE id = 1").fetch_optional(db).await?)
}

/// Keeps the team's reasons, one a line. `version` is that of the list that was changed; 0: none was kept yet.
pub async fn keep_reasons(tx: &mut Tx<'_>, version: i64, reasons: &str) -> Result<(), StoreError> {
    let done = if version == 0 {
        sqlx::query("INSERT INTO reason_list (id, reasons) VALUES (1, ?) ON CONFLICT DO NOTHING")
            .bind(reasons)
            .execute(&mut **tx)
            .await?
    } else {
        sqlx::query("UPDATE reason_list SET reasons = ?, version = version + 1 WHERE id = 1 AND version = ?")
            .bind(reasons)
            .bind(version)
            .execute(&mut **tx)
            .await?
    };
    hit(&done)?;
    tx.record("write reasons", &REASON_LIST, 1).await
}

/// Lets a former ruling stand again, as its maker's; without one, none stands.
pub async fn restore(tx: &mut Tx<'_>, pass: PassId, former: Option<&Ruling>) -> Result<RulingId, StoreError> {
    let none = (Verdict::Open, "", "[]");
    let says = former.map_or(none, |one| (one.verdict, one.reason.as_str(), one.saw.as_str()));
    let maker = former.map(|one| one.person_id).or(tx.by.person());
    add_of(tx, "take back", pass, says, maker).await
}

async fn add(
    tx: &mut Tx<'_>,
    act: &'static str,
    pass: PassId,
    says: (Verdict, &str, &str),
) -> Result<RulingId, StoreError> {
    let maker = tx.by.person();
    add_of(tx, act, pass, says, maker).await
}

async fn add_of(
    tx: &mut Tx<'_>,
    act: &'static str,
    pass: PassId,
    (verdict, reason, saw): (Verdict, &str, &str),
    maker: Option<PersonId>,
) -> Result<RulingId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO ruling (pass_id, verdict, reason, saw, person_id, at_us) VALUES (?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(pass)
    .bind(verdict)
    .bind(reason)
    .bind(saw)
    .bind(maker)
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(RulingId)?;
    tx.record(act, &RULING, id).await?;
    Ok(id)
}

/// Something a person wrote on a pass or on a stretch of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Remark {
    /// Row id.
    pub id: RemarkId,
    /// The pass.
    pub pass_id: PassId,
    /// Start of the stretch, ns of the pass; none: all of it.
    pub start_ns: Option<i64>,
    /// Its end.
    pub end_ns: Option<i64>,
    /// What was written.
    pub says: String,
    /// Who wrote it.
    pub person_id: PersonId,
    /// Their name.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
}

macro_rules! remarks {
    ($rest:literal) => {
        concat!(
            "SELECT m.id, pass_id, start_ns, end_ns, says, person_id, p.name AS person, at_us
             FROM remark AS m JOIN person AS p ON p.id = m.person_id ",
            $rest
        )
    };
}

/// The remarks on a pass, oldest first.
pub async fn remarks(db: &mut Db, pass: PassId) -> Result<Vec<Remark>, StoreError> {
    Ok(sqlx::query_as(remarks!("WHERE pass_id = ? ORDER BY m.id")).bind(pass).fetch_all(db).await?)
}

/// The remarks on all passes of a piece, by pass.
pub async fn remarks_of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Remark>, StoreError> {
    Ok(sqlx::query_as(remarks!(
        "WHERE pass_id IN (SELECT s.id FROM pass AS s JOIN piece_cell AS c ON c.cell_id = s.cell_id
                           WHERE c.piece_id = ?) ORDER BY pass_id, m.id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// Writes a remark on a pass, or on a stretch of it, in the name of the person who acts.
pub async fn remark(
    tx: &mut Tx<'_>,
    pass: PassId,
    stretch_ns: Option<(i64, i64)>,
    says: &str,
) -> Result<RemarkId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO remark (pass_id, start_ns, end_ns, says, person_id, at_us) VALUES (?, ?, ?, ?, ?, ?)
         RETURNING id",
    )
    .bind(pass)
    .bind(stretch_ns.map(|s| s.0))
    .bind(stretch_ns.map(|s| s.1))
    .bind(says)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(RemarkId)?;
    tx.record("remark", &REMARK, id).await?;
    Ok(id)
}
