//! Rigs, parts, scenes and settings: what the team enters once.

use serde_json::{Value, json};
use weighhouse_web::paths;

use crate::harness::{Answer, Client, House};

type Fields = &'static [(&'static str, &'static str)];

/// One kind of thing: where it is added and changed, with what, and a field that can be wrong.
struct Kind {
    /// Where one is added.
    add: String,
    /// Where the first one is changed; the harness enters one of each, in this order.
    edit: fn(i64) -> String,
    /// What is typed for a second one.
    typed: Fields,
    /// What is typed to change the first one, other than any name that is taken.
    changed: Fields,
    /// A field, a wrong text for it, and part of what is said.
    wrong: (&'static str, &'static str, &'static str),
}

fn kinds() -> Vec<Kind> {
    vec![
        Kind {
            add: paths::rigs(),
            edit: paths::rig,
            typed: &[("name", "birch"), ("board", "Quillon M2"), ("time_zone", "UTC")],
            changed: &[("name", "alder two")],
            wrong: ("name", "", "1 to 80 characters"),
        },
        Kind {
            add: paths::bases(1),
            edit: paths::base,
            typed: &[("from", "2026-02-01T09:30"), ("board", "Quillon M1"), ("enclosure", "case")],
            changed: &[("firmware", "1.31")],
            wrong: ("time_zone", "Berlin time", "Europe/Berlin"),
        },
        Kind {
            add: paths::parts(),
            edit: paths::part,
            typed: &[("maker", "Ullmere"), ("model", "Thole"), ("rated_power_w", "310")],
            changed: &[("maker", "Tarnwick"), ("model", "Curlew"), ("rated_power_w", "510")],
            wrong: ("rated_power_w", "lots", "whole number of watts"),
        },
        Kind {
            add: paths::units(1),
            edit: paths::unit,
            typed: &[("label", "B"), ("origin", "lent")],
            changed: &[("label", "A two")],
            wrong: ("origin", "stolen", "bought, lent"),
        },
        Kind {
            add: paths::drivers(1),
            edit: paths::driver,
            typed: &[("name", "501.9"), ("dated", "2026-02-20")],
            changed: &[("name", "501.2"), ("dated", "2026-02-11")],
            wrong: ("dated", "2026-02-30", "write it as 2026-03-01"),
        },
        Kind {
            add: paths::prices(1),
            edit: paths::price,
            typed: &[("amount", "1790.00"), ("currency", "EUR"), ("dated", "2026-02-20")],
            changed: &[("amount", "1749.50"), ("currency", "EUR"), ("dated", "2026-02-20")],
            wrong: ("amount", "1.790,00", "such as 1450.00"),
        },
        Kind {
            add: paths::tunings(1),
            edit: |id| paths::tuning(id + 1),
            typed: &[("name", "limit 350 W"), ("power_limit_w", "350")],
            changed: &[("name", "limit 320 W"), ("power_limit_w", "320"), ("voltage_offset_mv", "-50")],
            wrong: ("core_offset_mhz", "fast", "whole number of MHz"),
        },
        Kind {
            add: paths::scenes(),
            edit: paths::scene,
            typed: &[("game", "Driftglass"), ("passage", "arena"), ("kind", "by hand")],
            changed: &[("game", "Vellum Rally"), ("passage", "hairpin"), ("window_end_s", "59.5")],
            wrong: ("window_end_s", "1m", "such as 12.5"),
        },
        Kind {
            add: paths::builds(1),
            edit: paths::build,
            typed: &[("name", "1.0.4"), ("dated", "2026-02-20")],
            changed: &[("name", "1.0.3"), ("dated", "2026-02-12")],
            wrong: ("dated", "soon", "write it as 2026-03-01"),
        },
        Kind {
            add: paths::settings(),
            edit: paths::setting,
            typed: &[("name", "1080p"), ("width_px", "1920"), ("height_px", "1080")],
            changed: &[("name", "2160p"), ("width_px", "3840"), ("height_px", "2160"), ("generated", "2")],
            wrong: ("generated", "5", "from 1 to 4"),
        },
    ]
}

/// One of each kind, entered as an empty store asks for it.
async fn entered(who: &Client) {
    let rig = [("name", "alder"), ("board", "Quillon M1"), ("time_zone", "europe/berlin"), ("once", "k1")];
    let part = [
        ("maker", "Tarnwick"),
        ("model", "Curlew"),
        ("rated_power_w", "500"),
        ("unit", "A"),
        ("driver", "501.2"),
        ("driver_dated", "2026-02-10"),
    ];
    let scene = [
        ("game", "Vellum Rally"),
        ("passage", "hairpin"),
        ("kind", "replay"),
        ("window_start_s", "0.1"),
        ("window_end_s", "60.5"),
        ("build", "1.0.3"),
        ("build_dated", "2026-02-10"),
    ];
    let setting = [("name", "2160p native"), ("width_px", "3840"), ("height_px", "2160")];
    let price = [("amount", "1450"), ("currency", "eur"), ("kind", "list"), ("dated", "2026-02-10")];
    let tuning = [("name", "limit 300 W"), ("power_limit_w", "300")];
    for (to, fields, next) in [
        (paths::rigs(), &rig[..], "/rigs#new-rig-name"),
        (paths::parts(), &part[..], "/parts#new-part-maker"),
        (paths::scenes(), &scene[..], "/scenes#new-scene-game"),
        (paths::settings(), &setting[..], "/scenes#setting-name"),
        (paths::prices(1), &price[..], "/parts/1#price-amount"),
        (paths::tunings(1), &tuning[..], "/parts/1#tuning-name"),
    ] {
        let answer = who.post(&to, fields).await;
        assert_eq!((answer.status, answer.location()), (303, next), "{to}: {}", answer.body);
    }
}

async fn read(who: &Client, path: String) -> Value {
    let answer = who.get(&paths::api(&path)).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.body);
    answer.json()
}

