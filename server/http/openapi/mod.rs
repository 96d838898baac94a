//! The document of the API (OpenAPI 3.1): made of the list of routes, of what `paths` says of each, and of the samples of
//! the pages. A test holds it against what the routes answer.

mod queries;
mod schema;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse as _, Response};
use serde_json::{Map, Value, json};
use weighhouse_web::pages;
use weighhouse_web::paths as p;

use schema::Seen;

/// What a GET answers with.
#[derive(Clone, Copy, Debug)]
enum Get {
    /// There is none.
    Nothing,
    /// The twin of this page.
    Page(&'static str),
    /// Bytes of this media type.
    Bytes(&'static str),
}

use Get::{Bytes, Nothing, Page};

const SVG: Get = Bytes("image/svg+xml");

/// Routes below `/api/v1`: the pattern, what GET answers with, and whether there is a POST.
const ROUTES: &[(&str, Get, bool)] = &[
    (p::SIGN_IN, Page("sign_in"), true),
    (p::SIGN_OUT, Nothing, true),
    (p::INVITATION, Page("invitation"), true),
    (p::PIECES, Page("pieces"), true),
    (p::PIECE, Page("piece"), true),
    (p::PIECE_CELLS, Page("cells"), true),
    (p::CARRIED, Page("carried"), true),
    (p::PLAN, Page("plan"), false),
    (p::REPLACE, Nothing, true),
    (p::DID_NOT_RUN, Nothing, true),
    (p::SESSIONS, Page("sessions"), false),
    (p::BENCH_COSTS, Nothing, true),
    (p::BOARDS, Nothing, true),
    (p::BOARD_BACK, Nothing, true),
    (p::BOARD, Page("board"), false),
    (p::QUOTES, Page("quotes"), true),
    (p::QUOTE, Page("quotes"), true),
    (p::QUOTE_OUT, Nothing, true),
    (p::READINGS, Page("readings"), true),
    (p::READING_NEW, Page("reading_new"), false),
    (p::READING, Page("reading"), false),
    (p::READING_AROUND, Page("reading_new"), true),
    (p::READING_REPEATS, Nothing, true),
    (p::READING_RULING, Nothing, true),
    (p::PROOF, Bytes("application/octet-stream"), false),
    (p::READING_KINDS, Page("reading_kinds"), true),
    (p::READING_KIND, Page("reading_kinds"), true),
    (p::SOAK_NEW, Page("soak_new"), true),
    (p::SOAK, Page("soak"), false),
    (p::SOAK_BACK, Nothing, true),
    (p::NOTES, Page("notes"), true),
    (p::EMBARGO, Nothing, true),
    (p::EDITIONS, Page("editions"), true),
    (p::EDITION, Page("edition"), false),
    (p::EDITION_METHODS, Bytes("text/html"), false),
    (p::EDITION_LINKS, Nothing, true),
    (p::EDITION_LINK_BACK, Nothing, true),
    (p::HANDED, Page("edition"), false),
    (p::HANDED_METHODS, Bytes("text/html"), false),
    (p::INTAKE, Page("intake"), false),
    (p::ASSIGN, Nothing, true),
    (p::TAKE_BACK, Nothing, true),
    (p::PAIR, Nothing, true),
    (p::GIVE_START, Nothing, true),
    (p::CAPTURE, Bytes("application/octet-stream"), false),
    (p::CUTS, Page("cuts"), true),
    (p::CUTS_STRIP, SVG, false),
    (p::CUT_BESIDE, Nothing, true),
    (p::PASS_CUT, Nothing, true),
    (p::LAYOUT, Page("layout"), true),
    (p::LAYOUTS, Page("layouts"), false),
    (p::LAYOUT_READ, Page("layout_read"), true),
    (p::DRAFT, Page("draft"), true),
    (p::DRAFT_CHECK, Nothing, true),
    (p::DRAFT_NUMBERS, Nothing, true),
    (p::DRAFT_NOTES, Bytes("text/markdown"), false),
    (p::DRAFT_TABLE, Bytes("text/csv"), false),
    (p::AGAINST, Page("against"), false),
    (p::PIECE_TUNING, Page("tuning"), false),
    (p::ACROSS, Page("across"), false),
    (p::LATENCY, Page("latency"), false),
    (p::WORTH, Page("worth"), false),
    (p::CHART_ALONE, SVG, false),
    (p::CHARTS, Page("charts"), true),
    (p::CHART_LOOK, Nothing, true),
    (p::CHART, Page("chart"), true),
    (p::CHART_PICTURE, SVG, false),
    (p::CHART_OUT, Nothing, true),
    (p::READERS, Page("reader"), true),
    (p::READER, Page("reader"), true),
    (p::READER_OUT, Nothing, true),
    (p::NOISE_PRIOR, Page("noise_prior"), true),
    (p::OUTDATED, Page("outdated"), true),
    (p::RIG_CHECK, Page("rig_check"), false),
    (p::CHANGES, Page("changes"), false),
    (p::SCREENS, Page("screens"), true),
    (p::REVIEW, Page("review"), true),
    (p::REVIEW_STRIP, SVG, false),
    (p::REVIEW_WINDOW, Nothing, true),
    (p::REVIEW_REASONS, Nothing, true),
    (p::PASS, Page("pass"), false),
    (p::PASS_STRIP, SVG, false),
    (p::PASS_FRAME, Bytes("application/json"), false),
    (p::PASS_RULING, Nothing, true),
    (p::PASS_WINDOW, Nothing, true),
    (p::PASS_REMARK, Nothing, true),
    (p::PASS_REMARK_STEP, Nothing, true),
    (p::PASS_COMPANION, Nothing, true),
    (p::FIGURES, Page("figures"), true),
    (p::FIGURE_NEW, Page("figure_new"), false),
    (p::FIGURES_MANY, Nothing, true),
    (p::FIGURE_STEPS, Nothing, true),
    (p::FIGURE, Page("figure"), true),
    (p::FIGURE_BLIND, Page("figure_blind"), false),
    (p::PACK, Page("pack"), false),
    (p::PACK_ZIP, Bytes("application/zip"), false),
    (p::PEOPLE, Page("people"), false),
    (p::PERSON, Nothing, true),
    (p::PASSWORD, Nothing, true),
    (p::INVITATIONS, Nothing, true),
    (p::INVITATION_BACK, Nothing, true),
    (p::KEYS, Nothing, true),
    (p::KEY_BACK, Nothing, true),
    (p::RIGS, Page("rigs"), true),
    (p::RIG, Page("rig"), true),
    (p::BASES, Nothing, true),
    (p::BASE, Page("rig"), true),
    (p::PARTS, Page("part_list"), true),
    (p::PART, Page("part"), true),
    (p::UNITS, Nothing, true),
    (p::UNIT, Page("part"), true),
    (p::DRIVERS, Nothing, true),
    (p::DRIVER, Page("part"), true),
    (p::PRICES, Nothing, true),
    (p::PRICE, Page("part"), true),
    (p::TUNINGS, Nothing, true),
    (p::TUNING, Page("part"), true),
    (p::SCENES, Page("scenes"), true),
    (p::SCENE, Page("scene"), true),
    (p::BUILDS, Nothing, true),
    (p::BUILD, Page("scene"), true),
    (p::SETTINGS, Nothing, true),
    (p::SETTING, Page("scenes"), true),
];

static DOCUMENT: LazyLock<String> = LazyLock::new(|| document().to_string());

/// The document.
pub(super) async fn show() -> Response {
    ([(CONTENT_TYPE, "application/json")], DOCUMENT.as_str()).into_response()
}

fn document() -> Value {
    let words: BTreeMap<&str, &str> = p::WORDS.iter().copied().collect();
    let mut paths = Map::new();
    for (pattern, get, post) in ROUTES {
        let says = words.get(pattern).copied().unwrap_or_default().trim();
        paths.insert(p::api(pattern), route(pattern, says, *get, *post));
    }
    paths.insert(p::UPLOAD.to_owned(), upload());
    paths.insert(p::KEY.to_owned(), key());
    paths.insert(p::UPLOADS.to_owned(), here());
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Weighhouse",
            "version": "1",
            "description": "Each page of the service has a twin under /api/v1 that carries the same values. A POST takes \
                the fields of the page's form, as a form or as a JSON object of the same names; rows that people edit want \
                the version that was read, and a key in 'once' makes a request that comes twice do its work once.",
        },
        "servers": [{ "url": "/" }],
        "security": [{ "session": [] }],
        "paths": paths,
        "components": { "schemas": schemas(), "securitySchemes": {
            "session": {
                "type": "apiKey", "in": "cookie", "name": "weighhouse",
                "description": "Set by a POST to the sign-in page; '__Host-weighhouse' under TLS.",
            },
            "rig": { "type": "http", "scheme": "bearer", "description": "A rig's key: it uploads, and nothing else." },
        } },
    })
}

