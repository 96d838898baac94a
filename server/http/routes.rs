//! All routes, and the layers that every request passes.

use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::middleware;
use axum::routing::{get, post, put};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::csrf::ConfigError;
use tower_http::limit::RequestBodyLimitLayer;
use tower_http::timeout::{RequestBodyDeadlineLayer, RequestBodyTimeoutLayer};
use weighhouse_web::paths;

use super::{
    App, across, against, assets, board, capture, carried, cells, changes, charts, cuts, draft, editions,
    failures, figure, figures, front, headers, health, intake, invitation, latency, layout, layouts, live,
    noise_prior, notes, openapi, origin, outdated, pack, panics, pass, people, piece, pieces, plan, quotes,
    readers, readings, review, rig_check, screens, session, sessions, sign_in, soaks, trace, tuning, upload,
    upload_form, uploads, worth,
};
use crate::config::Limits;
use crate::store::registers::parts::{DriverFields, PartFields, PriceFields, UnitFields};
use crate::store::registers::reading_kinds::ReadingKindFields;
use crate::store::registers::rigs::{RigBaseFields, RigFields};
use crate::store::registers::scenes::{BuildFields, SceneFields};
use crate::store::registers::settings::SettingFields;
use crate::work::registers::parts::NewPart;
use crate::work::registers::rigs::NewRig;
use crate::work::registers::scenes::NewScene;
use crate::work::registers::tunings::TypedTuning;

