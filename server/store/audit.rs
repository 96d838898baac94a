//! The audit trail: who did what when, with the row as it became, each entry chained to the one before.
//!
//! `digest = SHA-256(0x00 | seq | previous | at | person | rig key | act | table | row id | row)`, integers as 8
//! bytes big-endian, texts and optional values behind their length (8 bytes; all ones for 'none'). The chain shows
//! that entries were changed only to somebody who kept a head elsewhere: heads are printed on each export.

use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use sqlx::AssertSqlSafe;

pub use super::audited::*;
use super::{Db, PersonId, RigKeyId, StoreError, Tx};

/// Who acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Actor {
    /// The server itself, or somebody who is not signed in yet.
    Server,
    /// A signed-in person.
    Person(PersonId),
    /// A rig, by its key.
    RigKey(RigKeyId),
}

impl Actor {
    /// The person, if it is one.
    pub fn person(self) -> Option<PersonId> {
        if let Self::Person(id) = self { Some(id) } else { None }
    }

    /// The rig key, if it is one.
    pub fn rig_key(self) -> Option<RigKeyId> {
        if let Self::RigKey(id) = self { Some(id) } else { None }
    }
}

/// An entry of the trail.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Entry {
    /// Its number, from 1 without gaps.
    pub seq: i64,
    /// When, microseconds UTC.
    pub at_us: i64,
    /// Who, if a person.
    pub person_id: Option<PersonId>,
    /// Who, if a rig.
    pub rig_key_id: Option<RigKeyId>,
    /// What was done: 'rule', 'agree', 'upload' ...
    pub act: String,
    /// The table.
    pub of_table: String,
    /// The row.
    pub row_id: i64,
    /// The row as it became, a JSON object; none when it was removed.
    pub row: Option<String>,
    /// Digest of the entry before; zeros for the first.
    #[serde(skip)]
    pub previous: Vec<u8>,
    /// Digest of this one.
    #[serde(skip)]
    pub digest: Vec<u8>,
}

/// Where the chain stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// Number of the newest entry; 0 when there is none.
    pub seq: i64,
    /// Its digest; zeros when there is none.
    pub digest: [u8; 32],
}

impl std::fmt::Display for Head {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ", self.seq)?;
        self.digest.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl FromStr for Head {
    type Err = String;

    /// Reads a head as exports print it: the entry's number and its digest in 64 hexadecimal digits.
    fn from_str(text: &str) -> Result<Self, String> {
        let says =
            || format!("'{text}' is no head of an audit trail: a number, a blank and 64 hexadecimal digits");
        let (seq, hex) = text.trim().split_once(char::is_whitespace).ok_or_else(says)?;
        let (seq, hex) = (seq.parse().map_err(|_| says())?, hex.trim());
        if hex.len() != 64 || !hex.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(says());
        }
        let mut digest = [0; 32];
        for (at, byte) in digest.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&hex[2 * at..2 * at + 2], 16).map_err(|_| says())?;
        }
        Ok(Self { seq, digest })
    }
}

impl Entry {
    /// The digest that its content asks for.
    fn due(&self) -> [u8; 32] {
        let mut hash = Sha256::new();
        hash.update([0]);
        hash.update(self.seq.to_be_bytes());
        hash.update(&self.previous);
        hash.update(self.at_us.to_be_bytes());
        let mut field = |bytes: Option<&[u8]>| {
            let length = bytes.map_or(u64::MAX, |b| u64::try_from(b.len()).unwrap_or(u64::MAX));
            hash.update(length.to_be_bytes());
            hash.update(bytes.unwrap_or_default());
        };
        field(self.person_id.map(|p| p.0.to_be_bytes()).as_ref().map(<[u8; 8]>::as_slice));
        field(self.rig_key_id.map(|k| k.0.to_be_bytes()).as_ref().map(<[u8; 8]>::as_slice));
        field(Some(self.act.as_bytes()));
        field(Some(self.of_table.as_bytes()));
        field(Some(&self.row_id.to_be_bytes()));
        field(self.row.as_deref().map(str::as_bytes));
        hash.finalize().into()
    }
}

/// The newest entry.
pub async fn head(db: &mut Db) -> Result<Head, sqlx::Error> {
    let newest: Option<(i64, Vec<u8>)> =
        sqlx::query_as("SELECT seq, digest FROM audit_entry ORDER BY seq DESC LIMIT 1")
            .fetch_optional(db)
            .await?;
    Ok(newest.map_or(Head { seq: 0, digest: [0; 32] }, |(seq, digest)| Head {
        seq,
        digest: digest.try_into().unwrap_or([0; 32]),
    }))
}