fn schemas() -> Map<String, Value> {
    let mut seen: BTreeMap<&str, Seen> = BTreeMap::new();
    for (name, twin) in pages::twins() {
        seen.entry(name).or_default().add(&twin);
    }
    let mut all: Map<String, Value> =
        seen.into_iter().map(|(name, seen)| (name.to_owned(), seen.schema())).collect();
    let done = json!({
        "type": "object",
        "properties": { "says": { "type": "string" }, "location": { "type": "string" } },
    });
    all.insert("done".to_owned(), done);
    all
}

fn route(pattern: &str, says: &str, get: Get, post: bool) -> Value {
    let mut operations = Map::new();
    let slots = slots(pattern);
    if !slots.is_empty() {
        operations.insert("parameters".to_owned(), Value::Array(slots));
    }
    let id = pattern.trim_matches('/').replace(['/', '.', '-'], "_").replace(['{', '}'], "");
    let answer = match get {
        Nothing => None,
        Page(name) => Some(json!({ "application/json": { "schema": component(name) } })),
        Bytes(kind) => Some(json!({ kind: {} })),
    };
    if let Some(content) = answer {
        let responses = json!({ "200": { "description": says, "content": content }, "default": refused() });
        let mut get = json!({ "operationId": format!("get_{id}"), "summary": says, "responses": responses });
        let asked = queries::of(pattern);
        if !asked.is_empty() {
            get["parameters"] = Value::Array(asked);
        }
        operations.insert("get".to_owned(), get);
    }
    if post {
        let fields = json!({ "schema": { "type": "object" } });
        let body = json!({
            "content": { "application/json": fields, "application/x-www-form-urlencoded": fields },
        });
        let done = json!({ "application/json": { "schema": component("done") } });
        let responses = json!({ "201": { "description": "What was done, and where it is.", "content": done }, "default": refused() });
        operations.insert(
            "post".to_owned(),
            json!({
                "operationId": format!("post_{id}"), "summary": says, "requestBody": body, "responses": responses,
            }),
        );
    }
    Value::Object(operations)
}

