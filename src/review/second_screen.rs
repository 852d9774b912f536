//! The second screen: a page that shows what the terminal at the horse shows, and takes nothing.
//!
//! Takes: the `SecondScreen` of the exam that is being heard, and where it may be called.
//! Gives: a page, the state as JSON, and word whenever it has changed.
//! Never: a route that writes; more than this machine without TLS and a token.
//! Tested in: `tests/it/second_screen.rs`.

use std::convert::Infallible;
use std::net::{Ipv4Addr, SocketAddr, TcpListener as StdListener, ToSocketAddrs as _};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use axum::extract::State;
use axum::middleware::from_fn_with_state;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use futures_util::Stream;
use rustls::ServerConfig;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc::{UnboundedReceiver, UnboundedSender, unbounded_channel};

use crate::exchange::network::tls::accept;
use crate::review::guard::{Keys, guard};
use crate::review::patience::PatientListener;
use crate::review::serve::{PageFile, ServeError, file};
use crate::session::second_screen::SecondScreen;
use crate::terminal;

/// How often the state is looked at.
const LOOK_AGAIN: Duration = Duration::from_millis(150);
/// How long a caller may take over the TLS handshake.
const HANDSHAKE: Duration = Duration::from_secs(10);
/// TLS handshakes that are going on at one time.
const CALLERS_MAX: usize = 16;

/// The files of the page: path, kind, text.
static PAGE: [PageFile; 4] = [
    ("/", "text/html; charset=utf-8", include_str!("page/second-screen.html")),
    ("/second-screen.css", "text/css; charset=utf-8", include_str!("page/second-screen.css")),
    ("/second-screen.js", "text/javascript; charset=utf-8", include_str!("page/second-screen.js")),
    ("/make.js", "text/javascript; charset=utf-8", include_str!("page/make.js")),
];

/// Where the second screen may be called.
#[derive(Debug, Clone)]
pub enum SecondScreenPlace {
    /// On this machine, at this port; 0 takes any free one.
    Here(u16),
    /// In the practice's network, at this name or address and port, over TLS.
    At {
        /// Name or address, as people type it.
        host: String,
        /// The port.
        port: u16,
        /// Our certificate.
        tls: Arc<ServerConfig>,
    },
}

/// A second screen with its port, before the first request.
#[derive(Debug)]
pub struct BoundSecondScreen {
    listener: StdListener,
    keys: Arc<Keys>,
    tls: Option<Arc<ServerConfig>>,
}

impl BoundSecondScreen {
    /// Takes the port.
    ///
    /// # Errors
    /// When it is taken, or the address is none of this machine's.
    pub fn bind(place: &SecondScreenPlace) -> Result<BoundSecondScreen, ServeError> {
        match place {
            SecondScreenPlace::Here(port) => {
                let listener =
                    listening("127.0.0.1", &[SocketAddr::from((Ipv4Addr::LOCALHOST, *port))], *port)?;
                let keys = Keys::of_screen(port_of(&listener)?).map_err(ServeError::Secret)?;
                Ok(BoundSecondScreen { listener, keys: Arc::new(keys), tls: None })
            }
            SecondScreenPlace::At { host, port, tls } => {
                let found = (host.as_str(), *port).to_socket_addrs();
                let found = found.map_err(|source| failed(host, *port, source))?;
                let listener = listening(host, &found.collect::<Vec<_>>(), *port)?;
                let keys = Keys::of_screen_at(host, port_of(&listener)?).map_err(ServeError::Secret)?;
                Ok(BoundSecondScreen { listener, keys: Arc::new(keys), tls: Some(Arc::clone(tls)) })
            }
        }
    }

    /// The address to open.
    #[must_use]
    pub fn address(&self) -> String {
        self.keys.address()
    }

