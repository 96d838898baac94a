//! Figures, and what people did with them.

use serde::{Deserialize, Serialize};

use super::audit::{FIGURE, FIGURE_STEP};
use super::words::words;
use super::{Db, FigureId, FigureStepId, PersonId, PieceId, StoreError, Tx, hit};

/// What people type of a figure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct FigureFields {
    /// What it is called.
    pub name: String,
    /// Decimal places in print.
    pub places: i64,
    /// Anything else.
    pub note: String,
}

/// A number for print.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Figure {
    /// Row id.
    pub id: FigureId,
    /// Key in addresses.
    pub key: String,
    /// Its piece.
    pub piece_id: PieceId,
    /// What it is: canonical JSON.
    pub what: String,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: FigureFields,
    /// Who made it.
    pub person_id: PersonId,
    /// That person's name.
    pub person: String,
    /// When, microseconds UTC.
    pub made_us: i64,
    /// For stale forms.
    pub version: i64,
}

macro_rules! figures {
    ($rest:literal) => {
        concat!(
            "SELECT f.id, key, piece_id, what, f.name, places, note, person_id, p.name AS person, made_us, f.version
             FROM figure AS f JOIN person AS p ON p.id = f.person_id ",
            $rest
        )
    };
}

/// The figures of a piece, in the order they were made.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<Figure>, StoreError> {
    Ok(sqlx::query_as(figures!("WHERE piece_id = ? ORDER BY f.id")).bind(piece).fetch_all(db).await?)
}

/// The figure with this key.
pub async fn by_key(db: &mut Db, key: &str) -> Result<Option<Figure>, StoreError> {
    Ok(sqlx::query_as(figures!("WHERE key = ?")).bind(key).fetch_optional(db).await?)
}

/// The figure of a piece that is this, if it was made already.
pub async fn find(db: &mut Db, piece: PieceId, what: &str) -> Result<Option<Figure>, StoreError> {
    Ok(sqlx::query_as(figures!("WHERE piece_id = ? AND what = ?"))
        .bind(piece)
        .bind(what)
        .fetch_optional(db)
        .await?)
}

/// Makes a figure in the name of the person who acts.
pub async fn add(
    tx: &mut Tx<'_>,
    key: &str,
    piece: PieceId,
    what: &str,
    f: &FigureFields,
) -> Result<FigureId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO figure (key, piece_id, what, name, places, note, person_id, made_us)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(key)
    .bind(piece)
    .bind(what)
    .bind(&f.name)
    .bind(f.places)
    .bind(&f.note)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(FigureId)?;
    tx.record("make figure", &FIGURE, id).await?;
    Ok(id)
}

/// Changes how a figure is called and printed; what it is stays.
pub async fn edit(tx: &mut Tx<'_>, id: FigureId, version: i64, f: &FigureFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE figure SET name = ?, places = ?, note = ?, version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.places)
    .bind(&f.note)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &FIGURE, id).await
}

words! {
    /// What a person does with a figure.
    Step {
        /// Puts it forward for print.
        Propose = "propose",
        /// Agrees with what another one proposed.
        Agree = "agree",
        /// Takes it back.
        Withdraw = "withdraw",
    }
}

/// What a person did with a figure.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct FigureStep {
    /// Row id.
    pub id: FigureStepId,
    /// The figure.
    pub figure_id: FigureId,
    /// What was done.
    pub step: Step,
    /// Who did it.
    pub person_id: PersonId,
    /// Their name.
    pub person: String,
    /// When, microseconds UTC.
    pub at_us: i64,
    /// SHA-256 of `rests_on`, hexadecimal.
    pub digest: String,
    /// Canonical text of all it rested on.
    #[serde(skip)]
    pub rests_on: String,
    /// The value in full, decimal text.
    pub value: String,
    /// The value as it is printed.
    pub shown: String,
    /// Agreed by the proposer working alone.
    pub alone: bool,
}

macro_rules! steps {
    ($rest:literal) => {
        concat!(
            "SELECT s.id, figure_id, step, s.person_id, p.name AS person, at_us, lower(hex(digest)) AS digest, rests_on,
                    value, shown, alone
             FROM figure_step AS s JOIN person AS p ON p.id = s.person_id ",
            $rest
        )
    };
}

/// The steps of a figure, oldest first.
pub async fn steps(db: &mut Db, figure: FigureId) -> Result<Vec<FigureStep>, StoreError> {
    Ok(sqlx::query_as(steps!("WHERE figure_id = ? ORDER BY s.id")).bind(figure).fetch_all(db).await?)
}

