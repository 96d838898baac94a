//! Review: order of the queue, what stays hidden, rulings by forms and programs.

use jiff::Timestamp;
use serde_json::json;
use weighhouse::chance::Chance;
use weighhouse::store::pieces;
use weighhouse::work::bench_week;
use weighhouse::work::passwords::Passwords;
use weighhouse_demo::{Demo, FaultKind};
use weighhouse_web::paths;

use crate::harness::{Answer, CHEAP, Client, House, NOW_US};

/// A team with the passes of three cells, each with a planted fault.
pub(crate) struct Bench {
    house: House,
    pub(crate) week: Demo,
    /// Address of the page.
    pub(crate) review: String,
}

impl Bench {
    pub(crate) async fn start() -> Self {
        Self::with_first_cells_of(&[FaultKind::Updater, FaultKind::WrongPassage, FaultKind::Gap], 1).await
    }

    /// The first `count` cells with a fault of each kind.
    async fn with_first_cells_of(kinds: &[FaultKind], count: usize) -> Self {
        let house = House::start().await;
        let mut week = weighhouse_demo::bench_week(1, Timestamp::from_microsecond(NOW_US).unwrap());
        let faults =
            || week.truth.passes.iter().map(|pass| pass.fault.map(|fault| fault.kind)).zip(&week.passes);
        let of = |kind: FaultKind| faults().filter(move |(fault, _)| *fault == Some(kind)).take(count);
        let cells: Vec<_> = kinds.iter().flat_map(|kind| of(*kind).map(|(_, pass)| pass.cell)).collect();
        week.passes.retain(|pass| cells.contains(&pass.cell));
        week.earlier = None;
        for pass in &mut week.passes {
            pass.sensors_name = None;
        }
        week.decisions.clear();
        let passwords = Passwords::new(CHEAP);
        bench_week::load(&house.store, &Chance::system(), &passwords, week.clone(), |_| {}).await.unwrap();
        let pieces = pieces::all(&mut house.store.read().await.unwrap()).await.unwrap();
        Self { review: paths::review(&pieces[0].key), house, week }
    }

    async fn signed_in(&self, nth: usize) -> Client {
        let person = &self.week.team.people[nth];
        let client = self.house.anonymous();
        let fields = [("name", person.name), ("password", person.password)];
        let answer = client.post(&paths::sign_in(), &fields).await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        client
    }

    pub(crate) async fn member(&self) -> Client {
        self.signed_in(1).await
    }

    pub(crate) async fn other_member(&self) -> Client {
        self.signed_in(2).await
    }

    pub(crate) async fn guest(&self) -> Client {
        self.signed_in(3).await
    }

    pub(crate) fn twin(&self) -> String {
        paths::api(&self.review)
    }

    /// What would tell the part.
    pub(crate) fn telling(&self) -> Vec<String> {
        let parts = self.week.parts.iter().flat_map(|part| [part.maker, part.model]);
        let drivers = self.week.drivers.iter().map(|driver| driver.name);
        let files = self.week.passes.iter().map(|pass| pass.file_name.as_str());
        let serials = self.week.units.iter().map(|unit| unit.serial);
        let tunings = self.week.tunings.iter().map(|tuning| tuning.name).filter(|name| name.len() > 5);
        parts.chain(drivers).chain(files).chain(serials).chain(tunings).map(str::to_owned).collect()
    }
}

/// The form of the page as a browser would send it.
pub(crate) fn form(page: &Answer) -> Vec<(&'static str, String)> {
    let value = |name: &str| page.attribute(&format!(".under form input[name={name}]"), "value").unwrap();
    let html = scraper::Html::parse_document(&page.body);
    let saw = scraper::Selector::parse(".under form input[name=saw]").unwrap();
    let mut fields: Vec<_> = ["once", "pass", "version"].map(|name| (name, value(name))).to_vec();
    fields.extend(html.select(&saw).map(|input| ("saw", input.attr("value").unwrap().to_owned())));
    fields
}

