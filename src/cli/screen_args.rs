//! The second screen of `listen` and `resume`.
//!
//! Takes: the program's arguments.
//! Gives: the board that the second screen shows, already served.
//! Never: serves it beyond this machine without being told where, or without a certificate.
//! Tested in: `tests/it/board.rs`.

use std::path::PathBuf;

use super::options::not_blank;
use crate::session::board::Board;

/// Where a second screen shows the exam, if it is to.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct ScreenArgs {
    /// A second screen, to be read only, as a page in a browser: what to type on the scanner, the views, questions, alarms.
    /// It is served to this machine only, under a secret address that is printed.
    #[arg(long)]
    screen: bool,
    /// Port of the second screen; without it, any free one.
    #[arg(long, value_name = "PORT", default_value_t = 0, requires = "screen")]
    screen_port: u16,
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

impl ScreenArgs {
    /// Begins to serve the second screen, if one was asked for.
    #[cfg(feature = "desk")]
    pub(super) fn begin(&self) -> anyhow::Result<Option<Board>> {
        use std::io::Write as _;

        use anyhow::Context as _;

        use crate::exchange::network::tls::TlsFiles;
        use crate::review::{BoardPlace, BoundBoard};

        if !self.screen {
            return Ok(None);
        }
        let place = match (&self.screen_at, &self.screen_cert, &self.screen_key) {
            (Some(host), Some(certificate), Some(key)) => BoardPlace::At {
                host: host.clone(),
                port: self.screen_port,
                tls: TlsFiles::open_server(certificate, key)?,
            },
            _ => BoardPlace::Here(self.screen_port),
        };
        let bound = BoundBoard::bind(&place)?;
        let board = Board::at(bound.address());
        writeln!(std::io::stdout(), "second screen: {}", board.address())?;
        bound.serve(board.clone()).context("cannot start the second screen")?;
        Ok(Some(board))
    }

    /// Without the desk's server there is none.
    #[cfg(not(feature = "desk"))]
    pub(super) fn begin(&self) -> anyhow::Result<Option<Board>> {
        let Self { screen_port, screen_at, screen_cert, screen_key, .. } = self;
        anyhow::ensure!(
            !self.screen,
            "this program was built without the second screen (asked for with {screen_port}, {screen_at:?}, \
             {screen_cert:?}, {screen_key:?}); build it with the feature `desk`"
        );
        Ok(None)
    }
}
