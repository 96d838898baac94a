//! The rows that a piece rests on, as JSON: taken out of one store, and put into an empty one.
//!
//! Nothing computed is among them, no secret, and no row of another piece: parts under embargo stay at home.

use serde_json::{Map, Value};
use sqlx::AssertSqlSafe;

use super::audit::{
    BUILD, CAPTURE, CARRIED, CARRIED_CELL, CELL, CHART, CHART_LOOK, COMPANION, DISPUTE, DRIVER, FIGURE,
    FIGURE_STEP, LAYOUT, NOISE_PRIOR, PART, PASS, PIECE, PIECE_CELL, PIECE_DRIVER, PIECE_SCREENS, PRICE,
    QUOTE, READER, READING, READING_KIND, REPEAT, REPEAT_RULING, RIG, RIG_BASE, RULING, SCENE, SEGMENT,
    SETTING, TUNING, UNIT,
};
use super::audited::Audited;
use super::captures::{self, Capture};
use super::{CaptureId, Db, PieceId, StoreError, Tx};

/// Tables by name, rows as objects of their columns; bytes as hexadecimal digits.
pub type Rows = Map<String, Value>;

const CELLS: &str = "SELECT cell_id FROM piece_cell WHERE piece_id = ?1";
const PASSES: &str =
    "SELECT id FROM pass WHERE cell_id IN (SELECT cell_id FROM piece_cell WHERE piece_id = ?1)";

/// Of each table the rows of a piece (`?1`). `{cells}`, `{passes}`, `{segments}`, `{parts}`, `{readings}` stand for the ids of
/// those.
const OF_PIECE: &[(&Audited, &str)] = &[
    (&PART, "id IN ({parts})"),
    (
        &UNIT,
        "id IN (SELECT unit_id FROM pass WHERE id IN ({passes}))
         OR id IN (SELECT unit_id FROM reading WHERE id IN ({readings}))",
    ),
    (
        &DRIVER,
        "id IN (SELECT driver_id FROM pass WHERE id IN ({passes}))
         OR id IN (SELECT driver_id FROM piece_driver WHERE piece_id = ?1)
         OR id IN (SELECT driver_id FROM reading WHERE id IN ({readings}))",
    ),
    (&PRICE, "part_id IN ({parts})"),
    (
        &TUNING,
        "id IN (SELECT tuning_id FROM cell WHERE id IN ({cells})) OR name = 'stock' AND part_id IN ({parts})
         OR id IN (SELECT tuning_id FROM reading WHERE id IN ({readings}))",
    ),
    (
        &SCENE,
        "id IN (SELECT scene_id FROM cell WHERE id IN ({cells})) OR id IN (
             SELECT CAST(key AS INTEGER) FROM reader, json_each(plays, '$.scenes') WHERE piece_id = ?1)",
    ),
    (
        &SETTING,
        "id IN (SELECT setting_id FROM cell WHERE id IN ({cells})) OR id IN (
             SELECT CAST(key AS INTEGER) FROM reader, json_each(plays, '$.settings') WHERE piece_id = ?1)",
    ),
    (&BUILD, "id IN (SELECT build_id FROM pass WHERE id IN ({passes}))"),
    (&RIG, "id IN ({rigs})"),
    (&RIG_BASE, "rig_id IN ({rigs})"),
    (&CELL, "id IN ({cells})"),
    (&CAPTURE, "id IN (SELECT capture_id FROM segment WHERE id IN ({segments}))"),
    (&LAYOUT, "id IN (SELECT layout_id FROM segment WHERE id IN ({segments}))"),
    (&SEGMENT, "id IN ({segments})"),
    (&PASS, "id IN ({passes})"),
    (&COMPANION, "pass_id IN ({passes})"),
    (&RULING, "pass_id IN ({passes})"),
    (&DISPUTE, "ruling_id IN (SELECT id FROM ruling WHERE pass_id IN ({passes}))"),
    (&PIECE, "id = ?1"),
    (&PIECE_CELL, "piece_id = ?1"),
    (&PIECE_DRIVER, "piece_id = ?1"),
    (&PIECE_SCREENS, "piece_id = ?1"),
    (&CARRIED, "piece_id = ?1 AND let_go_us IS NULL"),
    (&CARRIED_CELL, "carried_id IN (SELECT id FROM carried WHERE piece_id = ?1 AND let_go_us IS NULL)"),
    (&NOISE_PRIOR, "piece_id = ?1"),
    (&READER, "piece_id = ?1"),
    (&FIGURE, "piece_id = ?1"),
    (&FIGURE_STEP, "figure_id IN (SELECT id FROM figure WHERE piece_id = ?1)"),
    (&QUOTE, "piece_id = ?1"),
    (&CHART, "piece_id = ?1"),
    (&CHART_LOOK, "id = 1 AND ?1 = ?1"),
    (&READING_KIND, "id IN (SELECT kind_id FROM reading WHERE id IN ({readings}))"),
    (&READING, "id IN ({readings})"),
    (&REPEAT, "reading_id IN ({readings})"),
    (&REPEAT_RULING, "repeat_id IN (SELECT id FROM repeat WHERE reading_id IN ({readings}))"),
];

