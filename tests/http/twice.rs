//! Each form sent twice, as a double click or a lost answer does: one thing is made, and the second is told what the
//! first was.

use weighhouse_web::paths;

use crate::figures::{PIECE, bench};
use crate::harness::{Answer, Client, House, PASSWORD};
use crate::pass::{Bench, frames};

/// Sends the form of this page twice, with these fields in the place of those of the same name.
async fn twice(house: &House, who: &Client, page: &str, form: &str, with: &[(&str, &str)]) -> Answer {
    let (to, mut fields) = who.get(page).await.form(form);
    assert!(fields.iter().any(|(name, key)| name == "once" && !key.is_empty()), "{to} has no key");
    fields.retain(|(name, _)| with.iter().all(|(other, _)| name != other));
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .chain(with.iter().copied())
        .collect();
    let head = || *house.store.head().borrow();
    let before = head();
    let first = who.post(&to, &fields).await;
    assert_eq!(first.status, 303, "{to}: {}", first.body);
    let after = head();
    assert!(after > before, "{to} changed nothing");
    let second = who.post(&to, &fields).await;
    assert_eq!((second.status, second.location()), (303, first.location()), "{to}: {}", second.body);
    assert_eq!(head(), after, "{to} was done twice");
    second
}

/// Takes back what was done last, twice.
async fn undo(house: &House, who: &Client, done: &Answer) {
    twice(house, who, done.location(), ".flash form", &[]).await;
}

#[tokio::test]
async fn registers() {
    let house = House::start().await;
    let owner = house.owner().await;
    let (rigs, parts, scenes) = (paths::rigs(), paths::parts(), paths::scenes());
    let day = ("dated", "2026-02-01");
    twice(&house, &owner, &rigs, "form[action='/rigs']", &[("name", "alder")]).await;
    twice(&house, &owner, &paths::rig(1), "form[action='/rigs/1']", &[("note", "by the window")]).await;
    let base = [("processor", "Osier 8")];
    twice(&house, &owner, &paths::rig(1), "form[action='/rigs/1/bases']", &base).await;
    let part = [("maker", "Tarnwick"), ("model", "Curlew"), ("unit", ""), ("driver", "")];
    twice(&house, &owner, &parts, "form[action='/parts']", &part).await;
    let of = |what: &str| format!("form[action='/parts/1/{what}']");
    let page = paths::part(1);
    twice(&house, &owner, &page, &of("units"), &[("label", "A")]).await;
    twice(&house, &owner, &page, &of("drivers"), &[("name", "501.2"), day]).await;
    twice(&house, &owner, &page, &of("prices"), &[("amount", "1790"), ("currency", "EUR"), day]).await;
    twice(
        &house,
        &owner,
        &page,
        &of("tunings"),
        &[("name", "450 W"), ("power_limit_w", "450"), ("cautions_read", "1")],
    )
    .await;
    let scene = [("game", "Vellum Rally"), ("passage", "hairpin"), ("build", "")];
    twice(&house, &owner, &scenes, "form[action='/scenes']", &scene).await;
    let build = [("name", "1.0.3"), day];
    twice(&house, &owner, &paths::scene(1), "form[action='/scenes/1/builds']", &build).await;
    let setting = [("name", "2160p native"), ("width_px", "3840"), ("height_px", "2160")];
    twice(&house, &owner, &scenes, "form[action='/settings']", &setting).await;
}

/// As after 'back' in a browser: the page is the one that the first form was sent from.
#[tokio::test]
async fn two_forms_of_one_page_are_two_requests() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let page = owner.get(&paths::charts(PIECE)).await;
    let mut made = Vec::new();
    for (section, which) in [("averages", "bars"), ("frames", "strips"), ("frames", "shares")] {
        let (to, mut fields) = page.form(&format!("section[aria-labelledby={section}] form"));
        assert_eq!(to, paths::charts(PIECE));
        fields.retain(|(name, _)| name != "of");
        fields.push(("of".to_owned(), which.to_owned()));
        let fields: Vec<(&str, &str)> =
            fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let kept = owner.post(&to, &fields).await;
        made.push((kept.status, kept.location().to_owned()));
    }
    assert_eq!(made[..2], [(303, paths::chart(1)), (303, paths::chart(2))]);
    assert_eq!(made[2].0, 409, "the same form with something else was sent before");
    for page in [paths::against(PIECE), paths::charts(PIECE), paths::piece(PIECE), paths::parts()] {
        let keys = owner.get(&page).await.attributes("form [name=once]", "value");
        let each: std::collections::BTreeSet<&String> = keys.iter().collect();
        assert_eq!(each.len(), keys.len(), "{page}: {keys:?}");
        assert!(!keys.is_empty() && keys.iter().all(|key| !key.is_empty()), "{page}: {keys:?}");
    }
}