fn slots(pattern: &str) -> Vec<Value> {
    let inside = pattern.split('{').skip(1).filter_map(|rest| rest.split('}').next());
    inside
        .map(|slot| json!({ "name": slot, "in": "path", "required": true, "schema": { "type": "string" } }))
        .collect()
}

fn component(name: &str) -> Value {
    json!({ "$ref": format!("#/components/schemas/{name}") })
}

fn refused() -> Value {
    let content = json!({ "application/json": { "schema": component("refusal") } });
    json!({ "description": "What is wrong, where, and how to mend it.", "content": content })
}

/// PUT of a log's bytes.
fn upload() -> Value {
    let query = |name: &str, says: &str| json!({ "name": name, "in": "query", "required": false, "description": says, "schema": { "type": "string" } });
    let mut parameters = slots(p::UPLOAD);
    parameters.push(query("start", "When the log began, RFC 3339: for logs without a wall clock."));
    parameters.push(query("settings", "SHA-256 of the game's settings file, 64 hexadecimal digits."));
    parameters.push(json!({
        "name": "Idempotency-Key", "in": "header", "required": false, "schema": { "type": "string" },
        "description": "Sent again under the same key, the upload gets the first answer.",
    }));
    let came = json!({ "application/json": { "schema": { "type": "object" } } });
    json!({ "put": {
        "operationId": "put_upload", "summary": "Takes in a log file, byte for byte.", "parameters": parameters,
        "security": [{ "rig": [] }, { "session": [] }],
        "requestBody": { "required": true, "content": { "application/octet-stream": {} } },
        "responses": {
            "200": { "description": "These bytes were there already.", "content": came },
            "201": { "description": "What was understood of it.", "content": came },
            "default": refused(),
        },
    } })
}

/// Which files need not be sent.
fn here() -> Value {
    let object = json!({ "application/json": { "schema": { "type": "object" } } });
    json!({ "post": {
        "operationId": "post_uploads", "summary": "Which of these files are there already: by length and digest.",
        "security": [{ "rig": [] }, { "session": [] }],
        "requestBody": { "required": true, "content": object },
        "responses": { "200": { "description": "Those that are there.", "content": object }, "default": refused() },
    } })
}

/// Which rig a key is for.
fn key() -> Value {
    let content = json!({ "application/json": { "schema": {
        "type": "object",
        "properties": { "rig": { "type": "string" }, "label": { "type": "string" } },
        "required": ["rig", "label"],
    } } });
    json!({ "get": {
        "operationId": "get_key", "summary": "Which rig a key is for.", "security": [{ "rig": [] }],
        "responses": { "200": { "description": "The rig and the key's label.", "content": content }, "default": refused() },
    } })
}
