//! The team's layouts: listed, shown with an example, corrected with what lapses shown first, and corrected back.

use weighhouse::store::passes::{self, PassRow};
use weighhouse::store::{audit, pieces};
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House};
use crate::intake::{bring, registers, vague};

const CELL: [(&str, &str); 5] =
    [("tuning", "1"), ("scene", "1"), ("setting", "1"), ("base", "1"), ("segment", "1")];

/// A log that was read as frame times in ms because a person said so, its pass, and a proposed figure on it.
async fn proposed(house: &House, owner: &Client) {
    registers(house).await;
    let asked = owner.put(&paths::upload("v1.csv"), vague(1)).await;
    let layout = asked.json()["layout"].as_str().unwrap().to_owned();
    let said =
        [("version", "1"), ("kind", "frames"), ("role-1", "frame time"), ("unit-1", "ms"), ("once", "a1")];
    assert_eq!(owner.post(&layout, &said).await.status, 303);
    bring(owner, "v2.csv", vague(2)).await;
    assert_eq!(owner.post(&paths::assign("k"), &CELL).await.status, 303);
    let what = serde_json::json!({"kind": "cell", "measure": "average_fps", "cell": 1}).to_string();
    let figure = [("what", what.as_str()), ("name", "Curlew, average"), ("places", "1"), ("once", "f1")];
    let made = owner.post(&paths::figures("k"), &figure).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let ledger = owner.get(&paths::figures("k")).await;
    let tick = ledger.attribute("input[name=figure]", "value").unwrap();
    let step = [("figure", tick.as_str()), ("do", "propose"), ("once", "s1")];
    assert_eq!(owner.post(&paths::figure_steps("k"), &step).await.status, 303);
}

/// Sends the example's form with another unit for its only column.
async fn read_in(client: &Client, layout: i64, unit: &str, sure: bool) -> Answer {
    let page = client.get(&paths::layout_read(layout)).await;
    let (to, mut fields) = page.form("form[action*=layouts]");
    fields.retain(|(name, _)| name != "unit-1");
    fields.push(("unit-1".to_owned(), unit.to_owned()));
    if sure {
        fields.push(("sure".to_owned(), "1".to_owned()));
    }
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    client.post(&to, &fields).await
}

async fn pass(house: &House) -> PassRow {
    let mut db = house.store.read().await.unwrap();
    let piece = pieces::by_key(&mut db, "k").await.unwrap().unwrap().id;
    passes::of_piece(&mut db, piece).await.unwrap().remove(0)
}

