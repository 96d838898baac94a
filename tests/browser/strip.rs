//! The strip by mouse and by keys: zoom, brush, what the pointer says, and a view that can be shared.

use serde_json::json;
use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::looks::fits;
use crate::stage::Bench;

/// The stretch that the address names.
const SHOWN: &str = "return new URLSearchParams(location.search).has('from')";
/// Whether a stretch is marked.
const MARKED: &str = "return !document.querySelector('.strip .brush').hidden";

/// Whether the script holds the strip.
pub const LIVE: &str = "return document.querySelector('.strip').classList.contains('live')";

/// Address of the first pass on the plan.
async fn first_pass(browser: &Browser, piece: &str) -> String {
    browser.open(&paths::plan(piece)).await;
    let first = "return document.querySelector('.board .marks a').getAttribute('href')";
    browser.script(first).await.as_str().unwrap().to_owned()
}

/// Drags over the strip from one share of its width to another.
pub async fn drag(browser: &Browser, from: f64, to: f64) {
    for (kind, share) in [("pointerdown", from), ("pointermove", to), ("pointerup", to)] {
        browser.script(&pointer(kind, share)).await;
    }
}

/// A pointer's event at a share of the strip's width.
fn pointer(kind: &str, share: f64) -> String {
    format!(
        "const strip = document.querySelector('.strip'), box = strip.getBoundingClientRect();
         strip.setPointerCapture = () => {{}};
         strip.dispatchEvent(new PointerEvent('{kind}', {{ bubbles: true, button: 0, pointerId: 1,
            clientX: box.left + {share} * box.width, clientY: box.top + 40 }}))"
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pass_is_zoomed_marked_and_read_frame_by_frame() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    bench.sign_in(&browser, 1).await;
    let pass = first_pass(&browser, &bench.piece).await;
    browser.open(&pass).await;
    browser.until(LIVE, &json!(true)).await;
    assert_eq!(browser.script(SHOWN).await, json!(false));

    browser.script("document.querySelector('.strip').focus()").await;
    browser.keys("+").await;
    browser.until(SHOWN, &json!(true)).await;
    let shared = browser.script("return location.href").await;
    browser.reload().await;
    assert_eq!(browser.script("return location.href").await, shared, "a view is a link");
    browser.until(LIVE, &json!(true)).await;
    browser.script("document.querySelector('.strip').focus()").await;
    browser.keys("0").await;
    browser.until(SHOWN, &json!(false)).await;

    browser.script(&pointer("pointermove", 0.5)).await;
    browser.see("Frame ").await;
    browser
        .until(
            "return /^Frame .+ at .+ms/.test(document.querySelector('[data-readout]').textContent)",
            &json!(true),
        )
        .await;

    drag(&browser, 0.4, 0.6).await;
    assert_eq!(browser.script(MARKED).await, json!(true));
    let filled = "return Number(document.querySelector('input[data-mark=to]').value) > Number(document.querySelector('input[data-mark=from]').value)";
    assert_eq!(browser.script(filled).await, json!(true));
    browser.script("document.querySelector('.strip').focus()").await;
    browser.keys("\u{e007}").await;
    browser.until(SHOWN, &json!(true)).await;
    browser.keys("\u{e00c}").await;
    browser.until(MARKED, &json!(false)).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dragged_stretch_becomes_the_pass_and_the_rest_of_its_log_stays() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    bench.sign_in(&browser, 1).await;
    let pass = first_pass(&browser, &bench.piece).await;
    browser.open(&pass).await;
    browser.until(LIVE, &json!(true)).await;
    drag(&browser, 0.3, 0.7).await;
    browser.press("Let the pass be this stretch").await;
    browser.see("The pass is this stretch of its log now").await;
    browser.see("Cut out of its log").await;

    // The rest of the log: a row that is clicked takes the mark.
    browser.open(&pass).await;
    browser.script("document.querySelector('#cut-from').closest('details').open = true").await;
    browser.press("What else the log holds").await;
    browser.until(LIVE, &json!(true)).await;
    browser.see("a pass").await;
    browser.script("document.querySelector('[name=from-more]').focus()").await;
    drag(&browser, 0.12, 0.22).await;
    let filled = "return Number(document.querySelector('[name=to-more]').value) > Number(document.querySelector('[name=from-more]').value)";
    assert_eq!(browser.script(filled).await, json!(true));
    for tick in ["0", "1"] {
        browser.script(&format!("document.querySelectorAll('[name=take]')[{tick}]?.checked && document.querySelectorAll('[name=take]')[{tick}].click()")).await;
    }
    browser.press("Cut out the ticked stretches").await;
    browser.see("1 stretch cut out").await;
    browser.press("Undo").await;
    browser.see("Put back into the log").await;
    fits(&browser, &browser.path().await).await;
    browser.close().await;
}
