//! Carried over: a part of an earlier piece is offered, carried over, checked by fresh passes, marked, and let go.

use serde_json::Value;
use weighhouse::store::CellId;
use weighhouse_web::paths;

use crate::figures::{PIECE, add_pass, bench, cell_what, figure, log};
use crate::harness::{Answer, Client, House, PASSWORD};
use crate::pack::{file, zip_of};

/// A later piece on the second part's cells, with what the first piece recorded: owner, key, cells of the bench.
async fn later(house: &House) -> (Client, String, [CellId; 3]) {
    let owner = house.owner().await;
    let cells = bench(house, &owner, false).await;
    house.wait_s(30 * 24 * 3600);
    let again = [("name", "Maren Oake"), ("password", PASSWORD)];
    assert_eq!(owner.post(&paths::sign_in(), &again).await.status, 303);
    let made = [("name", "A month later"), ("kind", "card"), ("deadline", ""), ("zone", "UTC")];
    assert_eq!(owner.post(&paths::pieces(), &made).await.status, 303);
    let all = owner.get(&paths::api(&paths::pieces())).await.json();
    let all = all["pieces"].as_array().unwrap();
    let key =
        all.iter().filter_map(|piece| piece["key"].as_str()).find(|key| *key != PIECE).unwrap().to_owned();
    let grid = [("do", "add"), ("tuning", "2"), ("scene", "1"), ("scene", "2"), ("setting", "1")];
    assert_eq!(owner.post(&paths::piece_cells(&key), &grid).await.status, 303);
    house.wait_s(60);
    (owner, key, cells)
}

async fn read(client: &Client, key: &str) -> Value {
    client.get(&paths::api(&paths::carried(key))).await.json()
}

async fn send(client: &Client, key: &str, fields: &[(&str, &str)]) -> Answer {
    client.post(&paths::carried(key), fields).await
}

async fn carry(client: &Client, key: &str) -> Answer {
    send(client, key, &[("do", "carry"), ("tuning", "1"), ("reason", "back at its maker")]).await
}

/// Two fresh passes of a cell at `ms` a frame.
async fn run(house: &House, owner: &Client, cell: CellId, name: &str, ms: f64) {
    for n in 0..2_u32 {
        add_pass(house, owner, cell, &format!("{name}{n}"), log(ms, n + 3)).await;
    }
}

#[tokio::test]
async fn a_part_of_an_earlier_piece_is_offered_with_its_age_and_carried_over_once() {
    let house = House::start().await;
    let (owner, key, _) = later(&house).await;
    let page = owner.get(&paths::carried(&key)).await;
    let names = page.texts("h3");
    assert_eq!(names, ["Tarnwick Dunlin", "Tarnwick Curlew"]);
    assert!(page.texts("dd")[0].starts_with("30 days: newest pass of"), "{:?}", page.texts("dd"));
    let offers = read(&owner, &key).await["offers"].clone();
    assert_eq!((&offers[0]["cells"], &offers[0]["ran"]["passes"]), (&2.into(), &4.into()));
    assert_eq!(offers[0]["ran"]["drivers"][0], "501.2");
    assert_eq!(offers[0]["pieces"][0], "Is the Curlew worth it?");

    assert_eq!(carry(&owner, &key).await.status, 303);
    let read_now = read(&owner, &key).await;
    assert_eq!(read_now["offers"].as_array().unwrap().len(), 1);
    let part = &read_now["parts"][0];
    assert_eq!((&part["says"], &part["reason"]), (&"not checked".into(), &"back at its maker".into()));
    assert_eq!(part["checks"].as_array().unwrap().len(), 2, "of two cells both are run again");
    assert_eq!(part["checks"][0]["says"], "not checked");
    let again = carry(&owner, &key).await;
    assert!(again.status == 422 && again.body.contains("No other piece has passes"), "{}", again.status);

    let plan = owner.get(&paths::plan(&key)).await;
    assert!(
        plan.texts(".says").iter().any(|says| says == "carried over, to be checked"),
        "{:?}",
        plan.texts(".says")
    );
    assert!(
        plan.texts(".todo li").iter().any(|one| one.starts_with("3 × Driftglass")),
        "checks are missing passes"
    );
}

