//! Many logs dropped at once: some are no logs, some ask, the page is left half-way, and the folder is dropped again.

use std::fmt::Write as _;

use serde_json::json;
use weighhouse_web::paths;

use crate::day::made;
use crate::driver::{Browser, Driver, ESCAPE};
use crate::harness::PASSWORD;
use crate::stage::{Stage, send};

/// Opens the intake of a new piece.
async fn at_intake(stage: &Stage, driver: &Driver) -> Browser {
    let piece = [("name", "Is it worth it?"), ("kind", "card"), ("zone", "UTC"), ("once", "p1")];
    send(&stage.owner, &paths::pieces(), &piece).await;
    let pieces = stage.owner.get(&paths::api(&paths::pieces())).await.json();
    let intake = paths::intake(pieces["pieces"][0]["key"].as_str().unwrap());
    let browser = driver.browser(stage.base()).await;
    browser.sign_in("Maren Oake", PASSWORD).await;
    browser.open(&intake).await;
    browser
}

/// Names with texts, as files are dropped.
fn as_files(logs: &[(String, String)]) -> Vec<(&str, &str)> {
    logs.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_file_among_many_is_named_and_the_others_come_in() {
    let stage = Stage::set().await;
    let driver = Driver::start();
    let browser = at_intake(&stage, &driver).await;
    let mut logs: Vec<(String, String)> = (0..5).map(|n| (format!("run {n}.csv"), made(n, 4_300))).collect();
    assert!(browser.drop_files(&as_files(&logs)[..1]).await, "nothing came in yet");
    browser.uploaded(1).await;
    browser.see("Show what came in").await;
    logs.insert(3, ("notes.csv".to_owned(), "bring more coffee\n".to_owned()));
    assert!(browser.drop_files(&as_files(&logs)[1..]).await, "more is on its way");
    browser.see("Show what came in").await;
    let wrong = browser.words(".queue .wrong").await;
    assert!(wrong.contains("notes.csv"), "the bad one is named: {wrong}");
    browser.press("Show what came in").await;
    for (name, _) in logs.iter().filter(|(name, _)| name != "notes.csv") {
        browser.see(name).await;
    }
    assert!(!browser.words(".logs").await.contains("notes.csv"));
    browser.close().await;
}

/// One column under a header that says nothing.
fn vague(n: u32) -> String {
    let mut text = "value\n".to_owned();
    (0..300).for_each(|i| writeln!(text, "{}", 8 + (i * n) % 5).unwrap());
    text
}

/// A folder of 60 files: 3 are no logs, 4 ask how they are read.
fn folder() -> Vec<(String, String)> {
    let mut files: Vec<(String, String)> =
        (0..53).map(|n| (format!("run {n}.csv"), made(n, 4_300))).collect();
    for (n, what) in ["coffee", "tea", "milk"].into_iter().enumerate() {
        files.insert(10 * n, (format!("notes {n}.txt"), format!("bring more {what}\n")));
    }
    for n in 1..=4_u32 {
        files.insert(usize::try_from(9 * n).unwrap(), (format!("vague {n}.csv"), vague(n)));
    }
    files
}

#[tokio::test(flavor = "multi_thread")]
async fn sixty_files_go_on_after_bad_ones_and_a_reload_and_one_answer_serves_the_rest() {
    let stage = Stage::set().await;
    let driver = Driver::start();
    let browser = at_intake(&stage, &driver).await;
    let files = folder();
    assert_eq!(files.len(), 60);

    // Left half-way: what came in stays, the page names what is missing.
    browser.drop_files(&as_files(&files)).await;
    let some = "return document.querySelectorAll('.queue button[hidden]').length >= 12";
    browser.until(some, &json!(true)).await;
    browser.reload().await;
    browser.see("Drop the same folder again: only what is missing is sent").await;
    let sent =
        "return performance.getEntriesByType('resource').filter((e) => e.name.includes('/uploads/')).length";
    assert_eq!(browser.script(sent).await, json!(0));

    browser.drop_files(&as_files(&files)).await;
    browser.see("57 of 60 files in, 4 to be asked about, 3 not taken.").await;
    let again = browser.script(sent).await.as_u64().unwrap();
    assert!(again <= 60 - 12, "{again} files were sent again");
    let here = browser.script("return document.querySelectorAll('.queue > li').length").await;
    assert_eq!(here, json!(60));
    let wrong = browser.script("return [...document.querySelectorAll('.queue .wrong')].map((e) => e.closest('li').firstChild.textContent).sort()").await;
    assert_eq!(wrong, json!(["notes 0.txt", "notes 1.txt", "notes 2.txt"]));

    // Nothing is missing any more; one answer reads all four that asked.
    browser.press("Show what came in").await;
    browser.see("Waiting for a cell").await;
    assert!(!browser.text().await.contains("of the last drop"));
    browser.press("vague 1.csv: say what its columns are").await;
    browser.press("Read it this way").await;
    browser.see("Read as said: ").await;
    let waiting =
        browser.script("return document.querySelectorAll('.logs input[name=segment]').length").await;
    assert_eq!(waiting, json!(57));
    browser.close().await;
}

/// Six logs that wait at the intake of a piece of two tunings and two scenes: their names say stock and glasshouse.
async fn six_wait(stage: &Stage, driver: &Driver) -> Browser {
    let rig = [("name", "alder"), ("board", "Quillon M1"), ("time_zone", "UTC")];
    send(&stage.owner, &paths::rigs(), &rig).await;
    let browser = at_intake(stage, driver).await;
    let pieces = stage.owner.get(&paths::api(&paths::pieces())).await.json();
    let piece = pieces["pieces"][0]["key"].as_str().unwrap();
    let cells =
        [("do", "add"), ("tuning", "1"), ("tuning", "2"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    send(&stage.owner, &paths::piece_cells(piece), &cells).await;
    for n in 1..=6_u32 {
        let name = format!("Curlew_glasshouse_2560x1440_p{n}.csv");
        assert_eq!(stage.owner.put(&paths::upload(&name), made(n, 4_300)).await.status, 201);
    }
    browser.open(&paths::intake(piece)).await;
    browser.see("6 logs come").await;
    browser
}

/// Where each log is shown to go: the passage that its cell has.
const GOES: &str = "return [...document.querySelectorAll('[data-log] .becomes')]
    .map((e) => e.textContent.match(/glasshouse|murmuration/)[0][0]).join('')";
const PICKED: &str = "return [...document.querySelectorAll('[data-log]')].map((e) => Number(e.classList.contains('picked'))).join('')";

#[tokio::test(flavor = "multi_thread")]
async fn logs_in_the_wrong_cell_are_sent_to_the_right_one_by_keys() {
    let stage = Stage::set().await;
    let driver = Driver::start();
    let browser = six_wait(&stage, &driver).await;
    browser.until(GOES, &json!("gggggg")).await;

    // The second to the fifth: one key sends them, one takes that back, one sends them again.
    browser.keys("jjx").await;
    browser.until(PICKED, &json!("010000")).await;
    browser.shift('j', 3).await;
    browser.see("4 logs picked").await;
    let murmuration = "return document.querySelector('[data-name^=\"Tarnwick Curlew, stock\"][data-name*=murmuration]').dataset.key";
    let digit = browser.script(murmuration).await.as_str().unwrap().to_owned();
    browser.keys(&digit).await;
    browser.see("4 logs sent: Tarnwick Curlew, stock; Vellum Rally, murmuration; 2560x1440.").await;
    browser.until(GOES, &json!("gmmmmg")).await;
    browser.see("misses 3; 4 logs come").await;
    browser.keys("u").await;
    browser.until(GOES, &json!("gggggg")).await;
    browser.until(PICKED, &json!("011110")).await;
    browser.keys(&digit).await;
    browser.until(GOES, &json!("gmmmmg")).await;

    // Without a pick the log at hand goes: from the fifth on to the sixth.
    browser.keys(&format!("j{digit}")).await;
    browser.until(GOES, &json!("gmmmmm")).await;
    // A cell that has no key is found by its words.
    browser.keys("kx").await;
    browser.keys("f").await;
    browser.keys("stock glass\u{e007}").await;
    browser.until(GOES, &json!("gmmmgm")).await;

    browser.keys("?").await;
    let keys = browser.words("dialog[open]").await;
    for says in ["Next log", "Pick the log", "Take back the last move", "Tarnwick Curlew, stock"] {
        assert!(keys.contains(says), "{says}: {keys}");
    }
    browser.keys(ESCAPE).await;
    browser.until("return document.querySelectorAll('dialog').length", &json!(0)).await;
    browser.keys("m").await;
    browser.see("6 passes made").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn logs_in_the_wrong_cell_are_dragged_to_the_right_one() {
    let stage = Stage::set().await;
    let driver = Driver::start();
    let browser = six_wait(&stage, &driver).await;
    browser.width(1440).await;
    let to = "[data-name^='Tarnwick Curlew, stock'][data-name*=murmuration]";
    // Each log has a name that is unique by its last digit.
    let log = |n: u32| format!("[data-log]:nth-child({n})");
    let pick = async |n: u32| {
        browser.script(&format!("document.querySelector('{} .pick').click()", log(n))).await;
    };
    pick(1).await;
    pick(3).await;
    browser.see("2 logs picked").await;
    browser.drag(&log(3), to).await;
    browser.until(GOES, &json!("mgmggg")).await;
    // One that is not picked goes alone.
    pick(5).await;
    browser.drag(&log(6), to).await;
    browser.until(GOES, &json!("mgmggm")).await;
    browser.press("Take back the last move").await;
    browser.until(GOES, &json!("mgmggg")).await;

    // What is chosen in the fields of a picked log counts for all picked ones, and can be taken back as well.
    browser.keys(ESCAPE).await;
    pick(4).await;
    pick(5).await;
    let choose = "const field = document.querySelector('[data-log]:nth-child(5) select[name^=scene]');
        field.value = '2';
        for (const kind of ['input', 'change']) field.dispatchEvent(new Event(kind, { bubbles: true }));";
    browser.script(choose).await;
    browser.until(GOES, &json!("mgmmmg")).await;
    browser.keys("u").await;
    browser.until(GOES, &json!("mgmggg")).await;
    browser.close().await;
}
