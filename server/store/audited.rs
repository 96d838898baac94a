//! Which tables are in the audit trail, with which columns, and why the others are not.
//!
//! A test holds this list against the schema: every table is here once, every column covered or left out by name.

mod carried;
mod editions;
mod notes;
mod parts;
mod readings;

pub use carried::{CARRIED, CARRIED_CELL};
pub use editions::{EDITION, EDITION_LINK};
pub use notes::{EMBARGO_WORD, PIECE_NOTES};
pub use parts::{DRIVER, PART, PRICE, UNIT};
pub use readings::{PROOF, READING, READING_KIND, REPEAT, REPEAT_RULING, SOAK};

/// A table whose rows are in the trail.
#[derive(Debug)]
pub struct Audited {
    /// Its name.
    pub table: &'static str,
    /// What an entry carries, in this order.
    pub(super) columns: &'static [&'static str],
    /// Columns that came to the table after entries of it were written: carried where they are not null, so that an entry
    /// from before reads as one with nulls.
    pub(super) since: &'static [&'static str],
    /// Columns of bytes, carried as hexadecimal digits.
    pub(super) bytes: &'static [&'static str],
    /// Columns that no entry carries, each with its why.
    pub left_out: &'static [(&'static str, &'static str)],
    /// Which rows: all, or those that meet this condition.
    pub(super) only: Option<&'static str>,
}