#[tokio::test]
async fn pieces_cells_and_choices() {
    let bench = Bench::set_up().await;
    let (house, owner) = (&bench.house, &bench.owner);
    let made = [("name", "Another"), ("kind", "card")];
    twice(house, owner, &paths::pieces(), "form[action='/pieces']", &made).await;
    let page = paths::piece("k3v9");
    let saved = twice(house, owner, &page, "form[action='/pieces/k3v9']", &[("wanted", "4")]).await;
    undo(house, owner, &saved).await;
    let (cells, add, out) =
        (paths::piece_cells("k3v9"), "form:has([value=add])", "form:has([value='take out'])");
    let grid = [("tuning", "1"), ("scene", "1"), ("setting", "1")];
    let added = twice(house, owner, &cells, add, &grid).await;
    undo(house, owner, &added).await;
    let gone = twice(house, owner, &cells, out, &[("cell", "1"), ("sure", "1")]).await;
    undo(house, owner, &gone).await;
    twice(house, owner, &cells, add, &grid).await;
    let reason = [("cell", "2.1"), ("reason", "out of memory")];
    let form = "form.fields[action='/pieces/k3v9/plan/did-not-run']";
    let said = twice(house, owner, &paths::plan("k3v9"), form, &reason).await;
    undo(house, owner, &said).await;
}

#[tokio::test]
async fn passes() {
    let bench = Bench::set_up().await;
    let (house, owner) = (&bench.house, &bench.owner);
    let page = paths::pass(&bench.keys[0]);
    let form = |to: String| format!("form[action^='{to}']");
    let window = form(paths::pass_window(&bench.keys[0]));
    let own = [("from", "2"), ("to", "20"), ("reason", "a menu"), ("do", "own")];
    let moved = twice(house, owner, &page, &window, &own).await;
    undo(house, owner, &moved).await;
    let place = form(paths::pass_companion(&bench.keys[0], bench.companion));
    let placed = twice(house, owner, &page, &place, &[("offset", "1.5")]).await;
    undo(house, owner, &placed).await;
    let ruling = form(paths::pass_ruling(&bench.keys[0]));
    let ruled = twice(house, owner, &page, &ruling, &[("verdict", "set aside"), ("reason", "a menu")]).await;
    undo(house, owner, &ruled).await;
    let remark = form(paths::pass_remark(&bench.keys[0]));
    twice(house, owner, &page, &remark, &[("says", "The gate opens late.")]).await;
}

#[tokio::test]
async fn intake() {
    let bench = Bench::set_up().await;
    let (house, owner) = (&bench.house, &bench.owner);
    let page = paths::intake("k3v9");
    assert_eq!(owner.put(&paths::upload("b.csv"), frames(9)).await.status, 201);
    let start = [("start", "2026-02-27T10:00:00Z")];
    twice(house, owner, &page, "form[action$='/intake/start']", &start).await;
    let chosen = [("segment", "4"), ("tuning", "2"), ("scene", "1"), ("setting", "1"), ("base", "1")];
    let to = paths::assign("k3v9");
    let once = owner.get(&page).await.attribute("form [name=once]", "value").unwrap();
    let fields = [&chosen[..], &[("once", once.as_str())]].concat();
    let first = owner.post(&to, &fields).await;
    let made = *house.store.head().borrow();
    let second = owner.post(&to, &fields).await;
    assert_eq!((first.status, second.status), (303, 303), "{}{}", first.body, second.body);
    assert_eq!(*house.store.head().borrow(), made, "passes were made twice");
    undo(house, owner, &second).await;
    let vague: String = (0..300).map(|i| format!("\n{}", 8 + i % 5)).collect();
    let asked = owner.put(&paths::upload("c.csv"), format!("value{vague}\n")).await.json();
    let layout = asked["layout"].as_str().unwrap();
    let said = [("piece", "k3v9"), ("kind", "frames"), ("role-1", "frame time"), ("unit-1", "ms")];
    twice(house, owner, layout, "form.body", &said).await;
}

