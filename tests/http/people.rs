//! Accounts, one-time links, rig keys and the audit trail.

use serde_json::json;
use weighhouse::chance::Chance;
use weighhouse::work::people;
use weighhouse_web::paths;

use crate::harness::{House, PASSWORD};

const DAY_S: i64 = 24 * 60 * 60;

#[tokio::test]
async fn the_first_link_makes_the_owner_once() {
    let house = House::start().await;
    let chance = Chance::system();
    let lost = people::first_link(&house.store, &chance).await.unwrap().unwrap();
    let token = people::first_link(&house.store, &chance).await.unwrap().unwrap();
    let nobody = house.anonymous();
    assert_eq!(nobody.get(&paths::invitation(lost.as_str())).await.status, 404);
    let link = paths::invitation(token.as_str());
    assert_eq!(nobody.get(&link).await.texts("h1"), ["Make your account"]);
    let made = nobody.post(&link, &[("name", "Maren Oake"), ("password", PASSWORD)]).await;
    assert_eq!((made.status, made.location()), (303, "/pieces"));
    let me = nobody.get(&paths::api(&paths::people())).await.json();
    assert_eq!(me["people"][0]["name"], "Maren Oake");
    assert_eq!(me["people"][0]["role"], "owner");
    assert!(!me.to_string().contains("argon2"), "secrets stay inside");
    let again = house.anonymous().post(&link, &[("name", "Other"), ("password", PASSWORD)]).await;
    assert_eq!((again.status, again.texts("h1")), (404, vec!["This link makes no account".to_owned()]));
    assert_eq!(people::first_link(&house.store, &chance).await.unwrap(), None);
}

#[tokio::test]
async fn an_invitation_refuses_what_cannot_be_an_account_and_keeps_what_was_typed() {
    let house = House::start().await;
    let owner = house.owner().await;
    let shown = owner.post(&paths::invitations(), &[("role", "guest")]).await;
    assert_eq!((shown.status, shown.location()), (303, "/people"));
    let page = owner.get(&paths::people()).await;
    let link = page.texts("section code").into_iter().find(|code| code.contains("/invitations/")).unwrap();
    assert!(!owner.get(&paths::people()).await.body.contains(&link), "shown once");
    let link = link.strip_prefix(&owner.base).unwrap();
    let nobody = house.anonymous();
    let short = nobody.post(link, &[("name", "Tove Linden"), ("password", "seven77")]).await;
    assert_eq!(short.status, 422);
    assert_eq!(short.attribute("input[name=name]", "value").as_deref(), Some("Tove Linden"));
    assert_eq!(short.texts(".refused"), ["A password has 8 to 128 characters; this one has 7."]);
    assert_eq!(nobody.post(link, &[("name", "Tove"), ("password", "password1")]).await.status, 422);
    assert_eq!(nobody.post(link, &[("name", " "), ("password", PASSWORD)]).await.status, 422);
    let taken = nobody.post(link, &[("name", "MAREN OAKE"), ("password", PASSWORD)]).await;
    assert_eq!((taken.status, taken.texts(".error").len()), (409, 1));
    assert_eq!(nobody.get(&paths::invitation("5f1c")).await.status, 404);
    house.wait_s(7 * DAY_S);
    let late = nobody.post(link, &[("name", "Tove Linden"), ("password", PASSWORD)]).await;
    assert_eq!(late.status, 404);
}

#[tokio::test]
async fn a_link_that_was_taken_back_makes_no_account() {
    let house = House::start().await;
    let owner = house.owner().await;
    let made = owner.post_json(&paths::api(&paths::invitations()), &json!({ "role": "member" })).await;
    let link = made.json()["link"].as_str().unwrap().strip_prefix(&owner.base).unwrap().to_owned();
    let id = owner.get(&paths::api(&paths::people())).await.json()["invitations"][0]["id"].as_i64().unwrap();
    assert_eq!(owner.post(&paths::invitation_back(id), &[]).await.status, 303);
    assert_eq!(
        owner.get(&paths::people()).await.texts(".flash span"),
        [format!("Link {id} makes no account any more.")]
    );
    assert_eq!(owner.post(&paths::invitation_back(id), &[]).await.status, 409);
    assert_eq!(house.anonymous().get(&link).await.status, 404);
    assert_eq!(owner.post(&paths::invitations(), &[("role", "king")]).await.status, 422);
}

#[tokio::test]
async fn another_role_signs_a_person_out_and_counts_at_once() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    assert_eq!(member.get(&paths::people()).await.status, 200);
    let path = paths::person(2);
    let to = |version: &'static str| [("do", "role"), ("role", "guest"), ("version", version)];
    assert_eq!(member.post(&path, &to("1")).await.status, 403);
    assert_eq!(house.anonymous().post(&path, &to("1")).await.status, 401);
    assert_eq!(owner.post(&paths::person(99), &to("1")).await.status, 404);
    assert_eq!(owner.post(&path, &[("do", "role"), ("role", "guest")]).await.status, 428);
    assert_eq!(owner.post(&path, &[("do", "role"), ("role", "king"), ("version", "1")]).await.status, 422);
    assert_eq!(owner.post(&path, &[("do", "crown"), ("version", "1")]).await.status, 422);
    assert_eq!(owner.post(&path, &to("1")).await.status, 303);
    assert_eq!(member.get(&paths::people()).await.status, 303, "signed out");
    let stale = owner.post(&path, &to("1")).await;
    assert_eq!((stale.status, stale.texts(".both dd")), (412, vec!["guest".to_owned(), "guest".to_owned()]));
    let twin = owner.post(&paths::api(&path), &[("do", "role"), ("role", "owner"), ("version", "1")]).await;
    assert_eq!((twin.status, twin.json()["yours"].as_str()), (412, Some("owner")));
}

