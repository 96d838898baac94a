//! Answers below a remark; settling it and opening it again.

use axum::extract::{Path, Query, State};
use axum::response::Response;
use weighhouse_web::paths;

use super::super::App;
use super::super::respond::{Wants, done, done_with};
use super::super::sent::Sent;
use super::super::session::Member;
use super::{Asked, refilled, undo};
use crate::store::RemarkId;
use crate::store::remark_steps::Does;
use crate::work::{Refusal, Result, pass};

/// Adds a step to a remark.
pub(in crate::http) async fn step(
    State(app): State<App>,
    who: Member,
    wants: Wants,
    Path((key, remark)): Path<(String, i64)>,
    Query(Asked { piece }): Query<Asked>,
    sent: Sent,
) -> Result<Response> {
    let does = Does::parse(sent.text("do"));
    let does = does.ok_or_else(|| Refusal::field("do", "Say 'answer', 'settle' or 'open'."))?;
    let stepped =
        pass::step(&app.store, sent.by(&who), &key, RemarkId(remark), does, sent.text("says")).await;
    let to = paths::in_piece(&paths::pass(&key), &piece);
    let back = |does: Does| {
        undo(paths::in_piece(&paths::pass_remark_step(&key, remark), &piece), [("do", does.to_string())])
    };
    match stepped {
        Ok(()) => Ok(match does {
            Does::Answer => done(&who, wants, &to, "The answer is kept."),
            Does::Settle => done_with(&who, wants, &to, "The remark is settled.", Some(back(Does::Open))),
            Does::Open => done_with(&who, wants, &to, "The remark is open again.", Some(back(Does::Settle))),
        }),
        Err(error) => {
            refilled(&app, &who, wants, (&key, &piece), error, |page, refusal| {
                for one in page.remarks.iter_mut().filter(|one| one.id == remark) {
                    one.answer = sent.field("says", refusal);
                }
            })
            .await
        }
    }
}
