//! A server in this process on a free port, and clients of each kind, made through public routes.

use reqwest::header::{AUTHORIZATION, HeaderMap, LOCATION, ORIGIN};
use reqwest::redirect::Policy;
use reqwest::{Method, RequestBuilder};
use scraper::{Html, Selector};
use tempfile::TempDir;
use weighhouse::chance::Chance;
use weighhouse::clock::{Clock, US_PER_S};
use weighhouse::config::{Config, PasswordCost};
use weighhouse::http::Server;
use weighhouse::store::registers::rigs::{self, RigFields};
use weighhouse::store::{Actor, RigId, Store};
use weighhouse::work::people;
use weighhouse_web::paths;

/// Where the tests' clock stands at first: 2026-03-01 12:00 UTC.
pub const NOW_US: i64 = 1_772_366_400 * US_PER_S;
/// Everybody's password.
pub const PASSWORD: &str = "seven lamps under";
/// Hashes in well under a millisecond: for tests only.
pub const CHEAP: PasswordCost = PasswordCost { memory_kib: 32, rounds: 1, lanes: 1 };

/// A server with a store of its own.
pub struct House {
    /// The server; taken by tests that stop it.
    pub server: Server,
    /// Moves time.
    pub clock: Clock,
    /// For what no route shows, and rigs.
    pub store: Store,
    chance: Chance,
    _folder: TempDir,
}

impl House {
    /// Starts one.
    pub async fn start() -> Self {
        Self::start_with(|_| {}).await
    }

    /// Starts one with changed settings.
    pub async fn start_with(change: impl FnOnce(&mut Config)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock = Clock::by_hand(NOW_US);
        let chance = Chance::system();
        let store = Store::open(&folder.path().join("house.db"), clock.clone()).await.unwrap();
        let mut config = Config { listen: ([127, 0, 0, 1], 0).into(), passwords: CHEAP, ..Config::default() };
        change(&mut config);
        let server = Server::start(config, store.clone(), clock.clone(), chance.clone()).await.unwrap();
        Self { server, clock, store, chance, _folder: folder }
    }

    /// Lets time pass.
    pub fn wait_s(&self, seconds: i64) {
        self.clock.advance(seconds * US_PER_S);
    }

    /// Nobody.
    pub fn anonymous(&self) -> Client {
        let http = reqwest::Client::builder().cookie_store(true).redirect(Policy::none()).build().unwrap();
        Client { http, base: format!("http://{}", self.server.addr()), key: None }
    }

    /// The first owner, 'Maren Oake': call it first, once.
    pub async fn owner(&self) -> Client {
        let token = people::first_link(&self.store, &self.chance).await.unwrap().unwrap();
        self.accept(&paths::invitation(token.as_str()), "Maren Oake").await
    }

    /// Somebody with this role, invited by `owner`.
    pub async fn invited(&self, owner: &Client, role: &str, name: &str) -> Client {
        let answer = owner.post(&paths::api(&paths::invitations()), &[("role", role)]).await;
        assert_eq!(answer.status, 201, "{}", answer.body);
        let link = answer.json()["link"].as_str().unwrap().to_owned();
        self.accept(link.strip_prefix(&owner.base).unwrap(), name).await
    }

    /// A member, 'Iver Stroud'.
    pub async fn member(&self, owner: &Client) -> Client {
        self.invited(owner, "member", "Iver Stroud").await
    }

    /// A guest, 'Tove Linden'.
    pub async fn guest(&self, owner: &Client) -> Client {
        self.invited(owner, "guest", "Tove Linden").await
    }

    async fn accept(&self, link: &str, name: &str) -> Client {
        let client = self.anonymous();
        let answer = client.post(link, &[("name", name), ("password", PASSWORD)]).await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        client
    }

    /// A rig, 'alder'.
    pub async fn rig(&self) -> RigId {
        let fields = RigFields { name: "alder".to_owned(), note: String::new() };
        self.store.write(Actor::Server, async move |tx| rigs::add(tx, &fields).await).await.unwrap()
    }

    /// A client that bears a new key for `rig`, made by `owner`.
    pub async fn with_key(&self, owner: &Client, rig: RigId) -> Client {
        let fields = [("rig", rig.to_string()), ("label", "bench".to_owned())];
        let fields: Vec<_> = fields.iter().map(|(name, text)| (*name, text.as_str())).collect();
        let answer = owner.post(&paths::api(&paths::keys()), &fields).await;
        assert_eq!(answer.status, 201, "{}", answer.body);
        Client { key: Some(answer.json()["key"].as_str().unwrap().to_owned()), ..self.anonymous() }
    }
}

/// Who asks: a browser with its cookies, or a rig with its key.
#[derive(Clone)]
pub struct Client {
    /// For requests that no method below makes.
    pub http: reqwest::Client,
    /// `http://127.0.0.1:PORT`.
    pub base: String,
    /// A rig's key.
    pub key: Option<String>,
}

