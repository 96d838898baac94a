//! The draft in Chromium: checked while one types, worked through by keyboard.

use serde_json::json;
use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::looks::fits;
use crate::stage::Bench;

const MARKS: &str = "return document.querySelectorAll('.drafted .margin li').length";

/// Puts a text into the draft as one who pastes it.
pub async fn type_in(browser: &Browser, text: &str) {
    let script = format!(
        "const text = document.querySelector('textarea'); text.value = {};
         text.dispatchEvent(new Event('input', {{ bubbles: true }})); return true",
        json!(text)
    );
    browser.script(&script).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_text_is_checked_while_it_is_typed_and_its_numbers_settled_by_keyboard() {
    let bench = Bench::set(&[FaultKind::Updater]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    bench.sign_in(&browser, 1).await;
    browser.open(&paths::draft(&bench.piece)).await;
    browser.see("No text yet").await;
    type_in(&browser, "In 2026 the lamp drew 40 W.").await;
    browser.until(MARKS, &json!(1)).await;
    type_in(&browser, "In 2026 the lamp drew 40 W. The kettle drew 900 W.").await;
    browser.until(MARKS, &json!(2)).await;
    browser.see("checked but not kept").await;
    browser.press("Keep this text").await;
    browser.see("kept as version 1").await;
    browser.keys("n").await;
    browser.until("return document.querySelector('.present mark').textContent", &json!("900 W")).await;
    browser.keys("b").await;
    browser.until("return document.querySelector('.present mark').textContent", &json!("40 W")).await;
    browser.keys("l").await;
    browser.see("'40 W' is left alone").await;
    browser.until(MARKS, &json!(1)).await;
    fits(&browser, &paths::draft(&bench.piece)).await;
    browser.close().await;
}
