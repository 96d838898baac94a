//! Cells: part x tuning x scene x setting, one mark in a finished chart.

use serde::{Deserialize, Serialize};

use crate::store::audit::CELL;
use crate::store::{CellId, Db, PartId, SceneId, SettingId, StoreError, TuningId, Tx, hit};

/// What makes a cell; the part is the tuning's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, sqlx::FromRow)]
pub struct CellOf {
    /// How the part is run.
    pub tuning_id: TuningId,
    /// What is played.
    pub scene_id: SceneId,
    /// At which setting.
    pub setting_id: SettingId,
}

/// A cell.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Cell {
    /// Row id.
    pub id: CellId,
    /// What makes it.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub of: CellOf,
    /// The tuning's part.
    pub part_id: PartId,
    /// Why it did not run; empty: it runs.
    pub did_not_run: String,
    /// For stale forms.
    pub version: i64,
}

macro_rules! cells {
    ($rest:literal) => {
        concat!(
            "SELECT c.id, tuning_id, scene_id, setting_id, part_id, did_not_run, c.version
             FROM cell AS c JOIN tuning AS t ON t.id = c.tuning_id ",
            $rest
        )
    };
}
pub(in crate::store) use cells;

/// All cells.
pub async fn all(db: &mut Db) -> Result<Vec<Cell>, StoreError> {
    Ok(sqlx::query_as(cells!("ORDER BY c.id")).fetch_all(db).await?)
}

/// One cell.
pub async fn by_id(db: &mut Db, id: CellId) -> Result<Option<Cell>, StoreError> {
    Ok(sqlx::query_as(cells!("WHERE c.id = ?")).bind(id).fetch_optional(db).await?)
}

/// The cell that is made of this, if it is there.
pub async fn find(db: &mut Db, of: CellOf) -> Result<Option<Cell>, StoreError> {
    Ok(sqlx::query_as(cells!("WHERE tuning_id = ? AND scene_id = ? AND setting_id = ?"))
        .bind(of.tuning_id)
        .bind(of.scene_id)
        .bind(of.setting_id)
        .fetch_optional(db)
        .await?)
}

/// The cell that is made of this, added when it is not there yet.
pub async fn ensure(tx: &mut Tx<'_>, of: CellOf) -> Result<CellId, StoreError> {
    if let Some(there) = find(tx, of).await? {
        return Ok(there.id);
    }
    let id = sqlx::query_scalar(
        "INSERT INTO cell (tuning_id, scene_id, setting_id) VALUES (?, ?, ?) RETURNING id",
    )
    .bind(of.tuning_id)
    .bind(of.scene_id)
    .bind(of.setting_id)
    .fetch_one(&mut **tx)
    .await
    .map(CellId)?;
    tx.record("add", &CELL, id).await?;
    Ok(id)
}

