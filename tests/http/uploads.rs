//! Which files of a folder are here already.

use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use weighhouse_web::paths;

use crate::harness::House;
use crate::intake::{bring, vague};
use crate::upload::log;

fn digest(text: &str) -> String {
    Sha256::digest(text).iter().map(|byte| format!("{byte:02x}")).collect()
}

fn states(answer: &Value) -> Vec<&str> {
    answer["files"].as_array().unwrap().iter().map(|file| file["state"].as_str().unwrap()).collect()
}

#[tokio::test]
async fn what_is_here_is_told_by_length_and_digest_and_the_rest_is_missing() {
    let house = House::start().await;
    let owner = house.owner().await;
    let (here, asks, other) = (log(2000, 0), vague(1), log(2000, 3));
    bring(&owner, "a.csv", here.clone()).await;
    bring(&owner, "asks.csv", asks.clone()).await;
    let rig = house.rig().await;
    let bench = house.with_key(&owner, rig).await;
    let asked = json!({
        "bytes": [here.len(), here.len(), other.len(), 5, asks.len()],
        "digest": [digest(&here), "", digest(&other), "", digest(&asks)],
    });
    for client in [&owner, &bench] {
        let answer = client.post_json(paths::UPLOADS, &asked).await;
        assert_eq!(answer.status, 200, "{}", answer.body);
        let told = answer.json();
        assert_eq!(states(&told), ["here", "perhaps", "missing", "missing", "here"]);
        assert_eq!(told["files"][0]["says"], "Here already, as a.csv; not sent again.");
        assert_eq!(told["files"][4]["outcome"], "ask");
        assert!(told["files"][4]["layout"].is_string());
    }
}

#[tokio::test]
async fn what_cannot_be_asked_is_refused_with_the_field() {
    let house = House::start().await;
    let owner = house.owner().await;
    let many: Vec<i64> = (0..201).collect();
    let empty = vec![""; 201];
    for (asked, says) in [
        (json!({"bytes": [1, 2], "digest": [""]}), "1 digests for 2 files"),
        (json!({"bytes": [1], "digest": ["abc"]}), "'abc' is no SHA-256"),
        (json!({"bytes": [1], "digest": ["g".repeat(64)]}), "is no SHA-256"),
        (json!({"bytes": ["many"], "digest": [""]}), "'many' is not a whole number"),
        (json!({"bytes": many, "digest": empty}), "201 files at once are too many"),
    ] {
        let refused = owner.post_json(paths::UPLOADS, &asked).await;
        assert_eq!(refused.status, 422, "{}", refused.body);
        assert!(refused.json()["says"].as_str().unwrap().contains(says), "{}", refused.body);
    }
    let nobody = json!({"bytes": [], "digest": []});
    assert_eq!(house.anonymous().post_json(paths::UPLOADS, &nobody).await.status, 401);
    let guest = house.guest(&owner).await;
    assert_eq!(guest.post_json(paths::UPLOADS, &nobody).await.status, 403);
}
