//! The registers: what people type of rigs, parts, scenes and settings, read, checked and kept.
//!
//! Each noun is an [`Entry`]: it is read from typed texts and written back as the same texts, so that a form can be
//! shown again. [`add`] and [`edit`] keep any of them.

pub mod parts;
pub mod reading_kinds;
pub mod rigs;
pub mod scenes;
pub mod tunings;
pub mod typed;

use super::once::By;
use super::{Refusal, Result};
use crate::store::{Db, Store, StoreError, Tx};
pub use typed::{Texts, Typed};

/// What people type of one thing of the registers.
pub trait Entry: Sized + Send + 'static {
    /// Its word, also the slot of its address: `rig` in `/rigs/{rig}`.
    const THING: &'static str;
    /// What it belongs to: the part of a driver; `()` when it stands by itself.
    type Of: Copy + Send + Sync;

    /// Reads it from what was typed.
    ///
    /// # Errors
    /// Refused, naming every field that is wrong.
    fn read(of: Self::Of, typed: Typed<'_>) -> Result<Self>;

    /// As a form shows it: name of the field and its text.
    fn texts(&self) -> Texts;

    /// How a sentence calls it: 'rig alder'.
    fn called(&self) -> String;
}

/// What can be added by itself.
pub trait Add: Entry {
    /// Adds it; its row id.
    fn add(self, tx: &mut Tx<'_>) -> impl Future<Output = Result<i64>>;
}

/// What can be changed.
pub trait Edit: Entry {
    /// What it belongs to; it stays there.
    fn of(&self) -> Self::Of;

    /// Finds it by its row id.
    fn find(
        db: &mut Db,
        id: i64,
    ) -> impl Future<Output = std::result::Result<Option<Entered<Self>>, StoreError>> + Send;

    /// Changes the row that was read at `version`.
    fn edit(self, tx: &mut Tx<'_>, id: i64, version: i64) -> impl Future<Output = Result<()>>;
}

/// A thing of the registers as it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered<E> {
    /// Row id.
    pub id: i64,
    /// What was typed.
    pub entry: E,
    /// For stale forms.
    pub version: i64,
}

/// Adds `entry`: its row id.
///
/// # Errors
/// Refused when it breaks a rule, such as a name that is taken.
pub async fn add<E: Add>(store: &Store, by: impl Into<By>, entry: E) -> Result<i64> {
    by.into().write(store, async move |tx| entry.add(tx).await).await
}

/// Changes what was read at `version` into `entry`.
///
/// # Errors
/// Refused when somebody was faster, with both texts, and when it breaks a rule.
pub async fn edit<E: Edit>(store: &Store, by: impl Into<By>, id: i64, version: i64, entry: E) -> Result<()> {
    by.into()
        .write(store, async move |tx| {
            let now = E::find(tx, id).await?.ok_or_else(|| Refusal::missing(E::THING, id))?;
            if now.version != version {
                let thing = format!("this {}", E::THING);
                return Err(Refusal::stale(&thing, lines(&entry), lines(&now.entry)).into());
            }
            entry.edit(tx, id, version).await
        })
        .await
}

/// What was typed, a line a field; what is empty is left out.
fn lines<E: Entry>(entry: &E) -> String {
    let texts = entry.texts();
    let filled = texts.iter().filter(|(_, text)| !text.is_empty());
    filled.map(|(name, text)| format!("{}: {text}", name.replace('_', " "))).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::registers::rigs::RigFields;
    use crate::store::{Actor, testing};
    use crate::work::once::Once;
    use crate::work::{Error, Kind};

    #[tokio::test]
    async fn a_stale_edit_is_refused_with_both_texts_and_changes_nothing() {
        let (_folder, store) = testing::store().await;
        let team = testing::team(&store).await;
        let rig = |note: &str| RigFields { name: "alder".to_owned(), note: note.to_owned() };
        let by = Actor::Person(team.person);
        edit(&store, by, team.rig.0, 1, rig("by the window")).await.unwrap();
        let Err(Error::Refused(refusal)) = edit(&store, by, team.rig.0, 1, rig("by the door")).await else {
            panic!("kept")
        };
        assert_eq!(refusal.kind, Kind::Stale);
        let both = refusal.both.unwrap();
        assert_eq!(both.yours, "name: alder\nnote: by the door");
        assert_eq!(both.theirs, "name: alder\nnote: by the window");
        let Err(Error::Refused(refusal)) = edit(&store, by, 99, 1, rig("")).await else { panic!("kept") };
        assert_eq!(refusal.kind, Kind::Missing);
    }

    #[tokio::test]
    async fn a_form_sent_twice_adds_one() {
        let (_folder, store) = testing::store().await;
        let once = Once { key: "k".to_owned(), route: "/rigs".to_owned(), asked: vec![1] };
        let by = By::new(Actor::Server, Some(once));
        let rig =
            || rigs::NewRig::read((), Typed::new(&|name| if name == "name" { "oak" } else { "" })).unwrap();
        let first = add(&store, by.clone(), rig()).await.unwrap();
        assert_eq!(add(&store, by.clone(), rig()).await.unwrap(), first);
        assert_eq!(rigs::all(&store).await.unwrap().len(), 1);
    }
}
