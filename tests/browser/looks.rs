//! Each page at the widths of a desk and a phone: nothing sticks out of it, and the console has nothing to say.

use serde_json::json;
use weighhouse_web::paths;

use crate::driver::{Browser, Driver};
use crate::harness::PASSWORD;
use crate::stage::{Stage, send};

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
        paths::rigs(),
        paths::rig(1),
        paths::parts(),
        paths::part(1),
        paths::scenes(),
        paths::scene(1),
        paths::people(),
    ];
    for path in pages {
        fits(&browser, &path).await;
    }
    browser.close().await;
}
