//! Embargo and notes: nothing leaves before its time without an owner's word, and the methods page says what the team says.

use weighhouse_web::paths;

use crate::figures::{PIECE, bench, cell_what, make, step};
use crate::harness::{Answer, Client, House};
use crate::pack::{file, zip_with};

async fn save(client: &Client, with: &[(&str, &str)]) -> Answer {
    let usual = [("version", "0"), ("embargo", "2026-03-01T13:30"), ("zone", "Europe/Berlin")];
    let fields: Vec<(&str, &str)> = with.iter().chain(&usual).copied().collect();
    client.post(&paths::notes(PIECE), &fields).await
}

#[tokio::test]
async fn under_embargo_no_pack_and_no_link_leaves_without_an_owners_word() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let cells = bench(&house, &owner, false).await;
    let key = make(&owner, &cell_what(cells[0]), "average").await;
    assert_eq!(step(&owner, "propose", &key).await.status, 201);
    assert_eq!(step(&member, "agree", &key).await.status, 201);
    assert_eq!(owner.post(&paths::editions(PIECE), &[("note", "first")]).await.status, 303);
    let links = paths::api(&paths::edition_links(PIECE, 1));
    let link = owner.post(&links, &[("days", "7")]).await.json()["link"].as_str().unwrap().to_owned();
    let handed = link.strip_prefix(&owner.base).unwrap().to_owned();
    assert_eq!(house.anonymous().get(&handed).await.status, 200);

    assert_eq!(save(&member, &[]).await.status, 303);
    let zip = paths::pack_zip(PIECE);
    for refused in [
        owner.get(&zip).await,
        owner.post(&links, &[("days", "7")]).await,
        house.anonymous().get(&handed).await,
        house.anonymous().get(&format!("{handed}/methods")).await,
    ] {
        assert_eq!(refused.status, 403);
        assert!(refused.body.contains("Sun 1 Mar 2026"), "{}", refused.body);
    }
    let pages = [paths::pack(PIECE), paths::editions(PIECE), paths::edition(PIECE, 1)];
    for path in &pages {
        let page = owner.get(path).await;
        let told = page.texts(".held").concat();
        assert!(told.starts_with("Under embargo until Sun 1 Mar 2026, 12:30 UTC"), "{path}: {told}");
        assert!(told.contains("An owner's word") && told.contains("lets it go earlier"), "{path}: {told}");
    }
    for (path, button) in [(&pages[0], "Download the pack"), (&pages[2], "Make a link")] {
        assert_eq!(owner.get(path).await.texts("button[disabled]"), [button], "{path}");
    }
    let word = [("says", "let it go"), ("reason", "to the printer")];
    let embargo = paths::embargo(PIECE);
    assert_eq!(member.post(&embargo, &word).await.status, 403);
    assert_eq!(owner.post(&embargo, &[("says", "let it go"), ("reason", "")]).await.status, 422);
    assert_eq!(owner.post(&embargo, &[("says", "perhaps"), ("reason", "r")]).await.status, 422);
    assert_eq!(owner.post(&embargo, &word).await.status, 303);
    assert_eq!(house.anonymous().get(&handed).await.status, 200);
    let page = member.get(&paths::api(&paths::notes(PIECE))).await.json();
    assert_eq!((&page["holds"], &page["said"][0]["reason"]), (&false.into(), &"to the printer".into()));
    for path in &pages {
        let page = owner.get(path).await;
        assert!(page.body.contains("Embargo until Sun 1 Mar 2026, 12:30 UTC"), "{path}");
        assert!(page.body.contains(": to the printer. Packs leave and links open now"), "{path}");
        assert_eq!(page.texts("button[disabled]").len(), 0, "{path}");
    }

    assert_eq!(owner.post(&embargo, &[("says", "hold it"), ("reason", "delayed")]).await.status, 303);
    assert_eq!(owner.get(&zip).await.status, 403);
    house.clock.advance(31 * 60_000_000);
    assert_eq!(owner.get(&zip).await.status, 200, "its time has come");
    for path in &pages {
        assert!(!owner.get(path).await.body.contains("mbargo until"), "{path}");
    }
}

