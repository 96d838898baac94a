//! The document of the API against the routes that answer, and against what they answer with.

use std::collections::BTreeSet;

use jiff::Timestamp;
use reqwest::Method;
use serde_json::Value;
use weighhouse::chance::Chance;
use weighhouse::work::bench_week;
use weighhouse::work::passwords::Passwords;
use weighhouse_web::paths;

use crate::harness::{CHEAP, Client, House, NOW_US, answer, filled};

/// Served beside the API, not in it.
const OUTSIDE: [&str; 3] = [paths::HOME, paths::PATTERN, paths::STATIC];

async fn document(client: &Client) -> Value {
    client.get(paths::OPENAPI).await.json()
}

/// RFC 9110, 15.5.6: 405 where a route has no such method; ours says 404 'No such page' where there is no route.
#[tokio::test]
async fn every_route_and_method_is_in_the_document_and_nothing_else_is() {
    let house = House::start().await;
    let owner = house.owner().await;
    let document = document(&house.anonymous()).await;
    let told = document["paths"].as_object().unwrap();
    let mut seen = 0;
    for pattern in paths::ALL.iter().filter(|pattern| !OUTSIDE.contains(pattern)) {
        let path = paths::api(&filled(pattern));
        for method in [Method::GET, Method::POST, Method::PUT, Method::DELETE] {
            // Signing out and a new password would end the owner's session: anybody may ask whether they are there.
            let who = if *pattern == paths::SIGN_OUT { house.anonymous() } else { owner.clone() };
            let got = answer(who.request(method.clone(), &path)).await;
            let no_route = got.status == 405 || got.body.contains("\"No such page\"");
            let name = method.as_str().to_lowercase();
            let is_told = told.get(&paths::api(pattern)).is_some_and(|route| route.get(&name).is_some());
            assert_eq!(is_told, !no_route, "{method} {pattern}: {} {}", got.status, got.body);
            seen += usize::from(is_told);
        }
    }
    assert!(seen > 100, "{seen}");
    let outside = [paths::UPLOAD, paths::UPLOADS, paths::KEY].map(str::to_owned);
    let known: BTreeSet<String> =
        paths::ALL.iter().map(|pattern| paths::api(pattern)).chain(outside).collect();
    assert!(told.keys().all(|path| known.contains(path)));
}

fn each<'a>(value: &'a Value, found: &mut Vec<(&'a str, &'a Value)>) {
    match value {
        Value::Object(members) => members.iter().for_each(|(name, value)| {
            found.push((name, value));
            each(value, found);
        }),
        Value::Array(values) => values.iter().for_each(|value| each(value, found)),
        _ => {}
    }
}

/// OpenAPI Specification 3.1.0: 4.8.2 (Paths), 4.8.10 (operationId), 4.8.12 (path parameters), 4.8.17 (description).
#[tokio::test]
async fn the_document_is_whole() {
    let house = House::start().await;
    let document = document(&house.anonymous()).await;
    assert_eq!(document["openapi"], "3.1.0");
    let mut all = Vec::new();
    each(&document, &mut all);
    for (name, value) in &all {
        if *name == "$ref" {
            let pointer = value.as_str().unwrap().trim_start_matches('#');
            assert!(document.pointer(pointer).is_some(), "{pointer} leads nowhere");
        }
    }
    let ids: Vec<&str> =
        all.iter().filter(|(n, _)| *n == "operationId").map(|(_, v)| v.as_str().unwrap()).collect();
    assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len());
    for (path, route) in document["paths"].as_object().unwrap() {
        let wanted: BTreeSet<&str> =
            path.split('{').skip(1).map(|rest| rest.split('}').next().unwrap()).collect();
        let mut inside = Vec::new();
        each(route, &mut inside);
        let lists = inside.iter().filter(|(name, _)| *name == "parameters");
        let named: BTreeSet<&str> = lists
            .flat_map(|(_, list)| list.as_array().unwrap())
            .filter(|parameter| parameter["in"] == "path")
            .map(|parameter| parameter["name"].as_str().unwrap())
            .collect();
        assert_eq!(named, wanted, "{path}");
        for method in ["get", "post", "put"] {
            let Some(operation) = route.get(method) else { continue };
            assert!(!operation["summary"].as_str().unwrap().is_empty(), "{method} {path}");
            for response in operation["responses"].as_object().unwrap().values() {
                assert!(response["description"].is_string(), "{method} {path}");
            }
        }
    }
}

