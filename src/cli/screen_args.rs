//! The second screen of `listen` and `resume`.
//!
//! Takes: the program's arguments, and the settings.
//! Gives: the second screen, already served.
//! Never: serves it beyond this machine unless it is told where, or without a certificate.
//! Tested in: `tests/it/second_screen.rs`.

#[cfg(feature = "desk")]
use std::io::Write as _;
use std::path::PathBuf;

#[cfg(feature = "desk")]
use anyhow::Context as _;
use anyhow::bail;

use super::options::not_blank;
use super::settings::Settings;
#[cfg(feature = "desk")]
use crate::exchange::network::tls::TlsFiles;
#[cfg(feature = "desk")]
use crate::review::{BoundSecondScreen, SecondScreenPlace};
use crate::session::second_screen::SecondScreen;
#[cfg(feature = "desk")]
use crate::terminal;

/// Where a second screen shows the exam, if it is to; what is not given here is taken from the settings.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct ScreenArgs {
    /// A read-only second screen, as a page in a browser: what to type on the scanner, the views, questions, alarms.
    /// It is served to this machine only, under a secret address that is printed.
    #[arg(long)]
    screen: bool,
    /// Port of the second screen; without it, any free one.
    #[arg(long, value_name = "PORT", requires = "screen")]
    screen_port: Option<u16>,
    /// Serve the second screen to the practice's network, over TLS, at this name or address of this machine: for a tablet
    /// beside the scanner.
    #[arg(long, value_name = "NAME", value_parser = not_blank, requires_all = ["screen", "screen_cert", "screen_key"])]
    screen_at: Option<String>,
    /// The certificate that the second screen shows, as a PEM file.
    #[arg(long, value_name = "FILE", requires = "screen_at")]
    screen_cert: Option<PathBuf>,
    /// The key of that certificate, as a PEM file.
    #[arg(long, value_name = "FILE", requires = "screen_at")]
    screen_key: Option<PathBuf>,
}

/// Where the second screen is to be served.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(not(feature = "desk"), allow(dead_code))] // such a program only says that it cannot
pub(super) struct ScreenChoice {
    port: u16,
    /// Name of this machine in the practice's network, certificate and key; none for this machine only.
    at: Option<(String, PathBuf, PathBuf)>,
}

impl ScreenArgs {
    /// What is wanted by the options, or else by the settings; none where no second screen is.
    pub(super) fn with(&self, settings: &Settings) -> anyhow::Result<Option<ScreenChoice>> {
        if !self.screen && settings.screen != Some(true) {
            return Ok(None);
        }
        // The three belong together: an option's name has the options' certificate.
        let (host, certificate, key) = match &self.screen_at {
            Some(_) => (&self.screen_at, &self.screen_cert, &self.screen_key),
            None => (&settings.screen_at, &settings.screen_cert, &settings.screen_key),
        };
        let at = match (host, certificate, key) {
            (Some(host), Some(certificate), Some(key)) => {
                Some((host.clone(), certificate.clone(), key.clone()))
            }
            (None, None, None) => None,
            _ => bail!(
                "the second screen has only some of `screen_at`, `screen_cert` and `screen_key`; set all three, or none \
                 to show it on this machine only"
            ),
        };
        let port = self.screen_port.or(settings.screen_port).unwrap_or(0);
        Ok(Some(ScreenChoice { port, at }))
    }

    /// Begins to serve the second screen, if one is wanted.
    #[cfg(feature = "desk")]
    pub(super) fn begin(&self, settings: &Settings) -> anyhow::Result<Option<SecondScreen>> {
        let Some(choice) = self.with(settings)? else { return Ok(None) };
        let bound = choice.bind()?;
        let second_screen = SecondScreen::at(bound.address());
        writeln!(terminal::out(), "second screen: {}", second_screen.address())?;
        bound.serve(second_screen.clone()).context("cannot start the second screen")?;
        Ok(Some(second_screen))
    }

    /// Without the desk's server there is none.
    #[cfg(not(feature = "desk"))]
    pub(super) fn begin(&self, settings: &Settings) -> anyhow::Result<Option<SecondScreen>> {
        self.with(settings)?.map_or(Ok(None), |choice| choice.try_out().map(|()| None))
    }
}

impl ScreenChoice {
    #[cfg(feature = "desk")]
    fn bind(&self) -> anyhow::Result<BoundSecondScreen> {
        let place = match &self.at {
            Some((host, certificate, key)) => {
                let tls = TlsFiles::open_server(certificate, key)?;
                SecondScreenPlace::At { host: host.clone(), port: self.port, tls }
            }
            None => SecondScreenPlace::Here(self.port),
        };
        Ok(BoundSecondScreen::bind(&place)?)
    }

    /// Whether it could be served now; nothing is left of the attempt.
    #[cfg(feature = "desk")]
    pub(super) fn try_out(&self) -> anyhow::Result<()> {
        self.bind().map(drop)
    }

    /// Without the desk's server it cannot.
    #[cfg(not(feature = "desk"))]
    pub(super) fn try_out(&self) -> anyhow::Result<()> {
        bail!(
            "this program was built without the second screen; build it with the feature `desk`, or leave out --screen \
             and the setting `screen`"
        )
    }

    /// Whom it is served to.
    pub(super) fn in_words(&self) -> String {
        match &self.at {
            Some((host, _, _)) => format!("can be served to the practice's network as `{host}`"),
            None => "can be served to this machine".to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn the_settings_can_ask_for_it_and_a_name_without_its_certificate_is_refused() {
        let none = ScreenArgs::default();
        assert_eq!(none.with(&Settings::default()).unwrap(), None);
        let here = Settings { screen: Some(true), screen_port: Some(7401), ..Settings::default() };
        assert_eq!(none.with(&here).unwrap(), Some(ScreenChoice { port: 7401, at: None }));
        let given = ScreenArgs { screen: true, screen_port: Some(7402), ..ScreenArgs::default() };
        assert_eq!(given.with(&here).unwrap().unwrap().port, 7402);
        let half = Settings { screen_at: Some("scan.practice.example".to_owned()), ..here };
        assert!(none.with(&half).unwrap_err().to_string().contains("`screen_cert`"));
        assert_eq!(none.with(&Settings { screen: Some(false), ..half }).unwrap(), None);
    }
}