impl Audited {
    const fn of(table: &'static str, columns: &'static [&'static str]) -> Self {
        Self { table, columns, since: &[], bytes: &[], left_out: &[], only: None }
    }

    /// `SELECT id, <row as JSON> AS now FROM table`, of the rows that are in the trail.
    pub(super) fn rows(&self) -> String {
        let plain = self.columns.iter().map(|c| format!("'{c}', {c}"));
        let hex = self.bytes.iter().map(|c| format!("'{c}', lower(hex({c}))"));
        let members: Vec<String> = plain.chain(hex).collect();
        let only = self.only.map_or_else(String::new, |only| format!(" WHERE {only}"));
        let mut now = format!("json_object({})", members.join(", "));
        if !self.since.is_empty() {
            // A merge patch leaves out members that are null (RFC 7396).
            let since: Vec<String> = self.since.iter().map(|c| format!("'{c}', {c}")).collect();
            now = format!("json_patch({now}, json_object({}))", since.join(", "));
        }
        format!("SELECT id, {now} AS now FROM {}{only}", self.table)
    }
}

const SECRET: &str = "a secret's hash";

/// A person.
pub const PERSON: Audited = Audited {
    left_out: &[("password_hash", SECRET)],
    ..Audited::of("person", &["id", "name", "role", "disabled", "created_us", "version"])
};
/// An invitation.
pub const INVITATION: Audited = Audited {
    left_out: &[("token_hash", SECRET)],
    ..Audited::of("invitation", &["id", "role", "made_by", "made_us", "expires_us", "used_by", "revoked_us"])
};
/// A rig key.
pub const RIG_KEY: Audited = Audited {
    left_out: &[
        ("token_hash", SECRET),
        ("last_used_us", "changes with each upload; the upload has its own entry"),
    ],
    ..Audited::of("rig_key", &["id", "rig_id", "label", "made_by", "made_us", "revoked_us"])
};
/// A rig.
pub const RIG: Audited = Audited::of("rig", &["id", "name", "note", "version"]);
/// The base of a rig from a moment on.
pub const RIG_BASE: Audited = Audited::of(
    "rig_base",
    &[
        "id",
        "rig_id",
        "from_us",
        "board",
        "processor",
        "memory",
        "os_build",
        "firmware",
        "cooling",
        "enclosure",
        "time_zone",
        "version",
    ],
);
/// A scene.
pub const SCENE: Audited = Audited::of(
    "scene",
    &[
        "id",
        "game",
        "passage",
        "kind",
        "start_cue",
        "window_start_ns",
        "window_end_ns",
        "tolerance_permille",
        "note",
        "version",
    ],
);
/// A build.
pub const BUILD: Audited = Audited::of("build", &["id", "scene_id", "name", "dated_us", "version"]);
/// A setting.
pub const SETTING: Audited = Audited::of(
    "setting",
    &["id", "name", "width_px", "height_px", "preset", "ray_tracing", "upscaling", "generated", "version"],
);
/// A tuning.
pub const TUNING: Audited = Audited::of(
    "tuning",
    &[
        "id",
        "part_id",
        "name",
        "power_limit_w",
        "core_offset_mhz",
        "memory_offset_mhz",
        "voltage_offset_mv",
        "cautions_read_by",
        "version",
    ],
);
/// A cell.
pub const CELL: Audited =
    Audited::of("cell", &["id", "tuning_id", "scene_id", "setting_id", "did_not_run", "version"]);
/// A capture, once it is visible.
pub const CAPTURE: Audited = Audited {
    bytes: &["digest"],
    left_out: &[("question", "follows from the bytes; its sentence is in the trail")],
    only: Some("visible = 1"),
    since: &["settings_sha256"],
    ..Audited::of(
        "capture",
        &[
            "id",
            "name",
            "bytes",
            "uploaded_us",
            "person_id",
            "rig_key_id",
            "rig_id",
            "start_us",
            "visible",
            "outcome",
            "says",
            "version",
        ],
    )
};
/// A layout.
pub const LAYOUT: Audited =
    Audited::of("layout", &["id", "shape", "version", "body", "decided_by", "made_us"]);
/// A segment, once it is visible.
pub const SEGMENT: Audited = Audited {
    only: Some("visible = 1"),
    since: &["cut_start_ns", "cut_end_ns"],
    ..Audited::of(
        "segment",
        &[
            "id",
            "capture_id",
            "member",
            "n",
            "layout_id",
            "kind",
            "rows",
            "span_ns",
            "wall_start_ns",
            "problems",
            "visible",
        ],
    )
};
/// A pass.
pub const PASS: Audited = Audited::of(
    "pass",
    &[
        "id",
        "key",
        "cell_id",
        "segment_id",
        "number",
        "rig_base_id",
        "unit_id",
        "driver_id",
        "build_id",
        "window_start_ns",
        "window_end_ns",
        "window_reason",
        "made_us",
        "version",
    ],
);
/// A companion.
pub const COMPANION: Audited = Audited::of(
    "companion",
    &["id", "pass_id", "segment_id", "offset_ns", "drift_ppb", "placed_by", "version"],
);
/// A ruling.
pub const RULING: Audited =
    Audited::of("ruling", &["id", "pass_id", "verdict", "reason", "saw", "person_id", "at_us"]);
/// A ruling that stands beside another.
pub const DISPUTE: Audited = Audited::of("dispute", &["id", "ruling_id", "against_id"]);
/// The team's reasons.
pub const REASON_LIST: Audited = Audited::of("reason_list", &["id", "reasons", "version"]);
/// A pass recorded in another's place.
pub const REPLACEMENT: Audited =
    Audited::of("replacement", &["id", "pass_id", "replaces_id", "person_id", "at_us"]);
/// A remark.
pub const REMARK: Audited =
    Audited::of("remark", &["id", "pass_id", "start_ns", "end_ns", "says", "person_id", "at_us"]);
/// What somebody did with a remark.
pub const REMARK_STEP: Audited =
    Audited::of("remark_step", &["id", "remark_id", "does", "says", "person_id", "at_us"]);
/// A piece.
pub const PIECE: Audited = Audited {
    since: &["agreements"],
    ..Audited::of(
        "piece",
        &[
            "id",
            "key",
            "name",
            "kind",
            "deadline_us",
            "deadline_zone",
            "passes_wanted",
            "low_definition",
            "low_permille",
            "margin_permille",
            "hand_margin_permille",
            "precision_permille",
            "baseline_part_id",
            "working_alone",
            "made_us",
            "version",
        ],
    )
};
/// A cell that a piece selected.
pub const PIECE_CELL: Audited = Audited::of("piece_cell", &["id", "piece_id", "cell_id"]);
/// The driver that a piece declares for a part.
pub const PIECE_DRIVER: Audited = Audited::of("piece_driver", &["id", "piece_id", "part_id", "driver_id"]);
/// A piece's noise prior.
pub const NOISE_PRIOR: Audited =
    Audited::of("noise_prior", &["id", "piece_id", "number", "body", "person_id", "at_us"]);
/// A figure.
pub const FIGURE: Audited = Audited::of(
    "figure",
    &["id", "key", "piece_id", "what", "name", "places", "note", "person_id", "made_us", "version"],
);
/// What a person did with a figure.
pub const FIGURE_STEP: Audited = Audited {
    bytes: &["digest"],
    ..Audited::of(
        "figure_step",
        &["id", "figure_id", "step", "person_id", "at_us", "rests_on", "value", "shown", "alone"],
    )
};
/// Which screens a piece runs.
pub const PIECE_SCREENS: Audited = Audited::of("piece_screens", &["id", "piece_id", "body", "version"]);
/// A kind of reader.
pub const READER: Audited = Audited::of(
    "reader",
    &[
        "id",
        "piece_id",
        "name",
        "owned_part_id",
        "judges_by",
        "asks_permille",
        "refresh_hz",
        "hours_a_week",
        "kwh_price",
        "kwh_currency",
        "plays",
        "version",
    ],
);
/// A kept chart.
pub const CHART: Audited =
    Audited::of("chart", &["id", "piece_id", "kind", "asked", "title", "note", "scenes", "version"]);
/// How the team's charts look.
pub const CHART_LOOK: Audited = Audited::of("chart_look", &["id", "accent", "version"]);
/// What the steps of a session take.
pub const BENCH_COST: Audited = Audited::of(
    "bench_cost",
    &["id", "swap_s", "driver_s", "restart_s", "load_s", "soak_s", "pass_s", "version"],
);
/// A rig's board beside it.
pub const BOARD: Audited = Audited {
    left_out: &[("token_hash", SECRET), ("opened_us", "who looked, not who changed")],
    ..Audited::of("board", &["id", "rig_id", "piece_id", "made_by", "made_us", "revoked_us"])
};
/// A version of a draft's text.
pub const DRAFT_TEXT: Audited = Audited {
    bytes: &["digest"],
    left_out: &[("body", "held to its digest")],
    ..Audited::of("draft_text", &["id", "piece_id", "number", "form", "person_id", "at_us"])
};
/// A number that nobody measured.
pub const QUOTE: Audited = Audited::of(
    "quote",
    &[
        "id", "piece_id", "name", "part_id", "value", "unit", "source", "link", "dated_us", "over_id",
        "version",
    ],
);
/// What was decided on a number of a draft.
pub const DRAFT_NUMBER: Audited = Audited::of(
    "draft_number",
    &["id", "piece_id", "number", "before", "behind", "link", "person_id", "at_us", "version"],
);

/// All of them.
pub(super) const ALL: &[&Audited] = &[
    &PERSON,
    &INVITATION,
    &RIG_KEY,
    &RIG,
    &RIG_BASE,
    &PART,
    &UNIT,
    &DRIVER,
    &PRICE,
    &SCENE,
    &BUILD,
    &SETTING,
    &TUNING,
    &CELL,
    &CAPTURE,
    &LAYOUT,
    &SEGMENT,
    &PASS,
    &COMPANION,
    &RULING,
    &DISPUTE,
    &REASON_LIST,
    &REPLACEMENT,
    &REMARK,
    &REMARK_STEP,
    &PIECE,
    &PIECE_CELL,
    &PIECE_DRIVER,
    &PIECE_SCREENS,
    &NOISE_PRIOR,
    &FIGURE,
    &FIGURE_STEP,
    &READER,
    &CHART,
    &CHART_LOOK,
    &BENCH_COST,
    &BOARD,
    &QUOTE,
    &EDITION,
    &EDITION_LINK,
    &DRAFT_TEXT,
    &DRAFT_NUMBER,
    &READING_KIND,
    &READING,
    &REPEAT,
    &REPEAT_RULING,
    &PROOF,
    &SOAK,
    &PIECE_NOTES,
    &EMBARGO_WORD,
    &CARRIED,
    &CARRIED_CELL,
];

/// Tables whose rows are not in the trail, each with its why. (Known to the test alone.)
#[cfg(test)]
const NOT_AUDITED: &[(&str, &str)] = &[
    ("web_session", "who is signed in now; gone when they sign out"),
    ("failed_sign_in", "forgotten after a while"),
    ("audit_entry", "the trail itself"),
    ("access_log", "who looked, not who changed; may be pruned"),
    ("first_answer", "answers given again; forgotten after a while"),
    ("capture_chunk", "held to the capture's digest"),
    ("proof_chunk", "held to the proof's digest"),
    ("track", "read from the capture's bytes"),
    ("track_chunk", "read from the capture's bytes"),
    ("strip_level", "read from the capture's bytes"),
    ("pass_result", "a cache"),
    ("_sqlx_migrations", "steps of the schema"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::testing;

    #[tokio::test]
    async fn every_table_and_column_of_the_schema_is_in_the_trail_or_named_with_a_reason() {
        let (_folder, store) = testing::store().await;
        let mut db = store.read().await.unwrap();
        let tables: Vec<String> = sqlx::query_scalar(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name",
        )
        .fetch_all(&mut *db)
        .await
        .unwrap();
        assert!(tables.len() > 30);
        for table in &tables {
            let audited: Vec<_> = ALL.iter().filter(|a| a.table == table).collect();
            let left_out = NOT_AUDITED.iter().filter(|(name, _)| name == table).count();
            assert_eq!(audited.len() + left_out, 1, "{table} must be listed once");
            let Some(audited) = audited.first() else { continue };
            let mut listed: Vec<&str> =
                audited.columns.iter().chain(audited.since).chain(audited.bytes).copied().collect();
            listed.extend(audited.left_out.iter().map(|(column, _)| *column));
            listed.sort_unstable();
            let mut present: Vec<String> = sqlx::query_scalar("SELECT name FROM pragma_table_info(?)")
                .bind(table)
                .fetch_all(&mut *db)
                .await
                .unwrap();
            present.sort_unstable();
            assert_eq!(listed, present, "columns of {table}");
        }
        assert_eq!(tables.len(), ALL.len() + NOT_AUDITED.len(), "a listed table is gone");
    }

    #[tokio::test]
    async fn a_row_is_as_an_entry_from_before_its_newer_columns_left_it_while_they_are_null() {
        let (_folder, store) = testing::store().await;
        testing::segment(&store, "a log", weighhouse_measure::recording::Kind::Frames, 3).await;
        let mut db = store.read().await.unwrap();
        let (_, now): (i64, String) =
            sqlx::query_as(sqlx::AssertSqlSafe(SEGMENT.rows())).fetch_one(&mut *db).await.unwrap();
        assert!(now.ends_with(r#""problems":"[]","visible":1}"#), "{now}");
        assert!(now.contains(r#""wall_start_ns":null"#), "{now}");
    }

    #[tokio::test]
    async fn all_tables_of_ours_are_strict() {
        let (_folder, store) = testing::store().await;
        let mut db = store.read().await.unwrap();
        let loose: Vec<String> = sqlx::query_scalar(
            "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0
             AND name NOT LIKE 'sqlite_%' AND name <> '_sqlx_migrations'",
        )
        .fetch_all(&mut *db)
        .await
        .unwrap();
        assert_eq!(loose, Vec::<String>::new());
    }
}