#[tokio::test]
async fn an_empty_store_says_what_to_enter_and_six_forms_enter_all_that_passes_need() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    for (path, says, name) in [
        (paths::rigs(), "No rig yet", "new-rig-name"),
        (paths::parts(), "No part yet", "new-part-maker"),
        (paths::scenes(), "No scene yet", "new-scene-game"),
    ] {
        let page = owner.get(&path).await;
        assert!(page.texts(".empty b").contains(&says.to_owned()), "{path}");
        assert!(page.attribute(&format!("#{name}"), "name").is_some(), "{path}");
        let page = guest.get(&path).await;
        assert!(page.texts(".empty b").contains(&says.to_owned()), "{path}");
        assert_eq!(page.texts("main form").len(), 0, "{path}: guests change nothing");
    }
    let today = owner.get(&paths::parts()).await;
    assert_eq!(today.attribute("#new-part-driver_dated", "value").as_deref(), Some("2026-03-01"));
    entered(&owner).await;
    let rigs = read(&owner, paths::rigs()).await;
    assert_eq!(rigs["rigs"][0]["bases"][0]["time_zone"], "Europe/Berlin");
    assert_eq!(
        rigs["rigs"][0]["bases"][0]["from"], "1970-01-01T00:00:00Z",
        "the first base is from the start"
    );
    let part = read(&owner, paths::part(1)).await["part"].clone();
    assert_eq!(part["units"][0]["label"], "A");
    assert_eq!(part["drivers"][0]["dated"], "2026-02-10T00:00:00Z");
    assert_eq!(part["tunings"][0]["name"], "stock");
    assert_eq!(
        (&part["prices"][0]["amount"], &part["prices"][0]["currency"]),
        (&json!("1450"), &json!("EUR"))
    );
    let scene = read(&owner, paths::scene(1)).await["scene"].clone();
    assert_eq!((&scene["window_start_s"], &scene["window_end_s"]), (&json!("0.1"), &json!("60.5")));
    assert_eq!(scene["builds"][0]["name"], "1.0.3");
    assert_eq!(read(&owner, paths::scenes()).await["settings"][0]["generated"], 1);
    assert!(rigs.get("new").is_none() && rigs.get("frame").is_none(), "no forms in the twin");
}

#[tokio::test]
async fn each_is_added_by_members_and_refused_to_guests_and_strangers() {
    let house = House::start().await;
    let owner = house.owner().await;
    let (member, guest) = (house.member(&owner).await, house.guest(&owner).await);
    entered(&owner).await;
    for kind in kinds() {
        let (to, typed) = (&kind.add, kind.typed);
        assert_eq!(guest.post(to, typed).await.status, 403, "{to}");
        assert_eq!(house.anonymous().post(to, typed).await.status, 401, "{to}");
        let added = member.post(to, typed).await;
        assert_eq!(added.status, 303, "{to}: {}", added.body);
        let page = member.get(added.location()).await;
        assert!(page.texts(".flash span")[0].ends_with(" is added."), "{to}");
        let made = member.post(&paths::api(to), typed).await;
        let taken = !to.contains("prices");
        assert_eq!(made.status, if taken { 409 } else { 201 }, "{to}: {}", made.body);
    }
    for nowhere in [paths::bases(99), paths::units(99), paths::builds(99)] {
        assert_eq!(member.post(&nowhere, &[("name", "x")]).await.status, 404, "{nowhere}");
    }
}