/// Pages; each is also served as JSON under `/api/v1`, by the same handler.
fn pages() -> Router<App> {
    Router::new()
        .route(paths::SIGN_IN, get(sign_in::show).post(sign_in::sign_in))
        .route(paths::SIGN_OUT, post(sign_in::sign_out))
        .route(paths::INVITATION, get(invitation::show).post(invitation::accept))
        .route(paths::PIECES, get(pieces::show).post(pieces::make))
        .route(paths::PIECE, get(piece::show).post(piece::save))
        .route(paths::PIECE_CELLS, get(cells::show).post(cells::save))
        .route(paths::PLAN, get(plan::show))
        .route(paths::REPLACE, post(plan::replace))
        .route(paths::DID_NOT_RUN, post(plan::did_not_run))
        .route(paths::SESSIONS, get(sessions::show))
        .route(paths::BENCH_COSTS, post(sessions::keep_costs))
        .route(paths::BOARDS, post(sessions::make_board))
        .route(paths::BOARD_BACK, post(sessions::take_back))
        .route(paths::BOARD, get(board::show))
        .route(paths::QUOTES, get(quotes::show).post(quotes::add))
        .route(paths::QUOTE, get(quotes::one).post(quotes::save))
        .route(paths::QUOTE_OUT, post(quotes::take_out))
        .route(paths::READINGS, get(readings::show).post(readings::add))
        .route(paths::READING_NEW, get(readings::ask))
        .route(paths::READING, get(readings::one))
        .route(paths::READING_AROUND, get(readings::around).post(readings::save))
        .route(paths::READING_REPEATS, post(readings::more))
        .route(paths::READING_RULING, post(readings::rule))
        .route(paths::PROOF, get(readings::download))
        .route(paths::SOAK_NEW, get(soaks::ask).post(soaks::add))
        .route(paths::SOAK, get(soaks::show))
        .route(paths::SOAK_BACK, post(soaks::take_back))
        .route(paths::CARRIED, get(carried::show).post(carried::save))
        .route(paths::NOTES, get(notes::show).post(notes::save))
        .route(paths::EMBARGO, post(notes::say))
        .route(paths::EDITIONS, get(editions::show).post(editions::freeze))
        .route(paths::EDITION, get(editions::one))
        .route(paths::EDITION_METHODS, get(editions::methods))
        .route(paths::EDITION_LINKS, post(editions::hand_over))
        .route(paths::EDITION_LINK_BACK, post(editions::take_back))
        .route(paths::HANDED, get(editions::handed::show))
        .route(paths::HANDED_METHODS, get(editions::handed::methods))
        .route(paths::INTAKE, get(intake::show))
        .route(paths::ASSIGN, post(intake::assign))
        .route(paths::TAKE_BACK, post(intake::take_back))
        .route(paths::PAIR, post(intake::pair))
        .route(paths::GIVE_START, post(intake::give_start))
        .route(paths::CAPTURE, get(capture::download))
        .route(paths::CUTS, get(cuts::show).post(cuts::cut))
        .route(paths::CUTS_STRIP, get(cuts::strip))
        .route(paths::CUT_BESIDE, post(cuts::beside))
        .route(paths::PASS_CUT, post(cuts::pass))
        .route(paths::LAYOUT, get(layout::show).post(layout::answer))
        .route(paths::LAYOUTS, get(layouts::list))
        .route(paths::LAYOUT_READ, get(layouts::show).post(layouts::correct))
        .route(paths::AGAINST, get(against::show))
        .route(paths::PIECE_TUNING, get(tuning::show))
        .route(paths::ACROSS, get(across::show))
        .route(paths::LATENCY, get(latency::show))
        .route(paths::WORTH, get(worth::show))
        .route(paths::CHART_ALONE, get(charts::alone))
        .route(paths::CHARTS, get(charts::list).post(charts::add))
        .route(paths::CHART_LOOK, post(charts::look))
        .route(paths::CHART, get(charts::show).post(charts::save))
        .route(paths::CHART_PICTURE, get(charts::picture))
        .route(paths::CHART_OUT, post(charts::take_out))
        .route(paths::READERS, get(readers::ask).post(readers::add))
        .route(paths::READER, get(readers::show).post(readers::save))
        .route(paths::READER_OUT, post(readers::take_out))
        .route(paths::NOISE_PRIOR, get(noise_prior::show).post(noise_prior::keep))
        .route(paths::OUTDATED, get(outdated::show).post(outdated::run_again))
        .route(paths::RIG_CHECK, get(rig_check::show))
        .route(paths::CHANGES, get(changes::show))
        .route(paths::REVIEW, get(review::show).post(review::rule))
        .route(paths::REVIEW_STRIP, get(review::strip))
        .route(paths::REVIEW_WINDOW, post(review::window))
        .route(paths::REVIEW_REASONS, post(review::keep_reasons))
        .route(paths::SCREENS, get(screens::show).post(screens::save))
        .route(paths::PASS, get(pass::show))
        .route(paths::PASS_STRIP, get(pass::strip))
        .route(paths::PASS_FRAME, get(pass::frame))
        .route(paths::PASS_RULING, post(pass::ruling))
        .route(paths::PASS_WINDOW, post(pass::window))
        .route(paths::PASS_REMARK, post(pass::remark))
        .route(paths::PASS_REMARK_STEP, post(pass::threads::step))
        .route(paths::PASS_COMPANION, post(pass::companion))
        .route(paths::FIGURES, get(figures::show).post(figures::make))
        .route(paths::FIGURE_NEW, get(figures::ask))
        .route(paths::FIGURES_MANY, post(figures::propose_many))
        .route(paths::FIGURE_STEPS, post(figures::step))
        .route(paths::FIGURE, get(figure::show).post(figure::edit))
        .route(paths::FIGURE_BLIND, get(figure::second_look))
        .route(paths::DRAFT, get(draft::show))
        .route(paths::DRAFT_NUMBERS, post(draft::decide))
        .route(paths::DRAFT_NOTES, get(draft::notes))
        .route(paths::DRAFT_TABLE, get(draft::table))
        .route(paths::PACK, get(pack::show))
        .route(paths::PACK_ZIP, get(pack::download))
        .route(paths::PEOPLE, get(people::show))
        .route(paths::PERSON, post(people::change))
        .route(paths::PASSWORD, post(people::set_password))
        .route(paths::INVITATIONS, post(people::invite))
        .route(paths::INVITATION_BACK, post(people::take_back))
        .route(paths::KEYS, post(people::make_key))
        .route(paths::KEY_BACK, post(people::revoke_key))
        .merge(registers())
}

