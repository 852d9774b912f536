//! The desk's little web server.
//!
//! Takes: requests that the guard let through.
//! Gives: the page, the exam as JSON, stills as PNG, sound as WAV, and word whenever the journal has grown.
//! Never: opens a file by a name from a request; stills and sound are asked for by number and second.
//! Tested in: `tests/it/review.rs`.

use std::convert::Infallible;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use axum::Json;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn_with_state;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::Stream;
use serde::Deserialize;
use serde_json::json;
use tokio::net::TcpListener;

use crate::clock::SAMPLE_RATE_HZ;
use crate::exam_folder::FolderError;
use crate::report::chart::alone;
use crate::review::answer::{answer, aside, broken, problem};
use crate::review::cache::{file_state, kept};
use crate::review::caliper::{Ends, distance};
use crate::review::change::{Asked, preview, write};
use crate::review::course::{earlier_exams, exam_before};
use crate::review::desk::{Desk, DeskSnapshot, held_against};
use crate::review::exams::{Held, Numbered, ServedExam, ServedExams};
use crate::review::export::{ExportRequest, export};
use crate::review::guard::{Keys, guard};
use crate::review::inbox::inbox;
use crate::review::patience::PatientListener;
use crate::review::print::{ReportError, ReportRequest, report_of};
use crate::review::running_tasks::TaskKind;
use crate::review::send::{SendRequest, peers, send};
use crate::review::signature::{FirstVet, Signing, first_vet, people_shown, sign_here, take_back_here};
use crate::review::sound::{BINS_PER_S, SoundError, peaks, wav};
use crate::review::stills::{earlier, frames, still, thumb};
use crate::review::time_stamping::stamp_aside;
use crate::review::trace::{Drawn, trace};

/// Longest change that is read, in bytes.
const BODY_BYTES_MAX: usize = 256 * 1024;
/// How often the journal is looked at for news from elsewhere.
const LOOK_AGAIN: Duration = Duration::from_millis(400);

/// What the page shows while the sound is drawn.
const WORDS_OF_SOUND: &str = "minute by minute";
const SAMPLES_PER_MIN: u64 = 60 * SAMPLE_RATE_HZ as u64;

/// The files of the page: path, kind, text.
static PAGE: [PageFile; 27] = [
    ("/", "text/html; charset=utf-8", include_str!("page/desk.html")),
    ("/desk.css", "text/css; charset=utf-8", include_str!("page/desk.css")),
    ("/desk.svg", "image/svg+xml", include_str!("page/desk.svg")),
    ("/desk.js", "text/javascript; charset=utf-8", include_str!("page/desk.js")),
    ("/hand.js", "text/javascript; charset=utf-8", include_str!("page/hand.js")),
    ("/bench.js", "text/javascript; charset=utf-8", include_str!("page/bench.js")),
    ("/make.js", "text/javascript; charset=utf-8", include_str!("page/make.js")),
    ("/running-tasks.js", "text/javascript; charset=utf-8", include_str!("page/running-tasks.js")),
    ("/line.js", "text/javascript; charset=utf-8", include_str!("page/line.js")),
    ("/spoken.js", "text/javascript; charset=utf-8", include_str!("page/spoken.js")),
    ("/still.js", "text/javascript; charset=utf-8", include_str!("page/still.js")),
    ("/calls.js", "text/javascript; charset=utf-8", include_str!("page/calls.js")),
    ("/cine.js", "text/javascript; charset=utf-8", include_str!("page/cine.js")),
    ("/light.js", "text/javascript; charset=utf-8", include_str!("page/light.js")),
    ("/since.js", "text/javascript; charset=utf-8", include_str!("page/since.js")),
    ("/values.js", "text/javascript; charset=utf-8", include_str!("page/values.js")),
    ("/trace.js", "text/javascript; charset=utf-8", include_str!("page/trace.js")),
    ("/export.js", "text/javascript; charset=utf-8", include_str!("page/export.js")),
    ("/send.js", "text/javascript; charset=utf-8", include_str!("page/send.js")),
    ("/correct.js", "text/javascript; charset=utf-8", include_str!("page/correct.js")),
    ("/limb.js", "text/javascript; charset=utf-8", include_str!("page/limb.js")),
    ("/sign.js", "text/javascript; charset=utf-8", include_str!("page/sign.js")),
    ("/note.js", "text/javascript; charset=utf-8", include_str!("page/note.js")),
    ("/words.js", "text/javascript; charset=utf-8", include_str!("page/words.js")),
    ("/units.js", "text/javascript; charset=utf-8", include_str!("page/units.js")),
    ("/room.js", "text/javascript; charset=utf-8", include_str!("page/room.js")),
    ("/deeds.js", "text/javascript; charset=utf-8", include_str!("page/deeds.js")),
];