impl Tx<'_> {
    /// Appends the row as it is now (or its absence) to the trail. Every change of an audited table is followed by
    /// this, in the function that makes it.
    pub(super) async fn record(
        &mut self,
        act: &str,
        table: &'static Audited,
        id: impl Into<i64>,
    ) -> Result<(), StoreError> {
        let id = id.into();
        let find = AssertSqlSafe(format!("SELECT now FROM ({}) WHERE id = ?", table.rows()));
        let row: Option<String> = sqlx::query_scalar(find).bind(id).fetch_optional(&mut **self).await?;
        let Head { seq, digest } = head(self).await?;
        let mut entry = Entry {
            seq: seq + 1,
            at_us: self.at_us,
            person_id: self.by.person(),
            rig_key_id: self.by.rig_key(),
            act: act.to_owned(),
            of_table: table.table.to_owned(),
            row_id: id,
            row,
            previous: digest.to_vec(),
            digest: Vec::new(),
        };
        entry.digest = entry.due().to_vec();
        insert(self, &entry).await?;
        self.head = Some(entry.seq);
        Ok(())
    }
}

async fn insert(db: &mut Db, e: &Entry) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO audit_entry (seq, at_us, person_id, rig_key_id, act, of_table, row_id, row, previous, digest)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind(e.seq)
    .bind(e.at_us)
    .bind(e.person_id)
    .bind(e.rig_key_id)
    .bind(&e.act)
    .bind(&e.of_table)
    .bind(e.row_id)
    .bind(&e.row)
    .bind(&e.previous)
    .bind(&e.digest)
    .execute(db)
    .await?;
    Ok(())
}

/// The entries after number `seq`, oldest first, at most `count`.
pub async fn after(db: &mut Db, seq: i64, count: u32) -> Result<Vec<Entry>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM audit_entry WHERE seq > ? ORDER BY seq LIMIT ?")
        .bind(seq)
        .bind(count)
        .fetch_all(db)
        .await?)
}

/// The newest entries before number `seq`, newest first, at most `count`: the trail's page.
pub async fn before(db: &mut Db, seq: i64, count: u32) -> Result<Vec<Entry>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM audit_entry WHERE seq < ? ORDER BY seq DESC LIMIT ?")
        .bind(seq)
        .bind(count)
        .fetch_all(db)
        .await?)
}

/// The history of one row, oldest first.
pub async fn of_row(
    db: &mut Db,
    table: &'static Audited,
    id: impl Into<i64>,
) -> Result<Vec<Entry>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM audit_entry WHERE of_table = ? AND row_id = ? ORDER BY seq")
        .bind(table.table)
        .bind(id.into())
        .fetch_all(db)
        .await?)
}

/// What is wrong with the trail, in words: breaks of the chain, and rows that are not as their newest entry says.
pub async fn wrong(db: &mut Db) -> Result<Vec<String>, StoreError> {
    let mut wrong = Vec::new();
    let mut last = Head { seq: 0, digest: [0; 32] };
    loop {
        let entries = after(db, last.seq, 1000).await?;
        let Some(newest) = entries.last().map(|e| e.seq) else { break };
        for entry in &entries {
            let stands =
                entry.seq == last.seq + 1 && entry.previous == last.digest && entry.digest == entry.due();
            if !stands {
                wrong.push(format!("audit entry {}: the chain is broken here", entry.seq));
            }
            last.digest = entry.digest.clone().try_into().unwrap_or([0; 32]);
            last.seq = entry.seq;
        }
        last.seq = newest;
    }
    for table in ALL {
        for (id, seq) in astray(db, table).await? {
            wrong.push(match seq {
                Some(seq) => format!("{} {id}: not as audit entry {seq} left it", table.table),
                None => format!("{} {id}: no audit entry tells of it", table.table),
            });
        }
    }
    Ok(wrong)
}

/// Why the trail does not extend one whose head was `published`; `None`: it does.
pub async fn forked(db: &mut Db, published: Head) -> Result<Option<String>, StoreError> {
    let Head { seq, digest } = published;
    if published == (Head { seq: 0, digest: [0; 32] }) {
        return Ok(None);
    }
    let there: Option<Vec<u8>> = sqlx::query_scalar("SELECT digest FROM audit_entry WHERE seq = ?")
        .bind(seq)
        .fetch_optional(&mut *db)
        .await?;
    Ok(match there {
        Some(there) if there == digest => None,
        Some(_) => Some(format!(
            "audit entry {seq}: not the one whose head was published; what came before it was written anew"
        )),
        None => Some(format!(
            "the audit trail ends at entry {}, before the published head {seq}: an older file, or its end was cut off",
            head(db).await?.seq
        )),
    })
}

/// Rows that differ from their newest entry: id, number of that entry.
async fn astray(db: &mut Db, table: &'static Audited) -> Result<Vec<(i64, Option<i64>)>, sqlx::Error> {
    // SQLite gives `row` of the row that has the greatest seq (sqlite.org/lang_select.html, 'bare columns').
    let fold = format!(
        "SELECT coalesce(e.row_id, r.id), e.seq
         FROM (SELECT row_id, row, max(seq) AS seq FROM audit_entry WHERE of_table = ? GROUP BY row_id) AS e
         FULL OUTER JOIN ({}) AS r ON r.id = e.row_id
         WHERE e.row IS NOT r.now ORDER BY 1",
        table.rows()
    );
    sqlx::query_as(AssertSqlSafe(fold)).bind(table.table).fetch_all(db).await
}
