//! Who may speak to the desk: the browser that was given the printed address, and no other page.
//!
//! Takes: a request.
//! Gives: the request on, or a refusal in words; every answer with headers that let a page load nothing from elsewhere.
//! Never: trusts a name in `Host` that is not this machine's, or an `Origin` that is not this desk.
//! Tested in: `tests/it/review.rs`.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};

use crate::hex;

/// What a browser may do with the page: use what this desk itself serves, nothing else.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; \
connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// Tells a browser where to go on.
const REFRESH: HeaderName = HeaderName::from_static("refresh");
/// Random bytes of the token and of the cookie.
const SECRET_BYTES: usize = 24;
/// Random bytes of a token that somebody types: too many to be tried out over a network.
const TYPED_BYTES: usize = 8;

/// The secrets of one run of the desk, or of a second screen.
#[derive(Debug)]
pub struct Keys {
    /// `http` or `https`.
    scheme: &'static str,
    /// Names and ports under which it is called; the first is the one that is printed.
    hosts: Vec<String>,
    port: u16,
    /// The command that prints the address.
    printed_by: &'static str,
    token: String,
    cookie: String,
}

impl Keys {
    /// New random ones for the desk on this port.
    ///
    /// # Errors
    /// When the system gives no random bytes.
    pub fn new(port: u16) -> Result<Keys, getrandom::Error> {
        let hosts = ["127.0.0.1", "localhost"].map(|host| format!("{host}:{port}")).to_vec();
        let (token, cookie) = (secret(SECRET_BYTES)?, secret(SECRET_BYTES)?);
        Ok(Keys { scheme: "http", hosts, port, printed_by: "zonecall review", token, cookie })
    }

    /// The same for a second screen on this machine.
    ///
    /// # Errors
    /// When the system gives no random bytes.
    pub fn of_screen(port: u16) -> Result<Keys, getrandom::Error> {
        Ok(Keys { printed_by: "zonecall listen", ..Keys::new(port)? })
    }

    /// The same for a second screen that is reached as `host`, with its port, over TLS; its token is short enough to be typed.
    ///
    /// # Errors
    /// When the system gives no random bytes.
    pub fn of_screen_at(host: &str, port: u16) -> Result<Keys, getrandom::Error> {
        let (hosts, token) = (vec![format!("{host}:{port}")], secret(TYPED_BYTES)?);
        Ok(Keys { scheme: "https", hosts, token, ..Keys::of_screen(port)? })
    }

    /// The address to open; it lets in for as long as this desk runs.
    #[must_use]
    pub fn address(&self) -> String {
        let host = self.hosts.first().map_or("", String::as_str);
        format!("{}://{host}/?token={}", self.scheme, self.token)
    }

    /// Cookies are shared between the ports of a machine, so the name holds the port.
    fn cookie_name(&self) -> String {
        format!("zonecall_{}", self.port)
    }

    fn is_here(&self, host: &str) -> bool {
        self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host))
    }

    fn lets_in(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie_name();
        let texts = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut pairs = texts.flat_map(|text| text.split(';')).filter_map(|pair| pair.trim().split_once('='));
        pairs.any(|(key, value)| key == name && same(value, &self.cookie))
    }
}

/// So many random bytes, in hexadecimal.
fn secret(bytes: usize) -> Result<String, getrandom::Error> {
    let mut random = vec![0; bytes];
    getrandom::fill(&mut random).map(|()| hex(&random))
}

/// Compares secrets in a time that does not depend on how much of them is right.
fn same(given: &str, secret: &str) -> bool {
    let differ = given.bytes().zip(secret.bytes()).fold(0, |all, (a, b)| all | (a ^ b));
    given.len() == secret.len() && differ == 0
}

/// Lets a request through or refuses it.
pub(super) async fn guard(State(keys): State<Arc<Keys>>, request: Request, next: Next) -> Response {
    let mut answer = match judge(&keys, &request) {
        Ok(()) => next.run(request).await,
        Err(answer) => *answer,
    };
    let headers = answer.headers_mut();
    // A report is a page of its own, whose style is inside it.
    headers.entry(CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    for (name, value) in [
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    answer
}

fn judge(keys: &Keys, request: &Request) -> Result<(), Box<Response>> {
    let headers = request.headers();
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    let host = text(HOST).unwrap_or_default();
    if !keys.is_here(host) {
        return Err(refused(StatusCode::MISDIRECTED_REQUEST, "this desk answers only to its own address"));
    }
    let writes = !matches!(*request.method(), Method::GET | Method::HEAD);
    match text(ORIGIN) {
        Some(origin)
            if origin.strip_prefix(keys.scheme).and_then(|rest| rest.strip_prefix("://")) == Some(host) => {}
        None if !writes && headers.get(ORIGIN).is_none() => {}
        _ => return Err(refused(StatusCode::FORBIDDEN, "another page may not use this desk")),
    }
    if let Some(token) = token(request) {
        return Err(if same(token, &keys.token) { entered(keys) } else { no_entry(keys) });
    }
    if keys.lets_in(headers) { Ok(()) } else { Err(no_entry(keys)) }
}

/// The token in the address of the first page.
fn token(request: &Request) -> Option<&str> {
    let query = request.uri().query().filter(|_| request.uri().path() == "/")?;
    query.split('&').find_map(|pair| pair.strip_prefix("token="))
}

/// The cookie in place of the token, so that the token does not stay in the address.
///
/// A page that goes on by itself, not an answer that leads on: a browser that came here from a file sends its new cookie
/// only to what this desk itself asks for.
fn entered(keys: &Keys) -> Box<Response> {
    let secure = if keys.scheme == "https" { "; Secure" } else { "" };
    let cookie = format!("{}={}; HttpOnly; SameSite=Strict; Path=/{secure}", keys.cookie_name(), keys.cookie);
    let headers = [(REFRESH, "0; url=/".to_owned()), (SET_COOKIE, cookie)];
    Box::new((headers, Html("<!doctype html><title>zonecall</title>")).into_response())
}

fn no_entry(keys: &Keys) -> Box<Response> {
    let what = format!("open the address that `{}` printed", keys.printed_by);
    Box::new((StatusCode::UNAUTHORIZED, what).into_response())
}

fn refused(status: StatusCode, what: &'static str) -> Box<Response> {
    Box::new((status, what).into_response())
}
