//! Which logs of a folder are here already, so that only the others need be sent.

use crate::store::captures::{self, Capture};
use crate::store::{Db, Store};

use super::{Refusal, Result};

/// Files that may be asked about at once.
pub const MOST: usize = 200;

/// A file that somebody is about to send.
#[derive(Clone, Debug)]
pub struct Offered {
    /// Its length in bytes.
    pub bytes: i64,
    /// SHA-256 of its bytes; none where the sender cannot compute it.
    pub digest: Option<[u8; 32]>,
}

/// Whether it is here.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Here {
    /// The same bytes are.
    Yes(Box<Capture>),
    /// Some log of the same length is: only its bytes can tell.
    Perhaps,
    /// No.
    No,
}

/// Looks for each of the files, in their order.
///
/// # Errors
/// Refused when too many are asked about at once; when the store fails.
pub async fn here(store: &Store, offered: &[Offered]) -> Result<Vec<Here>> {
    if offered.len() > MOST {
        let says = format!("{} files at once are too many: ask about at most {MOST}.", offered.len());
        return Err(Refusal::field("bytes", says).into());
    }
    let mut db = store.read().await?;
    let mut found = Vec::with_capacity(offered.len());
    for file in offered {
        found.push(one(&mut db, file).await?);
    }
    Ok(found)
}

async fn one(db: &mut Db, file: &Offered) -> Result<Here> {
    Ok(match &file.digest {
        Some(digest) => match captures::by_digest(db, digest).await? {
            Some(capture) if capture.bytes == file.bytes => Here::Yes(Box::new(capture)),
            _ => Here::No,
        },
        None if captures::has_length(db, file.bytes).await? => Here::Perhaps,
        None => Here::No,
    })
}