/// The team's registers: what is listed, shown, added and changed is the type.
fn registers() -> Router<App> {
    use super::registers::{add, edit, list, show};
    Router::new()
        .route(paths::RIGS, get(list::<NewRig>).post(add::<NewRig>))
        .route(paths::RIG, get(show::<RigFields>).post(edit::<RigFields>))
        .route(paths::BASES, post(add::<RigBaseFields>))
        .route(paths::BASE, get(show::<RigBaseFields>).post(edit::<RigBaseFields>))
        .route(paths::PARTS, get(list::<NewPart>).post(add::<NewPart>))
        .route(paths::PART, get(show::<PartFields>).post(edit::<PartFields>))
        .route(paths::UNITS, post(add::<UnitFields>))
        .route(paths::UNIT, get(show::<UnitFields>).post(edit::<UnitFields>))
        .route(paths::DRIVERS, post(add::<DriverFields>))
        .route(paths::DRIVER, get(show::<DriverFields>).post(edit::<DriverFields>))
        .route(paths::PRICES, post(add::<PriceFields>))
        .route(paths::PRICE, get(show::<PriceFields>).post(edit::<PriceFields>))
        .route(paths::TUNINGS, post(add::<TypedTuning>))
        .route(paths::TUNING, get(show::<TypedTuning>).post(edit::<TypedTuning>))
        .route(paths::SCENES, get(list::<NewScene>).post(add::<NewScene>))
        .route(paths::SCENE, get(show::<SceneFields>).post(edit::<SceneFields>))
        .route(paths::BUILDS, post(add::<BuildFields>))
        .route(paths::BUILD, get(show::<BuildFields>).post(edit::<BuildFields>))
        .route(paths::READING_KINDS, get(list::<ReadingKindFields>).post(add::<ReadingKindFields>))
        .route(paths::READING_KIND, get(show::<ReadingKindFields>).post(edit::<ReadingKindFields>))
        .route(paths::SETTINGS, post(add::<SettingFields>))
        .route(paths::SETTING, get(show::<SettingFields>).post(edit::<SettingFields>))
}

/// What takes texts as long as a script.
fn texts() -> Router<App> {
    Router::new().route(paths::DRAFT, post(draft::keep)).route(paths::DRAFT_CHECK, post(draft::check))
}

/// What takes large bodies, as they come.
fn uploads() -> Router<App> {
    Router::new()
        .route(paths::UPLOAD, put(upload::take))
        .route(paths::INTAKE_LOGS, post(upload_form::take))
        .route(paths::READING_PROOFS, post(readings::attach))
}

/// What needs no session.
fn open() -> Router<App> {
    Router::new()
        .route("/healthz", get(health::show))
        .route(paths::OPENAPI, get(openapi::show))
        .route(paths::STATIC, get(assets::show))
}

/// The whole service.
pub(super) fn all(app: App) -> Result<Router, ConfigError> {
    let limits = app.config.limits;
    let small = Router::new()
        .route(paths::HOME, get(front::show))
        .merge(pages())
        .nest(paths::API, pages())
        .route(paths::KEY, get(people::try_key))
        .route(paths::UPLOADS, post(uploads::here))
        .route(paths::LIVE, get(live::stream))
        .fallback(|| async { StatusCode::NOT_FOUND });
    let large = uploads();
    let with_sessions = taking(small, limits.body_bytes, limits.body_total, &limits)
        .merge(taking(texts().nest(paths::API, texts()), limits.text_bytes, limits.body_total, &limits))
        .merge(taking(large, limits.upload_bytes, limits.upload_total, &limits))
        .layer(CatchPanicLayer::custom(panics::answer))
        .layer(middleware::from_fn_with_state(app.clone(), session::look_up));
    // From the innermost to the outermost.
    Ok(with_sessions
        .merge(open())
        .layer(middleware::from_fn(origin::said))
        .layer(origin::csrf(&app.config)?)
        .layer(middleware::from_fn_with_state(app.clone(), origin::ours))
        .layer(middleware::from_fn_with_state(app.clone(), failures::show))
        .layer(CompressionLayer::new())
        .layer(middleware::from_fn(headers::set))
        .layer(middleware::from_fn_with_state(app.clone(), trace::request))
        .layer(CatchPanicLayer::new())
        .with_state(app))
}

/// Limits of bodies: 413 for too many bytes, however they come; no endless ones.
fn taking(router: Router<App>, bytes: usize, total: Duration, limits: &Limits) -> Router<App> {
    router
        .layer(DefaultBodyLimit::disable())
        .layer(RequestBodyLimitLayer::new(bytes))
        .layer(RequestBodyTimeoutLayer::new(limits.body_idle))
        .layer(RequestBodyDeadlineLayer::new(total))
}
