//! Every link of every page leads somewhere.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use scraper::{Html, Selector};
use weighhouse::chance::Chance;
use weighhouse::work::bench_week;
use weighhouse::work::passwords::Passwords;
use weighhouse_web::paths;

use crate::harness::{CHEAP, Client, House, NOW_US};

/// Ways of asking for one page that are tried: choices of a comparison are many.
const QUERIES: usize = 2;

/// What a page links to or loads, without fragments; other sites' left out.
fn links(body: &str) -> BTreeSet<String> {
    let page = Html::parse_document(body);
    let mut found = BTreeSet::new();
    for (selector, attribute) in
        [("a[href], link[href]", "href"), ("img[src], script[src]", "src"), ("form[method=get]", "action")]
    {
        for element in page.select(&Selector::parse(selector).unwrap()) {
            let link = element.attr(attribute).unwrap_or_default();
            let link = link.split('#').next().unwrap_or_default();
            if link.starts_with('/') {
                found.insert(link.to_owned());
            }
        }
    }
    found
}

/// Follows all links from a page on; each with the page that it stands on.
async fn broken(client: &Client, from: &str) -> (usize, Vec<String>) {
    let mut todo = vec![(from.to_owned(), String::new())];
    let (mut seen, mut ways) = (BTreeSet::new(), BTreeMap::<String, usize>::new());
    let mut broken = Vec::new();
    while let Some((link, on)) = todo.pop() {
        let path = link.split('?').next().unwrap_or_default().to_owned();
        if !seen.insert(link.clone()) || *ways.entry(path.clone()).or_default() >= QUERIES {
            continue;
        }
        *ways.entry(path).or_default() += 1;
        let answer = client.get(&link).await;
        if !matches!(answer.status, 200 | 303) {
            broken.push(format!("{} {link} on {on}", answer.status));
        }
        if answer.header("content-type").starts_with("text/html") {
            todo.extend(links(&answer.body).into_iter().map(|next| (next, link.clone())));
        }
    }
    (seen.len(), broken)
}

#[tokio::test]
async fn no_link_of_any_page_is_dead() {
    let house = House::start().await;
    let mut week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
    let cells: Vec<usize> = (0..week.cells.len()).filter(|at| week.cells[*at].scene < 2).collect();
    week.passes.retain(|pass| cells.contains(&pass.cell) && pass.number == 1);
    if let Some(earlier) = &mut week.earlier {
        earlier.passes.retain(|pass| pass.cell < 2 && pass.number == 1);
        earlier.fresh.retain(|pass| pass.cell < 2 && pass.number == 4);
    }
    week.decisions.clear();
    let person = week.team.people[0].clone();
    let passwords = Passwords::new(CHEAP);
    bench_week::load(&house.store, &Chance::system(), &passwords, week, |_| {}).await.unwrap();
    let owner = house.anonymous();
    let fields = [("name", person.name), ("password", person.password)];
    assert_eq!(owner.post(&paths::sign_in(), &fields).await.status, 303);
    let (followed, broken) = broken(&owner, &paths::pieces()).await;
    assert!(followed > 100, "only {followed} links were followed");
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}
