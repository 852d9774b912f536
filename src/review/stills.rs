//! The stills as the page asks for them: whole, small, frame by frame, and those of the exam before.
//!
//! Takes: the number of a still, how it is lit, and of a loop the frame.
//! Gives: PNG, JPEG, or how many frames there are.
//! Never: opens a file by a name from a request.
//! Tested in: `tests/it/review.rs`, `tests/it/review_browser/cine.rs`.

use std::path::PathBuf;
use std::sync::{Arc, PoisonError};

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::frames::cine::Cine;
use crate::report::picture::{Light, PictureError, frame_index, png, thumbnail};
use crate::review::answer::{aside, broken, problem};
use crate::review::cache::{file_state, kept};
use crate::review::course::exam_before;
use crate::review::desk::Desk;
use crate::review::exams::{Held, Numbered, ServedExams};

/// How a still is lit: grey values shown as black and as white, and a factor after that.
#[derive(Debug, Deserialize)]
pub(super) struct Lit {
    #[serde(default)]
    low: u8,
    #[serde(default = "white")]
    high: u8,
    #[serde(default = "one")]
    gain: f32,
    /// Of a loop, the frame, counted from 1.
    frame: Option<u32>,
}

impl Lit {
    fn light(&self) -> Light {
        Light { low: self.low, high: self.high, gain: self.gain }
    }
}

fn white() -> u8 {
    u8::MAX
}

fn one() -> f32 {
    1.0
}

/// A still, lit as wanted.
pub(super) async fn still(
    Held(served): Held,
    Path(Numbered { number }): Path<Numbered>,
    Query(lit): Query<Lit>,
) -> Response {
    aside(move || match file_of(&served.desk, number) {
        Ok(path) => picture(png(&path, frame_index(lit.frame), lit.light()), "image/png"),
        Err(answer) => *answer,
    })
    .await
}

/// How many frames a still has, and how fast they are to be shown.
pub(super) async fn frames(Held(served): Held, Path(Numbered { number }): Path<Numbered>) -> Response {
    aside(move || match file_of(&served.desk, number) {
        Ok(path) => Json(Cine::of(&path)).into_response(),
        Err(answer) => *answer,
    })
    .await
}

/// The still that a page means by a number.
#[derive(Debug, Deserialize)]
pub(super) struct NamedStill {
    id: Option<String>,
}

/// A still of the earlier exam.
pub(super) async fn earlier(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Path(Numbered { number }): Path<Numbered>,
    Query(lit): Query<Lit>,
    Query(named): Query<NamedStill>,
) -> Response {
    let file = move || {
        let before = exam_before(&exams, &served).ok()??;
        let frame = before.record.frames.get(number)?;
        // Another exam may have come between this one and the one that the page was made of.
        named.id.is_none_or(|id| id == frame.id).then(|| frame.paired_file(&before.folder))
    };
    aside(move || match file() {
        Some(Ok(path)) => picture(png(&path, frame_index(lit.frame), lit.light()), "image/png"),
        Some(Err(fault)) => problem(StatusCode::NOT_FOUND, fault, ""),
        None => problem(StatusCode::NOT_FOUND, "there is no such still", "reload the page"),
    })
    .await
}

/// A still, small; made once.
pub(super) async fn thumb(Held(served): Held, Path(Numbered { number }): Path<Numbered>) -> Response {
    aside(move || match file_of(&served.desk, number) {
        Ok(path) => {
            let made_of = format!("small picture\n{}", file_state(&path));
            let small = || {
                let _turn = served.making.lock().unwrap_or_else(PoisonError::into_inner);
                thumbnail(&path, 0).map(|(jpeg, ..)| jpeg)
            };
            picture(kept(served.desk.folder.path(), &made_of, small), "image/jpeg")
        }
        Err(answer) => *answer,
    })
    .await
}

/// Where the still of this number is; never another file that has its name now.
fn file_of(desk: &Desk, number: usize) -> Result<PathBuf, Box<Response>> {
    let seen = desk.seen().map_err(|error| broken(&error))?;
    match seen.exam.frames.get(number) {
        Some(frame) => (desk.folder.paired_file(frame))
            .map_err(|fault| Box::new(problem(StatusCode::NOT_FOUND, fault, ""))),
        None => Err(Box::new(problem(StatusCode::NOT_FOUND, "there is no such still", "reload the page"))),
    }
}

fn picture(made: Result<Vec<u8>, PictureError>, kind: &'static str) -> Response {
    match made {
        Ok(bytes) => ([(CONTENT_TYPE, kind)], bytes).into_response(),
        // Its own words say what to do.
        Err(error @ (PictureError::Video(_) | PictureError::Still(_))) => {
            problem(StatusCode::NOT_FOUND, error, "")
        }
        Err(error @ (PictureError::File(_) | PictureError::NoFile)) => {
            problem(StatusCode::NOT_FOUND, error, "run `zonecall pair` with the folder it is in now")
        }
        Err(error) => problem(StatusCode::NOT_FOUND, error, "export the still from the scanner again"),
    }
}
