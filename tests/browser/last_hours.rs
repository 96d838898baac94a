//! The last hours before a deadline, in Chromium: forty figures of two people, a script with eight wrong numbers, a pass
//! that is run again, figures that lapse and are agreed anew, an edition, a pack, and a doubting reader's machine.

use std::process::Command;

use serde_json::{Value, json};
use weighhouse_web::paths;

use crate::draft::type_in;
use crate::driver::{Browser, Driver};
use crate::stage::Bench;

/// Games and passages of the demo's scenes, as figures name them.
const SCENES: [(&str, &str); 8] = [
    ("Vellum Rally", "hairpin"),
    ("Nine Lamps Below", "cistern"),
    ("Saltmarsh Couriers", "causeway"),
    ("Orchard of Static", "market rain"),
    ("Quarry Parliament", "siege"),
    ("Driftglass", "arena"),
    ("Hollow Regatta", "night harbour"),
    ("Tin Comet", "corridor"),
];

/// What a page's twin says, as the browser's person sees it.
async fn twin(browser: &Browser, path: &str) -> Value {
    let script = format!(
        "const get = new XMLHttpRequest(); get.open('GET', {}, false); get.send(); return get.responseText;",
        json!(paths::api(path))
    );
    serde_json::from_str(browser.script(&script).await.as_str().unwrap()).unwrap()
}

async fn text_of(browser: &Browser, path: &str) -> String {
    let script = format!(
        "const get = new XMLHttpRequest(); get.open('GET', {}, false); get.send(); return get.responseText;",
        json!(path)
    );
    browser.script(&script).await.as_str().unwrap().to_owned()
}

/// Clicks the nth element that a selector finds.
async fn click(browser: &Browser, selector: &str, nth: usize) {
    let script = format!("document.querySelectorAll({})[{nth}].click(); return true;", json!(selector));
    browser.script(&script).await;
}

/// Standing, name and printed value of each figure.
async fn figures(browser: &Browser, piece: &str) -> Vec<(String, String, String)> {
    let all = twin(browser, &paths::figures(piece)).await;
    let text = |figure: &Value, name: &str| figure[name].as_str().unwrap_or("").replace('\u{a0}', " ");
    let all = all["figures"].as_array().unwrap().iter();
    all.map(|figure| (text(figure, "standing"), text(figure, "name"), text(figure, "shown"))).collect()
}

fn standing<'a>(all: &'a [(String, String, String)], wanted: &str) -> Vec<&'a str> {
    all.iter().filter(|(standing, ..)| standing == wanted).map(|(_, name, _)| name.as_str()).collect()
}

/// Proposes all numbers of both contenders and one low; the other person agrees to all but one. Gives their values.
async fn agree(owner: &Browser, member: &Browser, piece: &str, password: &str) {
    for nth in [0, 1] {
        owner.open(&paths::against(piece)).await;
        click(owner, "button[name=do][value=all]", nth).await;
        owner.see("Proposed:").await;
    }
    assert_eq!(standing(&figures(owner, piece).await, "proposed").len(), 40);
    owner.open(&paths::with_query(&paths::against(piece), &[("measure", "low_1_quantile_fps")])).await;
    let change = "[...document.querySelectorAll('main tr')].find(
        (row) => row.querySelector('th')?.textContent.startsWith('Saltmarsh Couriers'))
        .querySelector('[data-head=Change] a').click(); return true";
    owner.script(change).await;
    owner.see("Make the figure").await;
    owner.press("Make the figure").await;
    owner.see("The figure is made").await;
    owner.press("Propose").await;
    owner.see("proposed").await;

    agree_all(member, piece, Some("Thole, Tin Comet"), password).await;
    let all = figures(member, piece).await;
    assert_eq!((standing(&all, "agreed").len(), standing(&all, "proposed").len()), (40, 1), "{all:?}");
}

/// Ticks what waits and agrees, all but one where it is named.
async fn agree_all(browser: &Browser, piece: &str, but: Option<&str>, password: &str) {
    browser.open(&paths::figures(piece)).await;
    let script = format!(
        "for (const tick of document.querySelectorAll(
             'section[aria-labelledby=waiting] input[name=figure], section[aria-labelledby=lapsed] input[name=figure]'))
             tick.checked = !tick.ariaLabel.startsWith({});
         const field = document.querySelector('#password'); if (field) field.value = {};
         document.querySelector('button[name=do][value=agree]').click(); return true",
        json!(but.unwrap_or("nothing")),
        json!(password)
    );
    browser.script(&script).await;
    browser.see("Agreed:").await;
}

