//! A card of an earlier piece is carried over with a click, three of its cells are run again and their logs dropped, and the
//! page says what they say; the chart of the comparison says in its foot that the card was carried over.

use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::stage::Bench;

/// Scenes of the demo; the cells of the last two are run again.
const VELLUM: usize = 0;
const LAMPS: usize = 1;
const ORCHARD: usize = 3;

#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_carried_over_checked_and_marked() {
    let bench = Bench::carried_over(&[VELLUM, LAMPS, ORCHARD]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    bench.sign_in(&browser, 0).await;

    browser.open(&paths::plan(&bench.piece)).await;
    browser.press("Carried over").await;
    browser.see("Ullmere Rowlock").await;
    browser.press("Let it go").await;
    browser.see("Let go.").await;
    browser.see("43 days: newest pass of").await;
    browser.press("Carry Ullmere Rowlock over").await;
    browser.see("Carried over. Its spot checks are to be run next.").await;
    browser.see("Spot checks: not checked.").await;

    bench.wait_s(60);
    run(&bench, &browser, LAMPS).await;
    run(&bench, &browser, ORCHARD).await;
    browser.open(&paths::carried(&bench.piece)).await;
    browser.see("Run all its cells again").await;
    let failed = browser.row("Nine Lamps Below").await;
    assert!(failed.contains("run again (") && failed.contains("slower)"), "{failed}");
    let held = browser.row("Orchard of Static").await;
    assert!(held.contains("holds within 2%"), "{held}");

    browser.open(&paths::against(&bench.piece)).await;
    let foot = browser.script("return document.querySelector('figure.chart svg').textContent").await;
    // Lines of the foot follow each other without a blank.
    let foot: String = foot.as_str().unwrap().split_whitespace().collect();
    assert!(foot.contains("Carriedoverfrom") && foot.contains("UllmereRowlock;spotchecks:1holds"), "{foot}");
    browser.see("Ullmere Rowlock: carried over, run afresh; spot checks: 1 holds, 1 run again").await;
    browser.open(&paths::pack(&bench.piece)).await;
    browser.see("was carried over and a spot check does not hold").await;
    assert_eq!(browser.complaints().await, Vec::<String>::new());
    browser.close().await;
}

/// Drops the logs of a scene's fresh passes, and makes passes of them.
async fn run(bench: &Bench, browser: &Browser, scene: usize) {
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
    // Their names say which cell they belong to.
    browser.press("Make passes of the ticked logs").await;
    browser.see("3 passes made").await;
}