/// The page of the inbox, which uses the style of the desk.
static INBOX: [PageFile; 2] = [
    ("/", "text/html; charset=utf-8", include_str!("page/inbox.html")),
    ("/inbox.js", "text/javascript; charset=utf-8", include_str!("page/inbox.js")),
];

/// Why the desk cannot be served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServeError {
    /// The port is taken or not allowed.
    #[error(
        "cannot listen on {host}:{port}: {source}; name another port, or none, and an address of this machine"
    )]
    Listen {
        /// Name or address.
        host: String,
        /// The port.
        port: u16,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The system gives no random bytes.
    #[error("cannot make a secret for the page's address: {0}")]
    Secret(getrandom::Error),
    /// Serving ended.
    #[error("the review desk stopped: {0}")]
    Ended(std::io::Error),
}

/// A desk with its port, before the first request.
#[derive(Debug)]
pub struct Bound {
    listener: TcpListener,
    keys: Arc<Keys>,
}

impl Bound {
    /// The address to open.
    #[must_use]
    pub fn address(&self) -> String {
        self.keys.address()
    }
}

/// Takes a port of this machine only; 0 takes any free one.
///
/// # Errors
/// When the port is taken.
pub async fn bind(port: u16) -> Result<Bound, ServeError> {
    let listen = |source| ServeError::Listen { host: Ipv4Addr::LOCALHOST.to_string(), port, source };
    let listener = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).await.map_err(listen)?;
    let port = listener.local_addr().map_err(listen)?.port();
    let keys = Arc::new(Keys::new(port).map_err(ServeError::Secret)?);
    Ok(Bound { listener, keys })
}

/// Serves the exams until the program is ended.
///
/// # Errors
/// When the system stops serving.
pub async fn serve(bound: Bound, exams: ServedExams) -> Result<(), ServeError> {
    let exams = Arc::new(exams);
    let desk = page_of(desk_routes(), &PAGE);
    let app = Router::new()
        .route("/", get(front))
        .route("/inbox.js", get(|| file(&INBOX[1])))
        .route("/api/inbox", get(listed))
        .merge(desk.clone())
        .route("/e/{exam}/", get(|| file(&PAGE[0])))
        .nest("/e/{exam}", desk)
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .layer(from_fn_with_state(Arc::clone(&bound.keys), guard))
        .with_state(exams);
    axum::serve(PatientListener::new(bound.listener), app).await.map_err(ServeError::Ended)
}

