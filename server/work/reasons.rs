//! The team's own short list of reasons for rulings: offered with each, never filled in.

use super::once::By;
use super::{Refusal, Result};
use crate::store::{Db, Store, StoreError, rulings};

/// What is offered until the team writes its own.
pub const USUAL: [&str; 8] = [
    "another program ran beside it",
    "wrong passage",
    "shaders were built during the pass",
    "a frame cap was on",
    "the part throttled",
    "the log is damaged",
    "wrong driver or build",
    "the disturbance belongs to the scene",
];

/// As many as there are keys for: 1 to 9.
const MOST: usize = 9;
/// Longest reason of the list, characters.
const LONGEST: usize = 80;

/// The list that stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reasons {
    /// In the order of their keys.
    pub list: Vec<String>,
    /// For stale forms; 0 while it is the program's own.
    pub version: i64,
}

/// Reads the list.
///
/// # Errors
/// When the store fails.
pub async fn read(store: &Store) -> Result<Reasons> {
    listed(&mut *store.read().await?).await
}

async fn listed(db: &mut Db) -> Result<Reasons> {
    Ok(match rulings::reason_list(db).await? {
        Some(kept) => Reasons { list: lines(&kept.reasons), version: kept.version },
        None => Reasons { list: USUAL.map(str::to_owned).to_vec(), version: 0 },
    })
}

fn lines(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

/// Keeps a list, one reason a line.
///
/// # Errors
/// Refused when it is empty or too long, or somebody changed it in between.
pub async fn keep(store: &Store, by: impl Into<By>, version: i64, text: &str) -> Result<()> {
    let list = lines(text);
    if list.is_empty() || list.len() > MOST {
        let says = format!("The list has 1 to {MOST} reasons, one a line; there are {}.", list.len());
        return Err(Refusal::field("reasons", says).into());
    }
    if let Some(long) = list.iter().find(|line| line.chars().count() > LONGEST) {
        let says = format!("'{long}' is longer than {LONGEST} characters; details go behind a reason.");
        return Err(Refusal::field("reasons", says).into());
    }
    by.into()
        .write(store, async move |tx| {
            let text = list.join("\n");
            match rulings::keep_reasons(tx, version, &text).await {
                Err(StoreError::Stale) => {
                    let theirs = listed(tx).await?.list.join("\n");
                    Err(Refusal::stale("the list of reasons", text, theirs).into())
                }
                other => Ok(other?),
            }
        })
        .await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{audit, testing};
    use crate::work::{Error, Kind};

    #[tokio::test]
    async fn the_teams_list_takes_the_place_of_the_programs_own() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        assert_eq!(read(&store).await.unwrap().list, USUAL);
        let refused = async |version, text: &str| match keep(&store, team.person, version, text).await {
            Err(Error::Refused(refusal)) => refusal.kind,
            other => panic!("{other:?}"),
        };
        assert_eq!(refused(0, " \n ").await, Kind::Invalid);
        assert_eq!(refused(0, &"x\n".repeat(10)).await, Kind::Invalid);
        assert_eq!(refused(0, &"x".repeat(81)).await, Kind::Invalid);
        keep(&store, team.person, 0, " the cat sat on it \n\nwrong lap").await.unwrap();
        let kept = read(&store).await.unwrap();
        assert_eq!((kept.list.join("|").as_str(), kept.version), ("the cat sat on it|wrong lap", 1));
        assert_eq!(refused(0, "late").await, Kind::Stale);
        keep(&store, team.person, 1, "wrong lap").await.unwrap();
        assert_eq!(refused(1, "late").await, Kind::Stale);
        let mut db = store.read().await.unwrap();
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }
}
