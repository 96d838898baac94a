//! The whole way of a number, as a team walks it in two browsers: logs come in, a pass is ruled on, two tunings are
//! compared, a figure is made, proposed and agreed, a window moves, the agreement lapses, the pack comes out.

use std::fmt::Write as _;
use std::io::{Cursor, Read as _};
use std::path::Path;

use serde_json::json;
use weighhouse_web::paths;
use zip::ZipArchive;

use crate::driver::{Browser, Driver};
use crate::harness::{Client, PASSWORD};
use crate::looks::fits;
use crate::stage::Stage;

const CAPTURES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/captures");
/// Recorded passes, with the tuning and the scene that they stand for here.
const RECORDED: [(&str, &str, &str); 4] = [
    ("card-a_glasshouse_2560x1440_p1.csv", "stock", "glasshouse"),
    ("card-a_glasshouse_2560x1440_p3.txt", "limit 300 W", "glasshouse"),
    ("card-a_murmuration_2560x1440_p2.csv", "stock", "murmuration"),
    ("card-a_murmuration_2560x1440_t1.csv", "limit 300 W", "murmuration"),
];
const SENSORS: &str = "card-a_glasshouse_2560x1440_p1_sensors.csv";
/// Passes that are made for this test, two for each of the recorded ones, so that intervals can be had.
const MADE: u32 = 8;

/// A made pass: 2000 frames that last up to 1 ms more than `base_us`.
pub fn made(n: u32, base_us: u32) -> String {
    let (mut text, mut at_us) = ("elapsed (s),frame time (ms),power (W)\n".to_owned(), 0);
    for i in 0..2000_u32 {
        let frame_us = base_us + n * 20 + (i * 7919 + n * 104_729) % 997;
        let (s, us, ms, rest) = (at_us / 1_000_000, at_us % 1_000_000, frame_us / 1_000, frame_us % 1_000);
        writeln!(text, "{s}.{us:06},{ms}.{rest:03},{}", 250 + i % 9).unwrap();
        at_us += frame_us;
    }
    text
}

/// The cell that made pass `n` belongs to, by the place of the recorded one.
fn place(n: u32) -> usize {
    usize::try_from(n).unwrap() % RECORDED.len()
}

fn made_name(n: u32) -> String {
    format!("made {n}.csv")
}

/// Made pass `n`, a little slower with the lower limit.
fn made_for(n: u32) -> String {
    made(n, if RECORDED[place(n)].1 == "stock" { 4_300 } else { 4_500 })
}

/// The files that are chosen, where the browser can take them from: all but made pass 0, which is dropped.
fn files(folder: &Path) -> Vec<String> {
    let recorded = RECORDED.iter().map(|(name, ..)| *name).chain([SENSORS]);
    let mut files: Vec<String> = recorded.map(|name| format!("{CAPTURES}/{name}")).collect();
    for n in 1..MADE {
        let path = folder.join(made_name(n));
        std::fs::write(&path, made_for(n)).unwrap();
        files.push(path.to_str().unwrap().to_owned());
    }
    files
}

/// Enters a rig, makes a piece and gives it a grid of cells, all through pages. Gives the piece's key.
async fn prepare(owner: &Browser) -> String {
    owner.open(&paths::rigs()).await;
    owner.fill("Name", "alder").await;
    owner.fill("Board", "Quillon M1").await;
    owner.fill("Time zone", "UTC").await;
    owner.press("Add the rig").await;
    owner.see("Quillon M1").await;
    owner.open(&paths::pieces()).await;
    owner.fill("Name", "Is the limit worth it?").await;
    owner.press("Make the piece").await;
    owner.see("Is the limit worth it?").await;
    owner.open(&paths::pieces()).await;
    owner.press("Is the limit worth it?").await;
    owner.see("Board").await;
    let key = owner.path().await.split('/').nth(2).unwrap().to_owned();
    owner.open(&paths::piece_cells(&key)).await;
    // The only setting is ticked already.
    for label in ["stock", "limit 300 W", "Vellum Rally, glasshouse", "Vellum Rally, murmuration"] {
        owner.tick(label).await;
    }
    owner.press("Add all ticked together").await;
    owner.see("0 passes").await;
    key
}

/// Brings all files at once, then makes passes of them, cell by cell.
async fn bring(member: &Browser, piece: &str) {
    let folder = tempfile::tempdir().unwrap();
    member.open(&paths::intake(piece)).await;
    member.choose("Recorded on", "alder").await;
    member.drop_files(&[(&made_name(0), &made_for(0))]).await;
    member.give_files("Drop log files here", &files(folder.path())).await;
    member.uploaded(RECORDED.len() + 1 + usize::try_from(MADE).unwrap()).await;
    member.press("Show what came in").await;
    for (at, (recorded, tuning, scene)) in RECORDED.iter().enumerate() {
        member.tick(recorded).await;
        for n in (0..MADE).filter(|n| place(*n) == at) {
            member.tick(&made_name(n)).await;
        }
        member.choose("Part and tuning", tuning).await;
        member.choose("Scene", scene).await;
        member.choose("Setting", "2560x1440").await;
        member.press("Make passes of the ticked logs").await;
        member.see("3 passes made").await;
    }
    member.see("No log waits").await;
}