    /// Serves the second screen on threads of its own for as long as the program runs.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn serve(self, second_screen: SecondScreen) -> std::io::Result<()> {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
        std::thread::Builder::new().name("second screen".to_owned()).spawn(move || {
            if let Err(error) = runtime.block_on(self.answer(second_screen)) {
                terminal::warn(format!(
                    "zonecall: the second screen has stopped: {error}; the exam continues"
                ));
            }
        })?;
        Ok(())
    }

    async fn answer(self, second_screen: SecondScreen) -> std::io::Result<()> {
        let app = Router::new()
            .route("/", get(|| file(&PAGE[0])))
            .route(PAGE[1].0, get(|| file(&PAGE[1])))
            .route(PAGE[2].0, get(|| file(&PAGE[2])))
            .route(PAGE[3].0, get(|| file(&PAGE[3])))
            .route("/api/second-screen", get(state))
            .route("/api/news", get(news))
            .layer(from_fn_with_state(self.keys, guard))
            .with_state(second_screen);
        let listener = match self.tls {
            None => {
                self.listener.set_nonblocking(true)?;
                PatientListener::new(TcpListener::from_std(self.listener)?)
            }
            Some(config) => {
                let address = self.listener.local_addr()?;
                PatientListener::behind(let_in(self.listener, config), address)
            }
        };
        axum::serve(listener, app).await
    }
}

fn failed(host: &str, port: u16, source: std::io::Error) -> ServeError {
    ServeError::Listen { host: host.to_owned(), port, source }
}

fn listening(host: &str, addresses: &[SocketAddr], port: u16) -> Result<StdListener, ServeError> {
    StdListener::bind(addresses).map_err(|source| failed(host, port, source))
}

fn port_of(listener: &StdListener) -> Result<u16, ServeError> {
    let address = listener.local_addr();
    address.map(|address| address.port()).map_err(|source| failed("127.0.0.1", 0, source))
}

/// The plain sides of connections whose TLS handshake is done.
fn let_in(listener: StdListener, config: Arc<ServerConfig>) -> UnboundedReceiver<TcpStream> {
    let (sender, receiver) = unbounded_channel();
    let handle = tokio::runtime::Handle::current();
    let coming = Arc::new(AtomicUsize::new(0));
    std::thread::spawn(move || {
        for socket in listener.incoming() {
            let Ok(socket) = socket else {
                // The system has no connection left for now.
                std::thread::sleep(LOOK_AGAIN);
                continue;
            };
            if coming.fetch_add(1, Ordering::Relaxed) >= CALLERS_MAX {
                coming.fetch_sub(1, Ordering::Relaxed);
                continue;
            }
            let (config, sender, handle) = (Arc::clone(&config), sender.clone(), handle.clone());
            let coming = Arc::clone(&coming);
            std::thread::spawn(move || {
                shake_hands(&config, socket, &sender, &handle);
                coming.fetch_sub(1, Ordering::Relaxed);
            });
        }
    });
    receiver
}

/// A caller whose handshake fails is not answered.
fn shake_hands(
    config: &Arc<ServerConfig>,
    socket: std::net::TcpStream,
    sender: &UnboundedSender<TcpStream>,
    handle: &tokio::runtime::Handle,
) {
    let Ok(plain) = accept(config, socket, HANDSHAKE) else { return };
    let _inside = handle.enter();
    if plain.set_nonblocking(true).is_ok()
        && let Ok(stream) = TcpStream::from_std(plain)
    {
        let _ = sender.send(stream);
    }
}

async fn state(State(second_screen): State<SecondScreen>) -> Response {
    Json(second_screen.now().1).into_response()
}

/// Sends the state whenever it has changed.
async fn news(
    State(second_screen): State<SecondScreen>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let stream = futures_util::stream::unfold((second_screen, None), |(second_screen, last)| async move {
        loop {
            let (number, state) = second_screen.now();
            if last != Some(number)
                && let Ok(event) = Event::default().event("second-screen").json_data(&state)
            {
                return Some((Ok(event), (second_screen, Some(number))));
            }
            tokio::time::sleep(LOOK_AGAIN).await;
        }
    });
    Sse::new(stream).keep_alive(KeepAlive::default())
}
