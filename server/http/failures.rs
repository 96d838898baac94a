//! Errors at the edge: the one place that turns them into a status, a page or JSON, and logs what is our fault.
//!
//! Handlers, extractors and layers return [`Error`]; its answer is empty and carries the error along. [`show`], near
//! the outside, fills it in the form that the sender reads.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Request, State};
use axum::http::header::{HOST, REFERER, RETRY_AFTER};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use weighhouse_web::pages::{self, Entry, Frame};
use weighhouse_web::paths;

use super::App;
use super::respond::{Wants, respond, see_other};
use super::session::Around;
use crate::work::{Error, Kind, Refusal};

/// The status of each sort of refusal.
fn status(kind: Kind) -> StatusCode {
    match kind {
        Kind::SignedOut => StatusCode::UNAUTHORIZED,
        Kind::NotAllowed => StatusCode::FORBIDDEN,
        Kind::Missing => StatusCode::NOT_FOUND,
        Kind::Method => StatusCode::METHOD_NOT_ALLOWED,
        Kind::Unreadable => StatusCode::BAD_REQUEST,
        Kind::Invalid => StatusCode::UNPROCESSABLE_ENTITY,
        Kind::Clash => StatusCode::CONFLICT,
        Kind::Stale => StatusCode::PRECONDITION_FAILED,
        Kind::NoVersion => StatusCode::PRECONDITION_REQUIRED,
        Kind::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
        Kind::MediaType => StatusCode::UNSUPPORTED_MEDIA_TYPE,
        Kind::TooSlow => StatusCode::REQUEST_TIMEOUT,
        Kind::TooMany => StatusCode::TOO_MANY_REQUESTS,
        Kind::NotNow => StatusCode::SERVICE_UNAVAILABLE,
        Kind::DiskFull => StatusCode::INSUFFICIENT_STORAGE,
    }
}

/// An error on its way to [`show`].
#[derive(Clone, Debug)]
struct Failed(Arc<Error>);

