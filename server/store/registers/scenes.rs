//! Scenes and the builds of their games.

use serde::{Deserialize, Serialize};
use weighhouse_measure::compare::SceneKind;

use crate::store::audit::{BUILD, SCENE};
use crate::store::words::Word;
use crate::store::{BuildId, Db, SceneId, StoreError, Tx, hit};

/// What people type of a scene.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct SceneFields {
    /// The game.
    pub game: String,
    /// The repeatable passage, unique for the game.
    pub passage: String,
    /// How it is driven.
    #[sqlx(try_from = "Word")]
    pub kind: SceneKind,
    /// When to start the log.
    pub start_cue: String,
    /// Standard window from a pass's first frame, ns.
    pub window_start_ns: i64,
    /// Its end, ns; none: to the pass's end.
    pub window_end_ns: Option<i64>,
    /// How far a window's length may differ before it is told, tenths of a per cent; none: the usual for its kind.
    pub tolerance_permille: Option<i64>,
    /// Anything else.
    pub note: String,
}

/// A game and the repeatable passage measured in it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Scene {
    /// Row id.
    pub id: SceneId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: SceneFields,
    /// For stale forms.
    pub version: i64,
}

macro_rules! scenes {
    ($rest:literal) => {
        concat!(
            "SELECT id, game, passage, kind, start_cue, window_start_ns, window_end_ns, tolerance_permille, note,
                    version FROM scene ",
            $rest
        )
    };
}

/// All scenes, by game and passage.
pub async fn all(db: &mut Db) -> Result<Vec<Scene>, StoreError> {
    Ok(sqlx::query_as(scenes!("ORDER BY game, passage")).fetch_all(db).await?)
}

/// One scene.
pub async fn by_id(db: &mut Db, id: SceneId) -> Result<Option<Scene>, StoreError> {
    Ok(sqlx::query_as(scenes!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// Adds a scene.
pub async fn add(tx: &mut Tx<'_>, f: &SceneFields) -> Result<SceneId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO scene (game, passage, kind, start_cue, window_start_ns, window_end_ns, tolerance_permille, note)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(&f.game)
    .bind(&f.passage)
    .bind(f.kind.as_str())
    .bind(&f.start_cue)
    .bind(f.window_start_ns)
    .bind(f.window_end_ns)
    .bind(f.tolerance_permille)
    .bind(&f.note)
    .fetch_one(&mut **tx)
    .await
    .map(SceneId)?;
    tx.record("add", &SCENE, id).await?;
    Ok(id)
}

/// Changes a scene.
pub async fn edit(tx: &mut Tx<'_>, id: SceneId, version: i64, f: &SceneFields) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE scene SET game = ?, passage = ?, kind = ?, start_cue = ?, window_start_ns = ?, window_end_ns = ?,
                tolerance_permille = ?, note = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(&f.game)
    .bind(&f.passage)
    .bind(f.kind.as_str())
    .bind(&f.start_cue)
    .bind(f.window_start_ns)
    .bind(f.window_end_ns)
    .bind(f.tolerance_permille)
    .bind(&f.note)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &SCENE, id).await
}

/// What people type of a build.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct BuildFields {
    /// Its scene.
    pub scene_id: SceneId,
    /// Name or number, unique for the scene.
    pub name: String,
    /// When it came out, microseconds UTC.
    pub dated_us: i64,
}

/// A game's dated build.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Build {
    /// Row id.
    pub id: BuildId,
    /// What people typed.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub fields: BuildFields,
    /// For stale forms.
    pub version: i64,
}

/// All builds, by scene, newest first.
pub async fn builds(db: &mut Db) -> Result<Vec<Build>, StoreError> {
    Ok(sqlx::query_as(
        "SELECT id, scene_id, name, dated_us, version FROM build ORDER BY scene_id, dated_us DESC, id DESC",
    )
    .fetch_all(db)
    .await?)
}

/// Adds a build.
pub async fn add_build(tx: &mut Tx<'_>, f: &BuildFields) -> Result<BuildId, StoreError> {
    let id = sqlx::query_scalar("INSERT INTO build (scene_id, name, dated_us) VALUES (?, ?, ?) RETURNING id")
        .bind(f.scene_id)
        .bind(&f.name)
        .bind(f.dated_us)
        .fetch_one(&mut **tx)
        .await
        .map(BuildId)?;
    tx.record("add", &BUILD, id).await?;
    Ok(id)
}

/// Changes a build; it stays with its scene.
pub async fn edit_build(
    tx: &mut Tx<'_>,
    id: BuildId,
    version: i64,
    f: &BuildFields,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE build SET name = ?, dated_us = ?, version = version + 1 WHERE id = ? AND version = ?",
    )
    .bind(&f.name)
    .bind(f.dated_us)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("edit", &BUILD, id).await
}