pub(super) type PageFile = (&'static str, &'static str, &'static str);

pub(super) async fn file((_, kind, text): &PageFile) -> Response {
    ([(CONTENT_TYPE, *kind)], *text).into_response()
}

/// The page of the only exam, or the inbox.
async fn front(State(exams): State<Arc<ServedExams>>) -> Response {
    file(if exams.has_inbox() { &INBOX[0] } else { &PAGE[0] }).await
}

/// Adds the files of the page but the first, which stands at the address itself.
fn page_of(mut routes: Router<Arc<ServedExams>>, page: &'static [PageFile]) -> Router<Arc<ServedExams>> {
    for one in &page[1..] {
        routes = routes.route(one.0, get(move || file(one)));
    }
    routes
}

/// What the page of one exam asks for.
fn desk_routes() -> Router<Arc<ServedExams>> {
    Router::new()
        .route("/api/exam", get(exam))
        .route("/api/change", post(change))
        .route("/api/sign", post(signing))
        .route("/api/unsign", post(unsigning))
        .route("/api/people", get(everybody).post(beginning))
        .route("/api/trace", post(tracing))
        .route("/api/distance", post(apart))
        .route("/api/report", get(printed).post(prepared))
        .route("/api/export", post(exported))
        .route("/api/send", get(send_to).post(sent))
        .route("/api/running-tasks", get(running_tasks))
        .route("/api/news", get(news))
        .route("/api/clock", get(clock))
        .route("/api/still/{number}", get(still))
        .route("/api/loop/{number}", get(frames))
        .route("/api/thumb/{number}", get(thumb))
        .route("/api/earlier/{number}", get(earlier))
        .route("/api/leg/{number}", get(leg))
        .route("/api/sound", get(sound))
        .route("/api/peaks", get(sound_peaks))
}

/// Words to search for.
#[derive(Debug, Deserialize)]
struct Search {
    #[serde(default)]
    search: String,
}

/// The exams of the folder; none where the desk has one exam only.
async fn listed(State(exams): State<Arc<ServedExams>>, Query(asked): Query<Search>) -> Response {
    if !exams.has_inbox() {
        return problem(
            StatusCode::NOT_FOUND,
            "this desk shows one exam only",
            "open a folder of exams for an inbox",
        );
    }
    aside(move || Json(inbox(&exams, &asked.search)).into_response()).await
}

async fn exam(State(exams): State<Arc<ServedExams>>, Held(served): Held) -> Response {
    let shown = move || {
        let before = exam_before(&exams, &served)?;
        let seen = served.desk.seen()?;
        Ok(Json(served.desk.shown(&seen, before.as_deref())).into_response())
    };
    aside(move || shown().unwrap_or_else(|error: FolderError| broken(&error))).await
}

async fn change(Held(served): Held, Json(asked): Json<Asked>) -> Response {
    aside(move || answer(write(&served.desk, asked).map(|seq| json!({ "seq": seq })))).await
}

async fn signing(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Json(asked): Json<Signing>,
) -> Response {
    aside(move || {
        let signed = sign_here(&served.desk, &asked);
        if signed.is_ok() {
            stamp_aside(&served, exams.stamps.clone());
        }
        answer(signed.map(|seq| json!({ "seq": seq })))
    })
    .await
}

async fn unsigning(Held(served): Held, Json(asked): Json<Signing>) -> Response {
    aside(move || answer(take_back_here(&served.desk, &asked).map(|seq| json!({ "seq": seq })))).await
}

async fn everybody() -> Response {
    aside(|| Json(people_shown()).into_response()).await
}

async fn beginning(Json(asked): Json<FirstVet>) -> Response {
    aside(move || answer(first_vet(&asked).map(|()| json!({ "added": true })))).await
}

async fn tracing(Held(served): Held, Json(drawn): Json<Drawn>) -> Response {
    aside(move || answer(trace(&served.desk, &drawn))).await
}

async fn apart(Held(served): Held, Json(ends): Json<Ends>) -> Response {
    aside(move || answer(distance(&served.desk, &ends))).await
}

async fn exported(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Json(wanted): Json<ExportRequest>,
) -> Response {
    aside(move || answer(export(&served.desk, exams.exporter.as_ref(), &wanted))).await
}

async fn send_to(State(exams): State<Arc<ServedExams>>) -> Response {
    aside(move || answer(peers(exams.exporter.as_ref()))).await
}

async fn sent(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Json(wanted): Json<SendRequest>,
) -> Response {
    aside(move || answer(send(&served.desk, exams.exporter.as_ref(), &wanted))).await
}

/// Makes the report of the exam as it is now and keeps it until it is fetched, so that the page can wait for it.
async fn prepared(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Query(wanted): Query<ReportRequest>,
) -> Response {
    aside(move || {
        let bytes = served.desk.grown();
        match report_here(&exams, &served, &wanted) {
            Ok(report) => {
                *served.made.lock().unwrap_or_else(PoisonError::into_inner) = Some((bytes, wanted, report));
                Json(json!({ "made": true })).into_response()
            }
            Err(error) => no_report(error),
        }
    })
    .await
}

/// The report of the exam as it is now; the one that was made for this, if nothing was written since.
async fn printed(
    State(exams): State<Arc<ServedExams>>,
    Held(served): Held,
    Query(wanted): Query<ReportRequest>,
) -> Response {
    aside(move || {
        let made = served.made.lock().unwrap_or_else(PoisonError::into_inner).take();
        match made {
            Some((bytes, of, report)) if (bytes, of) == (served.desk.grown(), wanted) => report,
            _ => report_here(&exams, &served, &wanted).unwrap_or_else(no_report),
        }
    })
    .await
}

fn report_here(
    exams: &ServedExams,
    served: &ServedExam,
    wanted: &ReportRequest,
) -> Result<Response, ReportError> {
    let earlier = if wanted.is_course() {
        earlier_exams(exams, served)?
    } else {
        exam_before(exams, served)?.iter().map(|before| held_against(&before.record)).collect()
    };
    report_of(&served.desk, earlier, wanted)
}

fn no_report(error: ReportError) -> Response {
    match error {
        ReportError::Desk(error) => broken(&error),
        ReportError::Print(error) => {
            problem(StatusCode::INTERNAL_SERVER_ERROR, error, "choose the report as a page instead")
        }
        ReportError::NoCourse => problem(
            StatusCode::NOT_FOUND,
            error,
            "open the desk on the folder that holds this horse's exams, or name one with --earlier",
        ),
    }
}

/// What is being done now.
async fn running_tasks(Held(served): Held) -> Response {
    Json(served.desk.running.steps()).into_response()
}

/// Tells the length of journal and time stamps whenever it has changed, by this desk or by another program.
async fn news(Held(served): Held) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let stream = futures_util::stream::unfold((served, None), |(served, last)| async move {
        loop {
            let bytes = served.desk.grown();
            if last != Some(bytes) {
                let event = Event::default().event("grown").data(bytes.to_string());
                return Some((Ok(event), (served, Some(bytes))));
            }
            tokio::time::sleep(LOOK_AGAIN).await;
        }
    });
    Sse::new(stream).keep_alive(KeepAlive::default())
}

