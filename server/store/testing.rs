//! A store in a temporary folder, for the tests of this module and of `work`.

use tempfile::TempDir;

use super::people::{self, Role};
use super::{Actor, PersonId, Store};
use crate::clock::Clock;

/// Moment at which the tests' clock stands: 2026-03-01 12:00 UTC.
pub(crate) const NOW_US: i64 = 1_772_366_400_000_000;

/// A new store; its file goes with the folder.
pub(crate) async fn store() -> (TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("s.db"), Clock::by_hand(NOW_US)).await.unwrap();
    (folder, store)
}

/// A person with this name and role.
pub(crate) async fn person(store: &Store, name: &'static str, role: Role) -> PersonId {
    store.write(Actor::Server, async move |tx| people::add(tx, name, role, "hash").await).await.unwrap()
}