/// Columns that stay at home, with what stands there instead: they name people and keys, or are a team's notes to itself,
/// and no figure rests on them.
const AT_HOME: &[(&str, &str, Option<&str>)] = &[
    ("capture", "person_id", None),
    ("capture", "rig_key_id", None),
    ("layout", "decided_by", None),
    ("tuning", "cautions_read_by", None),
    ("reading", "note", Some("")),
    ("rig", "note", Some("")),
    ("part", "note", Some("")),
    ("scene", "note", Some("")),
    ("figure", "note", Some("")),
];

fn filled(which: &str) -> String {
    let segments = "SELECT segment_id FROM pass WHERE id IN ({passes})
                    UNION SELECT segment_id FROM companion WHERE pass_id IN ({passes})";
    let parts = "SELECT part_id FROM tuning WHERE id IN (SELECT tuning_id FROM cell WHERE id IN ({cells}))
                 UNION SELECT part_id FROM unit WHERE id IN (SELECT unit_id FROM pass WHERE id IN ({passes}))
                 UNION SELECT part_id FROM piece_driver WHERE piece_id = ?1
                 UNION SELECT baseline_part_id FROM piece WHERE id = ?1
                 UNION SELECT owned_part_id FROM reader WHERE piece_id = ?1
                 UNION SELECT part_id FROM quote WHERE piece_id = ?1";
    // Of the parts that the piece is about; not of those that its readers own.
    let readings = "SELECT reading.id FROM reading JOIN tuning AS run ON run.id = tuning_id WHERE run.part_id IN (
                        SELECT part_id FROM tuning WHERE id IN (SELECT tuning_id FROM cell WHERE id IN ({cells}))
                        UNION SELECT part_id FROM piece_driver WHERE piece_id = ?1
                        UNION SELECT baseline_part_id FROM piece WHERE id = ?1)";
    let rigs = "SELECT rig_id FROM rig_base WHERE id IN (SELECT rig_base_id FROM pass WHERE id IN ({passes}))
                UNION SELECT rig_id FROM rig_base WHERE id IN (
                    SELECT rig_base_id FROM reading WHERE id IN ({readings}))
                UNION SELECT rig_id FROM capture WHERE id IN (
                    SELECT capture_id FROM segment WHERE id IN ({segments}))";
    which
        .replace("{rigs}", rigs)
        .replace("{readings}", readings)
        .replace("{segments}", segments)
        .replace("{parts}", parts)
        .replace("{cells}", CELLS)
        .replace("{passes}", PASSES)
}

/// All rows that a piece rests on.
pub async fn of_piece(db: &mut Db, piece: PieceId) -> Result<Rows, StoreError> {
    let mut tables = Rows::new();
    tables.insert("person".to_owned(), Value::Array(people(db, piece).await?));
    for (table, which) in OF_PIECE {
        let statement = format!(
            "SELECT now FROM ({}) WHERE id IN (SELECT id FROM {} WHERE {}) ORDER BY id",
            table.rows(),
            table.table,
            filled(which)
        );
        let texts: Vec<String> =
            sqlx::query_scalar(AssertSqlSafe(statement)).bind(piece).fetch_all(&mut *db).await?;
        let mut rows = Vec::with_capacity(texts.len());
        for text in texts {
            let mut row: Map<String, Value> = serde_json::from_str(&text).map_err(unlike)?;
            for (_, column, instead) in AT_HOME.iter().filter(|(of, _, _)| *of == table.table) {
                row.insert((*column).to_owned(), (*instead).into());
            }
            rows.push(Value::Object(row));
        }
        tables.insert(table.table.to_owned(), Value::Array(rows));
    }
    Ok(tables)
}

/// Names of those who ruled, kept the noise prior, and made or agreed on figures.
async fn people(db: &mut Db, piece: PieceId) -> Result<Vec<Value>, StoreError> {
    let statement = filled(
        "SELECT json_object('id', id, 'name', name) FROM person WHERE id IN (
             SELECT person_id FROM ruling WHERE pass_id IN ({passes})
             UNION SELECT person_id FROM noise_prior WHERE piece_id = ?1
             UNION SELECT person_id FROM carried WHERE piece_id = ?1
             UNION SELECT person_id FROM reading WHERE id IN ({readings})
             UNION SELECT person_id FROM repeat_ruling WHERE repeat_id IN (
                 SELECT id FROM repeat WHERE reading_id IN ({readings}))
             UNION SELECT person_id FROM figure WHERE piece_id = ?1
             UNION SELECT person_id FROM figure_step WHERE figure_id IN (SELECT id FROM figure WHERE piece_id = ?1))
         ORDER BY id",
    );
    let texts: Vec<String> = sqlx::query_scalar(AssertSqlSafe(statement)).bind(piece).fetch_all(db).await?;
    texts.iter().map(|text| serde_json::from_str(text).map_err(unlike)).collect()
}