/// Sets the first pass of the board aside, takes that back, and keeps it. Gives its key.
async fn rule(member: &Browser, owner: &Client, piece: &str) -> String {
    let board = owner.get(&paths::api(&paths::plan(piece))).await.json();
    let pass = board["rows"][0]["spots"][0]["marks"][0]["key"].as_str().unwrap().to_owned();
    member.open(&paths::pass(&pass)).await;
    member.see("Nobody ruled on this pass; it counts.").await;
    member.fill_in("Ruling", "Reason", "an updater ran").await;
    member.press("Set aside").await;
    member.see("Ruled: set aside.").await;
    member.press("Undo").await;
    member.see("Nobody ruled on this pass; it counts.").await;
    member.press("Keep").await;
    member.see("Ruled: keep.").await;
    pass
}

/// The ratio of the two tunings stands in each scene's row.
async fn compare(member: &Browser, piece: &str) {
    member.open(&paths::against(piece)).await;
    for scene in ["glasshouse", "murmuration"] {
        let row = member.row(scene).await;
        assert!(row.contains('%') && !row.contains("not compared"), "{row}");
    }
}

const FIGURE: &str = "Stock in the glasshouse";

/// One person makes a figure of a number on the pass page and proposes it; the other agrees. Gives where the figure is,
/// and what is printed.
async fn agree(owner: &Browser, member: &Browser, piece: &str, pass: &str) -> (String, String) {
    owner.open(&paths::pass(pass)).await;
    owner.press("Make a figure").await;
    owner.fill("Name", FIGURE).await;
    owner.press("Make the figure").await;
    owner.see("The figure is made").await;
    let figure = owner.path().await;
    owner.press("Propose").await;
    owner.see("proposed").await;
    member.open(&paths::figures(piece)).await;
    member.press(FIGURE).await;
    member.see("Why this number").await;
    member.press("Agree").await;
    member.see("agreed").await;
    (figure, member.words("main .agreed").await)
}

/// The pack is downloaded; in it the figure is agreed, with the value that is printed.
async fn download(member: &Browser, piece: &str, printed: &str) {
    member.open(&paths::pack(piece)).await;
    member.see("1 of 1 figure agreed").await;
    member.press("Download the pack").await;
    let pack = member.downloaded(".zip").await;
    let mut pack = ZipArchive::new(Cursor::new(pack)).unwrap();
    let name = pack.file_names().map(|name| name.unwrap().into_owned()).find(|n| n.ends_with("figures.json"));
    let mut text = String::new();
    pack.by_name(&name.unwrap()).unwrap().read_to_string(&mut text).unwrap();
    let figures: serde_json::Value = serde_json::from_str(&text).unwrap();
    let figure = &figures["figures"][0];
    assert_eq!((&figure["name"], &figure["agreed"]), (&json!(FIGURE), &json!(true)), "{figure}");
    assert_eq!(figure["printed"].as_str().unwrap().replace('\u{a0}', " "), printed);
}

/// The window of a pass moves; the agreement lapses, with the old and the new value, before both people's eyes.
async fn lapse(owner: &Browser, member: &Browser, piece: &str, pass: &str, printed: &str) {
    owner.open(&paths::pass(pass)).await;
    owner.press("Set another window").await;
    owner.fill_in("Window", "From (s)", "0.5").await;
    owner.fill_in("Window", "To (s)", "1.5").await;
    owner.fill_in("Window", "Reason", "the start came late").await;
    owner.press("Set the window").await;
    owner.see("The window is moved").await;
    for browser in [owner, member] {
        browser.open(&paths::figures(piece)).await;
        browser.see("lapsed").await;
        assert_eq!(browser.words("main td s").await, printed);
        let both = browser.words("main td:has(s)").await;
        let now = both.strip_prefix(printed).unwrap().trim();
        assert!(!now.is_empty() && now != printed, "{both}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_number_goes_from_logs_to_print_in_the_hands_of_two() {
    let stage = Stage::set().await;
    let driver = Driver::start();
    let owner = driver.browser(stage.base()).await;
    let member = driver.browser(stage.base()).await;
    owner.sign_in("Maren Oake", PASSWORD).await;
    member.sign_in("Iver Stroud", PASSWORD).await;

    let piece = prepare(&owner).await;
    bring(&member, &piece).await;
    let pass = rule(&member, &stage.owner, &piece).await;
    compare(&member, &piece).await;
    let (figure, printed) = agree(&owner, &member, &piece, &pass).await;
    download(&member, &piece, &printed).await;
    lapse(&owner, &member, &piece, &pass, &printed).await;

    let filled = [
        paths::plan(&piece),
        paths::intake(&piece),
        paths::pass(&pass),
        paths::review(&piece),
        paths::against(&piece),
        paths::figures(&piece),
        figure,
    ];
    for path in filled {
        fits(&member, &path).await;
    }
    owner.close().await;
    member.close().await;
}
