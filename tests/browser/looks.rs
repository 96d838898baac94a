//! Each page at the widths of a desk and a phone: nothing sticks out of it, and the console has nothing to say.

use serde_json::json;
use weighhouse_demo::FaultKind;
use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::harness::PASSWORD;
use crate::stage::{Bench, Stage, send};

/// CSS pixels: a desk, a phone.
const WIDTHS: [u32; 2] = [1440, 390];

/// Opens a page at each width and looks whether it fits, and whether the console has anything to say.
pub async fn fits(browser: &Browser, path: &str) {
    for px in WIDTHS {
        browser.width(px).await;
        browser.open(path).await;
        let script = "const out = [...document.querySelectorAll('body *')]
                .filter((each) => each.getBoundingClientRect().right > innerWidth && !each.closest('.scroll'))
                .map((each) => each.outerHTML.slice(0, 120));
            const wide = Math.max(0, document.documentElement.scrollWidth - innerWidth);
            return [document.querySelectorAll('h1').length, innerWidth, wide, wide ? out : []];";
        let measured = browser.script(script).await;
        assert_eq!(
            measured,
            json!([1, px, 0, []]),
            "{path}: main headings, width, by how much what sticks out"
        );
        assert_eq!(browser.complaints().await, Vec::<String>::new(), "{path} at {px} pixels");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_page_fits_a_desk_and_a_phone() {
    let stage = Stage::set().await;
    let rig = [("name", "alder"), ("board", "Quillon M1"), ("time_zone", "UTC")];
    send(&stage.owner, &paths::rigs(), &rig).await;
    send(
        &stage.owner,
        &paths::pieces(),
        &[("name", "Is it worth it?"), ("kind", "card"), ("zone", "UTC"), ("once", "p1")],
    )
    .await;
    let pieces = stage.owner.get(&paths::api(&paths::pieces())).await.json();
    let piece = pieces["pieces"][0]["key"].as_str().unwrap().to_owned();
    let all =
        [("do", "add"), ("tuning", "1"), ("tuning", "2"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    send(&stage.owner, &paths::piece_cells(&piece), &all).await;

    let driver = Driver::start();
    let browser = driver.browser(stage.base()).await;
    browser.sign_in("Maren Oake", PASSWORD).await;
    let pages = [
        paths::pieces(),
        paths::piece(&piece),
        paths::piece_cells(&piece),
        paths::plan(&piece),
        paths::sessions(&piece),
        paths::changes(&piece),
        paths::against(&piece),
        paths::piece_tuning(&piece),
        paths::latency(&piece),
        paths::rig_check(&piece),
        paths::outdated(&piece),
        paths::draft(&piece),
        paths::editions(&piece),
        paths::quotes(&piece),
        paths::readings(&piece),
        paths::notes(&piece),
        paths::carried(&piece),
        paths::reading_new(&piece),
        paths::reading_kinds(),
        paths::pack(&piece),
        paths::charts(&piece),
        paths::rigs(),
        paths::rig(1),
        paths::parts(),
        paths::part(1),
        paths::scenes(),
        paths::scene(1),
        paths::layouts(),
        paths::people(),
    ];
    for path in pages {
        fits(&browser, &path).await;
    }
    browser.close().await;
}

/// Pages of one piece and of one of everything, in the demo's house.
async fn pages(browser: &Browser, piece: &str) -> Vec<String> {
    let link = async |at: String, selector: &str| {
        browser.open(&at).await;
        let script = format!("return document.querySelector('{selector}').getAttribute('href')");
        browser.script(&script).await.as_str().unwrap().to_owned()
    };
    let pass = link(paths::plan(piece), ".board .marks a").await;
    let reading = link(paths::readings(piece), "main td a[href*=\"/readings/\"]").await;
    let around = link(reading.clone(), "main a[href$=\"/around\"]").await;
    let soak = link(paths::readings(piece), "main a[href*=\"/soaks/\"]").await;
    let new_figure = link(paths::against(piece), "main td a.number").await;
    browser.open(&new_figure).await;
    browser.press("Make the figure").await;
    browser.see("The figure is made").await;
    let figure = browser.path().await;
    browser.open(&paths::against(piece)).await;
    browser.press("Keep this chart").await;
    browser.see("The chart is kept").await;
    let chart = browser.path().await;
    browser.open(&paths::sessions(piece)).await;
    browser.press("Make a board").await;
    browser.see("Shown once").await;
    let script =
        "return new URL(document.querySelector('section[aria-labelledby=once] code').textContent).pathname";
    let board = browser.script(script).await.as_str().unwrap().to_owned();
    vec![
        paths::pieces(),
        paths::piece(piece),
        paths::piece_cells(piece),
        paths::plan(piece),
        paths::with_query(&paths::plan(piece), &[("show", "low")]),
        paths::intake(piece),
        paths::review(piece),
        paths::against(piece),
        paths::piece_tuning(piece),
        paths::latency(piece),
        paths::rig_check(piece),
        paths::outdated(piece),
        paths::sessions(piece),
        board,
        paths::changes(piece),
        paths::screens(piece),
        paths::noise_prior(piece),
        paths::figures(piece),
        paths::draft(piece),
        paths::editions(piece),
        paths::quotes(piece),
        paths::readings(piece),
        reading,
        around,
        soak,
        paths::notes(piece),
        paths::carried(piece),
        paths::reading_new(piece),
        paths::reading_kinds(),
        paths::pack(piece),
        paths::charts(piece),
        chart,
        pass,
        figure,
        new_figure,
        paths::rigs(),
        paths::rig(1),
        paths::parts(),
        paths::part(2),
        paths::scenes(),
        paths::scene(1),
        paths::layouts(),
        paths::layout_read(1),
        paths::cuts(1),
        paths::people(),
        paths::piece("nowhere"),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_breaks_a_rule_of_accessibility_on_light_or_dark_paper() {
    let bench = Bench::set(&[FaultKind::Updater, FaultKind::WrongPassage]).await;
    let driver = Driver::start();
    let browser = driver.browser(&bench.base()).await;
    let mut broken = Vec::new();
    let mut look = async |path: &str| {
        for dark in [false, true] {
            browser.dark(dark).await;
            browser.open(path).await;
            let found = browser.violations().await;
            broken.extend(found.into_iter().map(|says| format!("{path}, dark {dark}: {says}")));
        }
    };
    look(&paths::sign_in()).await;
    bench.sign_in(&browser, 0).await;
    for path in pages(&browser, &bench.piece).await {
        look(&path).await;
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
    browser.close().await;
}
