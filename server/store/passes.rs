//! Passes: one repetition of a cell, made of a segment.

use serde::Serialize;
use weighhouse_measure::recording::Window;

use super::audit::PASS;
use super::rulings::Verdict;
use super::segments::Cut;
use super::{
    BuildId, CaptureId, CellId, Conflict, Db, DriverId, LayoutId, PartId, PassId, PersonId, PieceId,
    RigBaseId, RigId, RulingId, SceneId, SegmentId, SettingId, StoreError, TuningId, Tx, UnitId, hit,
};

/// A pass with all that pages show of it: its cell, where its frames come from, what it ran on, the ruling that
/// stands, and the cached results.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct PassRow {
    /// Row id.
    pub id: PassId,
    /// Key in addresses.
    pub key: String,
    /// Number within its cell, from 1.
    pub number: i64,
    /// When it was made of a segment, microseconds UTC.
    pub made_us: i64,
    /// For stale forms.
    pub version: i64,
    /// Its own window, ns from its first frame; none: the scene's.
    pub window_start_ns: Option<i64>,
    /// Its end, ns.
    pub window_end_ns: Option<i64>,
    /// Why it has its own window.
    pub window_reason: String,
    /// Its cell.
    pub cell_id: CellId,
    /// The cell's tuning.
    pub tuning_id: TuningId,
    /// The tuning's part.
    pub part_id: PartId,
    /// The cell's scene.
    pub scene_id: SceneId,
    /// The cell's setting.
    pub setting_id: SettingId,
    /// The scene's standard window, ns.
    pub scene_window_start_ns: i64,
    /// Its end, ns; none: to the pass's end.
    pub scene_window_end_ns: Option<i64>,
    /// Its segment.
    pub segment_id: SegmentId,
    /// File inside a container.
    pub member: String,
    /// Number of the segment within the member.
    pub segment_n: i64,
    /// What was cut out of that.
    #[sqlx(flatten)]
    #[serde(flatten)]
    pub cut: Cut,
    /// Frames.
    pub rows: i64,
    /// From the first frame's start to the last one's end, ns.
    pub span_ns: i64,
    /// UTC nanoseconds of the first frame.
    pub wall_start_ns: Option<i64>,
    /// How its columns were read.
    pub layout_id: LayoutId,
    /// Shape of the logs that it reads.
    pub layout_shape: String,
    /// Version of that layout.
    pub layout_version: i64,
    /// Its capture.
    pub capture_id: CaptureId,
    /// That capture's digest, hexadecimal.
    pub digest: String,
    /// That capture's file name.
    pub capture: String,
    /// SHA-256 of the settings file that it was run with, hexadecimal, where the rig sent it.
    pub settings_sha256: Option<String>,
    /// Base of the rig.
    pub rig_base_id: RigBaseId,
    /// The rig.
    pub rig_id: RigId,
    /// Its name.
    pub rig: String,
    /// The unit.
    pub unit_id: UnitId,
    /// Its label.
    pub unit: String,
    /// The driver.
    pub driver_id: DriverId,
    /// Its name.
    pub driver: String,
    /// The game's build.
    pub build_id: BuildId,
    /// Its name.
    pub build: String,
    /// The ruling that stands.
    pub verdict: Option<Verdict>,
    /// Its reason.
    pub reason: Option<String>,
    /// JSON list of the kinds of flag that stood when it was made.
    pub saw: Option<String>,
    /// Who made it.
    pub ruled_by: Option<PersonId>,
    /// When, microseconds UTC.
    pub ruled_us: Option<i64>,
    /// Id of that ruling.
    pub stands: Option<RulingId>,
    /// Another person's ruling that stands beside it until both are settled.
    pub against_id: Option<RulingId>,
    /// What it says.
    pub against_verdict: Option<Verdict>,
    /// Its reason.
    pub against_reason: Option<String>,
    /// Who made it.
    pub against_by: Option<PersonId>,
    /// Key of the cached measures.
    pub measures_key: Option<String>,
    /// The cached measures.
    #[serde(skip)]
    pub measures: Option<String>,
    /// Key of the cached flags.
    pub flags_key: Option<String>,
    /// The cached flags.
    #[serde(skip)]
    pub flags: Option<String>,
}