/// Six hundred words with thirty numbers. The last eight are wrong, each in another way.
fn script_of(all: &[(String, String, String)]) -> String {
    let of = |name: &str| {
        let found = all.iter().find(|(_, own, _)| own.starts_with(name));
        found.unwrap_or_else(|| panic!("no figure '{name}' in {all:?}")).2.clone()
    };
    let rate = |part: &str, (game, passage): (&str, &str)| {
        of(&format!("{part}, {game} ({passage}), 2160p native: average"))
    };
    let change = |part: &str, (game, passage): (&str, &str)| {
        let shown = of(&format!("{part} over Dunlin, {game} ({passage}), 2160p native: average"));
        shown.trim_start_matches(['+', '−']).to_owned()
    };
    let mut text = vec![
        "It is the autumn of 2026, and on the bench lie three cards for screens of 3840x2160: the Dunlin that many \
         own, the Curlew that is new, and the Thole that costs least. The Curlew ran on driver 615.02, the Dunlin on \
         612.18, on a Quillon M1 under OS build 26100."
            .to_owned(),
    ];
    let prose = "The passage is the same each time, from the same seat, with the same weather, and it is run again \
                 until the spread is small enough to print. Nobody looked at the name of a part while ruling on a pass.";
    for scene in &SCENES[..7] {
        let game = scene.0;
        text.push(format!(
            "In {game} the Curlew averages {} at 2160p. The Dunlin makes {} in {game}. {prose}",
            rate("Curlew", *scene),
            rate("Dunlin", *scene)
        ));
    }
    for scene in &SCENES[..4] {
        text.push(format!(
            "In {} the Curlew is {} faster than the Dunlin.",
            scene.0,
            change("Curlew", *scene)
        ));
    }
    for scene in &SCENES[..3] {
        text.push(format!("In {} the Thole is {} slower than the Dunlin.", scene.0, change("Thole", *scene)));
    }
    let overall = of("Curlew over Dunlin, overall (7 scenes)");
    text.push(format!(
        "Over all scenes the Curlew is {} faster than the Dunlin.",
        overall.trim_start_matches('+')
    ));
    let comet = rate("Curlew", SCENES[7]);
    let number: f64 = comet.split(' ').next().unwrap().parse().unwrap();
    text.extend([
        // Not agreed: the one that was left.
        format!("In Tin Comet the Thole makes {}.", rate("Thole", SCENES[7])),
        // Rounded wrongly: the whole number beside the nearest one.
        format!(
            "In Tin Comet the Curlew averages {} fps.",
            number.floor() + if number.fract() < 0.5 { 1.0 } else { 0.0 }
        ),
        // Wrong.
        "In Tin Comet the Dunlin makes 310 fps.".to_owned(),
        // Turned round.
        format!("In Tin Comet the Dunlin is {} slower than the Curlew.", change("Curlew", SCENES[7])),
        // The low's definition is not said.
        format!(
            "In Saltmarsh Couriers the lows of the Curlew are {} higher than those of the Dunlin.",
            of("Curlew over Dunlin, Saltmarsh Couriers (causeway), 2160p native: 1% low")
                .trim_start_matches('+')
        ),
        // Noise sold as a difference.
        format!("In Driftglass the Curlew is {} faster than the Dunlin.", change("Curlew", SCENES[5])),
        // Nothing is behind it.
        "The kettle beside the bench stood at 96 °C all night.".to_owned(),
        // Quoted without a source.
        "With 16 GB the Dunlin has less memory.".to_owned(),
    ]);
    text.join("\n")
}

/// The verdicts in the margin of the page, in the order of the text.
async fn verdicts(browser: &Browser) -> Vec<String> {
    let script = "return [...document.querySelectorAll('.drafted .margin li .told')].map(
        (told) => told.lastChild.textContent.trim())";
    browser.script(script).await.as_array().unwrap().iter().map(|v| v.as_str().unwrap().to_owned()).collect()
}