#[tokio::test]
async fn a_corrected_layout_reads_its_logs_again_and_says_first_what_lapses() {
    let house = House::start().await;
    let owner = house.owner().await;
    assert_eq!(owner.get(&paths::layouts()).await.texts(".empty b"), ["No log yet"]);
    proposed(&house, &owner).await;
    let list = owner.get(&paths::layouts()).await;
    assert_eq!(list.texts("tbody th"), ["Frames: frame time in ms"]);
    assert_eq!(list.texts("tbody td")[1..4], ["said by Maren Oake", "2", "1"]);
    let one = owner.get(&paths::layout_read(1)).await;
    assert_eq!(one.texts("h1"), ["Frames: frame time in ms"]);
    assert_eq!(one.texts("#example + form tbody tr:first-child td"), ["8"], "the first row as written");
    let before = pass(&house).await;

    let sure = read_in(&owner, 1, "s", false).await;
    assert_eq!(sure.status, 200, "{}", sure.body);
    assert_eq!(sure.texts("#lapsing + .body th a"), ["Curlew, average"]);
    assert!(sure.texts("#anew + .body td")[1].contains("fps"), "{:?}", sure.texts("#anew + .body td"));
    assert_eq!(pass(&house).await, before, "nothing is changed yet");

    let (to, fields) = sure.form("#sure + form");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    for _ in 0..2 {
        let done = owner.post(&to, &fields).await;
        assert_eq!((done.status, done.location()), (303, paths::layouts().as_str()), "{}", done.body);
    }
    let after = pass(&house).await;
    assert_eq!((after.id, after.layout_version, after.rows), (before.id, 2, before.rows));
    assert!(after.span_ns > before.span_ns * 900, "{} ns, was {} ns", after.span_ns, before.span_ns);
    assert_eq!(owner.get(&paths::figures("k")).await.texts("tbody .standing"), ["lapsed"]);
    assert_eq!(owner.get(&paths::layouts()).await.texts("tbody th"), ["Frames: frame time in s version 2"]);
    let next = owner.put(&paths::upload("v3.csv"), vague(3)).await.json();
    assert_eq!(next["segments"][0]["read"][0], "column 1 'value' frame time in s");

    // Corrected back, it is as it was.
    assert_eq!(read_in(&owner, 2, "ms", true).await.status, 303);
    let back = pass(&house).await;
    assert_eq!((back.span_ns, back.layout_version), (before.span_ns, 3));
    let mut db = house.store.read().await.unwrap();
    assert_eq!(audit::wrong(&mut db).await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn what_cannot_be_read_so_stays_as_it_was_and_is_named() {
    let house = House::start().await;
    let owner = house.owner().await;
    proposed(&house, &owner).await;
    let refused = read_in(&owner, 1, "W", false).await;
    assert_eq!(refused.status, 422);
    assert_eq!(refused.texts(".refused"), ["Column 1 (value) needs a unit of time."]);
    // In microseconds there were more frames in a second than any game gives.
    let before = pass(&house).await;
    let sure = read_in(&owner, 1, "us", false).await;
    assert_eq!(sure.texts("#anew + .body td b"), ["stays as it is", "stays as it is"], "{}", sure.body);
    assert_eq!(read_in(&owner, 1, "us", true).await.status, 303);
    let said = owner.get(&paths::layouts()).await.texts(".flash span").join(" ");
    assert!(said.contains("2 logs as before: v1.csv"), "{said}");
    assert_eq!(pass(&house).await, before);
}

#[tokio::test]
async fn guests_look_and_a_stale_page_corrects_nothing() {
    let house = House::start().await;
    let owner = house.owner().await;
    proposed(&house, &owner).await;
    let guest = house.guest(&owner).await;
    assert_eq!(guest.get(&paths::layout_read(1)).await.status, 200);
    assert_eq!(guest.post(&paths::layout_read(1), &[]).await.status, 403);
    assert_eq!(owner.get(&paths::layout_read(99)).await.status, 404);
    let fields = [("kind", "frames"), ("role-1", "frame time"), ("unit-1", "us"), ("sure", "1")];
    assert_eq!(owner.post(&paths::layout_read(1), &fields).await.status, 428);
    let stale: Vec<_> = fields.iter().copied().chain([("version", "9")]).collect();
    assert_eq!(owner.post(&paths::layout_read(1), &stale).await.status, 412);
    assert_eq!(pass(&house).await.layout_version, 1);
}

/// Two programs wrote into one log: 8 ms frames of lamps.exe, 20 ms frames of overlay.exe.
fn two_programs() -> String {
    let (mut text, mut at) = ("program,elapsed (s),frame time (ms)\n".to_owned(), [0.0, 0.0]);
    for n in 0..900 {
        for (of, (name, ms)) in [("lamps.exe", 8.0), ("overlay.exe", 20.0)].into_iter().enumerate() {
            let took = ms + f64::from((n * 7 + i32::from(of == 1)) % 5) * 0.13;
            text += &format!("{name},{:.6},{took:.3}\n", at[of]);
            at[of] += took / 1000.0;
        }
    }
    text
}

#[tokio::test]
async fn the_program_that_was_chosen_and_where_stamps_were_taken_are_corrected_too() {
    let house = House::start().await;
    let owner = house.owner().await;
    registers(&house).await;
    let asked = owner.put(&paths::upload("two.csv"), two_programs()).await.json();
    assert_eq!(asked["outcome"], "ask", "{asked}");
    let at = asked["layout"].as_str().unwrap().to_owned();
    let question = owner.get(&at).await;
    let way = question.texts("#ways + .body li").iter().position(|way| way.contains("overlay")).unwrap();
    let chosen = [("version", "1"), ("candidate", &way.to_string()), ("once", "w1")];
    assert_eq!(owner.post(&at, &chosen).await.status, 303);
    let page = owner.get(&paths::layout_read(1)).await;
    assert_eq!(page.attribute("#program", "value").as_deref(), Some("overlay.exe"), "{}", page.body);
    let (to, fields) = page.form("form[action*=layouts]");
    let kept = fields.iter().filter(|(name, _)| !["program", "stamp"].contains(&name.as_str()));
    let kept = kept.map(|(name, text)| (name.as_str(), text.as_str()));
    let fields: Vec<_> = kept.chain([("program", "lamps.exe"), ("stamp", "end")]).collect();
    let sure = owner.post(&to, &fields).await;
    let changes: Vec<String> = sure.texts("#changes + .body tbody th");
    assert_eq!(changes, ["stamps are taken", "program"], "{}", sure.body);
    let (to, fields) = sure.form("#sure + form");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    assert_eq!(owner.post(&to, &fields).await.status, 303);
    let page = owner.get(&paths::layout_read(2)).await;
    assert_eq!(page.attribute("#program", "value").as_deref(), Some("lamps.exe"));
    assert_eq!(page.attribute("input[name=stamp][checked]", "value").as_deref(), Some("end"));
    let again = owner.put(&paths::upload("two_more.csv"), two_programs() + "\n").await.json();
    let says = again["says"].as_str().unwrap().replace('\u{a0}', " ");
    assert!(says.starts_with("900 frames over 7.43 s"), "{says}");
}