#[tokio::test]
async fn figures() {
    let bench = Bench::set_up().await;
    let (house, owner) = (&bench.house, &bench.owner);
    let pass = owner.get(&paths::pass(&bench.keys[0])).await;
    let new = pass.attribute("#measures ~ .body td a", "href").unwrap();
    let made = twice(house, owner, &new, "form[action='/pieces/k3v9/figures']", &[]).await;
    let edit = format!("form[action='{}']", made.location());
    twice(house, owner, made.location(), &edit, &[("note", "for the table")]).await;
    let steps = "form[action='/pieces/k3v9/figures/steps']";
    let proposed = twice(house, owner, made.location(), steps, &[("do", "propose")]).await;
    undo(house, owner, &proposed).await;
}

#[tokio::test]
async fn people_links_and_keys() {
    let house = House::start().await;
    let owner = house.owner().await;
    house.rig().await;
    let (page, api) = (paths::people(), paths::api(&paths::people()));
    twice(&house, &owner, &page, "form[action='/people/invitations']", &[("role", "guest")]).await;
    let link =
        owner.get(&page).await.texts("section code").into_iter().find(|code| code.contains("/invitations/"));
    assert!(link.is_some(), "the second is shown the link of the first");
    let back = "form[action='/people/invitations/2/take-back']";
    twice(&house, &owner, &page, back, &[]).await;
    twice(&house, &owner, &page, "form[action='/people/keys']", &[("label", "bench")]).await;
    twice(&house, &owner, &page, "form[action='/people/keys/1/take-back']", &[]).await;
    assert_eq!(owner.get(&api).await.json()["keys"].as_array().unwrap().len(), 1);
    let guest = house.guest(&owner).await;
    let role = [("do", "role"), ("role", "member")];
    twice(&house, &owner, &page, "form[action='/people/2']", &role).await;
    assert_eq!(guest.get(&page).await.status, 303, "signed out");
}

#[tokio::test]
async fn a_program_that_asks_again_is_told_the_same_secret() {
    let house = House::start().await;
    let owner = house.owner().await;
    let rig = house.rig().await.to_string();
    let keyed = |to: String, field: (&'static str, String)| {
        let owner = owner.clone();
        async move {
            let body = serde_json::json!({ field.0: field.1, "label": "bench", "role": "member" });
            let ask =
                || owner.request(reqwest::Method::POST, &paths::api(&to)).header("idempotency-key", "k-1");
            let first = crate::harness::answer(ask().json(&body)).await;
            let again = crate::harness::answer(ask().json(&body)).await;
            assert_eq!((first.status, again.status), (201, 201), "{}", again.body);
            assert_eq!(first.json(), again.json());
        }
    };
    keyed(paths::keys(), ("rig", rig)).await;
    keyed(paths::invitations(), ("rig", String::new())).await;
    let read = owner.get(&paths::api(&paths::people())).await.json();
    assert_eq!(
        (read["keys"].as_array().unwrap().len(), read["invitations"].as_array().unwrap().len()),
        (1, 1)
    );
}

#[tokio::test]
async fn an_account_whose_form_came_twice_is_made_once_and_signed_in() {
    let house = House::start().await;
    let owner = house.owner().await;
    let made = owner.post(&paths::api(&paths::invitations()), &[("role", "member")]).await.json();
    let link = made["link"].as_str().unwrap().strip_prefix(&owner.base).unwrap().to_owned();
    let form = [("name", "Iver Stroud"), ("password", PASSWORD)];
    let browser = house.anonymous();
    for _ in 0..2 {
        let answer = browser.post(&link, &form).await;
        assert_eq!((answer.status, answer.location()), (303, "/pieces"), "{}", answer.body);
    }
    assert_eq!(browser.get(&paths::pieces()).await.status, 200);
    let other = house.anonymous().post(&link, &[("name", "Iver Stroud"), ("password", "a wrong one")]).await;
    assert_eq!(other.status, 404);
}
