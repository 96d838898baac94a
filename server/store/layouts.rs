//! Layouts: how the columns of a kind of log are read, versioned for each shape of header. A version is never edited.

use serde::Serialize;
use weighhouse_measure::intake::Layout;
use weighhouse_measure::recording::Kind;

use super::audit::LAYOUT;
use super::{CaptureId, Db, LayoutId, PersonId, StoreError, Tx};

/// How the columns of a kind of log are read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct LayoutRow {
    /// Row id.
    pub id: LayoutId,
    /// Shape of the header that it is remembered by.
    pub shape: String,
    /// Its version for that shape, from 1.
    pub version: i64,
    /// The layout as JSON.
    pub body: String,
    /// Who answered; nobody: proved by the data.
    pub decided_by: Option<PersonId>,
    /// When, microseconds UTC.
    pub made_us: i64,
}

impl LayoutRow {
    /// The layout; none where its form is an older one.
    pub fn layout(&self) -> Option<Layout> {
        serde_json::from_str(&self.body).ok()
    }
}

macro_rules! layouts {
    ($rest:literal) => {
        concat!("SELECT id, shape, version, body, decided_by, made_us FROM layout AS l ", $rest)
    };
}

/// One layout.
pub async fn by_id(db: &mut Db, id: LayoutId) -> Result<Option<LayoutRow>, StoreError> {
    Ok(sqlx::query_as(layouts!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// The versions of a shape, newest first.
pub async fn of_shape(db: &mut Db, shape: &str) -> Result<Vec<LayoutRow>, StoreError> {
    Ok(sqlx::query_as(layouts!("WHERE shape = ? ORDER BY version DESC")).bind(shape).fetch_all(db).await?)
}

/// What a person said of each shape last: these are remembered.
pub async fn remembered(db: &mut Db) -> Result<Vec<LayoutRow>, StoreError> {
    Ok(sqlx::query_as(layouts!(
        "WHERE version = (SELECT max(version) FROM layout WHERE shape = l.shape AND decided_by IS NOT NULL)
         ORDER BY id"
    ))
    .fetch_all(db)
    .await?)
}

/// How often a layout was used.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct Used {
    /// The layout.
    pub layout_id: LayoutId,
    /// Captures with a segment that was read with it.
    pub logs: i64,
    /// Passes whose frames or companions those are.
    pub passes: i64,
    /// When the newest of them came, microseconds UTC.
    pub last_us: i64,
    /// That capture.
    pub newest: CaptureId,
    /// Its file name.
    pub file: String,
}

/// The layouts that logs are read with, last seen first.
pub async fn used(db: &mut Db) -> Result<Vec<Used>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT u.*, k.name AS file FROM (
             SELECT s.layout_id, count(DISTINCT s.capture_id) AS logs,
                    count(DISTINCT coalesce(p.id, o.pass_id)) AS passes, max(c.uploaded_us) AS last_us,
                    max(c.id) AS newest
             FROM segment AS s JOIN capture AS c ON c.id = s.capture_id
             LEFT JOIN pass AS p ON p.segment_id = s.id LEFT JOIN companion AS o ON o.segment_id = s.id
             WHERE s.visible = 1 GROUP BY s.layout_id) AS u
         JOIN capture AS k ON k.id = u.newest ORDER BY last_us DESC, layout_id DESC",
    )
    .fetch_all(db)
    .await?)
}

/// Keeps how a log was read: the newest version of its shape that reads alike, else a new one. What a person said
/// becomes the newest that is remembered.
pub async fn keep(
    tx: &mut Tx<'_>,
    layout: &Layout,
    decided_by: Option<PersonId>,
) -> Result<LayoutId, StoreError> {
    let shape = layout.shape();
    let versions = of_shape(tx, &shape).await?;
    let alike = |row: &&LayoutRow| row.layout().is_some_and(|there| read_alike(&there, layout));
    let there = match decided_by {
        None => versions.iter().find(alike),
        Some(_) => versions.iter().find(|row| row.decided_by.is_some()).filter(alike),
    };
    if let Some(there) = there {
        return Ok(there.id);
    }
    let body = serde_json::to_string(layout).map_err(|e| StoreError::Other(format!("a layout: {e}")))?;
    let id = sqlx::query_scalar(
        "INSERT INTO layout (shape, version, body, decided_by, made_us) VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(shape)
    .bind(versions.first().map_or(1, |newest| newest.version + 1))
    .bind(body)
    .bind(decided_by)
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(LayoutId)?;
    tx.record("lay out", &LAYOUT, id).await?;
    Ok(id)
}

/// Whether two layouts of one shape read a log alike. How its text is written (encoding, marks, line of the header) is
/// found in each log anew, and what proves a column differs from log to log.
pub fn read_alike(a: &Layout, b: &Layout) -> bool {
    let columns = |l: &Layout| l.columns.iter().map(|c| (c.index, c.role, c.unit)).collect::<Vec<_>>();
    let timed = |l: &Layout| (l.clock.is_some() || l.kind == Kind::Companion).then_some(l.stamp_at);
    (a.form, a.kind, a.clock, timed(a)) == (b.form, b.kind, b.clock, timed(b))
        && (&a.only, a.dropped) == (&b.only, b.dropped)
        && columns(a) == columns(b)
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Unit;

    use super::*;
    use crate::store::testing;
    use crate::store::{Actor, audit};

    #[tokio::test]
    async fn a_layout_gets_a_new_version_only_when_it_reads_otherwise() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let who = Some(team.person);
        let frames = testing::layout("value");
        let mut other = frames.clone();
        other.columns[0].unit = Unit::Microsecond;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let first = keep(tx, &frames, None).await?;
                let mut again = frames.clone();
                again.header_line = 7;
                again.columns[0].why = "to 0.01 %".to_owned();
                assert_eq!(keep(tx, &again, None).await?, first, "the same reading of another log");
                let answered = keep(tx, &frames, who).await?;
                assert_ne!(answered, first);
                assert_eq!(keep(tx, &frames, who).await?, answered);
                assert_eq!(keep(tx, &again, None).await?, answered);
                let proved = keep(tx, &other, None).await?;
                assert_eq!(by_id(tx, proved).await?.unwrap().version, 3);
                let remembered_ids: Vec<_> = remembered(tx).await?.iter().map(|l| l.id).collect();
                assert_eq!(remembered_ids, [answered], "what was said is remembered beside what is proved");
                let corrected = keep(tx, &other, who).await?;
                let back = keep(tx, &frames, who).await?;
                let versions: Vec<_> = of_shape(tx, &frames.shape()).await?.iter().map(|l| l.id).collect();
                assert_eq!(versions, [back, corrected, proved, answered, first]);
                assert_eq!(remembered(tx).await?[0].id, back);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn it_is_told_how_often_a_layout_is_used_and_when_last() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::pass(&store, team, "first").await;
        testing::segment(&store, "second", Kind::Frames, 9).await;
        let mut db = store.read().await.unwrap();
        let used = used(&mut db).await.unwrap();
        assert_eq!(used.len(), 1);
        assert_eq!((used[0].logs, used[0].passes, used[0].file.as_str()), (2, 1, "second"));
        assert_eq!((used[0].last_us, used[0].newest), (testing::NOW_US, CaptureId(2)));
    }
}
