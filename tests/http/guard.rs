//! What every route has: names that are ours, no changes from other sites, headers, and nothing for who may not.

use reqwest::Method;
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House, answer, filled, form};

const NAMED: [(&str, &str); 3] = [("name", "x"), ("password", "y"), ("next", "")];

/// Content Security Policy Level 3 (W3C): nothing unless allowed, and what is allowed is our own.
fn guarded(answer: &Answer) {
    let policy = answer.header("content-security-policy");
    assert!(policy.starts_with("default-src 'none';"), "{policy}");
    assert!(policy.contains("script-src 'self'") && policy.contains("frame-ancestors 'none'"), "{policy}");
    assert!(!policy.contains("unsafe"), "{policy}");
    assert_eq!(answer.header("x-content-type-options"), "nosniff");
    assert_eq!(answer.header("referrer-policy"), "same-origin");
    assert_eq!(answer.header("cross-origin-opener-policy"), "same-origin");
    assert_eq!(answer.header("cross-origin-resource-policy"), "same-origin");
    assert!(!answer.header("x-request-id").is_empty());
}

#[tokio::test]
async fn pages_and_errors_carry_the_headers_and_are_not_kept() {
    let house = House::start().await;
    let owner = house.owner().await;
    let mut all = vec![owner.get(&paths::people()).await, owner.get("/nowhere").await];
    all.push(owner.get(&paths::api("/nowhere")).await);
    all.push(owner.post(&paths::people(), &[]).await);
    all.push(house.anonymous().get(&paths::people()).await);
    all.push(house.anonymous().get(&paths::sign_in()).await);
    assert_eq!(all.iter().map(|a| a.status).collect::<Vec<_>>(), [200, 404, 404, 405, 303, 200]);
    for answer in all {
        guarded(&answer);
        assert_eq!(answer.header("cache-control"), "no-store");
    }
    guarded(&owner.get(&paths::asset("keys.js")).await);
}

#[tokio::test]
async fn a_name_that_dns_could_lead_here_is_refused_on_every_route() {
    let house = House::start().await;
    let owner = house.owner().await;
    for path in paths::ALL.iter().copied().chain(["/healthz", "/nowhere", "/api/v1/people"]) {
        let asked = owner.bare(Method::GET, &filled(path)).header("host", "evil.example:7300");
        let refused = answer(asked).await;
        assert_eq!(refused.status, 403, "{path}");
        guarded(&refused);
    }
    let port = house.server.addr().port();
    let asked = owner.bare(Method::GET, "/healthz").header("host", format!("localhost:{port}"));
    assert_eq!(answer(asked).await.status, 200);
}

async fn change(client: &Client, headers: &[(&str, &str)]) -> u16 {
    let mut asked = client.bare(Method::POST, &paths::invitations());
    for (name, value) in headers {
        asked = asked.header(*name, *value);
    }
    answer(form(asked, &[("role", "guest")])).await.status
}

/// Fetch Metadata Request Headers (W3C) and RFC 6454 (Origin).
#[tokio::test]
async fn only_our_own_pages_make_changes() {
    let house = House::start().await;
    let owner = house.owner().await;
    let ours = owner.base.clone();
    assert_eq!(change(&owner, &[("origin", &ours)]).await, 303);
    assert_eq!(change(&owner, &[("sec-fetch-site", "same-origin")]).await, 303);
    assert_eq!(change(&owner, &[("origin", "http://evil.example")]).await, 403);
    assert_eq!(change(&owner, &[("origin", "http://127.0.0.1:1")]).await, 403);
    assert_eq!(change(&owner, &[("origin", "null")]).await, 403);
    assert_eq!(
        change(&owner, &[("sec-fetch-site", "cross-site"), ("origin", "http://evil.example")]).await,
        403
    );
    assert_eq!(change(&owner, &[("sec-fetch-site", "same-site")]).await, 403);
    // With our cookie and neither header: no browser sends that.
    assert_eq!(change(&owner, &[]).await, 403);
    // Without a cookie it is a program: told that nobody is signed in.
    assert_eq!(change(&house.anonymous(), &[]).await, 401);
    let elsewhere =
        house.anonymous().bare(Method::POST, &paths::sign_in()).header("origin", "http://evil.example");
    assert_eq!(answer(form(elsewhere, &NAMED)).await.status, 403);
}

/// Routes that people without a role, or without a session, may use.
const OPEN: &[&str] = &[paths::SIGN_IN, paths::SIGN_OUT, paths::INVITATION, paths::STATIC];

#[tokio::test]
async fn signed_out_there_is_nothing_to_read_and_nothing_to_change() {
    let house = House::start().await;
    house.owner().await;
    let nobody = house.anonymous();
    for pattern in paths::ALL.iter().filter(|pattern| !OPEN.contains(pattern)) {
        let path = filled(pattern);
        let read = nobody.get(&path).await;
        assert!([303, 404, 405].contains(&read.status), "GET {path}: {}", read.status);
        assert!(read.status != 303 || read.location().starts_with("/sign-in?next="), "{path}");
        let twin = nobody.get(&paths::api(&path)).await;
        assert!([401, 404, 405].contains(&twin.status), "GET api {path}: {}", twin.status);
        let changed = nobody.post(&path, &[("version", "1")]).await;
        assert!([401, 404, 405].contains(&changed.status), "POST {path}: {}", changed.status);
    }
    assert_eq!(nobody.get(&paths::people()).await.location(), "/sign-in?next=%2Fpeople");
}

#[tokio::test]
async fn a_guest_changes_nothing() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    let before = *house.store.head().borrow();
    for pattern in paths::ALL.iter().filter(|pattern| !OPEN.contains(pattern) && **pattern != paths::PASSWORD)
    {
        for path in [filled(pattern), paths::api(&filled(pattern))] {
            let changed = guest.post(&path, &[("version", "1"), ("role", "owner"), ("do", "role")]).await;
            assert!([403, 404, 405].contains(&changed.status), "POST {path}: {}", changed.status);
        }
    }
    assert_eq!(*house.store.head().borrow(), before);
}

#[tokio::test]
async fn what_is_not_there_says_so_in_both_forms_and_leads_on() {
    let house = House::start().await;
    let owner = house.owner().await;
    let page = owner.get("/nowhere").await;
    assert_eq!(page.texts("h1"), ["No such page"]);
    assert_eq!(page.attribute(".buttons a", "href").as_deref(), Some("/pieces"));
    let twin = owner.get("/api/v1/nowhere").await.json();
    assert_eq!(twin["what"], "No such page");
    assert_eq!(twin["status"], 404);
    let method = owner.post(&paths::people(), &[]).await;
    assert_eq!((method.status, method.header("allow")), (405, "GET,HEAD"));
}