impl PassRow {
    /// The window that counts: its own, else the scene's, else all of it. Ends lie within the pass.
    pub fn window(&self) -> Window {
        let start_ns = self.window_start_ns.unwrap_or(self.scene_window_start_ns);
        let end_ns = self.window_end_ns.or(self.scene_window_end_ns).unwrap_or(self.span_ns);
        Window { start_ns: start_ns.min(self.span_ns), end_ns: end_ns.min(self.span_ns) }
    }

    /// Whether rulings of two people stand on it.
    pub fn disputed(&self) -> bool {
        self.against_id.is_some()
    }

    /// Whether it counts: not set aside, not to be run again.
    pub fn kept(&self) -> bool {
        !matches!(self.verdict, Some(Verdict::SetAside | Verdict::RunAgain))
    }
}

macro_rules! passes {
    ($rest:literal) => {
        concat!(
            "SELECT p.id, p.key, p.number, p.made_us, p.version, p.window_start_ns, p.window_end_ns, p.window_reason,
                    p.cell_id, c.tuning_id, t.part_id, c.scene_id, c.setting_id,
                    sc.window_start_ns AS scene_window_start_ns, sc.window_end_ns AS scene_window_end_ns,
                    p.segment_id, s.member, s.n AS segment_n, s.cut_start_ns, s.cut_end_ns,
                    s.rows, s.span_ns, s.wall_start_ns, s.layout_id,
                    l.shape AS layout_shape, l.version AS layout_version, s.capture_id, lower(hex(k.digest)) AS digest, k.name AS capture, k.settings_sha256,
                    p.rig_base_id, b.rig_id, r.name AS rig, p.unit_id, u.label AS unit,
                    p.driver_id, d.name AS driver, p.build_id, g.name AS build,
                    v.verdict, v.reason, v.saw, v.person_id AS ruled_by, v.at_us AS ruled_us, v.id AS stands,
                    w.id AS against_id, w.verdict AS against_verdict, w.reason AS against_reason, w.person_id AS against_by,
                    m.key AS measures_key, m.body AS measures, f.key AS flags_key, f.body AS flags
             FROM pass AS p
             JOIN cell AS c ON c.id = p.cell_id
             JOIN tuning AS t ON t.id = c.tuning_id
             JOIN scene AS sc ON sc.id = c.scene_id
             JOIN segment AS s ON s.id = p.segment_id
             JOIN layout AS l ON l.id = s.layout_id
             JOIN capture AS k ON k.id = s.capture_id
             JOIN rig_base AS b ON b.id = p.rig_base_id
             JOIN rig AS r ON r.id = b.rig_id
             JOIN unit AS u ON u.id = p.unit_id
             JOIN driver AS d ON d.id = p.driver_id
             JOIN build AS g ON g.id = p.build_id
             LEFT JOIN ruling AS v ON v.id = (SELECT max(id) FROM ruling AS x WHERE x.pass_id = p.id
                                              AND NOT EXISTS (SELECT 1 FROM dispute WHERE ruling_id = x.id))
             LEFT JOIN ruling AS w ON w.id = (SELECT max(ruling_id) FROM dispute WHERE against_id = v.id)
             LEFT JOIN pass_result AS m ON m.pass_id = p.id AND m.kind = 'measures'
             LEFT JOIN pass_result AS f ON f.pass_id = p.id AND f.kind = 'flags' ",
            $rest
        )
    };
}

/// All passes of the cells that a piece selected, by cell and number.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Vec<PassRow>, StoreError> {
    Ok(sqlx::query_as(passes!(
        "WHERE p.cell_id IN (SELECT cell_id FROM piece_cell WHERE piece_id = ?) ORDER BY p.cell_id, p.number"
    ))
    .bind(piece)
    .fetch_all(db)
    .await?)
}

/// The passes of a cell, by number.
pub async fn of_cell(db: &mut Db, cell: CellId) -> Result<Vec<PassRow>, StoreError> {
    Ok(sqlx::query_as(passes!("WHERE p.cell_id = ? ORDER BY p.number")).bind(cell).fetch_all(db).await?)
}