impl IntoResponse for Error {
    fn into_response(self) -> Response {
        let code = match &self {
            Error::Refused(refusal) => status(refusal.kind),
            Error::Internal(_) => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let mut response = code.into_response();
        response.extensions_mut().insert(Failed(Arc::new(self)));
        response
    }
}

/// On an answer whose body says already what is wrong: a form shown again.
#[derive(Clone, Copy, Debug)]
struct Said;

/// The answer with a refusal's status, when its body says already what is wrong.
pub(super) fn said(refusal: &Refusal, body: Response) -> Response {
    let mut answer = (status(refusal.kind), body).into_response();
    answer.extensions_mut().insert(Said);
    wait(&mut answer, refusal.wait_s);
    answer
}

fn wait(answer: &mut Response, wait_s: Option<u32>) {
    if let Some(wait_s) = wait_s {
        answer.headers_mut().insert(RETRY_AFTER, HeaderValue::from(wait_s));
    }
}

/// The number of a request, for the log and for whoever reports it.
#[derive(Clone, Debug)]
pub(super) struct RequestId(pub String);

/// Shows errors, in HTML or JSON with the same sentences.
pub(super) async fn show(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let wants = Wants::of(request.uri().path());
    request.extensions_mut().insert(wants);
    let id = request.extensions().get::<RequestId>().map(|id| id.0.clone()).unwrap_or_default();
    let came_from = came_from(request.headers());
    let asked = Asked { wants, id, method: request.method().clone(), path: from_here(&request), came_from };
    let mut response = next.run(request).await;
    if response.extensions().get::<Said>().is_some() {
        return response;
    }
    let failed = response.extensions_mut().remove::<Failed>();
    let refusal = match failed.as_ref().map(|failed| &*failed.0) {
        Some(Error::Refused(refusal)) => Some((**refusal).clone()),
        Some(Error::Internal(internal)) => {
            tracing::error!(id = asked.id, path = asked.path, error = %internal, "internal error");
            None
        }
        None if response.status() == StatusCode::INTERNAL_SERVER_ERROR => {
            tracing::error!(id = asked.id, path = asked.path, "internal error without a reason");
            None
        }
        None => match bare(response.status(), &asked, app.config.limits.upload_bytes) {
            Some(refusal) => Some(refusal),
            None => return response,
        },
    };
    let around = response.extensions_mut().remove::<Around>();
    page(&app, &asked, refusal, around, response)
}

/// What was asked, as far as an error's page needs it.
struct Asked {
    wants: Wants,
    id: String,
    method: Method,
    path: String,
    /// The page of ours that led here; empty where none is known.
    came_from: String,
}

fn from_here(request: &Request) -> String {
    request.uri().path_and_query().map_or_else(|| "/".to_owned(), |path| path.as_str().to_owned())
}

/// The page that a request was sent from, if it is one of ours.
fn came_from(headers: &HeaderMap) -> String {
    let text = |name| headers.get(name).and_then(|value: &HeaderValue| value.to_str().ok());
    let from = text(REFERER).and_then(|from| from.parse::<Uri>().ok());
    let ours = from.filter(|from| from.authority().is_some_and(|it| Some(it.as_str()) == text(HOST)));
    ours.and_then(|from| Some(from.path_and_query()?.to_string())).unwrap_or_default()
}

fn page(
    app: &App,
    asked: &Asked,
    refusal: Option<Refusal>,
    around: Option<Around>,
    failed: Response,
) -> Response {
    let signed_out = refusal.as_ref().is_some_and(|refusal| refusal.kind == Kind::SignedOut);
    if signed_out && asked.wants == Wants::Html && asked.method == Method::GET {
        return see_other(&paths::with_query(&paths::sign_in(), &[("next", &asked.path)]));
    }
    let frame = match around {
        Some(around) => around.frame(app, ""),
        None => Frame { warnings: app.config.warnings(), ..Frame::default() },
    };
    let (code, wait_s) = (failed.status(), refusal.as_ref().and_then(|refusal| refusal.wait_s));
    let answer = match (asked.wants, refusal) {
        (Wants::Json, refusal) => Json(written(Frame::default(), code, refusal, asked)).into_response(),
        (Wants::Html, refusal) => respond(Wants::Html, &written(frame, code, refusal, asked))
            .unwrap_or_else(|error| error.to_string().into_response()),
    };
    // What a layer said with its bare status stays said: `Allow` with 405, and so on.
    let (mut parts, body) = answer.into_parts();
    parts.status = code;
    for (name, value) in failed.headers() {
        if !parts.headers.contains_key(name) && *name != axum::http::header::CONTENT_LENGTH {
            parts.headers.insert(name.clone(), value.clone());
        }
    }
    let mut answer = Response::from_parts(parts, body);
    wait(&mut answer, wait_s);
    answer
}

/// The page value of an error; none stands for an internal one.
fn written(frame: Frame, code: StatusCode, refusal: Option<Refusal>, asked: &Asked) -> pages::Refusal {
    let stale = refusal.as_ref().is_some_and(|refusal| refusal.kind == Kind::Stale);
    let ways = ways(frame.person.is_some(), stale, asked);
    let ours = refusal.is_none();
    let refusal = refusal.unwrap_or_else(|| {
        Refusal::new(
            Kind::NotNow,
            "That did not work",
            "Something failed on our side.",
            "Try again. If it fails again, give the number below to whoever runs this service.",
        )
    });
    let (yours, theirs) = refusal.both.map_or_else(Default::default, |both| (both.yours, both.theirs));
    pages::Refusal {
        frame,
        status: code.as_u16(),
        what: refusal.what,
        says: refusal.says,
        mend: refusal.mend,
        ways,
        log_id: if ours { asked.id.clone() } else { String::new() },
        yours,
        theirs,
    }
}

/// Ways on: back to the page with the form, to what the piece is worked on with, to all pieces.
fn ways(signed_in: bool, stale: bool, asked: &Asked) -> Vec<Entry> {
    if !signed_in {
        return vec![Entry::new("Sign in", paths::sign_in(), "")];
    }
    let mut ways = Vec::new();
    if !asked.came_from.is_empty() && (asked.method != Method::GET || asked.came_from != asked.path) {
        let label = if stale { "Open it as it stands now" } else { "Back to where you were" };
        ways.push(Entry::new(label, asked.came_from.clone(), ""));
    }
    if let Some(piece) = stale.then(|| paths::piece_in(&asked.path)).flatten() {
        ways.push(Entry::new("Plan", paths::plan(piece), ""));
        ways.push(Entry::new("Review", paths::review(piece), ""));
        ways.push(Entry::new("Figures", paths::figures(piece), ""));
    }
    ways.push(Entry::new("All pieces", paths::pieces(), ""));
    ways
}

/// A refusal for a status that a layer or the router gave without words; none for all that is no error.
fn bare(code: StatusCode, asked: &Asked, upload_bytes: usize) -> Option<Refusal> {
    if !(code.is_client_error() || code.is_server_error()) {
        return None;
    }
    Some(match code {
        StatusCode::NOT_FOUND => Refusal::new(
            Kind::Missing,
            "No such page",
            format!("There is no page at '{}'.", asked.path),
            "Start from the pieces: each page can be reached from there.",
        ),
        StatusCode::METHOD_NOT_ALLOWED => Refusal::new(
            Kind::Method,
            "Not done this way",
            format!("'{}' does not take {}.", asked.path, asked.method),
            "Open the page that has the form, and send it from there.",
        ),
        StatusCode::PAYLOAD_TOO_LARGE if asked.path.starts_with(&paths::upload("")) => {
            super::upload::too_large("The log", upload_bytes)
        }
        StatusCode::PAYLOAD_TOO_LARGE => too_large(),
        StatusCode::REQUEST_TIMEOUT => Refusal::new(
            Kind::TooSlow,
            "Too slow",
            "The request stopped coming before it was whole.",
            "Send it again; nothing was changed.",
        ),
        _ => Refusal::new(
            Kind::Unreadable,
            "Not understood",
            format!("The request to '{}' cannot be read.", asked.path),
            "Open the page again and send its form; programs follow the examples in the guide.",
        ),
    })
}

/// More bytes than a route takes.
pub(super) fn too_large() -> Refusal {
    Refusal::new(
        Kind::TooLarge,
        "Too large",
        "The request has more bytes than are taken here; nothing was changed.",
        "Send less at once, and logs through the intake.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(method: Method, path: &str, came_from: &str) -> Asked {
        let (path, came_from) = (path.to_owned(), came_from.to_owned());
        Asked { wants: Wants::Html, id: "7f-1".to_owned(), method, path, came_from }
    }

    #[test]
    fn a_stale_form_leads_back_to_its_page_and_on_in_its_piece() {
        let ruling = asked(Method::POST, "/passes/p4/ruling?piece=k3v9", "/passes/p4?piece=k3v9");
        let hrefs = |ways: Vec<Entry>| ways.into_iter().map(|way| way.href).collect::<Vec<_>>();
        let plan = paths::plan("k3v9");
        let (review, figures, pieces) = (paths::review("k3v9"), paths::figures("k3v9"), paths::pieces());
        let all = ["/passes/p4?piece=k3v9", &plan, &review, &figures, &pieces];
        assert_eq!(hrefs(ways(true, true, &ruling)), all);
        assert_eq!(hrefs(ways(true, false, &ruling)), ["/passes/p4?piece=k3v9", &pieces]);
        assert_eq!(hrefs(ways(true, false, &asked(Method::GET, "/a", "/a"))), [pieces]);
        assert_eq!(hrefs(ways(false, false, &ruling)), [paths::sign_in()]);
    }

    #[test]
    fn only_a_page_of_ours_is_led_back_to() {
        let from = |host: &'static str, referer: &'static str| {
            let pairs =
                [(HOST, HeaderValue::from_static(host)), (REFERER, HeaderValue::from_static(referer))];
            came_from(&pairs.into_iter().collect())
        };
        assert_eq!(from("here:7300", "http://here:7300/passes/p4?piece=k"), "/passes/p4?piece=k");
        for elsewhere in ["http://there/passes/p4", "/passes/p4", "about:blank", "not a page at all"] {
            assert_eq!(from("here:7300", elsewhere), "", "{elsewhere}");
        }
    }

    #[test]
    fn html_and_json_carry_the_same_sentences() {
        let refusal = Refusal::missing("piece", "k3v8");
        let page = written(
            Frame::default(),
            StatusCode::NOT_FOUND,
            Some(refusal.clone()),
            &asked(Method::GET, "/", ""),
        );
        let json = serde_json::to_value(&page).unwrap();
        assert_eq!(json["says"], refusal.says);
        assert_eq!(json["mend"], refusal.mend);
        assert_eq!(json["status"], 404);
        assert_eq!(json["log_id"], "");
    }

    #[test]
    fn an_internal_error_shows_its_number_and_not_its_reason() {
        let page =
            written(Frame::default(), StatusCode::INTERNAL_SERVER_ERROR, None, &asked(Method::GET, "/", ""));
        assert_eq!(page.log_id, "7f-1");
        assert_eq!(page.status, 500);
    }
}