#[tokio::test]
async fn each_is_changed_from_the_version_that_was_read() {
    let house = House::start().await;
    let owner = house.owner().await;
    let guest = house.guest(&owner).await;
    entered(&owner).await;
    for kind in kinds() {
        let to = (kind.edit)(1);
        let with = |version: &'static str| [kind.changed, &[("version", version)]].concat();
        assert_eq!(guest.post(&to, &with("1")).await.status, 403, "{to}");
        assert_eq!(house.anonymous().post(&to, &with("1")).await.status, 401, "{to}");
        assert_eq!(owner.post(&to, kind.changed).await.status, 428, "{to}");
        for (path, status) in [(to.clone(), 200), ((kind.edit)(99), 404), (to.replace(['1', '2'], "x"), 404)]
        {
            assert_eq!(owner.get(&path).await.status, status, "{path}");
            assert_eq!(owner.get(&paths::api(&path)).await.status, status, "{path}");
        }
        assert_eq!(house.anonymous().get(&to).await.status, 303, "{to}");
        assert_eq!(guest.get(&to).await.texts("main form").len(), 0, "{to}");
        assert_eq!(owner.post(&(kind.edit)(99), &with("1")).await.status, 404, "{to}");
        let saved = owner.post(&to, &with("1")).await;
        assert_eq!(saved.status, 303, "{to}: {}", saved.body);
        assert!(owner.get(saved.location()).await.texts(".flash span")[0].ends_with(" is saved."), "{to}");
        let stale = owner.post(&to, &with("1")).await;
        assert_eq!((stale.status, stale.texts(".both dd").len()), (412, 2), "{to}");
        let (field, text) = kind.changed[0];
        let name = field.replace('_', " ");
        assert!(stale.texts(".both dd").iter().all(|both| both.contains(&format!("{name}: {text}"))), "{to}");
    }
}

/// The form comes back with what was typed and names the field.
fn came_back(answer: &Answer, kind: &Kind, why: &str) {
    let (field, text, says) = kind.wrong;
    assert_eq!(answer.status, 422, "{why}: {}", answer.body);
    let errors = answer.texts(".wrong .error");
    assert!(errors.iter().any(|error| error.contains(says)), "{why}: {errors:?}");
    let wrong = format!(".wrong [name={field}]");
    assert!(answer.attribute(&wrong, "autofocus").is_some(), "{why}: typing goes on where it is wrong");
    if answer.attribute(&wrong, "value").is_some() {
        assert_eq!(answer.attribute(&wrong, "value").as_deref(), Some(text), "{why}");
    }
}

#[tokio::test]
async fn a_wrong_text_is_named_with_its_mend_and_kept_in_the_form() {
    let house = House::start().await;
    let owner = house.owner().await;
    entered(&owner).await;
    for kind in kinds() {
        let (field, text, says) = kind.wrong;
        let spoilt = |fields: Fields| {
            let rest = fields.iter().filter(|(name, _)| *name != field).copied();
            rest.chain([(field, text)]).collect::<Vec<_>>()
        };
        came_back(&owner.post(&kind.add, &spoilt(kind.typed)).await, &kind, &kind.add);
        let edit = (kind.edit)(1);
        let fields = [spoilt(kind.changed), vec![("version", "1")]].concat();
        let answer = owner.post(&edit, &fields).await;
        came_back(&answer, &kind, &edit);
        assert_eq!(
            answer.attribute(&format!("form[action='{edit}'] [name=version]"), "value").as_deref(),
            Some("1"),
            "{edit}"
        );
        let twin = owner.post(&paths::api(&kind.add), &spoilt(kind.typed)).await;
        assert_eq!(twin.status, 422);
        assert!(twin.json()["says"].as_str().unwrap().contains(says), "{}", twin.body);
    }
    assert_eq!(read(&owner, paths::rigs()).await["rigs"].as_array().unwrap().len(), 1, "nothing was kept");
}

