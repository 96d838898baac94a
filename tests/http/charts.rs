//! Charts that a piece keeps, over HTTP: kept from a page, given words and scenes, taken as pictures, packed.

use reqwest::Method;
use weighhouse_web::paths;

use crate::figures::{PIECE, bench};
use crate::harness::{Answer, Client, House};
use crate::pack::{bytes, file, names, zip_with};

/// What a chart of the page Against asks for.
const RATIOS: &str = "of=ratios&measure=average_fps";

async fn keep(client: &Client, fields: &[(&str, &str)]) -> Answer {
    let kept = client.post(&paths::charts(PIECE), fields).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    client.get(kept.location()).await
}

/// The fields of the form that saves a chart, some of them written anew.
async fn save(client: &Client, at: &str, changes: &[(&str, &str)]) -> Answer {
    let (_, fields) = client.get(at).await.form(&format!("form[action='{at}']"));
    let old = |name: &str| changes.iter().all(|(changed, _)| *changed != name);
    let kept = fields.iter().filter(|(name, _)| old(name)).map(|(name, text)| (name.as_str(), text.as_str()));
    let fields: Vec<(&str, &str)> = kept.chain(changes.iter().copied()).collect();
    client.post(at, &fields).await
}

/// Width and height of a PNG (PNG specification, third edition, 11.2.1: IHDR).
fn pixels(png: &[u8]) -> (u32, u32) {
    let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
    assert_eq!(&png[1..4], b"PNG");
    (number(16), number(20))
}

#[tokio::test]
async fn a_chart_is_kept_given_words_and_scenes_and_taken_in_each_shape() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let page = owner.get(&paths::against(PIECE)).await;
    let (action, fields) = page.form("section[aria-labelledby=s-chart] form");
    assert_eq!(action, paths::charts(PIECE));
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    let kept = keep(&owner, &fields).await;
    assert!(kept.texts("h1")[0].starts_with("Average frame rate against"), "{}", kept.body);
    let at = paths::chart(1);
    let scenes: Vec<String> =
        kept.form(&format!("form[action='{at}']")).1.into_iter().map(|(name, _)| name).collect();
    let scenes: Vec<&str> =
        scenes.iter().map(String::as_str).filter(|name| name.starts_with("place-")).collect();
    assert_eq!(scenes.len(), 2, "{scenes:?}");
    let words = [("title", "A third faster"), ("note", "Open bench."), (scenes[1], "1")];
    let saved = save(&owner, &at, &words).await;
    assert_eq!(saved.status, 303, "{}", saved.body);

    let svg = owner.get(&paths::chart_picture(1)).await;
    assert_eq!((svg.status, svg.header("content-type")), (200, "image/svg+xml"));
    for said in [">A third faster<", ">Open bench.<", "Shown are 1 of 2 scenes", ">draft<"] {
        assert!(svg.body.contains(said), "{said} in {}", svg.body);
    }
    for (shape, form, size) in
        [("16x9", "1920", (1920, 1080)), ("16x9", "3840", (3840, 2160)), ("square", "1920", (1920, 1920))]
    {
        let query = [("shape", shape), ("form", form), ("theme", "clear-dark"), ("save", "1")];
        let asked = owner.request(Method::GET, &paths::with_query(&paths::chart_picture(1), &query));
        let answer = asked.send().await.unwrap();
        assert_eq!(answer.headers()["content-disposition"], "attachment; filename=\"a-third-faster.png\"");
        assert_eq!(pixels(&answer.bytes().await.unwrap()), size);
    }
    for query in [("shape", "round"), ("theme", "loud"), ("form", "640")] {
        let refused = owner.get(&paths::with_query(&paths::chart_picture(1), &[query])).await;
        assert_eq!(refused.status, 422, "{query:?}");
    }
}

#[tokio::test]
async fn kept_charts_go_with_the_pack_in_the_teams_colour() {
    let house = House::start().await;
    let owner = house.owner().await;
    let cells = bench(&house, &owner, false).await;
    let (one, other) = (cells[0].to_string(), cells[2].to_string());
    let strips = keep(&owner, &[("of", "strips"), ("cell", &one), ("other", &other)]).await;
    assert_eq!(strips.texts("h1"), ["Frame times over time"]);
    let shares = keep(&owner, &[("of", "shares"), ("cell", &one), ("other", &other)]).await;
    assert_eq!(shares.texts("h1"), ["Shares of frames by frame time, added up"]);
    let same = owner.post(&paths::charts(PIECE), &[("of", "shares"), ("cell", &one), ("other", &one)]).await;
    assert_eq!(
        (same.status, same.texts("[role=alert]")),
        (422, vec!["Choose two cells that differ.".to_owned()])
    );

    let colour = |version: &'static str, accent: &'static str| {
        let owner = &owner;
        async move { owner.post(&paths::chart_look(PIECE), &[("version", version), ("accent", accent)]).await }
    };
    assert_eq!(colour("0", "blue").await.status, 422);
    assert_eq!(colour("0", "#0A4D8C").await.status, 303);
    assert_eq!(colour("0", "").await.status, 412, "somebody was faster");

    let zip = zip_with(&owner, "").await;
    let kept: Vec<String> = names(&zip).into_iter().filter(|name| name.contains("kept-1-")).collect();
    assert_eq!(kept.len(), 4, "{kept:?}");
    let svg = file(&zip, "kept-1-frame-times-over-time.svg");
    assert!(svg.contains("#0a4d8c"), "the team's own colour");
    assert_eq!(pixels(&bytes(&zip, "kept-1-frame-times-over-time-16x9-dark.png")), (1920, 1080));
    assert_eq!(zip, zip_with(&owner, "").await, "the same store, the same bytes");
}

#[tokio::test]
async fn a_chart_is_taken_out_with_undo_and_only_by_who_may() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    bench(&house, &owner, false).await;
    assert_eq!(guest.get(&paths::charts(PIECE)).await.texts(".empty b"), ["No chart kept yet"]);
    assert_eq!(guest.post(&paths::charts(PIECE), &[("asked", RATIOS)]).await.status, 403);
    keep(&owner, &[("asked", RATIOS)]).await;
    assert_eq!(
        save(&owner, &paths::chart(1), &[("title", "Kept words"), ("place-1", "first")]).await.status,
        422
    );
    assert_eq!(save(&owner, &paths::chart(1), &[("title", "Kept words")]).await.status, 303);
    assert_eq!(save(&owner, &paths::chart(1), &[("version", "1")]).await.status, 412);
    let out = owner.post(&paths::chart_out(1), &[("version", "2")]).await;
    assert_eq!(out.location(), paths::charts(PIECE), "{}", out.body);
    let list = owner.get(&paths::charts(PIECE)).await;
    let (action, fields) = list.form(".flash form");
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    assert_eq!(owner.post(&action, &fields).await.status, 303);
    assert_eq!(
        guest.get(&paths::charts(PIECE)).await.texts("section[aria-labelledby=kept] li a"),
        ["Kept words"]
    );
    assert_eq!(owner.post(&paths::charts(PIECE), &[("asked", "of=cake")]).await.status, 422);
    assert_eq!(
        owner.post(&paths::charts(PIECE), &[("asked", "of=latency&scene=1&setting=1")]).await.status,
        404
    );
    assert_eq!(owner.get(&paths::chart(9)).await.status, 404);
}