/// The captures that a piece rests on, in the order in which they came.
pub async fn captures(db: &mut Db, piece: PieceId) -> Result<Vec<Capture>, StoreError> {
    let statement =
        filled("SELECT DISTINCT capture_id FROM segment WHERE id IN ({segments}) ORDER BY capture_id");
    let ids: Vec<CaptureId> =
        sqlx::query_scalar(AssertSqlSafe(statement)).bind(piece).fetch_all(&mut *db).await?;
    let mut found = captures::newest(db, u32::MAX).await?;
    found.retain(|capture| ids.binary_search(&capture.id).is_ok());
    found.reverse();
    Ok(found)
}

/// Bytes of the captures that a piece rests on.
pub async fn captured_bytes(db: &mut Db, piece: PieceId) -> Result<i64, StoreError> {
    let statement = filled(
        "SELECT coalesce(sum(bytes), 0) FROM capture WHERE id IN (
             SELECT capture_id FROM segment WHERE id IN ({segments}))",
    );
    Ok(sqlx::query_scalar(AssertSqlSafe(statement)).bind(piece).fetch_one(db).await?)
}

fn unlike(error: serde_json::Error) -> StoreError {
    StoreError::Other(format!("rows that are not as they must be: {error}"))
}

/// Puts rows into a store that has none of them. They are not in its audit trail: the store is for computing only.
///
/// # Errors
/// When a row breaks a rule of the schema, or names another that is not there.
pub async fn fill(tx: &mut Tx<'_>, tables: &Rows) -> Result<(), StoreError> {
    sqlx::query("PRAGMA defer_foreign_keys = ON").execute(&mut **tx).await?;
    let rows = |table: &str| tables.get(table).unwrap_or(&Value::Array(Vec::new())).to_string();
    sqlx::query(
        "INSERT INTO person (id, name, role, password_hash, created_us)
         SELECT value ->> 'id', value ->> 'name', 'member', '', 0 FROM json_each(?)",
    )
    .bind(rows("person"))
    .execute(&mut **tx)
    .await?;
    for (table, _) in OF_PIECE {
        let plain = table.columns.iter().chain(table.since);
        let columns: Vec<&str> = plain.clone().chain(table.bytes).copied().collect();
        let values: Vec<String> = plain
            .map(|column| format!("value ->> '{column}'"))
            .chain(table.bytes.iter().map(|column| format!("unhex(value ->> '{column}')")))
            .collect();
        let statement = format!(
            "INSERT INTO {} ({}) SELECT {} FROM json_each(?)",
            table.table,
            columns.join(", "),
            values.join(", ")
        );
        sqlx::query(AssertSqlSafe(statement)).bind(rows(table.table)).execute(&mut **tx).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use weighhouse_measure::recording::Kind;

    use super::*;
    use crate::store::pieces::{self, PieceFields};
    use crate::store::registers::parts::PartKind;
    use crate::store::{Actor, testing};

    #[tokio::test]
    async fn what_is_taken_out_of_one_store_and_put_into_another_is_the_same_and_no_secret_is_in_it() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        testing::segment(&store, "of no piece", Kind::Frames, 3).await;
        let piece = store
            .write(Actor::Person(team.person), async move |tx| {
                let fields = PieceFields::usual("Curlew", PartKind::Card);
                let piece = pieces::add(tx, "p1", &fields).await?;
                pieces::select(tx, piece, team.cell).await?;
                sqlx::query("UPDATE scene SET note = 'between us'").execute(&mut **tx).await?;
                Ok::<_, StoreError>(piece)
            })
            .await
            .unwrap();
        let rows = of_piece(&mut store.read().await.unwrap(), piece).await.unwrap();
        assert_eq!(rows["cell"].as_array().unwrap().len(), 1);
        assert_eq!(rows["capture"], Value::Array(Vec::new()), "of no piece");
        assert_eq!(captured_bytes(&mut store.read().await.unwrap(), piece).await.unwrap(), 0);
        assert_eq!(captures(&mut store.read().await.unwrap(), piece).await.unwrap(), []);
        let text = Value::Object(rows.clone()).to_string();
        assert!(!text.contains("hash") && !text.contains("between us"), "{text}");

        let (_folder, other) = testing::store().await;
        let put = rows.clone();
        other.write(Actor::Server, async move |tx| fill(tx, &put).await).await.unwrap();
        assert_eq!(of_piece(&mut other.read().await.unwrap(), piece).await.unwrap(), rows);

        let (_folder, third) = testing::store().await;
        let mut broken = rows;
        broken.insert("scene".to_owned(), Value::Array(Vec::new()));
        assert!(third.write(Actor::Server, async move |tx| fill(tx, &broken).await).await.is_err());
    }
}