/// The pass with this key.
pub async fn by_key(db: &mut Db, key: &str) -> Result<Option<PassRow>, StoreError> {
    Ok(sqlx::query_as(passes!("WHERE p.key = ?")).bind(key).fetch_optional(db).await?)
}

/// One pass.
pub async fn by_id(db: &mut Db, id: PassId) -> Result<Option<PassRow>, StoreError> {
    Ok(sqlx::query_as(passes!("WHERE p.id = ?")).bind(id).fetch_optional(db).await?)
}

/// What makes a pass of a segment.
#[derive(Clone, Copy, Debug)]
pub struct NewPass {
    /// Its cell.
    pub cell_id: CellId,
    /// Its frames.
    pub segment_id: SegmentId,
    /// What the rig was.
    pub rig_base_id: RigBaseId,
    /// The sample that ran.
    pub unit_id: UnitId,
    /// Its driver.
    pub driver_id: DriverId,
    /// The game's build.
    pub build_id: BuildId,
}

/// Makes a pass of a segment of frames, with the next number of its cell. A [`Conflict::Reference`] on `pass` when
/// unit, driver and cell are not of one part, build and cell not of one scene, or the segment holds no frames.
pub async fn add(tx: &mut Tx<'_>, key: &str, new: &NewPass) -> Result<PassId, StoreError> {
    let id: Option<PassId> = sqlx::query_scalar(
        "INSERT INTO pass (key, cell_id, segment_id, number, rig_base_id, unit_id, driver_id, build_id, made_us)
         SELECT ?1, c.id, s.id, coalesce((SELECT max(number) FROM pass WHERE cell_id = c.id), 0) + 1, b.id, u.id,
                d.id, g.id, ?2
         FROM cell AS c
         JOIN tuning AS t ON t.id = c.tuning_id
         JOIN segment AS s ON s.id = ?4 AND s.kind = 'frames' AND s.visible = 1
         JOIN rig_base AS b ON b.id = ?5
         JOIN unit AS u ON u.id = ?6 AND u.part_id = t.part_id
         JOIN driver AS d ON d.id = ?7 AND d.part_id = t.part_id
         JOIN build AS g ON g.id = ?8 AND g.scene_id = c.scene_id
         WHERE c.id = ?3
         RETURNING id",
    )
    .bind(key)
    .bind(tx.at_us)
    .bind(new.cell_id)
    .bind(new.segment_id)
    .bind(new.rig_base_id)
    .bind(new.unit_id)
    .bind(new.driver_id)
    .bind(new.build_id)
    .fetch_optional(&mut **tx)
    .await?;
    let id =
        id.ok_or_else(|| StoreError::Conflict { kind: Conflict::Reference, constraint: "pass".to_owned() })?;
    tx.record("make pass", &PASS, id).await?;
    Ok(id)
}

/// Gives a pass its own window with a reason, or the scene's again.
pub async fn set_window(
    tx: &mut Tx<'_>,
    id: PassId,
    version: i64,
    window: Option<Window>,
    reason: &str,
) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE pass SET window_start_ns = ?, window_end_ns = ?, window_reason = ?, version = version + 1
         WHERE id = ? AND version = ?",
    )
    .bind(window.map(|w| w.start_ns))
    .bind(window.map(|w| w.end_ns))
    .bind(reason)
    .bind(id)
    .bind(version)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("move window", &PASS, id).await
}