/// In what a value does not fit a schema; only what the document uses of JSON Schema.
fn unlike(document: &Value, schema: &Value, value: &Value, at: &str, wrong: &mut Vec<String>) {
    if let Some(pointer) = schema["$ref"].as_str() {
        let target = document.pointer(pointer.trim_start_matches('#')).unwrap();
        return unlike(document, target, value, at, wrong);
    }
    let types: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(several) => several.iter().filter_map(Value::as_str).collect(),
        _ => return,
    };
    let is = |kind: &str| match kind {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        _ => value.is_object(),
    };
    if !types.iter().any(|kind| is(kind)) {
        return wrong.push(format!("{at} is {value}, not {types:?}"));
    }
    for (n, item) in value.as_array().into_iter().flatten().enumerate() {
        unlike(document, &schema["items"], item, &format!("{at}[{n}]"), wrong);
    }
    let Some(members) = value.as_object() else { return };
    for name in schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        if !members.contains_key(name) {
            wrong.push(format!("{at} has no {name}"));
        }
    }
    for (name, member) in members {
        unlike(document, &schema["properties"][name], member, &format!("{at}.{name}"), wrong);
    }
}

#[tokio::test]
async fn what_pages_answer_with_fits_their_schemas() {
    let house = House::start().await;
    let mut week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
    let cells: Vec<usize> = (0..week.cells.len()).filter(|at| week.cells[*at].scene < 2).collect();
    week.passes.retain(|pass| cells.contains(&pass.cell) && pass.number <= 2);
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
    let document = document(&owner).await;
    let listed = owner.get(&paths::api(&paths::pieces())).await.json();
    let piece = listed["pieces"][0]["key"].as_str().unwrap().to_owned();
    let mut wrong = Vec::new();
    let mut seen = 0;
    for (path, route) in document["paths"].as_object().unwrap() {
        let answers = &route["get"]["responses"]["200"]["content"]["application/json"]["schema"];
        let asked = path.replace("{piece}", &piece);
        let asked = filled(&asked);
        if answers.is_null()
            || asked.contains("/boards/")
            || asked.contains("/handed/")
            || asked.contains("/invitations/")
        {
            continue;
        }
        let got = owner.get(&asked).await;
        if got.status == 200 {
            unlike(&document, answers, &got.json(), path, &mut wrong);
            seen += 1;
        }
    }
    assert!(seen >= 20, "{seen}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A name that the document gives a query is one that the route reads: with a value that cannot be, it says so, or it says
/// something else than without. Choices among rows are tried by `links.rs`, which follows what pages ask.
#[tokio::test]
async fn queries_that_take_words_of_their_own_refuse_others() {
    let house = House::start().await;
    let owner = house.owner().await;
    crate::figures::bench(&house, &owner, false).await;
    let document = document(&owner).await;
    let parameters = |path: &str| -> Vec<Value> {
        document["paths"][paths::api(path)]["get"]["parameters"].as_array().cloned().unwrap_or_default()
    };
    let alone = parameters(paths::CHART_ALONE);
    let allowed = |name: &str| -> Vec<String> {
        let found = alone.iter().find(|parameter| parameter["name"] == name).unwrap();
        let words = found["schema"]["enum"].as_array().unwrap();
        words.iter().map(|word| word.as_str().unwrap().to_owned()).collect()
    };
    let chart = paths::chart_alone(crate::figures::PIECE);
    for name in ["theme", "shape", "form"] {
        for word in allowed(name) {
            let got = owner
                .request(Method::GET, &format!("{chart}?of=bars&setting=1&{name}={word}"))
                .send()
                .await
                .unwrap();
            assert_eq!(got.status(), 200, "{name}={word}");
        }
        assert_eq!(
            owner.get(&format!("{chart}?of=bars&setting=1&{name}=nothing")).await.status,
            422,
            "{name}"
        );
    }
    assert_eq!(owner.get(&format!("{chart}?of=nothing")).await.status, 422);
    assert!(allowed("of").contains(&"worth".to_owned()));
    for pattern in paths::ALL {
        let mut names: Vec<String> = parameters(pattern)
            .iter()
            .map(|parameter| parameter["name"].as_str().unwrap().to_owned())
            .collect();
        let all = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), all, "{pattern} names one twice");
    }
    let ticks = parameters(paths::PACK_ZIP);
    assert!(ticks.iter().all(|tick| !tick["description"].as_str().unwrap().is_empty()));
    assert_eq!(ticks.len(), 3);
}