pub(crate) async fn send(
    client: &Client,
    to: &str,
    form: &[(&'static str, String)],
    with: &[(&str, &str)],
) -> Answer {
    let fields: Vec<(&str, &str)> = form.iter().map(|(name, text)| (*name, text.as_str())).collect();
    client.post(to, &[&fields, with].concat()).await
}

#[tokio::test]
async fn the_queue_is_worst_first_and_tells_nothing_of_the_part() {
    let bench = Bench::start().await;
    let guest = bench.guest().await;
    let page = guest.get(&bench.review).await;
    assert_eq!((page.status, page.texts("h1")), (200, vec!["Review".to_owned()]));
    let twin = guest.get(&bench.twin()).await;
    // Coordinates of the picture may look like a driver's number: there only its words are read.
    let (before, picture) = page.body.split_once("<div class=\"strip chart").unwrap();
    let (_, after) = picture.split_once("</svg>").unwrap();
    let words = page.texts(".chart text, .chart title, .chart desc").join(" ");
    let body = [before, after, &words].concat().replace(bench.week.piece.name, "");
    for name in bench.telling() {
        assert!(!body.contains(&name), "the page tells '{name}'");
        assert!(!twin.body.contains(&name), "the twin tells '{name}'");
    }
    assert!(!page.body.contains(&paths::pass("")), "links to a pass tell the part");
    let queue = twin.json()["queue"].as_array().unwrap().clone();
    assert!(queue.len() >= 2, "{queue:?}");
    let moves: Vec<f64> = queue.iter().filter_map(|waiting| waiting["moves"].as_f64()).collect();
    assert!(moves.is_sorted_by(|a, b| a >= b) && moves[0] > 0.0, "{moves:?}");
    assert_eq!(page.texts(".waiting li").len(), queue.len());
    assert!(page.texts(".under").concat().contains("hidden until ruled"));
    assert_eq!(page.texts(".under form").len(), 0, "guests only look");
    assert!(page.texts(".lede").concat().starts_with(&format!("{0} of {0} left", queue.len())));
    // The second of the queue by its address.
    let second = queue[1]["key"].as_str().unwrap();
    let asked = guest.get(&paths::with_query(&bench.twin(), &[("pass", second)])).await.json();
    assert_eq!((asked["pass"]["key"].as_str(), asked["pass"]["at"].as_u64()), (Some(second), Some(1)));
}

#[tokio::test]
async fn who_may_not_and_what_is_not_there() {
    let bench = Bench::start().await;
    let (guest, member) = (bench.guest().await, bench.member().await);
    assert_eq!(bench.house.anonymous().get(&bench.twin()).await.status, 401);
    assert_eq!(bench.house.anonymous().post(&bench.review, &[]).await.status, 401);
    let fields = [("pass", "x"), ("verdict", "keep"), ("version", "0")];
    assert_eq!(guest.post(&bench.review, &fields).await.status, 403);
    assert_eq!(member.post(&bench.review, &fields).await.status, 404);
    assert_eq!(member.get(&paths::review("none")).await.status, 404);
    assert_eq!(member.get(&paths::with_query(&bench.review, &[("pass", "none")])).await.status, 404);
    assert_eq!(member.post(&bench.review, &fields[..2]).await.status, 428);
    assert_eq!(member.post(&bench.review, &[("pass", "x"), ("verdict", "maybe")]).await.status, 422);
}

#[tokio::test]
async fn a_ruling_names_the_part_brings_the_next_pass_and_can_be_taken_back() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let page = member.get(&bench.review).await;
    let first = form(&page);
    let bare = send(&member, &bench.review, &first, &[("verdict", "set aside")]).await;
    assert_eq!((bare.status, bare.texts("#reason-error").len()), (422, 1), "a reason is needed");
    let reason = [("verdict", "set aside"), ("usual", "wrong passage"), ("reason", "the <door> was open")];
    let ruled = send(&member, &bench.review, &first, &reason).await;
    assert_eq!(ruled.status, 303, "{}", ruled.body);
    let again = send(&member, &bench.review, &first, &reason).await;
    assert_eq!(again.status, 303, "the same form twice is one ruling: {}", again.body);
    let next = member.get(ruled.location()).await;
    let told = next.texts(".flash span").concat();
    assert!(
        told.starts_with("Set aside: ")
            && told.contains("wrong passage: the <door> was open. Left out, it raises its cell's "),
        "{told}"
    );
    assert!(bench.week.parts.iter().any(|part| told.contains(part.model)), "now the part is told: {told}");
    assert_ne!(form(&next)[1], first[1], "the next pass is up");
    assert!(next.texts(".under").concat().contains("1 of "), "counts of each part");
    // Undo, twice: one.
    let undo = |name: &str| next.attribute(&format!(".flash input[name='{name}']"), "value").unwrap();
    let fields = ["pass", "do", "version", "once"].map(|name| (name, undo(name)));
    for _ in 0..2 {
        let back = send(&member, &bench.review, &fields, &[]).await;
        assert_eq!(back.status, 303, "{}", back.body);
        assert_eq!(form(&member.get(back.location()).await)[1], first[1], "up again");
    }
}

#[tokio::test]
async fn a_flagged_pass_that_was_kept_has_a_mark_of_its_own() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let plan = paths::plan(bench.review.split('/').nth(2).unwrap());
    let kept = ".board .mark-kept .unseen";
    assert_eq!(member.get(&plan).await.texts(kept), Vec::<String>::new());
    let first = form(&member.get(&bench.review).await);
    let ruled = send(&member, &bench.review, &first, &[("verdict", "keep")]).await;
    assert_eq!(ruled.status, 303, "{}", ruled.body);
    let page = member.get(&plan).await;
    let says = page.texts(kept);
    assert!(says.len() == 1 && says[0].contains(": flagged, kept ("), "{says:?}");
    assert!(page.texts(".legend .mark-kept").concat().contains("flagged, kept"));
    let at = |words: &str| page.body.find(words).unwrap();
    assert!(at("aria-label=\"Marks\"") < at("aria-label=\"Coverage board\""), "the legend stands above");
}