#[derive(Debug, Deserialize)]
struct Offset {
    offset_s: f64,
}

/// What a clock set by hand would change; nothing is written.
async fn clock(Held(served): Held, Query(asked): Query<Offset>) -> Response {
    aside(move || match preview(&served.desk, asked.offset_s) {
        Ok(changed) => Json(json!({ "changed": changed })).into_response(),
        Err(error) => broken(&error),
    })
    .await
}

/// A leg, drawn: areas and lesions by zone.
async fn leg(Held(served): Held, Path(Numbered { number }): Path<Numbered>) -> Response {
    aside(move || {
        let seen = match served.desk.seen() {
            Ok(seen) => seen,
            Err(error) => return broken(&error),
        };
        match seen.legs.get(number) {
            Some(svg) => ([(CONTENT_TYPE, "image/svg+xml")], alone(svg, "sans-serif")).into_response(),
            None => problem(StatusCode::NOT_FOUND, "there is no such drawing", "reload the page"),
        }
    })
    .await
}

/// The drawn sound. Kept with the exam once listening has ended: until then it is another one each time.
fn drawn_sound(desk: &Desk, seen: &DeskSnapshot) -> Result<Vec<u8>, SoundError> {
    let (folder, files) = (desk.folder.path(), &seen.exam.audio);
    let task = desk.running.begin(TaskKind::Sound, WORDS_OF_SOUND);
    let minutes = usize::try_from(seen.exam.last_sample().0 / SAMPLES_PER_MIN).unwrap_or(0);
    let progress = |done: usize| task.count(WORDS_OF_SOUND, done.min(minutes), minutes);
    if seen.exam.closed.is_none() {
        return peaks(folder, files, progress);
    }
    let state =
        files.iter().map(|file| format!("{} {}", file.first_sample, file_state(&folder.join(&file.file))));
    let made_of = format!("drawn sound, {BINS_PER_S} a second\n{}", state.collect::<String>());
    kept(folder, &made_of, || peaks(folder, files, progress))
}

#[derive(Debug, Deserialize)]
struct ByteRange {
    from: f64,
    to: f64,
}

async fn sound(Held(served): Held, Query(stretch): Query<ByteRange>) -> Response {
    aside(move || match served.desk.seen() {
        Ok(seen) => match wav(served.desk.folder.path(), &seen.exam.audio, (stretch.from, stretch.to)) {
            Ok(bytes) => ([(CONTENT_TYPE, "audio/wav")], bytes).into_response(),
            Err(error) => {
                problem(StatusCode::NOT_FOUND, error, "the words as heard are still in the journal")
            }
        },
        Err(error) => broken(&error),
    })
    .await
}

async fn sound_peaks(Held(served): Held) -> Response {
    aside(move || {
        let seen = match served.desk.seen() {
            Ok(seen) => seen,
            Err(error) => return broken(&error),
        };
        // While an exam is still being heard the sound grows with it.
        let made_of = seen.exam.last_sample();
        let mut drawn = served.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        let known = drawn.as_ref().filter(|known| known.0 == made_of).map(|known| known.1.clone());
        let bytes = match known {
            Some(bytes) => bytes,
            None => match drawn_sound(&served.desk, &seen) {
                Ok(bins) => {
                    let bytes = Bytes::from(bins);
                    *drawn = Some((made_of, bytes.clone()));
                    bytes
                }
                Err(error) => {
                    return problem(
                        StatusCode::NOT_FOUND,
                        error,
                        "the words as heard are still in the journal",
                    );
                }
            },
        };
        let headers = [
            ("content-type", "application/octet-stream".to_owned()),
            ("x-bins-per-s", BINS_PER_S.to_string()),
        ];
        (headers, bytes).into_response()
    })
    .await
}
