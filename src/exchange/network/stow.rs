//! Objects go to an archive over HTTP: DICOMweb's STOW-RS (PS3.18 10.5).
//!
//! Takes: the address of the service, and DICOM files.
//! Gives: for each file whether the archive has it.
//! Never: follows the archive to another address, or takes an object for sent before it said so.
//! Tested in: `tests/it/exchange/stow.rs`, with an archive that is not ours.

use std::sync::Arc;
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rustls::crypto::ring;
use serde_json::Value;
use ureq::Agent;
use ureq::tls::{Certificate, ClientCert, PrivateKey, RootCerts, TlsConfig, TlsProvider};

use super::send::{Object, PAUSES_S, SendError, Sent, file_of, unread};
use super::status::refusal;
use super::tls::{TlsError, TlsFiles};
use crate::exchange::uid::uuid;

/// Longest answer that is read, in bytes.
const ANSWER_BYTES_MAX: u64 = 1 << 20;

/// An archive's service.
#[derive(Debug)]
pub struct StowServer {
    url: String,
    authorization: Option<String>,
    agent: Agent,
}

/// An address or certificates that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StowError {
    /// No address of a web service.
    #[error(
        "`{0}` is no address of a DICOMweb service; wanted is one such as https://archive.example/dicom-web"
    )]
    Url(String),
    /// Nobody vouches for the other side.
    #[error("`{0}` goes by TLS; name the certificate of its authority with --tls-ca")]
    NoAuthority(String),
    /// Certificates that cannot be used.
    #[error(transparent)]
    Tls(#[from] TlsError),
}

impl StowServer {
    /// The service at this address, such as `https://archive.example/dicom-web`; `login` is a user and a password with a
    /// colon between.
    ///
    /// # Errors
    /// When the address or the certificates cannot be used.
    pub fn new(
        url: &str,
        login: Option<&str>,
        files: Option<&TlsFiles>,
        patience: Duration,
    ) -> Result<StowServer, StowError> {
        let is_secure = url.starts_with("https://");
        if !is_secure && !url.starts_with("http://") {
            return Err(StowError::Url(url.to_owned()));
        }
        if is_secure && files.is_none() {
            return Err(StowError::NoAuthority(url.to_owned()));
        }
        let mut config = Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .timeout_connect(Some(patience))
            .timeout_recv_response(Some(patience));
        if let Some(files) = files {
            config = config.tls_config(tls(files)?);
        }
        Ok(StowServer {
            url: format!("{}/studies", url.trim_end_matches('/').trim_end_matches("/studies")),
            authorization: login.map(|login| format!("Basic {}", STANDARD.encode(login))),
            agent: Agent::new_with_config(config.build()),
        })
    }

    /// Sends objects in order, and goes on after a break; `report` learns of each as it is done.
    ///
    /// # Errors
    /// When the archive cannot be reached after further tries; what was reported is done.
    pub fn send(&self, objects: &[Object], report: &mut dyn FnMut(&Object, &Sent)) -> Result<(), SendError> {
        for object in objects {
            let mut tries = PAUSES_S.iter();
            let sent = loop {
                match self.store(object).or_else(unread) {
                    Ok(sent) => break sent,
                    Err(error) => {
                        let pause = tries.next().filter(|_| matches!(error, SendError::Network { .. }));
                        std::thread::sleep(Duration::from_secs(*pause.ok_or(error)?));
                    }
                }
            };
            report(object, &sent);
        }
        Ok(())
    }

