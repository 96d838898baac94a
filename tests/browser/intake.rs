//! Many logs dropped at once, one of them no log.

use weighhouse_web::paths;

use crate::day::made;
use crate::driver::Driver;
use crate::harness::PASSWORD;
use crate::stage::{Stage, send};

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_file_among_many_is_named_and_the_others_come_in() {
    let stage = Stage::set().await;
    let piece = [("name", "Is it worth it?"), ("kind", "card"), ("zone", "UTC"), ("once", "p1")];
    send(&stage.owner, &paths::pieces(), &piece).await;
    let pieces = stage.owner.get(&paths::api(&paths::pieces())).await.json();
    let intake = paths::intake(pieces["pieces"][0]["key"].as_str().unwrap());
    let driver = Driver::start();
    let browser = driver.browser(stage.base()).await;
    browser.sign_in("Maren Oake", PASSWORD).await;
    browser.open(&intake).await;

    let logs: Vec<String> = (0..5).map(|n| made(n, 4_300)).collect();
    let names: Vec<String> = (0..5).map(|n| format!("run {n}.csv")).collect();
    let mut files: Vec<(&str, &str)> =
        names.iter().zip(&logs).map(|(n, log)| (n.as_str(), log.as_str())).collect();
    assert!(browser.drop_files(&files[..1]).await, "nothing came in yet");
    browser.uploaded(1).await;
    browser.see("Show what came in").await;
    files.insert(3, ("notes.csv", "bring more coffee\n"));
    assert!(browser.drop_files(&files[1..]).await, "more is on its way");
    browser.see("Show what came in").await;
    let wrong = browser.words(".queue .wrong").await;
    assert!(wrong.contains("notes.csv"), "the bad one is named: {wrong}");
    browser.press("Show what came in").await;
    for name in &names {
        browser.see(name).await;
    }
    assert!(!browser.text().await.contains("notes.csv"));
    browser.close().await;
}
