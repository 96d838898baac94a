//! The queue of flagged passes, worked off without a mouse.

use serde_json::json;
use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::{Browser, Driver, ESCAPE};
use crate::stage::Bench;
use crate::strip::{LIVE, drag};

const WAITING: &str = "return document.querySelectorAll('.waiting li').length";
/// Whether what lies at the middle of each reason is that reason, without scrolling.
const REASONS_SHOWN: &str =
    "return [...document.querySelectorAll('.at-hand .reasons label')].every((label) => {
    const { x, y, width, height } = label.getBoundingClientRect();
    return label.contains(document.elementFromPoint(x + width / 2, y + height / 2)); })";
/// What tells one pass of the queue from another: its form names it.
const SHOWN: &str = "return document.querySelector('.under form [name=pass]').value";

async fn waiting(browser: &Browser, wanted: u64) {
    browser.until(WAITING, &json!(wanted)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_queue_is_worked_off_by_keyboard_alone() {
    let bench = Bench::set(&[FaultKind::Updater, FaultKind::WrongPassage, FaultKind::Gap]).await;
    let driver = Driver::start();
    let member = driver.browser(&bench.base()).await;
    bench.sign_in(&member, 1).await;
    member.open(&paths::review(&bench.piece)).await;
    let all = member.script(WAITING).await.as_u64().unwrap();
    assert!(all >= 3, "{all} passes wait");

    // However far the strips reach, the reasons are in view; what is marked on the strip is said to be filled in.
    member.width(1440).await;
    member.until(LIVE, &json!(true)).await;
    member.script("document.querySelector('.strip').style.paddingBottom = '900px'").await;
    member.until(REASONS_SHOWN, &json!(true)).await;
    member.script("document.querySelector('.strip').style.paddingBottom = ''").await;
    drag(&member, 0.4, 0.6).await;
    member.see("The marked stretch stands in From and To of 'Shorten the window'").await;
    member.keys("s").await;
    member.see("From and To were filled in from the strip").await;
    member.keys(ESCAPE).await;

    let first = member.script(SHOWN).await;
    member.keys("n").await;
    member.until(&format!("{SHOWN} != '{}'", first.as_str().unwrap()), &json!(true)).await;
    member.keys("p").await;
    member.until(SHOWN, &first).await;
    member.keys("?").await;
    let keys = member.words("dialog[open]").await;
    for says in
        ["Set aside", "in my own words", "Show all of the strip", "Zoom, while the strip has the focus"]
    {
        assert!(keys.contains(says), "{says}: {keys}");
    }
    member.keys(ESCAPE).await;
    member.until("return document.querySelectorAll('dialog').length", &json!(0)).await;

    member.keys("k").await;
    member.see("Kept: ").await;
    waiting(&member, all - 1).await;
    member.keys("u").await;
    member.see("Taken back").await;
    waiting(&member, all).await;

    // The strip alone has a 0: elsewhere it changes nothing.
    let own = "return document.querySelector('[name=usual][value=\"\"]').checked";
    member.keys("20").await;
    assert_eq!(member.script(own).await, json!(false));
    member.keys("i").await;
    assert_eq!(member.script(own).await, json!(true));
    member.keys("2a").await;
    member.see("Set aside: ").await;
    assert!(member.words(".flash").await.contains("wrong passage"));
    waiting(&member, all - 1).await;
    member.keys(&format!("wthe log begins late{ESCAPE}r")).await;
    member.see("To be run again: ").await;
    assert!(member.words(".flash").await.contains("the log begins late"));
    for left in (0..all - 2).rev() {
        waiting(&member, left + 1).await;
        member.keys("k").await;
        waiting(&member, left).await;
    }
    member.see("Nothing waits for a ruling").await;
    member.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn many_alike_are_ruled_by_one_key_and_taken_back_by_another() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let member = driver.browser(&bench.base()).await;
    bench.sign_in(&member, 1).await;
    member.open(&paths::review(&bench.piece)).await;
    let all = member.script(WAITING).await.as_u64().unwrap();
    assert!(member.words(".under form").await.contains("other in this scene"));

    // Without a reason nothing is kept, and the keys go on where the reasons are.
    member.keys("ea").await;
    member.see("A reason is needed").await;
    waiting(&member, all).await;
    assert_eq!(member.script("return document.activeElement.name").await, json!("usual"));
    assert_eq!(
        member.script("return document.querySelector('[name=reach][value=scene]').checked").await,
        json!(true)
    );
    member.keys("4a").await;
    member.see("Set aside: 2 passes").await;
    waiting(&member, all - 2).await;
    member.keys("u").await;
    member.see("Taken back on 2 passes").await;
    waiting(&member, all).await;
    member.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_people_who_rule_otherwise_both_stand_until_one_settles_it() {
    let bench = Bench::set(&[FaultKind::Cap]).await;
    let driver = Driver::start();
    let (one, other) = (driver.browser(&bench.base()).await, driver.browser(&bench.base()).await);
    for (browser, nth) in [(&one, 1), (&other, 2)] {
        bench.sign_in(browser, nth).await;
        browser.open(&paths::review(&bench.piece)).await;
    }
    one.keys("k").await;
    one.see("Kept: ").await;
    other.keys("4a").await;
    other.see("both rulings stand until somebody settles them").await;
    let people = &bench.week.team.people;
    let stands = other.words(".contested").await;
    assert!(stands.contains(&format!("{}: keep", people[1].name)), "{stands}");
    assert!(stands.contains(&format!("{}: set aside: a frame cap was on", people[2].name)), "{stands}");

    one.open(&paths::review(&bench.piece)).await;
    one.keys("d").await;
    one.see("Two rulings stand").await;
    one.fill("In your own words", "the limiter was on, see the clocks").await;
    one.press("Settle: set aside").await;
    one.see("Settled. Set aside: ").await;
    one.until("return document.querySelectorAll('.contested').length", &json!(0)).await;
    one.close().await;
    other.close().await;
}