    fn store(&self, object: &Object) -> Result<Sent, SendError> {
        let network =
            |error: ureq::Error| SendError::Network { peer: self.url.clone(), why: error.to_string() };
        let file = file_of(object)?;
        // A boundary that no file holds by chance.
        let boundary = uuid(&["boundary", &object.instance]);
        // The transfer syntax stands in the file's own head; some archives know the plain type only.
        let head = format!("--{boundary}\r\nContent-Type: application/dicom\r\n\r\n");
        let body = [head.as_bytes(), &file, format!("\r\n--{boundary}--\r\n").as_bytes()].concat();
        let kind = format!("multipart/related; type=\"application/dicom\"; boundary={boundary}");
        let mut request = self
            .agent
            .post(&self.url)
            .header("Content-Type", kind)
            .header("Accept", "application/dicom+json");
        if let Some(authorization) = &self.authorization {
            request = request.header("Authorization", authorization);
        }
        let mut response = request.send(&body[..]).map_err(network)?;
        let status = response.status().as_u16();
        let answer = response.body_mut().with_config().limit(ANSWER_BYTES_MAX).read_to_string();
        match status {
            200 | 202 | 409 => Ok(judged(status, &answer.map_err(network)?, &object.instance)),
            401 | 403 => Ok(Sent::Refused(format!("HTTP {status}: user or password is not accepted"))),
            500..=599 => Err(SendError::Network { peer: self.url.clone(), why: format!("HTTP {status}") }),
            _ => Ok(Sent::Refused(format!("HTTP {status}"))),
        }
    }
}

/// What an answer says of an object (PS3.18 10.5.3 and annex I).
fn judged(status: u16, answer: &str, instance: &str) -> Sent {
    let answer: Value = serde_json::from_str(answer).unwrap_or_default();
    // A service may answer with a list of one.
    let answer = answer.get(0).unwrap_or(&answer);
    let item = |sequence: &str| {
        let items = answer[sequence]["Value"].as_array().into_iter().flatten();
        items.into_iter().find(|item| item["00081155"]["Value"][0] == instance).cloned()
    };
    if let Some(failed) = item("00081198") {
        let reason = failed["00081197"]["Value"][0].as_u64();
        return Sent::Refused(
            reason
                .and_then(|reason| u16::try_from(reason).ok())
                .map_or("no reason given".to_owned(), |reason| refusal(reason, None)),
        );
    }
    match item("00081199") {
        Some(kept) => {
            match kept["00081196"]["Value"][0].as_u64().and_then(|reason| u16::try_from(reason).ok()) {
                Some(warning) => Sent::Warned(warning),
                None => Sent::Yes,
            }
        }
        None => Sent::Refused(format!("HTTP {status}, and it does not say that it has the object")),
    }
}

fn tls(files: &TlsFiles) -> Result<TlsConfig, TlsError> {
    let pem = |path: &std::path::Path, what: &'static str| {
        std::fs::read(path).map_err(|error| TlsError::File {
            path: path.to_owned(),
            what,
            why: error.to_string(),
        })
    };
    let unfit = |error: ureq::Error| TlsError::Unfit(error.to_string());
    // Says what is wrong with the files as the other ways of sending do.
    files.client()?;
    let authority = Certificate::from_pem(&pem(&files.authority, "certificate")?).map_err(unfit)?;
    let own = match &files.own {
        Some((certificate, key)) => {
            let certificate = Certificate::from_pem(&pem(certificate, "certificate")?).map_err(unfit)?;
            let key = PrivateKey::from_pem(&pem(key, "private key")?).map_err(unfit)?;
            Some(ClientCert::new_with_certs(&[certificate], key))
        }
        None => None,
    };
    Ok(TlsConfig::builder()
        .provider(TlsProvider::Rustls)
        .root_certs(RootCerts::new_with_certs(&[authority]))
        .client_cert(own)
        .unversioned_rustls_crypto_provider(Arc::new(ring::default_provider()))
        .build())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_object_is_sent_only_where_the_answer_names_it() {
        let kept = r#"{"00081199":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.1"]}}]}}"#;
        assert_eq!(judged(200, kept, "2.25.1"), Sent::Yes);
        assert!(matches!(judged(200, kept, "2.25.2"), Sent::Refused(_)));
        assert!(matches!(judged(200, "", "2.25.1"), Sent::Refused(_)));
        let failed = r#"{"00081198":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.1"]},
            "00081197":{"vr":"US","Value":[272]}}]}}"#;
        let Sent::Refused(why) = judged(202, failed, "2.25.1") else { panic!("refused") };
        assert!(why.contains("failed while it worked") && why.contains("0x0110"), "{why}");
    }
}