#[tokio::test]
async fn a_disabled_person_is_out_and_stays_out() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let path = paths::person(2);
    assert_eq!(owner.post(&path, &[("do", "disable"), ("version", "1")]).await.status, 303);
    assert_eq!(member.get(&paths::people()).await.status, 303);
    let fields = [("name", "Iver Stroud"), ("password", PASSWORD)];
    assert_eq!(member.post(&paths::sign_in(), &fields).await.status, 401);
    assert_eq!(owner.post(&path, &[("do", "enable"), ("version", "2")]).await.status, 303);
    assert_eq!(member.post(&paths::sign_in(), &fields).await.status, 303);
}

#[tokio::test]
async fn somebody_always_looks_after_people() {
    let house = House::start().await;
    let owner = house.owner().await;
    for fields in [
        [("do", "disable"), ("version", "1"), ("role", "")],
        [("do", "role"), ("version", "1"), ("role", "guest")],
    ] {
        let last = owner.post(&paths::person(1), &fields).await;
        assert_eq!((last.status, last.texts("h1")), (409, vec!["The last owner".to_owned()]));
    }
    assert_eq!(owner.get(&paths::people()).await.status, 200, "nothing was changed");
}

#[tokio::test]
async fn another_password_signs_out_everywhere() {
    let house = House::start().await;
    let owner = house.owner().await;
    let other = house.anonymous();
    let fields = [("name", "Maren Oake"), ("password", PASSWORD)];
    assert_eq!(other.post(&paths::sign_in(), &fields).await.status, 303);
    let wrong = owner.post(&paths::password(), &[("password", "no"), ("new", "a new long one")]).await;
    assert_eq!((wrong.status, wrong.texts(".refused").len()), (422, 1));
    assert_eq!(owner.post(&paths::password(), &[("password", PASSWORD), ("new", "short")]).await.status, 422);
    let changed = owner.post(&paths::password(), &[("password", PASSWORD), ("new", "a new long one")]).await;
    assert_eq!((changed.status, changed.location()), (303, "/sign-in"));
    assert_eq!(other.get(&paths::people()).await.status, 303);
    assert_eq!(other.post(&paths::sign_in(), &fields).await.status, 401);
    let fields = [("name", "Maren Oake"), ("password", "a new long one")];
    assert_eq!(other.post(&paths::sign_in(), &fields).await.status, 303);
}

#[tokio::test]
async fn a_rig_key_is_shown_once_uploads_only_and_can_be_taken_back() {
    let house = House::start().await;
    let owner = house.owner().await;
    let rig = house.rig().await;
    let number = rig.to_string();
    let fields = [("rig", number.as_str()), ("label", "bench")];
    assert_eq!(owner.post(&paths::keys(), &fields).await.status, 303);
    let page = owner.get(&paths::people()).await;
    let example = page.texts("pre code").concat();
    assert!(example.contains("curl") && example.contains("/api/v1/uploads/"), "{example}");
    assert!(owner.get(&paths::people()).await.texts("pre code").is_empty(), "shown once");
    let key = house.with_key(&owner, rig).await;
    assert_eq!(key.get(paths::KEY).await.json(), json!({ "rig": "alder", "label": "bench" }));
    for path in [paths::people(), paths::api(&paths::people()), paths::home()] {
        assert_eq!(key.get(&path).await.status, 403, "{path}");
    }
    assert_eq!(key.post(&paths::invitations(), &[("role", "owner")]).await.status, 403);
    assert_eq!(key.put(&paths::people(), "bytes").await.status, 405);
    let id = owner.get(&paths::api(&paths::people())).await.json()["keys"][0]["id"].as_i64().unwrap();
    assert_eq!(owner.post(&paths::key_back(id), &[]).await.status, 303);
    let refused = key.get(paths::KEY).await;
    assert_eq!((refused.status, refused.json()["what"].as_str()), (401, Some("Wrong key")));
    assert_eq!(owner.post(&paths::key_back(id), &[]).await.status, 409);
    assert_eq!(owner.post(&paths::keys(), &[("rig", number.as_str()), ("label", " ")]).await.status, 422);
    assert_eq!(owner.post(&paths::keys(), &[("rig", "99"), ("label", "x")]).await.status, 422);
    assert_eq!(owner.post(&paths::keys(), &[("rig", "x"), ("label", "x")]).await.status, 422);
}

#[tokio::test]
async fn the_trail_says_who_did_what_and_leads_to_older_entries() {
    let house = House::start().await;
    let owner = house.owner().await;
    for _ in 0..60 {
        assert_eq!(owner.post(&paths::invitations(), &[("role", "guest")]).await.status, 303);
    }
    let page = owner.get(&paths::people()).await;
    let rows = page.texts("section[aria-labelledby=trail] tbody tr");
    assert_eq!(rows.len(), 50);
    assert!(rows[0].contains("Maren Oake invite invitation"), "{}", rows[0]);
    let older = page.attribute("section[aria-labelledby=trail] p a", "href").unwrap();
    let rest = owner.get(&older).await;
    let rest_rows = rest.texts("section[aria-labelledby=trail] tbody tr");
    assert_eq!(rest_rows.len(), 13, "the first link, its use and the account among them");
    assert!(rest_rows[12].contains("the server invite invitation 1"), "{}", rest_rows[12]);
    assert_eq!(rest.attribute("section[aria-labelledby=trail] p a", "href"), None);
    let guest = house.guest(&owner).await;
    let read = guest.get(&paths::people()).await;
    assert_eq!(read.status, 200);
    assert!(read.texts("form button").iter().all(|b| b == "Sign out" || b == "Change the password"));
}