impl Client {
    /// A request without what browsers add.
    pub fn bare(&self, method: Method, path: &str) -> RequestBuilder {
        let request = self.http.request(method, format!("{}{path}", self.base));
        match &self.key {
            Some(key) => request.header(AUTHORIZATION, format!("Bearer {key}")),
            None => request,
        }
    }

    /// A request as our pages make it.
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        self.bare(method, path).header(ORIGIN, &self.base)
    }

    /// GET.
    pub async fn get(&self, path: &str) -> Answer {
        answer(self.bare(Method::GET, path)).await
    }

    /// POST of a form.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        answer(form(self.request(Method::POST, path), fields)).await
    }

    /// POST of JSON.
    pub async fn post_json(&self, path: &str, body: &serde_json::Value) -> Answer {
        answer(self.request(Method::POST, path).json(body)).await
    }

    /// PUT of bytes.
    pub async fn put(&self, path: &str, bytes: impl Into<reqwest::Body>) -> Answer {
        answer(self.request(Method::PUT, path).body(bytes)).await
    }
}

/// The request with the fields of a form.
pub fn form(request: RequestBuilder, fields: &[(&str, &str)]) -> RequestBuilder {
    let body = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
    request.header("content-type", "application/x-www-form-urlencoded").body(body)
}

/// Sends it.
pub async fn answer(request: RequestBuilder) -> Answer {
    let response = request.send().await.unwrap();
    let (status, headers) = (response.status().as_u16(), response.headers().clone());
    Answer { status, headers, body: response.text().await.unwrap() }
}

/// What came back.
pub struct Answer {
    /// Status.
    pub status: u16,
    /// Headers.
    pub headers: HeaderMap,
    /// Body as text.
    pub body: String,
}

impl Answer {
    /// A header; empty when it is not there.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// Where a redirect leads.
    pub fn location(&self) -> &str {
        self.header(LOCATION.as_str())
    }

    /// The body as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }

    /// Visible text of each element that the selector finds.
    pub fn texts(&self, selector: &str) -> Vec<String> {
        let selector = Selector::parse(selector).unwrap();
        let page = Html::parse_document(&self.body);
        let words =
            |e: scraper::ElementRef| e.text().flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ");
        page.select(&selector).map(words).collect()
    }

    /// Where a form posts to and what a browser would send with it: the first form that the selector finds, as it stands
    /// in the page. Buttons send nothing.
    pub fn form(&self, selector: &str) -> (String, Vec<(String, String)>) {
        let page = Html::parse_document(&self.body);
        let found = page.select(&Selector::parse(selector).unwrap()).next();
        let form = found.unwrap_or_else(|| panic!("no form {selector}: {}", self.body));
        let value = |e: scraper::ElementRef| {
            let text = || e.text().collect::<String>();
            e.attr("value").map_or_else(text, str::to_owned)
        };
        let mut fields = Vec::new();
        for field in form.select(&Selector::parse("input[name], select[name], textarea[name]").unwrap()) {
            let name = field.attr("name").unwrap().to_owned();
            let unticked = matches!(field.attr("type"), Some("checkbox" | "radio"));
            if field.value().name() == "select" {
                let options = Selector::parse("option").unwrap();
                let chosen = field.select(&options).find(|option| option.attr("selected").is_some());
                fields.extend(chosen.or(field.select(&options).next()).map(|option| (name, value(option))));
            } else if !unticked || field.attr("checked").is_some() {
                fields.push((name, value(field)));
            }
        }
        (form.attr("action").unwrap().to_owned(), fields)
    }

    /// An attribute of the first element that the selector finds.
    pub fn attribute(&self, selector: &str, name: &str) -> Option<String> {
        self.attributes(selector, name).into_iter().next()
    }

    /// An attribute of each element that the selector finds and that has it.
    pub fn attributes(&self, selector: &str, name: &str) -> Vec<String> {
        let selector = Selector::parse(selector).unwrap();
        let page = Html::parse_document(&self.body);
        page.select(&selector).filter_map(|element| Some(element.attr(name)?.to_owned())).collect()
    }
}

/// Address of a chart of the piece `k1` alone.
pub fn chart(of: &str, query: &[(&str, &str)]) -> String {
    let pairs: Vec<(&str, &str)> = [("of", of)].into_iter().chain(query.iter().copied()).collect();
    weighhouse_web::paths::with_query(&weighhouse_web::paths::chart_alone("k1"), &pairs)
}

/// A route's pattern with `1` in each slot.
pub fn filled(pattern: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in pattern.chars() {
        match c {
            '{' => {
                inside = true;
                out.push('1');
            }
            '}' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out
}
