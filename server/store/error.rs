//! What can go wrong with the store, sorted by what the caller can do about it.

/// A statement or a transaction failed. A row that is not there is no error: it is `Ok(None)`.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The row breaks a rule of the schema; the user can mend it.
    #[error("{kind} breaks {constraint}")]
    Conflict {
        /// Which sort of rule.
        kind: Conflict,
        /// The rule: `table.column` for a unique one, the name or the condition for a check, empty for a reference.
        constraint: String,
    },
    /// Somebody else changed the row since it was read: show both texts.
    #[error("changed by somebody else since it was read")]
    Stale,
    /// No room on the disk. Nothing of the transaction was kept; what was there before is whole.
    #[error("no room left on the disk of the store")]
    DiskFull,
    /// COMMIT gave an I/O error: the change may or may not have been kept. Retry with the same key after a restart.
    /// The store takes no further write, since what the disk holds is not known.
    #[error(
        "the disk failed while a change was being kept; it may or may not be there. Restart and try again"
    )]
    OutcomeUnknown,
    /// The store is closed, or has stopped writing after [`StoreError::OutcomeUnknown`].
    #[error("the store takes no writes any more")]
    Stopped,
    /// Anything else, to be logged.
    #[error("the store failed: {0}")]
    Other(String),
}

/// The sorts of rules that a row can break.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conflict {
    /// There is such a row already.
    Unique,
    /// It refers to what is not there, or what refers to it stands in the way.
    Reference,
    /// A value is outside what is allowed, or missing.
    Check,
    /// The table is append-only.
    AppendOnly,
}

impl std::fmt::Display for Conflict {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Unique => "a value that is already there",
            Self::Reference => "a reference",
            Self::Check => "a value",
            Self::AppendOnly => "a change",
        })
    }
}

// Result codes of sqlite3.h (primary code in the low byte).
const SQLITE_IOERR: i32 = 10;
const SQLITE_FULL: i32 = 13;
const SQLITE_CONSTRAINT_CHECK: i32 = 275;
const SQLITE_CONSTRAINT_FOREIGNKEY: i32 = 787;
const SQLITE_CONSTRAINT_NOTNULL: i32 = 1299;
const SQLITE_CONSTRAINT_PRIMARYKEY: i32 = 1555;
const SQLITE_CONSTRAINT_TRIGGER: i32 = 1811;
const SQLITE_CONSTRAINT_UNIQUE: i32 = 2067;
const SQLITE_CONSTRAINT_ROWID: i32 = 2579;

fn code(error: &sqlx::Error) -> Option<i32> {
    error.as_database_error()?.code()?.parse().ok()
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        let Some(code) = code(&error) else { return Self::Other(error.to_string()) };
        let message = error.as_database_error().map_or_else(String::new, |e| e.message().to_owned());
        // 'UNIQUE constraint failed: rig.name', 'UNIQUE constraint failed: index 'person_name''
        let rule = message.split_once(": ").map_or("", |(_, rule)| rule).trim_start_matches("index ");
        let conflict = |kind| Self::Conflict { kind, constraint: rule.trim_matches('\'').to_owned() };
        match code {
            SQLITE_CONSTRAINT_UNIQUE | SQLITE_CONSTRAINT_PRIMARYKEY | SQLITE_CONSTRAINT_ROWID => {
                conflict(Conflict::Unique)
            }
            SQLITE_CONSTRAINT_FOREIGNKEY => conflict(Conflict::Reference),
            SQLITE_CONSTRAINT_CHECK | SQLITE_CONSTRAINT_NOTNULL => conflict(Conflict::Check),
            SQLITE_CONSTRAINT_TRIGGER => Self::Conflict { kind: Conflict::AppendOnly, constraint: message },
            other if other & 0xff == SQLITE_FULL => Self::DiskFull,
            _ => Self::Other(error.to_string()),
        }
    }
}

/// Sorts an error of COMMIT: an I/O error leaves open what the disk holds, all else left nothing behind.
pub(super) fn at_commit(error: sqlx::Error) -> StoreError {
    match code(&error) {
        Some(code) if code & 0xff == SQLITE_IOERR => {
            tracing::error!(%error, "COMMIT failed on the disk; no further writes");
            StoreError::OutcomeUnknown
        }
        _ => error.into(),
    }
}