#[tokio::test]
async fn undo_lets_the_ruling_before_it_stand_again() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let first = form(&member.get(&bench.review).await);
    let with = [("verdict", "run again"), ("usual", "wrong passage")];
    assert_eq!(send(&member, &bench.review, &first, &with).await.status, 303);
    // Ruled again by its address: another reason.
    let pass = paths::pass(&first[1].1);
    let ruling = || async { member.get(&paths::api(&pass)).await.json()["ruling"].clone() };
    let before = ruling().await;
    let version = before["version"].to_string();
    bench.house.wait_s(1);
    let other =
        [("pass", first[1].1.as_str()), ("verdict", "set aside"), ("reason", "no"), ("version", &version)];
    let saw: Vec<_> =
        first.iter().filter(|(name, _)| *name == "saw").map(|(n, v)| (*n, v.as_str())).collect();
    let ruled = member.post(&bench.review, &[&other[..], &saw].concat()).await;
    assert_eq!(ruled.status, 303, "{}", ruled.body);
    let next = member.get(ruled.location()).await;
    let undo = |name: &str| next.attribute(&format!(".flash input[name='{name}']"), "value").unwrap();
    let fields = ["pass", "do", "version", "once"].map(|name| (name, undo(name)));
    let back = send(&member, &bench.review, &fields, &[]).await;
    assert_eq!(back.status, 303, "{}", back.body);
    let told = member.get(back.location()).await.texts(".flash span").concat();
    assert!(told.contains("'run again', stands again"), "{told}");
    let after = ruling().await;
    assert_eq!((&after["verdict"], &after["reason"]), (&before["verdict"], &before["reason"]));
}

