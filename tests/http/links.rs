//! Every link of every page leads somewhere.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use scraper::{Html, Selector};
use serde_json::Value;
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

/// What a page asks of another one: its path, and a name in its query, by links and by forms.
fn asked(body: &str) -> BTreeSet<(String, String)> {
    let page = Html::parse_document(body);
    let mut found = BTreeSet::new();
    for link in links(body) {
        let Some((path, query)) = link.split_once('?') else { continue };
        let names = query.split('&').filter_map(|pair| pair.split('=').next());
        found.extend(names.map(|name| (path.to_owned(), name.to_owned())));
    }
    for form in page.select(&Selector::parse("form[method=get]").unwrap()) {
        let path = form.attr("action").unwrap_or_default().split('?').next().unwrap_or_default();
        // A form that can be sent by POST too holds what only that reads.
        let read = Selector::parse("[name]:not([name=once]):not([name=version])").unwrap();
        for field in form.select(&read) {
            let name = field.attr("name").unwrap_or_default();
            found.insert((path.to_owned(), name.to_owned()));
        }
    }
    found.retain(|(path, name)| path.starts_with('/') && !name.is_empty());
    found
}

/// Names that the document of the API gives the query of a path's GET.
fn told(document: &Value, path: &str) -> BTreeSet<String> {
    let fits = |pattern: &str| {
        let slots = pattern.split('/').map(|slot| slot.starts_with('{'));
        pattern.split('/').count() == path.split('/').count()
            && pattern.split('/').zip(path.split('/')).zip(slots).all(|((of, is), slot)| slot || of == is)
    };
    // A pattern without a slot there is meant before one with.
    let all = paths::ALL.iter().filter(|pattern| fits(pattern));
    let pattern = all.min_by_key(|pattern| pattern.matches('{').count());
    let parameters = pattern.map(|pattern| &document["paths"][paths::api(pattern)]["get"]["parameters"]);
    let parameters = parameters.and_then(Value::as_array).into_iter().flatten();
    parameters
        .filter(|parameter| parameter["in"] == "query")
        .map(|parameter| parameter["name"].as_str().unwrap().to_owned())
        .collect()
}

/// What a walk through all pages found.
struct Walk {
    followed: usize,
    broken: Vec<String>,
    asked: BTreeSet<(String, String)>,
}

/// Follows all links from a page on; each with the page that it stands on.
async fn walk(client: &Client, from: &str) -> Walk {
    let mut todo = vec![(from.to_owned(), String::new())];
    let (mut seen, mut ways) = (BTreeSet::new(), BTreeMap::<String, usize>::new());
    let (mut broken, mut asks) = (Vec::new(), BTreeSet::new());
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
            asks.extend(asked(&answer.body));
            todo.extend(links(&answer.body).into_iter().map(|next| (next, link.clone())));
        }
    }
    Walk { followed: seen.len(), broken, asked: asks }
}

#[tokio::test]
async fn no_link_of_any_page_is_dead_and_what_it_asks_is_in_the_document_of_the_api() {
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
    let Walk { followed, broken, asked } = walk(&owner, &paths::pieces()).await;
    assert!(followed > 100, "only {followed} links were followed");
    assert!(broken.is_empty(), "{}", broken.join("\n"));
    let document = owner.get(paths::OPENAPI).await.json();
    // 'scene-7' says of log 7 what 'scene' says of all.
    let plain = |name: &str| name.split('-').next().unwrap_or_default().to_owned();
    let untold: Vec<String> = asked
        .iter()
        .filter(|(path, name)| !told(&document, path).contains(&plain(name)))
        .map(|(path, name)| format!("{path}: {name}"))
        .collect();
    assert!(asked.len() > 30 && untold.is_empty(), "{} asked; not told: {}", asked.len(), untold.join("\n"));
}