/// A pass is ruled to be run again, and the new one takes its place; five figures lapse.
async fn run_again(member: &Browser, piece: &str) {
    let board = twin(member, &paths::plan(piece)).await;
    let rows = board["rows"].as_array().unwrap();
    let row = rows.iter().find(|r| r["scene"].as_str().unwrap().starts_with("Tin Comet")).unwrap();
    let pass = row["spots"][0]["marks"][0]["key"].as_str().unwrap().to_owned();
    let about = twin(member, &paths::pass(&pass)).await["about"].clone();
    assert_eq!((&about["part"], &about["setting"]), (&json!("Tarnwick Dunlin"), &json!("2160p native")));
    let log = text_of(member, &paths::capture(about["capture_id"].as_i64().unwrap())).await;
    member.open(&paths::pass(&pass)).await;
    member.fill_in("Ruling", "Reason", "a window lay over it").await;
    member.press("Run again").await;
    member.see("Ruled: run again.").await;

    // The same passage once more: a little shorter, so that it is another recording.
    let rows: Vec<&str> = log.lines().collect();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("dunlin_once_more.csv");
    std::fs::write(&file, rows[..rows.len() - 20].join("\n")).unwrap();
    member.open(&paths::intake(piece)).await;
    member.choose("Recorded on", about["rig"].as_str().unwrap()).await;
    member.give_files("Drop log files here", &[file.to_str().unwrap().to_owned()]).await;
    member.uploaded(1).await;
    member.press("Show what came in").await;
    member.tick("dunlin_once_more.csv").await;
    member.choose("Part and tuning", "Tarnwick Dunlin, stock").await;
    member.choose("Scene", "Tin Comet, corridor").await;
    member.choose("Setting", "2160p native").await;
    member.press("Make passes of the ticked logs").await;
    member.see("1 pass made").await;
    let lapsed = figures(member, piece).await;
    assert_eq!(standing(&lapsed, "lapsed").len(), 5, "{lapsed:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_goes_to_print_is_what_two_agreed_on_and_another_machine_finds_it_again() {
    let bench = Bench::at_setting("2160p native").await;
    let (base, piece) = (bench.base(), bench.piece.as_str());
    let driver = Driver::start();
    let (owner, member) = (driver.browser(&base).await, driver.browser(&base).await);
    bench.sign_in(&owner, 0).await;
    bench.sign_in(&member, 1).await;
    let second = bench.week.team.people[1].password;
    agree(&owner, &member, piece, second).await;

    let text = script_of(&figures(&owner, piece).await);
    let words = text.split_whitespace().count();
    assert!((550..=700).contains(&words), "{words} words");
    owner.open(&paths::draft(piece)).await;
    type_in(&owner, &text).await;
    owner.press("Keep this text").await;
    owner.see("kept as version 1").await;
    let found = verdicts(&owner).await;
    assert_eq!(found.len(), 30, "{found:?}");
    assert!(found[..22].iter().all(|verdict| verdict == "agreed and right"), "{found:?}");
    let wrong = [
        "right, not agreed",
        "rounded wrongly",
        "wrong",
        "turned round",
        "low not defined",
        "inside the noise",
        "unsupported",
        "no source",
    ];
    assert_eq!(found[22..], wrong);

    run_again(&member, piece).await;
    owner.open(&paths::draft(piece)).await;
    assert!(verdicts(&owner).await.iter().any(|verdict| verdict.contains("lapsed")));
    // What prints the same is agreed anew at once; what moved is proposed again and agreed by the other.
    owner.open(&paths::figures(piece)).await;
    let propose =
        "for (const tick of document.querySelectorAll('section[aria-labelledby=lapsed] input[name=figure]'))
            tick.checked = true;
        document.querySelector('button[name=do][value=propose]').click(); return true";
    owner.script(propose).await;
    owner.see("Proposed:").await;
    agree_all(&member, piece, None, second).await;
    let all = figures(&owner, piece).await;
    assert_eq!(standing(&all, "agreed").len(), 41, "{all:?}");

    owner.open(&paths::editions(piece)).await;
    owner.fill("What it is for", "the video").await;
    owner.press("Freeze edition").await;
    owner.see("Edition 1").await;
    owner.open(&paths::pack(piece)).await;
    owner.see("41 of 41 figures agreed").await;
    owner.tick("The captures too").await;
    owner.press("Download the pack").await;
    let pack = owner.downloaded(".zip").await;
    owner.close().await;
    member.close().await;

    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("pack.zip");
    std::fs::write(&file, pack).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_weighhouse"));
    let told = command.env("TMPDIR", folder.path()).arg("reproduce").arg(&file).output().unwrap();
    let says = String::from_utf8(told.stdout).unwrap();
    assert!(told.status.success() && says.contains("41 of 41 figures"), "{says}");
}