#[tokio::test]
async fn who_comes_late_or_saw_other_flags_is_told() {
    let bench = Bench::start().await;
    let (one, other) = (bench.member().await, bench.other_member().await);
    let mine = form(&one.get(&bench.review).await);
    assert_eq!(send(&one, &bench.review, &mine, &[("verdict", "keep")]).await.status, 303);
    // Whoever comes by its address is told, too, and has the next one.
    let asked = other.get(&paths::with_query(&bench.review, &[("pass", &mine[1].1)])).await;
    assert!(asked.texts(".warning").concat().contains("waits no more"), "{}", asked.body);
    // Flags other than those that the form showed: told, nothing kept.
    let at = other.get(&bench.twin()).await.json();
    let pass = at["pass"]["key"].as_str().unwrap();
    let body =
        json!({ "pass": pass, "verdict": "keep", "version": at["pass"]["version"], "saw": ["frame_cap"] });
    let other_flags = other.post_json(&bench.twin(), &body).await;
    assert_eq!(other_flags.status, 412, "{}", other_flags.body);
    let saw: Vec<_> =
        at["pass"]["flags"].as_array().unwrap().iter().map(|flag| flag["kind"].clone()).collect();
    let body = json!({ "pass": pass, "verdict": "keep", "version": at["pass"]["version"], "saw": saw });
    assert_eq!(other.post_json(&bench.twin(), &body).await.status, 201);
}

#[tokio::test]
async fn an_empty_queue_says_what_was_screened() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let passes = bench.week.passes.len();
    for _ in 0..passes {
        let page = member.get(&bench.review).await;
        if page.texts(".under form").is_empty() {
            break;
        }
        assert_eq!(send(&member, &bench.review, &form(&page), &[("verdict", "keep")]).await.status, 303);
    }
    let done = member.get(&bench.review).await;
    let says = done.texts(".empty").concat();
    assert!(
        says.contains(&format!("{passes} passes were screened")) && says.contains("step in level"),
        "{says}"
    );
}

#[tokio::test]
async fn many_alike_are_ruled_at_once_and_taken_back_at_once() {
    // A cap was left on in a scene with both parts.
    let bench = Bench::with_first_cells_of(&[FaultKind::Cap], 2).await;
    let member = bench.member().await;
    let queue = member.get(&bench.twin()).await.json()["queue"].as_array().unwrap().clone();
    let mut found = None;
    for one in &queue {
        let at = paths::with_query(&bench.review, &[("pass", one["key"].as_str().unwrap())]);
        let page = member.get(&at).await;
        if page.body.contains("name=\"alike-scene\"") {
            found = Some(page);
            break;
        }
    }
    let page = found.unwrap_or_else(|| panic!("two passes of a scene with the same kind of flag: {queue:?}"));
    let others = page.attribute("input[name=alike-scene]", "value").unwrap();
    let count: usize = others.parse().unwrap();
    let fields = form(&page);
    let wrong = [("verdict", "keep"), ("reach", "scene"), ("alike-scene", "77")];
    assert_eq!(send(&member, &bench.review, &fields, &wrong).await.status, 412, "others than the form said");
    let all = [("verdict", "keep"), ("reach", "scene"), ("alike-scene", others.as_str())];
    let ruled = send(&member, &bench.review, &fields, &all).await;
    assert_eq!(ruled.status, 303, "{}", ruled.body);
    let next = member.get(ruled.location()).await;
    let told = next.texts(".flash span").concat();
    assert!(told.starts_with(&format!("Kept: {} passes (", count + 1)), "{told}");
    let left = member.get(&bench.twin()).await.json()["queue"].as_array().unwrap().len();
    assert_eq!(left, queue.len() - count - 1);
    let html = scraper::Html::parse_document(&next.body);
    let hidden = scraper::Selector::parse(".flash input[type=hidden]").unwrap();
    let undo: Vec<(String, String)> = html
        .select(&hidden)
        .map(|input| (input.attr("name").unwrap().to_owned(), input.attr("value").unwrap().to_owned()))
        .collect();
    let undo: Vec<(&str, &str)> = undo.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    assert_eq!(member.post(&bench.review, &undo).await.status, 303);
    let back = member.get(&bench.twin()).await.json()["queue"].as_array().unwrap().len();
    assert_eq!(back, queue.len());
}