#[tokio::test]
async fn a_member_does_not_end_an_embargo_and_a_stale_form_changes_nothing() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    let guest = house.guest(&owner).await;
    bench(&house, &owner, false).await;
    assert_eq!(save(&guest, &[]).await.status, 403);
    assert_eq!(
        owner.post(&paths::embargo(PIECE), &[("says", "let it go"), ("reason", "r")]).await.status,
        409
    );
    assert_eq!(save(&owner, &[]).await.status, 303);
    assert_eq!(save(&owner, &[]).await.status, 412);
    assert_eq!(save(&member, &[("version", "1"), ("embargo", "")]).await.status, 403);
    assert_eq!(
        save(&member, &[("version", "1"), ("embargo", "2026-03-06T15:00")]).await.status,
        303,
        "later"
    );
    assert_eq!(save(&owner, &[("version", "2"), ("embargo", "")]).await.status, 303);
    for (with, says) in [(("embargo", "soon"), "no date and time"), (("zone", "Nowhere"), "no time zone")] {
        let refused = save(&owner, &[("version", "3"), with]).await;
        assert!(refused.status == 422 && refused.body.contains(says), "{}", refused.body);
    }
}

#[tokio::test]
async fn a_lent_units_embargo_holds_each_piece_that_it_ran_for() {
    let house = House::start().await;
    let owner = house.owner().await;
    let member = house.member(&owner).await;
    bench(&house, &owner, false).await;
    let unit = async |client: &Client, version: &str, origin: &str, end: &str| {
        let fields = [
            ("label", "A"),
            ("origin", origin),
            ("lender", "Larkmoor Supplies"),
            ("terms", "goes back in May"),
            ("embargo", end),
            ("version", version),
        ];
        client.post(&paths::unit(2), &fields).await
    };
    let bought = unit(&member, "1", "bought", "2026-03-01T13:30").await;
    assert!(bought.status == 422 && bought.body.contains("The unit is bought: choose"), "{}", bought.body);
    assert_eq!(unit(&member, "1", "lent", "2026-03-01T13:30").await.status, 303);
    let zip = paths::pack_zip(PIECE);
    let refused = owner.get(&zip).await;
    assert!(refused.status == 403 && refused.body.contains("Sun 1 Mar 2026, 13:30"), "{}", refused.body);
    let page = owner.get(&paths::api(&paths::notes(PIECE))).await.json();
    let named = page["units"][0].as_str().unwrap();
    assert!(named.starts_with("Tarnwick Curlew, unit A: until Sun 1 Mar 2026"), "{named}");
    let part = owner.get(&paths::part(2)).await;
    assert!(part.body.contains("lent by Larkmoor Supplies"), "{}", part.body);

    assert_eq!(unit(&member, "2", "lent", "2026-03-01T12:30").await.status, 403, "earlier");
    assert_eq!(unit(&member, "2", "lent", "2026-03-01T13:40").await.status, 303, "later");
    let word = [("says", "let it go"), ("reason", "the lender agreed")];
    assert_eq!(owner.post(&paths::embargo(PIECE), &word).await.status, 303);
    assert_eq!(member.get(&zip).await.status, 200);
    assert_eq!(unit(&owner, "3", "lent", "").await.status, 303);
}

#[tokio::test]
async fn the_methods_page_says_what_the_team_says() {
    let house = House::start().await;
    let owner = house.owner().await;
    bench(&house, &owner, false).await;
    let notes = [("embargo", ""), ("disclosure", "The Curlew is lent by its maker."), ("caches", "warm")];
    assert_eq!(save(&owner, &notes).await.status, 303);
    let methods = file(&zip_with(&owner, "").await, "methods.html");
    assert!(methods.contains("<dt>Disclosure</dt><dd>The Curlew is lent by its maker.</dd>"), "{methods}");
    assert!(methods.contains("<dt>Caches</dt><dd>warm</dd>") && !methods.contains("<dt>Order</dt>"));
}