/// Says why a cell did not run, or with an empty reason that it runs.
pub async fn set_did_not_run(
    tx: &mut Tx<'_>,
    id: CellId,
    version: i64,
    reason: &str,
) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE cell SET did_not_run = ?, version = version + 1 WHERE id = ? AND version = ?")
            .bind(reason)
            .bind(id)
            .bind(version)
            .execute(&mut **tx)
            .await?;
    hit(&done)?;
    tx.record(if reason.is_empty() { "runs" } else { "did not run" }, &CELL, id).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::tunings::{self, TuningFields};
    use crate::store::registers::{parts, rigs, scenes, settings};
    use crate::store::{Actor, Conflict, audit, rig_keys, testing};

    #[tokio::test]
    async fn every_register_adds_reads_and_edits_what_people_type() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let rig = rigs::by_id(tx, team.rig).await?.unwrap();
                rigs::edit(
                    tx,
                    rig.id,
                    1,
                    &rigs::RigFields { note: "by the window".to_owned(), ..rig.fields },
                )
                .await?;
                let base = rigs::base(tx, team.base).await?.unwrap();
                rigs::edit_base(
                    tx,
                    base.id,
                    1,
                    &rigs::RigBaseFields { enclosure: rigs::Enclosure::Case, ..base.fields },
                )
                .await?;
                let part = parts::by_id(tx, team.part).await?.unwrap();
                assert_eq!(part.name(), "Tarnwick Curlew");
                parts::edit(tx, part.id, 1, &parts::PartFields { memory_mib: Some(16_384), ..part.fields })
                    .await?;
                let unit = parts::units(tx).await?.remove(0);
                parts::edit_unit(
                    tx,
                    unit.id,
                    1,
                    &parts::UnitFields { origin: parts::Origin::Lent, ..unit.fields },
                )
                .await?;
                let driver = parts::drivers(tx).await?.remove(0);
                parts::edit_driver(tx, driver.id, 1, &parts::DriverFields { dated_us: 9, ..driver.fields })
                    .await?;
                let scene = scenes::by_id(tx, team.scene).await?.unwrap();
                scenes::edit(
                    tx,
                    scene.id,
                    1,
                    &scenes::SceneFields { window_end_ns: Some(60_000_000_000), ..scene.fields },
                )
                .await?;
                let build = scenes::builds(tx).await?.remove(0);
                scenes::edit_build(tx, build.id, 1, &scenes::BuildFields { dated_us: 9, ..build.fields })
                    .await?;
                let setting = settings::by_id(tx, team.setting).await?.unwrap();
                settings::edit(
                    tx,
                    setting.id,
                    1,
                    &settings::SettingFields { generated: 2, ..setting.fields },
                )
                .await?;
                let tuning = tunings::by_id(tx, team.tuning).await?.unwrap();
                assert_eq!(tuning.fields, TuningFields::stock(team.part));
                tunings::edit(tx, tuning.id, 1, &TuningFields { power_limit_w: Some(300), ..tuning.fields })
                    .await?;
                set_did_not_run(tx, team.cell, 1, "out of memory").await
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(rigs::all(&mut db).await.unwrap()[0].fields.note, "by the window");
        assert_eq!(rigs::bases(&mut db).await.unwrap()[0].fields.enclosure, rigs::Enclosure::Case);
        assert_eq!(parts::all(&mut db).await.unwrap()[0].fields.memory_mib, Some(16_384));
        assert_eq!(parts::units(&mut db).await.unwrap()[0].version, 2);
        assert_eq!(scenes::all(&mut db).await.unwrap()[0].fields.window_end_ns, Some(60_000_000_000));
        assert_eq!(settings::all(&mut db).await.unwrap()[0].fields.generated, 2);
        assert_eq!(tunings::all(&mut db).await.unwrap()[0].fields.power_limit_w, Some(300));
        assert_eq!(all(&mut db).await.unwrap()[0].did_not_run, "out of memory");
        assert_eq!(by_id(&mut db, team.cell).await.unwrap().unwrap().part_id, team.part);
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn a_stale_edit_and_what_the_schema_forbids_are_told_apart() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let by = Actor::Person(team.person);
        let stale = store.write(by, async move |tx| set_did_not_run(tx, team.cell, 7, "x").await).await;
        assert!(matches!(stale, Err(StoreError::Stale)));
        let twice = store
            .write(by, async |tx| {
                let fields = rigs::RigFields { name: "alder".to_owned(), note: String::new() };
                rigs::add(tx, &fields).await
            })
            .await;
        let Err(StoreError::Conflict { kind: Conflict::Unique, constraint }) = twice else {
            panic!("{twice:?}")
        };
        assert_eq!(constraint, "rig.name");
        let nameless = store
            .write(by, async |tx| {
                rigs::add(tx, &rigs::RigFields { name: "  ".to_owned(), note: String::new() }).await
            })
            .await;
        assert!(matches!(nameless, Err(StoreError::Conflict { kind: Conflict::Check, .. })), "{nameless:?}");
        let nowhere = store
            .write(by, async |tx| {
                parts::add_driver(
                    tx,
                    &parts::DriverFields { part_id: PartId(99), name: "d".to_owned(), dated_us: 0 },
                )
                .await
            })
            .await;
        assert!(
            matches!(nowhere, Err(StoreError::Conflict { kind: Conflict::Reference, .. })),
            "{nowhere:?}"
        );
    }

    #[tokio::test]
    async fn a_cell_is_made_once() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let of = by_id(&mut store.read().await.unwrap(), team.cell).await.unwrap().unwrap().of;
        let again =
            store.write(Actor::Person(team.person), async move |tx| ensure(tx, of).await).await.unwrap();
        assert_eq!(again, team.cell);
    }

    #[tokio::test]
    async fn the_base_of_a_rig_is_the_newest_before_the_moment() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let later = store
            .write(Actor::Person(team.person), async move |tx| {
                let first = rigs::base(tx, team.base).await?.unwrap().fields;
                rigs::add_base(tx, &rigs::RigBaseFields { from_us: 1_000, ..first }).await
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(rigs::base_at(&mut db, team.rig, 999).await.unwrap().unwrap().id, team.base);
        assert_eq!(rigs::base_at(&mut db, team.rig, 1_000).await.unwrap().unwrap().id, later);
        assert_eq!(rigs::base_at(&mut db, team.rig, -1).await.unwrap(), None);
    }

    #[tokio::test]
    async fn a_price_is_decimal_text_with_a_currency() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let price = |amount: &str| parts::PriceFields {
            part_id: team.part,
            amount: amount.to_owned(),
            currency: "EUR".to_owned(),
            kind: parts::PriceKind::Street,
            country: "Nowhere".to_owned(),
            source: "a shop".to_owned(),
            dated_us: 0,
        };
        let (good, bad) = (price("1790.00"), price("1 790"));
        let by = Actor::Person(team.person);
        let kept = good.clone();
        let id = store.write(by, async move |tx| parts::add_price(tx, &kept).await).await.unwrap();
        let list = parts::PriceFields { kind: parts::PriceKind::List, ..good };
        store.write(by, async move |tx| parts::edit_price(tx, id, 1, &list).await).await.unwrap();
        let refused = store.write(by, async move |tx| parts::add_price(tx, &bad).await).await;
        assert!(matches!(refused, Err(StoreError::Conflict { kind: Conflict::Check, .. })));
        let prices = parts::prices(&mut store.read().await.unwrap()).await.unwrap();
        assert_eq!((prices[0].fields.amount.as_str(), prices[0].version), ("1790.00", 2));
        assert_eq!(prices[0].fields.kind, parts::PriceKind::List);
    }

    #[tokio::test]
    async fn a_rig_key_uploads_until_it_is_revoked() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let id = rig_keys::add(tx, team.rig, "logger", &[5; 32]).await?;
                rig_keys::used(tx, id).await?;
                let found = rig_keys::find(tx, &[5; 32]).await?.unwrap();
                assert_eq!((found.id, found.rig.as_str()), (id, "alder"));
                assert_eq!(found.last_used_us, Some(testing::NOW_US));
                rig_keys::revoke(tx, id).await?;
                assert!(matches!(rig_keys::revoke(tx, id).await, Err(StoreError::Stale)));
                assert_eq!(rig_keys::find(tx, &[5; 32]).await?, None);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(rig_keys::all(&mut db).await.unwrap()[0].revoked_us, Some(testing::NOW_US));
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