#[tokio::test]
async fn fresh_passes_say_that_a_part_holds() {
    let house = House::start().await;
    let (owner, key, cells) = later(&house).await;
    assert_eq!(carry(&owner, &key).await.status, 303);
    house.wait_s(60);
    run(&house, &owner, cells[0], "fresh-a", 10.02).await;
    let part = read(&owner, &key).await["parts"][0].clone();
    assert_eq!((&part["says"], &part["counted"]), (&"not settled".into(), &"1 holds, 1 not run yet".into()));
    run(&house, &owner, cells[2], "fresh-b", 5.01).await;
    let part = read(&owner, &key).await["parts"][0].clone();
    assert_eq!((&part["says"], &part["counted"]), (&"holds within the margin".into(), &"2 hold".into()));
    let page = owner.get(&paths::carried(&key)).await;
    assert!(
        page.texts(".verdict").iter().any(|says| says.ends_with("holds within 2%")),
        "{:?}",
        page.texts(".verdict")
    );
}

#[tokio::test]
async fn a_check_that_fails_asks_for_all_cells_again_and_lapses_only_its_own_figures() {
    let house = House::start().await;
    let (owner, key, cells) = later(&house).await;
    let member = house.member(&owner).await;
    assert_eq!(carry(&owner, &key).await.status, 303);
    house.wait_s(60);
    let mut made = Vec::new();
    for cell in [cells[0], cells[2]] {
        let what = cell_what(cell);
        let fields = [("what", what.as_str()), ("name", "a figure"), ("places", "1"), ("note", "")];
        let answer = owner.post(&paths::api(&paths::figures(&key)), &fields).await;
        assert_eq!(answer.status, 201, "{}", answer.body);
        made.push(answer.json()["location"].as_str().unwrap().rsplit('/').next().unwrap().to_owned());
    }
    let steps = paths::api(&paths::figure_steps(&key));
    for (who, act) in [(&owner, "propose"), (&member, "agree")] {
        for one in &made {
            let tick = format!("{one} {}", figure(who, one).await["digest"].as_str().unwrap());
            assert_eq!(who.post(&steps, &[("do", act), ("figure", &tick)]).await.status, 201);
        }
    }
    run(&house, &owner, cells[0], "fresh-a", 10.6).await;
    assert_eq!(figure(&owner, &made[0]).await["standing"], "lapsed");
    assert_eq!(
        figure(&owner, &made[1]).await["standing"],
        "agreed",
        "another cell's check is none of its inputs"
    );
    run(&house, &owner, cells[2], "fresh-b", 5.01).await;
    let part = read(&owner, &key).await["parts"][0].clone();
    assert_eq!((&part["says"], &part["counted"]), (&"run again".into(), &"1 holds, 1 run again".into()));
    let lead = part["checks"][0]["says"].as_str().unwrap();
    assert!(lead.starts_with("run again (5.") && lead.ends_with("slower)"), "{lead}");
    let page = owner.get(&paths::carried(&key)).await;
    assert!(page.texts("summary").iter().any(|text| text.starts_with("Run all its cells again")));
}

