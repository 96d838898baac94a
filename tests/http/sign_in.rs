//! Signing in and out, and when a session ends.

use reqwest::Method;
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House, PASSWORD, answer};

const HOUR_S: i64 = 60 * 60;

async fn sign_in(client: &Client, name: &str, password: &str) -> Answer {
    client.post(&paths::sign_in(), &[("name", name), ("password", password)]).await
}

/// Whether the client may read pages.
async fn inside(client: &Client) -> bool {
    client.get(&paths::people()).await.status == 200
}

fn cookie(answer: &Answer) -> String {
    answer.header("set-cookie").split(';').next().unwrap().to_owned()
}

#[tokio::test]
async fn a_session_is_new_at_each_sign_in_and_dead_after_sign_out() {
    let house = House::start().await;
    house.owner().await;
    let client = house.anonymous();
    assert_eq!(client.get(&paths::sign_in()).await.status, 200);
    let first = sign_in(&client, "maren oake", PASSWORD).await;
    assert_eq!((first.status, first.location()), (303, "/pieces"));
    let set = first.header("set-cookie");
    assert!(set.contains("HttpOnly") && set.contains("SameSite=Lax") && set.contains("Path=/"), "{set}");
    let second = sign_in(&client, "Maren Oake", PASSWORD).await;
    assert_ne!(cookie(&first), cookie(&second));
    let old =
        |cookie: String| answer(house.anonymous().bare(Method::GET, "/people").header("cookie", cookie));
    assert_eq!(old(cookie(&first)).await.status, 303);
    assert_eq!(old(cookie(&second)).await.status, 200);
    let out = client.post(&paths::sign_out(), &[]).await;
    assert_eq!((out.status, out.location()), (303, "/sign-in"));
    assert_eq!(old(cookie(&second)).await.status, 303);
    assert!(!inside(&client).await);
}

#[tokio::test]
async fn an_unknown_name_and_a_wrong_password_get_the_same_words() {
    let house = House::start().await;
    house.owner().await;
    let client = house.anonymous();
    let wrong = sign_in(&client, "Maren Oake", "not this one").await;
    let unknown = sign_in(&client, "Nobody", "not this one").await;
    assert_eq!((wrong.status, unknown.status), (401, 401));
    let says = wrong.texts(".refused");
    assert!(says[0].starts_with("Name and password do not go together."), "{says:?}");
    assert_eq!(says, unknown.texts(".refused"));
    assert_eq!(wrong.attribute("input[name=name]", "value").as_deref(), Some("Maren Oake"));
    assert!(!wrong.body.contains("not this one"));
    let body = serde_json::json!({ "name": "Nobody", "password": "x" });
    let twin = client.post_json(&paths::api(&paths::sign_in()), &body).await;
    assert_eq!(
        (twin.status, twin.json()["says"].as_str()),
        (401, Some("Name and password do not go together."))
    );
}

#[tokio::test]
async fn after_ten_failed_tries_in_a_minute_even_the_right_password_waits() {
    let house = House::start().await;
    house.owner().await;
    let client = house.anonymous();
    for _ in 0..10 {
        assert_eq!(sign_in(&client, "Maren Oake", "guess").await.status, 401);
    }
    let late = sign_in(&client, "Maren Oake", PASSWORD).await;
    assert_eq!((late.status, late.header("retry-after")), (429, "60"));
    // The address is held up too, whatever the name.
    assert_eq!(sign_in(&client, "Nobody", "guess").await.status, 429);
    house.wait_s(61);
    assert_eq!(sign_in(&client, "Maren Oake", PASSWORD).await.status, 303);
}

#[tokio::test]
async fn a_session_ends_after_an_idle_hour_and_after_twelve() {
    let house = House::start().await;
    let owner = house.owner().await;
    for _ in 0..13 {
        house.wait_s(50 * 60);
        assert!(inside(&owner).await);
    }
    house.wait_s(70 * 60 - 1);
    assert!(!inside(&owner).await, "idle for more than an hour");
    assert_eq!(sign_in(&owner, "Maren Oake", PASSWORD).await.status, 303);
    for _ in 0..11 {
        house.wait_s(HOUR_S - 1);
        assert!(inside(&owner).await);
    }
    house.wait_s(HOUR_S - 1);
    assert!(inside(&owner).await, "11 s short of twelve hours");
    house.wait_s(13);
    assert!(!inside(&owner).await, "twelve hours are the longest");
}

#[tokio::test]
async fn signing_in_leads_to_where_one_wanted_to_go_within_the_service() {
    let house = House::start().await;
    house.owner().await;
    let client = house.anonymous();
    let asked = client.get("/people?before=3").await;
    assert_eq!((asked.status, asked.location()), (303, "/sign-in?next=%2Fpeople%3Fbefore%3D3"));
    let form = client.get(asked.location()).await;
    assert_eq!(form.attribute("input[name=next]", "value").as_deref(), Some("/people?before=3"));
    let fields = [("name", "Maren Oake"), ("password", PASSWORD), ("next", "/people?before=3")];
    assert_eq!(client.post(&paths::sign_in(), &fields).await.location(), "/people?before=3");
    let fields = [("name", "Maren Oake"), ("password", PASSWORD), ("next", "//evil.example")];
    assert_eq!(client.post(&paths::sign_in(), &fields).await.location(), "/pieces");
}