/// Moves a pass to the cell, unit, driver, build and rig base it really ran, with the next number there; the same
/// rules as for [`add`] hold. The segment stays.
pub async fn reassign(tx: &mut Tx<'_>, id: PassId, version: i64, to: &NewPass) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE pass SET cell_id = n.cell_id, rig_base_id = ?4, unit_id = n.unit_id, driver_id = n.driver_id,
                build_id = n.build_id, version = version + 1,
                number = CASE WHEN pass.cell_id = n.cell_id THEN number
                              ELSE coalesce((SELECT max(number) FROM pass WHERE cell_id = n.cell_id), 0) + 1 END
         FROM (SELECT c.id AS cell_id, u.id AS unit_id, d.id AS driver_id, g.id AS build_id
               FROM cell AS c
               JOIN tuning AS t ON t.id = c.tuning_id
               JOIN unit AS u ON u.id = ?5 AND u.part_id = t.part_id
               JOIN driver AS d ON d.id = ?6 AND d.part_id = t.part_id
               JOIN build AS g ON g.id = ?7 AND g.scene_id = c.scene_id
               WHERE c.id = ?3) AS n
         WHERE pass.id = ?1 AND pass.version = ?2",
    )
    .bind(id)
    .bind(version)
    .bind(to.cell_id)
    .bind(to.rig_base_id)
    .bind(to.unit_id)
    .bind(to.driver_id)
    .bind(to.build_id)
    .execute(&mut **tx)
    .await?;
    if done.rows_affected() == 0 {
        let present: Option<i64> = sqlx::query_scalar("SELECT version FROM pass WHERE id = ?")
            .bind(id)
            .fetch_optional(&mut **tx)
            .await?;
        return Err(if present == Some(version) {
            StoreError::Conflict { kind: Conflict::Reference, constraint: "pass".to_owned() }
        } else {
            StoreError::Stale
        });
    }
    tx.record("reassign", &PASS, id).await
}

/// Rests the pass of a segment, if it has one, on another; `act` is what the trail says of it.
pub async fn rest_on(
    tx: &mut Tx<'_>,
    act: &'static str,
    old: SegmentId,
    new: SegmentId,
) -> Result<(), StoreError> {
    let id: Option<PassId> = sqlx::query_scalar(
        "UPDATE pass SET segment_id = ?2, version = version + 1 WHERE segment_id = ?1 RETURNING id",
    )
    .bind(old)
    .bind(new)
    .fetch_optional(&mut **tx)
    .await?;
    match id {
        Some(id) => tx.record(act, &PASS, id).await,
        None => Ok(()),
    }
}