#[tokio::test]
async fn other_cells_are_chosen_and_a_part_is_let_go_and_taken_back() {
    let house = House::start().await;
    let (owner, key, cells) = later(&house).await;
    assert_eq!(carry(&owner, &key).await.status, 303);
    let one = cells[0].to_string();
    let choose = |version, cell| [("do", "choose"), ("id", "1"), ("version", version), ("cell", cell)];
    assert_eq!(send(&owner, &key, &choose("1", one.as_str())).await.status, 303);
    let part = read(&owner, &key).await["parts"][0].clone();
    assert_eq!(part["checks"].as_array().unwrap().len(), 1);
    assert_eq!(send(&owner, &key, &choose("1", one.as_str())).await.status, 412, "stale");
    let other = cells[1].to_string();
    let refused = send(&owner, &key, &choose("2", other.as_str())).await;
    assert!(refused.status == 422 && refused.body.contains("was not carried over with this part"));
    let none = [("do", "choose"), ("id", "1"), ("version", "2")];
    assert_eq!(send(&owner, &key, &none).await.status, 422);

    let go = |act, version| [("do", act), ("id", "1"), ("version", version)];
    assert_eq!(send(&owner, &key, &go("let go", "1")).await.status, 412);
    let gone = send(&owner, &key, &go("let go", "2")).await;
    assert_eq!(gone.status, 303);
    assert_eq!(read(&owner, &key).await["parts"].as_array().unwrap().len(), 0);
    let plan = owner.get(&paths::api(&paths::plan(&key))).await.json();
    assert_eq!(plan["columns"].as_array().unwrap().len(), 1, "its cells left the piece");
    assert_eq!(send(&owner, &key, &go("back", "3")).await.status, 303);
    assert_eq!(read(&owner, &key).await["parts"][0]["version"], 4);
    let plan = owner.get(&paths::api(&paths::plan(&key))).await.json();
    assert_eq!(plan["columns"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn who_may_not_and_what_is_not_there_or_wrong() {
    let house = House::start().await;
    let (owner, key, _) = later(&house).await;
    let guest = house.guest(&owner).await;
    assert_eq!(guest.get(&paths::carried(&key)).await.status, 200);
    assert_eq!(carry(&guest, &key).await.status, 403);
    assert_eq!(house.anonymous().get(&paths::carried(&key)).await.status, 303);
    assert_eq!(house.anonymous().get(&paths::api(&paths::carried(&key))).await.status, 401);
    assert_eq!(owner.get(&paths::carried("nowhere")).await.status, 404);
    for (fields, status, says) in [
        (vec![("do", "burn")], 422, "cannot be done"),
        (vec![("do", "carry"), ("tuning", "x")], 422, "is not a tuning"),
        (vec![("do", "carry"), ("tuning", "99")], 422, "No other piece has passes"),
        (vec![("do", "let go"), ("id", "7"), ("version", "1")], 404, "no part carried over"),
        (vec![("do", "let go"), ("id", "7")], 428, ""),
    ] {
        let refused = send(&owner, &key, &fields).await;
        assert!(refused.status == status && refused.body.contains(says), "{fields:?}: {}", refused.status);
    }
    let long = "x".repeat(401);
    let refused = send(&owner, &key, &[("do", "carry"), ("tuning", "1"), ("reason", &long)]).await;
    assert!(refused.status == 422 && refused.body.contains(&long), "what was typed stays");
    assert_eq!(read(&owner, &key).await["parts"].as_array().unwrap().len(), 0, "nothing was changed");
}

#[tokio::test]
async fn the_pack_says_what_was_carried_over_and_warns_before_it_leaves() {
    let house = House::start().await;
    let (owner, key, cells) = later(&house).await;
    assert_eq!(carry(&owner, &key).await.status, 303);
    let page = owner.get(&paths::pack(&key)).await;
    assert!(page.body.contains("was carried over and not checked"), "{}", page.body);
    house.wait_s(60);
    run(&house, &owner, cells[0], "fresh-a", 10.6).await;
    let page = owner.get(&paths::pack(&key)).await;
    assert!(page.body.contains("was carried over and a spot check does not hold"), "{}", page.body);
    let zip = zip_of(&owner, &key, "").await;
    let table = file(&zip, "tables/carried_over.csv");
    let row = table.lines().find(|line| line.contains("Vellum Rally")).unwrap();
    assert!(
        row.starts_with(
            "Tarnwick Dunlin,stock,Vellum Rally,hairpin,replay,2160p native,2026-03-01,501.2,1.0,"
        )
    );
    assert!(row.contains(",2,2,fresh,yes,run again (") && row.ends_with(",run again"), "{row}");
    let left_out = file(&zip, "tables/left_out.csv");
    assert_eq!(
        left_out.matches("earlier,carried over; fresh passes count in its place").count(),
        2,
        "{left_out}"
    );
    let methods = file(&zip, "methods.html");
    assert!(methods.contains("<h2>Carried over</h2>") && methods.contains("back at its maker"), "{methods}");
    let bars = file(&zip, "charts/bars-2160p-native.svg");
    let texts = bars.split(['<', '>']).filter(|text| !text.contains('='));
    let said: String = texts.flat_map(str::split_whitespace).collect();
    assert!(said.contains("spotchecks:1runagain"), "{bars}");
}
