//! People: their accounts and the one-time links that make them.

use serde::{Deserialize, Serialize};

use super::audit::{INVITATION, PERSON};
use super::words::words;
use super::{Db, InvitationId, PersonId, StoreError, Tx, hit, sign_in};

words! {
    /// What a person may do.
    Role {
        /// Reads.
        Guest = "guest",
        /// Reads and works.
        Member = "member",
        /// Also looks after people and rig keys.
        Owner = "owner",
    }
}

/// A person with an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, sqlx::FromRow)]
pub struct Person {
    /// Row id.
    pub id: PersonId,
    /// Name to sign in with, unique without regard to case.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// May not sign in any more.
    pub disabled: bool,
    /// Since when, microseconds UTC.
    pub created_us: i64,
    /// For stale forms.
    pub version: i64,
    /// PHC string; never shown, never in the trail.
    #[serde(skip)]
    pub password_hash: String,
}

macro_rules! persons {
    ($rest:literal) => {
        concat!("SELECT id, name, role, disabled, created_us, version, password_hash FROM person ", $rest)
    };
}

/// Everybody, by name.
pub async fn all(db: &mut Db) -> Result<Vec<Person>, StoreError> {
    Ok(sqlx::query_as(persons!("ORDER BY lower(name)")).fetch_all(db).await?)
}

/// One person.
pub async fn by_id(db: &mut Db, id: PersonId) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as(persons!("WHERE id = ?")).bind(id).fetch_optional(db).await?)
}

/// The person who signs in with this name, in whatever case.
pub async fn by_name(db: &mut Db, name: &str) -> Result<Option<Person>, StoreError> {
    Ok(sqlx::query_as(persons!("WHERE lower(name) = lower(?)")).bind(name).fetch_optional(db).await?)
}

/// How many owners can sign in: the last one can be neither disabled nor demoted.
pub async fn owners(db: &mut Db) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar("SELECT count(*) FROM person WHERE role = 'owner' AND disabled = 0")
        .fetch_one(db)
        .await?)
}

/// Makes an account.
pub async fn add(
    tx: &mut Tx<'_>,
    name: &str,
    role: Role,
    password_hash: &str,
) -> Result<PersonId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO person (name, role, password_hash, created_us) VALUES (?, ?, ?, ?) RETURNING id",
    )
    .bind(name)
    .bind(role)
    .bind(password_hash)
    .bind(tx.at_us)
    .fetch_one(&mut **tx)
    .await
    .map(PersonId)?;
    tx.record("make account", &PERSON, id).await?;
    Ok(id)
}

/// Changes what a person may do, and signs them out everywhere.
pub async fn set_role(tx: &mut Tx<'_>, id: PersonId, version: i64, role: Role) -> Result<(), StoreError> {
    let done = sqlx::query("UPDATE person SET role = ?, version = version + 1 WHERE id = ? AND version = ?")
        .bind(role)
        .bind(id)
        .bind(version)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("change role", &PERSON, id).await?;
    sign_in::end_all_of(tx, id).await
}

/// Shuts an account or opens it again, and signs the person out everywhere.
pub async fn set_disabled(
    tx: &mut Tx<'_>,
    id: PersonId,
    version: i64,
    disabled: bool,
) -> Result<(), StoreError> {
    let done =
        sqlx::query("UPDATE person SET disabled = ?, version = version + 1 WHERE id = ? AND version = ?")
            .bind(disabled)
            .bind(id)
            .bind(version)
            .execute(&mut **tx)
            .await?;
    hit(&done)?;
    tx.record(if disabled { "disable" } else { "enable" }, &PERSON, id).await?;
    sign_in::end_all_of(tx, id).await
}

/// Sets a password, and signs the person out everywhere.
pub async fn set_password(tx: &mut Tx<'_>, id: PersonId, password_hash: &str) -> Result<(), StoreError> {
    let done = sqlx::query("UPDATE person SET password_hash = ?, version = version + 1 WHERE id = ?")
        .bind(password_hash)
        .bind(id)
        .execute(&mut **tx)
        .await?;
    hit(&done)?;
    tx.record("change password", &PERSON, id).await?;
    sign_in::end_all_of(tx, id).await
}

/// A one-time link that makes an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, sqlx::FromRow)]
pub struct Invitation {
    /// Row id.
    pub id: InvitationId,
    /// What the new person may do.
    pub role: Role,
    /// Who made it; nobody: the server's first start.
    pub made_by: Option<PersonId>,
    /// When, microseconds UTC.
    pub made_us: i64,
    /// Good until then, microseconds UTC.
    pub expires_us: i64,
    /// Who used it.
    pub used_by: Option<PersonId>,
    /// When it was taken back.
    pub revoked_us: Option<i64>,
}

impl Invitation {
    /// Whether it still makes an account.
    pub fn open(&self, now_us: i64) -> bool {
        self.used_by.is_none() && self.revoked_us.is_none() && now_us < self.expires_us
    }
}

macro_rules! invitations {
    ($rest:literal) => {
        concat!("SELECT id, role, made_by, made_us, expires_us, used_by, revoked_us FROM invitation ", $rest)
    };
}

/// All invitations, newest first.
pub async fn invitations(db: &mut Db) -> Result<Vec<Invitation>, StoreError> {
    Ok(sqlx::query_as(invitations!("ORDER BY id DESC")).fetch_all(db).await?)
}

