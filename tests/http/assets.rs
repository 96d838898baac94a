//! Static files and the health of the service.

use reqwest::Method;
use weighhouse_web::paths;

use crate::harness::{House, answer};

#[tokio::test]
async fn a_file_is_kept_for_ever_and_known_by_its_tag() {
    let house = House::start().await;
    let client = house.anonymous();
    let path = paths::asset("weighhouse.css");
    let file = client.get(&path).await;
    assert_eq!(file.status, 200);
    assert_eq!(file.header("content-type"), "text/css; charset=utf-8");
    assert!(file.header("cache-control").contains("immutable"));
    let tag = file.header("etag").to_owned();
    let again = answer(client.bare(Method::GET, &path).header("if-none-match", tag)).await;
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    let other = answer(client.bare(Method::GET, &path).header("if-none-match", "\"x\"")).await;
    assert_eq!(other.status, 200);
}

#[tokio::test]
async fn an_unknown_file_is_not_found_and_the_service_says_that_it_is_well() {
    let house = House::start().await;
    let client = house.anonymous();
    assert_eq!(client.get(&paths::static_file("weighhouse.0000000000000000.css")).await.status, 404);
    let health = client.get("/healthz").await;
    assert_eq!((health.status, health.body.as_str()), (200, "ok\n"));
}
