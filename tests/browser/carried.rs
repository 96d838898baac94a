//! A card of an earlier piece is carried over with a click, three of its cells are run again and their logs dropped, and the
//! page says what they say; the chart of the comparison says in its foot that the card was carried over.

use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::stage::Bench;

/// Scenes of the demo whose cells are run again: ray traced lamps, rain on a market.
const LAMPS: usize = 1;
const ORCHARD: usize = 3;

#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_carried_over_checked_and_marked() {
    let bench = Bench::carried_over(&[LAMPS, ORCHARD]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    bench.sign_in(&browser, 0).await;

    browser.open(&paths::plan(&bench.piece)).await;
    browser.press("Carried over").await;
    browser.see("Ullmere Rowlock").await;
    browser.press("Let it go").await;
    browser.see("Let go.").await;
    browser.see("44 days: newest pass of").await;
    browser.press("Carry Ullmere Rowlock over").await;
    browser.see("Carried over. Three of its cells are to be run again as spot checks.").await;
    browser.see("Spot checks: not checked.").await;

    bench.wait_s(60);
    run(&bench, &browser, LAMPS, "Nine Lamps Below").await;
    run(&bench, &browser, ORCHARD, "Orchard of Static").await;
    browser.open(&paths::carried(&bench.piece)).await;
    browser.see("Run all its cells again").await;
    let failed = browser.row("Nine Lamps Below").await;
    assert!(failed.contains("run again (") && failed.contains("slower)"), "{failed}");
    let held = browser.row("Orchard of Static").await;
    assert!(held.contains("holds within 2%"), "{held}");

    browser.open(&paths::against(&bench.piece)).await;
    let foot = browser.script("return document.querySelector('figure.chart svg').textContent").await;
    let foot = foot.as_str().unwrap().replace('\u{a0}', " ");
    assert!(foot.contains("Carried over from"), "{foot}");
    browser.see("Ullmere Rowlock: carried over, run afresh; part run again").await;
    browser.open(&paths::pack(&bench.piece)).await;
    browser.see("was carried over and a spot check does not hold").await;
    assert_eq!(browser.complaints().await, Vec::<String>::new());
    browser.close().await;
}

/// Drops the logs of a scene's fresh passes, and makes passes of them.
async fn run(bench: &Bench, browser: &Browser, scene: usize, game: &str) {
    let earlier = bench.week.earlier.as_ref().unwrap();
    let logs = earlier.fresh.iter().filter(|pass| pass.cell == scene);
    let logs: Vec<(String, String)> =
        logs.map(|pass| (pass.file_name.clone(), String::from_utf8(pass.log()).unwrap())).collect();
    browser.open(&paths::intake(&bench.piece)).await;
    browser.choose("Recorded on", "alder").await;
    let files: Vec<(&str, &str)> = logs.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    browser.drop_files(&files).await;
    browser.uploaded(logs.len()).await;
    browser.press("Show what came in").await;
    for (name, _) in &logs {
        browser.tick(name).await;
    }
    browser.choose("Part and tuning", "Ullmere Rowlock").await;
    browser.choose("Scene", game).await;
    browser.choose("Setting", "2160p native").await;
    browser.press("Make passes of the ticked logs").await;
    browser.see("3 passes made").await;
}
