//! Connections to the desk, and how long one is waited for that says nothing.
//!
//! Takes: a port that is listened on.
//! Gives: connections; one that is silent too long reads as broken off.
//! Never: lets idle connections use up what the system has of them.
//! Tested in: `tests/it/bounds.rs`.

use std::future::Future as _;
use std::io::{Error, ErrorKind, IoSlice, Result};
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc::UnboundedReceiver;
use tokio::time::{Instant, Sleep, sleep};

/// Connections at one time; a browser keeps about six.
const OPEN_MAX: usize = 256;
/// How long the first request is waited for.
const FIRST: Duration = Duration::from_secs(5);
/// How long a connection may then be silent; news of the journal keep theirs alive.
const SILENT: Duration = Duration::from_secs(60);
/// Between two tries, where the system has no connection left.
const AGAIN: Duration = Duration::from_millis(20);

/// Where connections come from.
#[derive(Debug)]
enum Door {
    /// A port.
    Port(TcpListener),
    /// Others let them in, over TLS; the address is that of the port.
    Inner(UnboundedReceiver<TcpStream>, SocketAddr),
}

/// A port with patience for so many connections.
#[derive(Debug)]
pub(super) struct PatientListener {
    door: Door,
    n_open: Arc<AtomicUsize>,
}

impl PatientListener {
    pub(super) fn new(listener: TcpListener) -> Self {
        Self { door: Door::Port(listener), n_open: Arc::default() }
    }

    /// Takes what comes from here, let in at this address.
    pub(super) fn behind(inner: UnboundedReceiver<TcpStream>, address: SocketAddr) -> Self {
        Self { door: Door::Inner(inner, address), n_open: Arc::default() }
    }

    async fn next(&mut self) -> Option<(TcpStream, SocketAddr)> {
        match &mut self.door {
            Door::Port(listener) => TcpListener::accept(listener).await.ok(),
            Door::Inner(inner, address) => inner.recv().await.map(|stream| (stream, *address)),
        }
    }
}

impl Listener for PatientListener {
    type Io = DeskConnection;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (DeskConnection, SocketAddr) {
        loop {
            if self.n_open.load(Ordering::Relaxed) < OPEN_MAX
                && let Some((stream, address)) = self.next().await
            {
                self.n_open.fetch_add(1, Ordering::Relaxed);
                let patience = Box::pin(sleep(FIRST));
                return (DeskConnection { stream, patience, n_open: Arc::clone(&self.n_open) }, address);
            }
            sleep(AGAIN).await;
        }
    }

    fn local_addr(&self) -> Result<SocketAddr> {
        match &self.door {
            Door::Port(listener) => listener.local_addr(),
            Door::Inner(_, address) => Ok(*address),
        }
    }
}

/// A connection.
#[derive(Debug)]
pub(super) struct DeskConnection {
    stream: TcpStream,
    patience: Pin<Box<Sleep>>,
    n_open: Arc<AtomicUsize>,
}

impl DeskConnection {
    fn heard<T>(&mut self, done: Poll<T>) -> Poll<T> {
        if done.is_ready() {
            self.patience.as_mut().reset(Instant::now() + SILENT);
        }
        done
    }
}

impl Drop for DeskConnection {
    fn drop(&mut self) {
        self.n_open.fetch_sub(1, Ordering::Relaxed);
    }
}

impl AsyncRead for DeskConnection {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, to: &mut ReadBuf<'_>) -> Poll<Result<()>> {
        let read = Pin::new(&mut self.stream).poll_read(cx, to);
        if read.is_pending() && self.patience.as_mut().poll(cx).is_ready() {
            return Poll::Ready(Err(Error::from(ErrorKind::TimedOut)));
        }
        self.heard(read)
    }
}

impl AsyncWrite for DeskConnection {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(cx, bytes);
        self.heard(written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        pieces: &[IoSlice<'_>],
    ) -> Poll<Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(cx, pieces);
        self.heard(written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
