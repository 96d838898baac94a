//! Threads of remarks, and the stream that tells of changes.

use std::time::Duration;

use futures_util::StreamExt as _;
use reqwest::Method;
use reqwest::header::HeaderMap;
use tokio::time::timeout;
use weighhouse::store::{PassId, RigId, passes};
use weighhouse_web::paths;

use crate::harness::{Client, House};
use crate::intake::{bring, registers};
use crate::upload::log;

/// A pass of the piece `k`; its key.
async fn pass(house: &House, owner: &Client) -> String {
    registers(house).await;
    bring(owner, "run.csv", log(2000, 0)).await;
    let cell = [("tuning", "1"), ("scene", "1"), ("setting", "1"), ("base", "1"), ("segment", "1")];
    assert_eq!(owner.post(&paths::assign("k"), &cell).await.status, 303);
    let row = passes::by_id(&mut house.store.read().await.unwrap(), PassId(1)).await;
    row.unwrap().unwrap().key
}

async fn remark(client: &Client, pass: &str, says: &str) {
    assert_eq!(client.post(&paths::pass_remark(pass), &[("says", says)]).await.status, 303);
}

/// What a stream sends until it holds these words, or until it ends.
async fn until(response: reqwest::Response, words: &str) -> (String, bool) {
    let mut text = String::new();
    let mut body = response.bytes_stream();
    let all = async {
        while let Some(bytes) = body.next().await {
            text.push_str(&String::from_utf8_lossy(&bytes.unwrap()));
            if text.contains(words) {
                return true;
            }
        }
        false
    };
    let found = timeout(Duration::from_secs(20), all).await.unwrap();
    (text, found)
}

#[tokio::test]
async fn a_remark_is_answered_settled_opened_again_and_undone() {
    let house = House::start().await;
    let owner = house.owner().await;
    let key = pass(&house, &owner).await;
    remark(&owner, &key, "a hitch at the gate").await;
    let member = house.member(&owner).await;
    let to = paths::pass_remark_step(&key, 1);
    let step = async |fields: &[(&str, &str)]| member.post(&to, fields).await.status;
    assert_eq!(step(&[("do", "answer"), ("says", "in each pass")]).await, 303);
    assert_eq!(step(&[("do", "settle")]).await, 303);
    let page = member.get(&paths::pass(&key)).await;
    let thread = page.texts("#remark-1").concat();
    for words in ["a hitch at the gate", "in each pass", "Iver Stroud", "settled", "Open again"] {
        assert!(thread.contains(words), "{words}: {thread}");
    }
    assert_eq!(step(&[("do", "settle")]).await, 409);
    let (action, undo) = page.form(".flash form");
    let undo: Vec<(&str, &str)> = undo.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    assert_eq!(member.post(&action, &undo).await.status, 303);
    assert!(member.get(&paths::pass(&key)).await.texts("#remark-1").concat().contains("Opened again"));

    let empty = member.post(&to, &[("do", "answer"), ("says", " ")]).await;
    assert_eq!((empty.status, empty.texts("#remark-1 .error").len()), (422, 1));
    assert_eq!(step(&[("do", "shout")]).await, 422);
    assert_eq!(member.post(&paths::pass_remark_step(&key, 9), &[("do", "settle")]).await.status, 404);
    let guest = house.guest(&owner).await;
    assert_eq!(guest.post(&to, &[("do", "settle")]).await.status, 403);
    assert!(guest.get(&paths::pass(&key)).await.texts("#remark-1 form").is_empty());
}

#[tokio::test]
async fn the_stream_tells_which_pass_changed_and_what_was_missed_and_ends_with_the_server() {
    let house = House::start().await;
    let owner = house.owner().await;
    let key = pass(&house, &owner).await;
    let open = async |headers: HeaderMap| {
        let response = owner.bare(Method::GET, paths::LIVE).headers(headers).send().await.unwrap();
        assert_eq!(response.status(), 200);
        assert_eq!(response.headers()["content-type"], "text/event-stream");
        assert!(response.headers().get("content-encoding").is_none());
        response
    };
    let live = open(HeaderMap::new()).await;
    let before = *house.store.head().borrow();
    remark(&owner, &key, "a hitch").await;
    let (told, found) = until(live, &key).await;
    assert!(found && told.contains(&format!("id: {before}")), "{told}");

    // Who comes back is told what was missed.
    let missed =
        HeaderMap::from_iter([("last-event-id".parse().unwrap(), before.to_string().parse().unwrap())]);
    assert!(until(open(missed).await, &key).await.1);

    assert_eq!(house.anonymous().get(paths::LIVE).await.status, 401);
    assert_eq!(house.with_key(&owner, RigId(1)).await.get(paths::LIVE).await.status, 403);

    let live = open(HeaderMap::new()).await;
    let (ended, ()) = tokio::join!(until(live, "never said"), house.server.stop());
    assert!(!ended.1);
}

#[tokio::test]
async fn a_page_that_brings_itself_up_to_date_leaves_what_was_said() {
    let house = House::start().await;
    let owner = house.owner().await;
    let key = pass(&house, &owner).await;
    remark(&owner, &key, "a hitch").await;
    let quiet = owner.bare(Method::GET, &paths::pass(&key)).header("x-quiet", "1");
    assert!(crate::harness::answer(quiet).await.texts(".flash").is_empty());
    assert_eq!(owner.get(&paths::pass(&key)).await.texts(".flash span"), ["The remark is kept."]);
}