/// The steps of all figures of a piece, by figure, oldest first.
pub async fn steps_of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<FigureStep>, StoreError> {
    Ok(sqlx::query_as(steps!(
        "WHERE figure_id IN (SELECT id FROM figure WHERE piece_id = ?) ORDER BY figure_id, s.id"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// What a step rests on and what it says.
#[derive(Clone, Debug)]
pub struct NewStep {
    /// What is done.
    pub step: Step,
    /// SHA-256 of `rests_on`.
    pub digest: [u8; 32],
    /// Canonical text of all it rests on.
    pub rests_on: String,
    /// The value in full, decimal text.
    pub value: String,
    /// The value as it is printed.
    pub shown: String,
    /// Agreed by the proposer working alone.
    pub alone: bool,
}

/// Takes a step in the name of the person who acts. Who may take it is decided in the same transaction, from
/// [`steps`] read again in it.
pub async fn take_step(tx: &mut Tx<'_>, figure: FigureId, new: &NewStep) -> Result<FigureStepId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO figure_step (figure_id, step, person_id, at_us, digest, rests_on, value, shown, alone)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(figure)
    .bind(new.step)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .bind(new.digest.as_slice())
    .bind(&new.rests_on)
    .bind(&new.value)
    .bind(&new.shown)
    .bind(new.alone)
    .fetch_one(&mut **tx)
    .await
    .map(FigureStepId)?;
    tx.record(new.step.as_str(), &FIGURE_STEP, id).await?;
    Ok(id)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::pieces::{self, PieceFields};
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, Conflict, audit, testing};

    #[tokio::test]
    async fn a_piece_selects_declares_and_keeps_its_choices() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let id = pieces::add(tx, "k", &PieceFields::usual("A piece", PartKind::Card)).await?;
                let read = pieces::by_key(tx, "k").await?.unwrap();
                assert_eq!(read.fields, PieceFields::usual("A piece", PartKind::Card));
                let edited =
                    PieceFields { deadline_us: Some(5), baseline_part_id: Some(team.part), ..read.fields };
                pieces::edit(tx, id, 1, &edited).await?;
                assert_eq!(pieces::by_id(tx, id).await?.unwrap().fields, edited);
                assert!(matches!(pieces::edit(tx, id, 1, &edited).await, Err(StoreError::Stale)));
                for _ in 0..2 {
                    pieces::select(tx, id, team.cell).await?;
                    pieces::declare(tx, id, team.part, team.driver).await?;
                }
                assert_eq!(pieces::selected(tx, id).await?.len(), 1);
                assert_eq!(pieces::selecting(tx, team.cell).await?.len(), 1);
                assert_eq!(pieces::declared(tx, id).await?.len(), 1);
                assert_eq!(pieces::prior(tx, id).await?, None);
                assert_eq!(pieces::renew_prior(tx, id, "{}").await?, 1);
                assert_eq!(pieces::renew_prior(tx, id, "{\"d0\":\"3\"}").await?, 2);
                assert_eq!(pieces::prior(tx, id).await?.unwrap().number, 2);
                for _ in 0..2 {
                    pieces::deselect(tx, id, team.cell).await?;
                }
                assert_eq!(pieces::selected(tx, id).await?, []);
                assert_eq!(pieces::all(tx).await?.len(), 1);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn a_figure_is_made_once_and_its_steps_stay() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let fields = FigureFields { name: "Average".to_owned(), places: 1, note: String::new() };
        let twice = store
            .write(Actor::Person(team.person), async move |tx| {
                let piece = pieces::add(tx, "k", &PieceFields::usual("A piece", PartKind::Card)).await?;
                let id = add(tx, "f", piece, "{\"cell\":1}", &fields).await?;
                edit(tx, id, 1, &FigureFields { places: 0, ..fields.clone() }).await?;
                assert!(matches!(edit(tx, id, 1, &fields).await, Err(StoreError::Stale)));
                let found = find(tx, piece, "{\"cell\":1}").await?.unwrap();
                assert_eq!((found.id, found.fields.places, found.person.as_str()), (id, 0, "Ada"));
                assert_eq!(by_key(tx, "f").await?.as_ref(), Some(&found));
                for step in [Step::Propose, Step::Agree] {
                    let new = NewStep {
                        step,
                        digest: [7; 32],
                        rests_on: "1 all".to_owned(),
                        value: "123.456".to_owned(),
                        shown: "123".to_owned(),
                        alone: false,
                    };
                    take_step(tx, id, &new).await?;
                }
                let taken = steps(tx, id).await?;
                assert_eq!(taken.iter().map(|s| s.step).collect::<Vec<_>>(), [Step::Propose, Step::Agree]);
                assert_eq!(taken[0].digest, "07".repeat(32));
                assert_eq!(steps_of_piece(tx, piece).await?, taken);
                assert_eq!(of_piece(tx, piece).await?.len(), 1);
                assert_eq!(audit::wrong(tx).await?, Vec::<String>::new());
                let gone =
                    sqlx::query("DELETE FROM figure_step").execute(&mut **tx).await.map_err(StoreError::from);
                assert!(matches!(gone, Err(StoreError::Conflict { kind: Conflict::AppendOnly, .. })));
                add(tx, "g", piece, "{\"cell\":1}", &fields).await
            })
            .await;
        assert!(matches!(twice, Err(StoreError::Conflict { kind: Conflict::Unique, .. })), "{twice:?}");
    }
}