#[tokio::test]
async fn a_form_sent_twice_adds_one() {
    let house = House::start().await;
    let owner = house.owner().await;
    entered(&owner).await;
    let once =
        owner.get(&paths::part(1)).await.attribute("form[action$=prices] [name=once]", "value").unwrap();
    let price =
        [("amount", "1790.00"), ("currency", "EUR"), ("dated", "2026-02-20"), ("once", once.as_str())];
    for _ in 0..2 {
        assert_eq!(owner.post(&paths::prices(1), &price).await.status, 303);
    }
    assert_eq!(read(&owner, paths::part(1)).await["part"]["prices"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn a_tuning_past_the_makers_limits_is_kept_only_once_its_cautions_are_read() {
    let house = House::start().await;
    let owner = house.owner().await;
    entered(&owner).await;
    let past = [("name", "limit 560 W"), ("power_limit_w", "560"), ("memory_offset_mhz", "1500")];
    let page = owner.get(&paths::part(1)).await;
    assert!(page.texts(".caution").is_empty() && page.texts("[name=cautions_read]").is_empty());
    let unread = owner.post(&paths::tunings(1), &past).await;
    assert_eq!(unread.status, 422);
    let cautions = unread.texts("form .caution").join(" ");
    for line in [
        "Keep within the maker's limits and the rating of the connector and the cable;",
        "Never leave it running unattended.",
        "Measure mains power only with a certified plug-in meter.",
        "Mains wiring is for a licensed electrician; local codes rule.",
    ] {
        assert!(cautions.contains(line), "{cautions}");
    }
    assert!(unread.texts(".wrong .error")[0].contains("560 W, rated at 500 W; memory clock +1500 MHz"));
    assert_eq!(
        unread.attribute("#tuning-memory_offset_mhz", "value").as_deref(),
        Some("1500"),
        "texts are kept"
    );
    assert_eq!(read(&owner, paths::part(1)).await["part"]["tunings"].as_array().unwrap().len(), 2);
    let read_now = [&past[..], &[("cautions_read", "1")]].concat();
    assert_eq!(owner.post(&paths::tunings(1), &read_now).await.status, 303);
    let kept = read(&owner, paths::part(1)).await["part"]["tunings"][2].clone();
    assert_eq!(kept["cautions_read_by"], "Maren Oake");
    assert_eq!(kept["past_limits"].as_array().unwrap().len(), 2);
    assert!(!owner.get(&paths::part(1)).await.texts(".caution").is_empty(), "shown wherever it is shown");
    let asks_again = owner.get(&paths::tuning(3)).await;
    assert!(asks_again.attribute("form [name=cautions_read]", "type").is_some());
    let edit = [&past[..], &[("version", "1")]].concat();
    assert_eq!(owner.post(&paths::tuning(3), &edit).await.status, 422);
    let within = [("name", "limit 450 W"), ("power_limit_w", "450"), ("version", "1")];
    assert_eq!(owner.post(&paths::tuning(3), &within).await.status, 303);
    let kept = read(&owner, paths::part(1)).await["part"]["tunings"][2].clone();
    assert_eq!((&kept["cautions_read_by"], &kept["name"]), (&Value::Null, &json!("limit 450 W")));
    let stock = [("name", "stock"), ("power_limit_w", "300"), ("version", "1")];
    assert_eq!(owner.post(&paths::tuning(1), &stock).await.status, 403, "stock stays stock");
}

#[tokio::test]
async fn another_base_starts_as_the_newest_one_and_shows_what_changed() {
    let house = House::start().await;
    let owner = house.owner().await;
    entered(&owner).await;
    let page = owner.get(&paths::rig(1)).await;
    assert_eq!(page.attribute("#base-board", "value").as_deref(), Some("Quillon M1"));
    assert_eq!(page.attribute("#base-from", "value").as_deref(), Some("2026-03-01T12:00"));
    let base = [("from", "2026-03-01T12:00"), ("board", "Quillon M2"), ("time_zone", "Europe/Berlin")];
    assert_eq!(owner.post(&paths::bases(1), &base).await.status, 303);
    let page = owner.get(&paths::rig(1)).await;
    assert_eq!(page.texts("tbody b"), ["Quillon M2"]);
    assert_eq!(page.texts("tbody th"), ["Sun 1 Mar 2026, 12:00 UTC", "the start"]);
}
