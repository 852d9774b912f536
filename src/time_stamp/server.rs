//! A server that stamps times, asked over HTTP (RFC 3161, 3.4).
//!
//! Takes: the address of the server and a hash.
//! Gives: a verified `Token`, or why there is none.
//! Never: waits longer than its patience, reads an answer without an end, or follows the server elsewhere.
//! Tested in: `tests/it/time_stamp/`.

use std::sync::Arc;
use std::time::Duration;

use der::{Decode as _, Encode as _};
use rustls::crypto::ring;
use ureq::Agent;
use ureq::http::Uri;
use ureq::tls::{Certificate, RootCerts, TlsConfig, TlsProvider};

use super::authority::Authority;
use super::form::{MessageImprint, TimeStampReq, TimeStampResp};
use super::token::{TOKEN_BYTES_MAX, Token, TokenFault};

/// How long a server may take for all of its answer.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// Why there is no time stamp.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServerError {
    /// No address.
    #[error("`{0}` is not the address of a time-stamp server; give one such as http://stamp.example/tsa")]
    Url(String),
    /// Nobody vouches for the other side of TLS.
    #[error("`{0}` goes by TLS; name the certificate of its authority with --time-stamp-ca")]
    NoAuthority(String),
    /// It took too long.
    #[error("the time-stamp server `{url}` cannot be asked: {why}; try again later with `zonecall stamp`")]
    Slow {
        /// The server.
        url: String,
        /// What happened.
        why: String,
    },
    /// The network, or an address where there is no server.
    #[error(
        "there is no answer from the time-stamp server `{url}`: {why}; check its address (--time-stamp, or `time_stamp` in \
         the settings) and the network"
    )]
    Network {
        /// The server.
        url: String,
        /// What happened.
        why: String,
    },
    /// TLS with somebody for whom nobody vouches.
    #[error(
        "the time-stamp server `{url}` is not the one that was named, or its certificate is not known: {why}; check its \
         address, and that --time-stamp-ca (`time_stamp_ca` in the settings) names the authority of its certificate for TLS, too"
    )]
    Stranger {
        /// The server.
        url: String,
        /// What is wrong with its certificate.
        why: String,
    },
    /// An answer that is none.
    #[error("the time-stamp server `{url}` gave no answer that can be read: {why}; check its address")]
    Answer {
        /// The server.
        url: String,
        /// What is wrong.
        why: String,
    },
    /// It said no.
    #[error("the time-stamp server `{url}` refused: {why}")]
    Refused {
        /// The server.
        url: String,
        /// Why.
        why: String,
    },
    /// A token that is no good.
    #[error("the time stamp of `{url}` cannot be used: {fault}")]
    Token {
        /// The server.
        url: String,
        /// What is wrong with it.
        #[source]
        fault: TokenFault,
    },
    /// No random bytes.
    #[error("the system gives no random bytes: {0}")]
    Random(getrandom::Error),
}

/// A server that stamps times.
#[derive(Debug, Clone)]
pub struct StampServer {
    url: String,
    authority: Option<Authority>,
    agent: Agent,
}

impl StampServer {
    /// The server at this address; with `authority`, only tokens whose certificate leads to it are taken.
    ///
    /// # Errors
    /// When the address cannot be used.
    pub fn new(
        url: &str,
        authority: Option<Authority>,
        patience: Duration,
    ) -> Result<StampServer, ServerError> {
        let is_secure = url.starts_with("https://");
        let has_host = url.parse::<Uri>().is_ok_and(|uri| uri.host().is_some_and(|host| !host.is_empty()));
        if !has_host || !is_secure && !url.starts_with("http://") {
            return Err(ServerError::Url(url.to_owned()));
        }
        let mut config = Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .timeout_global(Some(patience));
        if is_secure {
            let known = authority.as_ref().ok_or_else(|| ServerError::NoAuthority(url.to_owned()))?;
            let roots: Vec<Certificate<'static>> =
                known.certificates().map(|der| Certificate::from_der(der).to_owned()).collect();
            let tls = TlsConfig::builder()
                .provider(TlsProvider::Rustls)
                .root_certs(RootCerts::new_with_certs(&roots))
                .unversioned_rustls_crypto_provider(Arc::new(ring::default_provider()));
            config = config.tls_config(tls.build());
        }
        Ok(StampServer { url: url.to_owned(), authority, agent: Agent::new_with_config(config.build()) })
    }

    /// Its address.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Asks for a time stamp of a hash, and verifies it.
    ///
    /// # Errors
    /// When there is none that can be used.
    pub fn stamp(&self, sha256: &[u8; 32]) -> Result<Token, ServerError> {
        let mut random = [0; 8];
        getrandom::fill(&mut random).map_err(ServerError::Random)?;
        let nonce = u64::from_be_bytes(random);
        let answer = self.ask(&request(sha256, nonce).map_err(|error| self.unreadable(&error))?)?;
        let answer = TimeStampResp::from_der(&answer).map_err(|error| self.unreadable(&error))?;
        if !answer.status.is_granted() {
            return Err(ServerError::Refused { url: self.url.clone(), why: answer.status.why() });
        }
        let unfit = |fault| ServerError::Token { url: self.url.clone(), fault };
        let token =
            answer.time_stamp_token.ok_or_else(|| self.wrong("it grants a time stamp and sends none"))?;
        let token = token.to_der().map_err(|error| self.unreadable(&error))?;
        let token = Token::read(&token, sha256).map_err(unfit)?;
        token.answers(nonce).map_err(unfit)?;
        if let Some(authority) = &self.authority {
            token.is_vouched_for(authority).map_err(unfit)?;
        }
        Ok(token)
    }

    /// Sends a request and reads the answer.
    fn ask(&self, request: &[u8]) -> Result<Vec<u8>, ServerError> {
        let network = |error: ureq::Error| match error {
            ureq::Error::BodyExceedsLimit(most) => self.wrong(&format!("it is longer than {most} bytes")),
            ureq::Error::Io(io) if is_of_certificate(&io) => {
                ServerError::Stranger { url: self.url.clone(), why: io.to_string() }
            }
            ureq::Error::Timeout(_) => ServerError::Slow { url: self.url.clone(), why: error.to_string() },
            error => ServerError::Network { url: self.url.clone(), why: error.to_string() },
        };
        let asked = self.agent.post(&self.url).header("Content-Type", "application/timestamp-query");
        let mut answer = asked.send(request).map_err(network)?;
        if answer.status() != 200 {
            return Err(self.wrong(&format!("HTTP {}", answer.status().as_u16())));
        }
        answer.body_mut().with_config().limit(TOKEN_BYTES_MAX).read_to_vec().map_err(network)
    }

    fn unreadable(&self, error: &der::Error) -> ServerError {
        self.wrong(&error.to_string())
    }

    fn wrong(&self, why: &str) -> ServerError {
        ServerError::Answer { url: self.url.clone(), why: why.to_owned() }
    }
}

/// The other side of TLS has a certificate that cannot be trusted.
fn is_of_certificate(error: &std::io::Error) -> bool {
    let tls = error.get_ref().and_then(|source| source.downcast_ref());
    matches!(tls, Some(rustls::Error::InvalidCertificate(_)))
}

/// RFC 3161, 2.4.1: with a random number, so that an old answer is none, and with the wish for the certificate.
fn request(sha256: &[u8; 32], nonce: u64) -> der::Result<Vec<u8>> {
    TimeStampReq { version: 1, message_imprint: MessageImprint::of(sha256)?, nonce, cert_req: true }.to_der()
}