/// The invitation whose link carries the token with this hash.
pub async fn invitation(db: &mut Db, token_hash: &[u8; 32]) -> Result<Option<Invitation>, StoreError> {
    let found = sqlx::query_as(invitations!("WHERE token_hash = ?")).bind(token_hash.as_slice());
    Ok(found.fetch_optional(db).await?)
}

/// Makes an invitation.
pub async fn invite(
    tx: &mut Tx<'_>,
    token_hash: &[u8; 32],
    role: Role,
    expires_us: i64,
) -> Result<InvitationId, StoreError> {
    let id = sqlx::query_scalar(
        "INSERT INTO invitation (token_hash, role, made_by, made_us, expires_us)
         VALUES (?, ?, ?, ?, ?) RETURNING id",
    )
    .bind(token_hash.as_slice())
    .bind(role)
    .bind(tx.by.person())
    .bind(tx.at_us)
    .bind(expires_us)
    .fetch_one(&mut **tx)
    .await
    .map(InvitationId)?;
    tx.record("invite", &INVITATION, id).await?;
    Ok(id)
}

/// Marks an invitation as used by the account that it made; [`StoreError::Stale`] when it is not open any more.
pub async fn use_invitation(tx: &mut Tx<'_>, id: InvitationId, person: PersonId) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE invitation SET used_by = ?
         WHERE id = ? AND used_by IS NULL AND revoked_us IS NULL AND expires_us > ?",
    )
    .bind(person)
    .bind(id)
    .bind(tx.at_us)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("use invitation", &INVITATION, id).await
}

/// Takes an invitation back; [`StoreError::Stale`] when it was used or taken back already.
pub async fn revoke_invitation(tx: &mut Tx<'_>, id: InvitationId) -> Result<(), StoreError> {
    let done = sqlx::query(
        "UPDATE invitation SET revoked_us = ? WHERE id = ? AND used_by IS NULL AND revoked_us IS NULL",
    )
    .bind(tx.at_us)
    .bind(id)
    .execute(&mut **tx)
    .await?;
    hit(&done)?;
    tx.record("revoke invitation", &INVITATION, id).await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Actor, Conflict, audit, testing};

    #[tokio::test]
    async fn names_are_unique_without_regard_to_case() {
        let (_folder, store) = testing::store().await;
        let ada = testing::person(&store, "Ada", Role::Owner).await;
        let twice = store.write(Actor::Server, async |tx| add(tx, "ADA", Role::Guest, "h").await).await;
        let Err(StoreError::Conflict { kind: Conflict::Unique, constraint }) = twice else {
            panic!("{twice:?}")
        };
        assert_eq!(constraint, "person_name");
        let mut db = store.read().await.unwrap();
        let found = by_name(&mut db, "aDa").await.unwrap().unwrap();
        assert_eq!((found.id, found.role, found.version), (ada, Role::Owner, 1));
        assert_eq!(by_id(&mut db, PersonId(99)).await.unwrap(), None);
    }

    #[tokio::test]
    async fn changes_of_an_account_are_in_the_trail_without_its_secret_and_stale_ones_are_told() {
        let (_folder, store) = testing::store().await;
        let ada = testing::person(&store, "Ada", Role::Owner).await;
        store
            .write(Actor::Person(ada), async move |tx| {
                set_role(tx, ada, 1, Role::Member).await?;
                set_disabled(tx, ada, 2, true).await?;
                set_password(tx, ada, "new secret").await
            })
            .await
            .unwrap();
        let stale =
            store.write(Actor::Person(ada), async move |tx| set_role(tx, ada, 1, Role::Guest).await).await;
        assert!(matches!(stale, Err(StoreError::Stale)));
        let mut db = store.read().await.unwrap();
        assert_eq!(owners(&mut db).await.unwrap(), 0);
        let history = audit::of_row(&mut db, &PERSON, ada).await.unwrap();
        let acts: Vec<_> = history.iter().map(|e| e.act.as_str()).collect();
        assert_eq!(acts, ["make account", "change role", "disable", "change password"]);
        assert_eq!(history[3].person_id, Some(ada));
        assert!(history.iter().all(|e| !e.row.as_deref().unwrap().contains("secret")));
        assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
    }

    #[tokio::test]
    async fn an_invitation_makes_one_account() {
        let (_folder, store) = testing::store().await;
        let (link, late) = ([1; 32], testing::NOW_US + 1);
        store
            .write(Actor::Server, async move |tx| {
                let id = invite(tx, &link, Role::Owner, late).await?;
                let person = add(tx, "Ada", Role::Owner, "h").await?;
                use_invitation(tx, id, person).await?;
                let again = use_invitation(tx, id, person).await;
                assert!(matches!(again, Err(StoreError::Stale)));
                assert!(matches!(revoke_invitation(tx, id).await, Err(StoreError::Stale)));
                let other = invite(tx, &[2; 32], Role::Guest, late).await?;
                revoke_invitation(tx, other).await
            })
            .await
            .unwrap();
        let mut db = store.read().await.unwrap();
        let used = invitation(&mut db, &link).await.unwrap().unwrap();
        assert!(!used.open(testing::NOW_US));
        let all = invitations(&mut db).await.unwrap();
        assert_eq!(all.len(), 2);
        assert_eq!(all[0].revoked_us, Some(testing::NOW_US));
        assert_eq!(invitation(&mut db, &[3; 32]).await.unwrap(), None);
    }
}