#[tokio::test]
async fn the_window_is_shortened_from_the_queue_and_put_back() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let page = member.get(&bench.review).await;
    let of = |name: &str| page.attribute(&format!("details form input[name='{name}']"), "value").unwrap();
    let (pass, version, to) = (of("pass"), of("version"), of("to"));
    let window = paths::with_query(&paths::api(&bench.review), &[]).replace("/review", "/review/window");
    let send = |fields: Vec<(&'static str, String)>| {
        let (member, window) = (member.clone(), window.clone());
        async move {
            let fields: Vec<(&str, &str)> =
                fields.iter().map(|(name, text)| (*name, text.as_str())).collect();
            member.post(&window, &fields).await
        }
    };
    let form = |from: &str, reason: &str| {
        let pair = |name, text: &str| (name, text.to_owned());
        vec![
            pair("pass", &pass),
            pair("version", &version),
            pair("from", from),
            pair("to", &to),
            pair("reason", reason),
        ]
    };
    assert_eq!(send(form("2", "")).await.status, 422, "a reason is needed");
    assert_eq!(send(form("2", "a menu at the start")).await.status, 201);
    let strip = bench.review.replace("/review", "/review/strip");
    let zoom = member.get(&paths::with_query(&strip, &[("pass", &pass), ("from", "1"), ("to", "3")])).await;
    assert_eq!(zoom.status, 200);
    assert!(zoom.body.starts_with("<svg"), "{}", &zoom.body[..80]);
    for name in bench.telling().iter().filter(|name| name.parse::<f64>().is_err()) {
        assert!(!zoom.body.contains(name.as_str()), "the strip tells '{name}'");
    }
    assert_eq!(
        member.get(&paths::with_query(&strip, &[("pass", &pass), ("from", "3"), ("to", "1")])).await.status,
        422
    );
    assert_eq!(member.get(&paths::with_query(&strip, &[("pass", "x")])).await.status, 404);
    let seen = member.get(&paths::api(&paths::pass(&pass))).await.json();
    assert_eq!(seen["window"]["start_ns"].as_i64(), Some(2_000_000_000));
}

#[tokio::test]
async fn the_teams_own_reasons_are_offered_everywhere() {
    let bench = Bench::start().await;
    let (member, guest) = (bench.member().await, bench.guest().await);
    let to = bench.review.replace("/review", "/review/reasons");
    let fields = [("version", "0"), ("reasons", "the kettle was on\nwrong lap")];
    assert_eq!(guest.post(&to, &fields).await.status, 403);
    assert_eq!(member.post(&to, &[("version", "0"), ("reasons", " ")]).await.status, 422);
    assert_eq!(member.post(&to, &fields).await.status, 303);
    assert_eq!(member.post(&to, &fields).await.status, 412, "somebody was faster");
    let page = member.get(&bench.review).await;
    assert!(page.texts(".reasons").concat().contains("the kettle was on"), "{}", page.body);
}

#[tokio::test]
async fn a_comparison_says_what_is_counted_in_without_a_ruling() {
    let bench = Bench::start().await;
    let member = bench.member().await;
    let against = paths::against(bench.review.split('/').nth(2).unwrap());
    let settings = member.get(&against).await;
    let mut seen = 0;
    for nth in 1.. {
        let option = format!("select[name=setting] option:nth-child({nth})");
        let Some(setting) = settings.attribute(&option, "value") else { break };
        let asked = paths::with_query(&against, &[("setting", setting.as_str())]);
        let (page, json) = (member.get(&asked).await, member.get(&paths::api(&asked)).await.json());
        let contenders = json["comparison"]["contenders"].as_array().unwrap();
        let scenes = |contender: &serde_json::Value| contender["scenes"].as_array().unwrap().clone();
        let flagged = |line: &serde_json::Value, side: &str| line[side]["flagged"].as_u64().unwrap();
        let of_baseline = scenes(&contenders[0]).iter().map(|line| flagged(line, "baseline")).sum::<u64>();
        let lines: Vec<_> = contenders.iter().flat_map(scenes).collect();
        let unruled = of_baseline + lines.iter().map(|line| flagged(line, "contender")).sum::<u64>();
        let says = page.texts(".unruled").concat().replace('\u{a0}', " ");
        assert_eq!(says.is_empty(), unruled == 0, "{says}");
        if unruled > 0 {
            assert!(says.starts_with(&format!("{unruled} flagged pass")), "{unruled}: {says}");
            let review = page.attribute(".unruled a", "href");
            assert_eq!(review.as_deref(), Some(bench.review.as_str()));
        }
        seen += unruled;
    }
    assert!(seen > 0, "the bench week has some");
}
