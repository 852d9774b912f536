//! Answers in words, as the page shows them.
//!
//! Takes: what went wrong, or what was done.
//! Gives: a `Response` with a message and what to do.
//! Never: an error without a way out.
//! Tested in: `tests/it/review.rs`.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::json;

use crate::exam::call::Problem;
use crate::exam::journal::JournalError;
use crate::exam_folder::FolderError;
use crate::review::refusal::Refusal;

pub(super) fn problem(status: StatusCode, message: impl ToString, help: &str) -> Response {
    let problem = Problem { message: message.to_string(), help: help.to_owned() };
    (status, Json(json!({ "message": problem.message, "help": problem.help }))).into_response()
}

pub(super) fn broken(error: &FolderError) -> Response {
    if let FolderError::Journal(JournalError::Busy { .. }) = error {
        return problem(
            StatusCode::CONFLICT,
            error,
            "nothing was saved, because the exam is still being recorded; try again when it has ended",
        );
    }
    problem(StatusCode::INTERNAL_SERVER_ERROR, error, "look at the exam folder, then open the page again")
}

/// What was done, or why not.
pub(super) fn answer(done: Result<impl Serialize, Refusal>) -> Response {
    match done {
        Ok(done) => Json(done).into_response(),
        Err(Refusal::Wrong(why)) => problem(StatusCode::UNPROCESSABLE_ENTITY, why.message, &why.help),
        Err(Refusal::Doubtful(why)) => {
            let reason = json!({ "message": why.message, "help": why.help, "confirm": true });
            (StatusCode::CONFLICT, Json(reason)).into_response()
        }
        Err(Refusal::Signed(why)) => {
            let refused = json!({ "message": why.message, "help": why.help, "signed": true });
            (StatusCode::CONFLICT, Json(refused)).into_response()
        }
        Err(Refusal::Overtaken(why)) => problem(StatusCode::CONFLICT, why.message, &why.help),
        Err(Refusal::Desk(error)) => broken(&error),
    }
}

/// Runs work that reads files away from the threads that answer.
pub(super) async fn aside(work: impl FnOnce() -> Response + Send + 'static) -> Response {
    match tokio::task::spawn_blocking(work).await {
        Ok(answer) => answer,
        Err(_) => {
            problem(StatusCode::INTERNAL_SERVER_ERROR, "the program has a fault here", "open the page again")
        }
    }
}
