//! A remark on a stretch, seen live by a second browser that loses nothing of what is being written there.

use serde_json::json;
use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::Driver;
use crate::stage::Bench;

#[tokio::test(flavor = "multi_thread")]
async fn a_remark_shows_in_another_browser_and_what_is_written_there_stays() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let (one, other) = (driver.browser(&bench.base()).await, driver.browser(&bench.base()).await);
    for (browser, nth) in [(&one, 1), (&other, 2)] {
        bench.sign_in(browser, nth).await;
        browser.open(&paths::plan(&bench.piece)).await;
    }
    let first = "return document.querySelector('.board .marks a').getAttribute('href')";
    let pass = one.script(first).await.as_str().unwrap().to_owned();
    one.open(&pass).await;
    other.open(&pass).await;
    other.press("Add a remark").await;
    other.fill("Remark", "half a thought").await;

    one.press("Add a remark").await;
    one.fill("Remark", "the gate opens late").await;
    one.fill_in("Remarks", "From (s)", "2").await;
    one.fill_in("Remarks", "To (s)", "3").await;
    one.press("Write the remark").await;
    one.see("The remark is kept").await;
    other.see("the gate opens late").await;
    assert_eq!(other.script("return document.getElementById('says').value").await, json!("half a thought"));

    // An answer and settling come back the same way, while the first one writes.
    one.script("document.querySelector('.thread input[name=says]').value = 'not sent yet'").await;
    other.script("document.querySelector('.thread input[name=says]').value = 'in each pass'").await;
    other.press("Answer").await;
    one.see("in each pass").await;
    other.press("Settle").await;
    one.see("settled").await;
    let typed = one.script("return document.querySelector('.thread input[name=says]').value").await;
    assert_eq!(typed, json!("not sent yet"));
    one.close().await;
    other.close().await;
}