/// Takes a pass away on which nothing rests yet; its companions must be gone. A [`Conflict::Reference`] when it has a
/// ruling, a remark or a companion.
pub async fn remove(tx: &mut Tx<'_>, id: PassId, version: i64) -> Result<(), StoreError> {
    let done = sqlx::query("DELETE FROM pass WHERE id = ? AND version = ?")
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("take back", &PASS, id).await
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::{Kind, Placing};

    use super::*;
    use crate::store::companions::{self, PlacedBy};
    use crate::store::results::{self, ResultKind};
    use crate::store::{Actor, audit, pieces, registers, rulings, testing};

    #[tokio::test]
    async fn a_pass_shows_all_that_stands_around_it() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let first = testing::pass(&store, team, "first").await;
        let second = testing::pass(&store, team, "second").await;
        let piece = store
            .write(Actor::Person(team.person), async move |tx| {
                let fields = pieces::PieceFields::usual("A piece", registers::parts::PartKind::Card);
                let piece = pieces::add(tx, "piece", &fields).await?;
                pieces::select(tx, piece, team.cell).await?;
                rulings::rule(tx, second, Verdict::Keep, "", "[]").await?;
                rulings::rule(tx, second, Verdict::SetAside, "an updater ran", "[\"hitches\"]").await?;
                results::keep(tx, second, ResultKind::Measures, "old", "{}").await?;
                results::keep(tx, second, ResultKind::Measures, "k1", "{\"a\":1}").await?;
                results::keep(tx, second, ResultKind::Flags, "k2", "[]").await?;
                assert_eq!(results::kept(tx, second, ResultKind::Measures, "old").await?, None);
                Ok::<_, StoreError>(piece)
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        let rows = of_piece(&mut db, piece).await.unwrap();
        assert_eq!(rows.iter().map(|r| (r.id, r.number)).collect::<Vec<_>>(), [(first, 1), (second, 2)]);
        let row = &rows[1];
        assert_eq!((row.rig.as_str(), row.unit.as_str(), row.driver.as_str()), ("alder", "A", "501.2"));
        assert_eq!((row.build.as_str(), row.capture.as_str(), row.part_id), ("1.0.3", "second", team.part));
        assert_eq!((row.rows, row.span_ns, row.digest.len()), (1000, 10_000_000_000, 64));
        assert_eq!((row.verdict, row.reason.as_deref()), (Some(Verdict::SetAside), Some("an updater ran")));
        assert_eq!((row.measures_key.as_deref(), row.measures.as_deref()), (Some("k1"), Some("{\"a\":1}")));
        assert_eq!(row.flags.as_deref(), Some("[]"));
        assert!(rows[0].kept() && !row.kept());
        assert_eq!(of_cell(&mut db, team.cell).await.unwrap(), rows);
        assert_eq!(by_key(&mut db, "second").await.unwrap().as_ref(), Some(row));
        assert_eq!(by_id(&mut db, first).await.unwrap().as_ref(), Some(&rows[0]));
        assert_eq!(by_key(&mut db, "third").await.unwrap(), None);
        let history = rulings::of_pass(&mut db, second).await.unwrap();
        assert_eq!(history.iter().map(|r| r.verdict).collect::<Vec<_>>(), [Verdict::Keep, Verdict::SetAside]);
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn a_window_of_its_own_needs_a_reason_and_goes_back_to_the_scenes() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let by = Actor::Person(team.person);
        let own = Window { start_ns: 1_000_000_000, end_ns: 99_000_000_000 };
        let bare = store.write(by, async move |tx| set_window(tx, pass, 1, Some(own), " ").await).await;
        assert!(matches!(bare, Err(StoreError::Conflict { kind: Conflict::Check, .. })));
        store
            .write(by, async move |tx| set_window(tx, pass, 1, Some(own), "menu at the start").await)
            .await
            .unwrap();
        let row = by_id(&mut store.read().await.unwrap(), pass).await.unwrap().unwrap();
        assert_eq!(row.window(), Window { start_ns: 1_000_000_000, end_ns: 10_000_000_000 });
        let stale = store.write(by, async move |tx| set_window(tx, pass, 1, None, "").await).await;
        assert!(matches!(stale, Err(StoreError::Stale)));
        store.write(by, async move |tx| set_window(tx, pass, 2, None, "").await).await.unwrap();
        let row = by_id(&mut store.read().await.unwrap(), pass).await.unwrap().unwrap();
        assert_eq!(row.window(), Window { start_ns: 0, end_ns: 10_000_000_000 });
    }

    #[tokio::test]
    async fn what_does_not_belong_together_makes_no_pass() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let sensors = testing::segment(&store, "p_sensors", Kind::Companion, 10).await;
        let new = NewPass {
            cell_id: team.cell,
            segment_id: sensors,
            rig_base_id: team.base,
            unit_id: team.unit,
            driver_id: team.driver,
            build_id: team.build,
        };
        let by = Actor::Person(team.person);
        let refused = |e: Result<(), StoreError>| match e {
            Err(StoreError::Conflict { kind: Conflict::Reference, constraint }) => constraint == "pass",
            _ => false,
        };
        assert!(refused(store.write(by, async move |tx| add(tx, "q", &new).await.map(drop)).await));
        let to = NewPass { driver_id: DriverId(99), ..new };
        assert!(refused(store.write(by, async move |tx| reassign(tx, pass, 1, &to).await).await));
        let stale = store.write(by, async move |tx| reassign(tx, pass, 5, &new).await).await;
        assert!(matches!(stale, Err(StoreError::Stale)));
    }

    #[tokio::test]
    async fn a_pass_moves_to_the_cell_it_really_ran_and_gets_the_next_number_there() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let (first, second) =
            (testing::pass(&store, team, "p").await, testing::pass(&store, team, "q").await);
        store
            .write(Actor::Person(team.person), async move |tx| {
                let row = by_id(tx, second).await?.unwrap();
                let fields = registers::tunings::TuningFields {
                    name: "300 W".to_owned(),
                    power_limit_w: Some(300),
                    ..registers::tunings::TuningFields::stock(team.part)
                };
                let tuning_id = registers::tunings::add(tx, &fields).await?;
                let of = registers::cells::CellOf {
                    tuning_id,
                    scene_id: row.scene_id,
                    setting_id: row.setting_id,
                };
                let cell_id = registers::cells::ensure(tx, of).await?;
                let to = NewPass {
                    cell_id,
                    segment_id: row.segment_id,
                    rig_base_id: row.rig_base_id,
                    unit_id: row.unit_id,
                    driver_id: row.driver_id,
                    build_id: row.build_id,
                };
                reassign(tx, second, 1, &to).await?;
                let moved = by_id(tx, second).await?.unwrap();
                assert_eq!((moved.cell_id, moved.number, moved.version), (cell_id, 1, 2));
                reassign(tx, first, 1, &to).await?;
                assert_eq!(by_id(tx, first).await?.unwrap().number, 2);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
    }

    #[tokio::test]
    async fn a_pass_is_taken_back_until_something_rests_on_it() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let (first, ruled) = (testing::pass(&store, team, "p").await, testing::pass(&store, team, "q").await);
        let by = Actor::Person(team.person);
        store
            .write(by, async move |tx| {
                results::keep(tx, first, ResultKind::Flags, "k", "[]").await?;
                rulings::rule(tx, ruled, Verdict::Keep, "", "[]").await?;
                let segment = by_id(tx, first).await?.unwrap().segment_id;
                assert!(matches!(remove(tx, first, 2).await, Err(StoreError::Stale)));
                remove(tx, first, 1).await?;
                assert_eq!(by_id(tx, first).await?, None);
                assert_eq!(crate::store::segments::waiting(tx).await?[0].id, segment);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let kept = store.write(by, async move |tx| remove(tx, ruled, 1).await).await;
        assert!(matches!(kept, Err(StoreError::Conflict { kind: Conflict::Reference, .. })));
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn companions_are_placed_moved_and_taken_away() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let sensors = testing::segment(&store, "p_sensors", Kind::Companion, 10).await;
        store
            .write(Actor::Person(team.person), async move |tx| {
                let id = companions::add(tx, pass, sensors, None, PlacedBy::Nobody).await?;
                assert_eq!(companions::of_pass(tx, pass).await?[0].placing(), None);
                let placing = Placing { offset_ns: -5, drift_ppb: 7 };
                companions::place(tx, id, 1, Some(placing), PlacedBy::Hand).await?;
                let row = companions::of_pass(tx, pass).await?.remove(0);
                assert_eq!((row.placing(), row.placed_by, row.rows), (Some(placing), PlacedBy::Hand, 10));
                companions::remove(tx, id, 2).await?;
                assert_eq!(companions::of_pass(tx, pass).await?, []);
                Ok::<_, StoreError>(())
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
        assert_eq!(companions::of_piece(&mut db, PieceId(1)).await.unwrap(), []);
    }

    #[tokio::test]
    async fn remarks_stand_on_a_pass_or_a_stretch_of_it_and_rulings_cannot_be_rewritten() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let pass = testing::pass(&store, team, "p").await;
        let by = Actor::Person(team.person);
        let tampered = store
            .write(by, async move |tx| {
                rulings::remark(tx, pass, None, "looks fine").await?;
                rulings::remark(tx, pass, Some((1, 2)), "a hitch").await?;
                let remarks = rulings::remarks(tx, pass).await?;
                assert_eq!(remarks.iter().map(|r| r.start_ns).collect::<Vec<_>>(), [None, Some(1)]);
                assert_eq!(rulings::remarks_of_piece(tx, PieceId(1)).await?, []);
                rulings::rule(tx, pass, Verdict::Keep, "", "[]").await?;
                sqlx::query("UPDATE ruling SET verdict = 'open'")
                    .execute(&mut **tx)
                    .await
                    .map_err(StoreError::from)
            })
            .await;
        assert!(matches!(tampered, Err(StoreError::Conflict { kind: Conflict::AppendOnly, .. })));
        let bare =
            store.write(by, async move |tx| rulings::rule(tx, pass, Verdict::SetAside, "", "[]").await).await;
        assert!(matches!(bare, Err(StoreError::Conflict { kind: Conflict::Check, .. })));
    }
}
