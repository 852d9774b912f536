//! What is set once for a scanner: where it writes names into its pictures.
//!
//! Takes: `scanners.toml`.
//! Gives: the rectangles of each scanner.
//! Never: a rectangle without a size.
//! Tested in: `tests/it/exchange/black_out.rs`, and here.

use anyhow::{Context as _, ensure};
use serde::Deserialize;

use super::settings_place::beside;
use crate::exchange::black_out::{Rectangle, ScannerBlackOut};
use crate::report::words::count;
use crate::terminal::ShownText as _;

/// A scanner, as the file has it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ScannerRow {
    manufacturer: Option<String>,
    model: Option<String>,
    station: Option<String>,
    serial: Option<String>,
    black_out: Vec<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ScannersFile {
    #[serde(default)]
    scanner: Vec<ScannerRow>,
}

/// All of them, from the file that `ZONECALL_SCANNERS` names, else the one beside the settings; none where there is no file.
///
/// # Errors
/// When it cannot be read, or holds something unknown.
pub(super) fn read() -> anyhow::Result<Vec<ScannerBlackOut>> {
    let Some(file) = beside("ZONECALL_SCANNERS", "scanners.toml", "scanners")? else { return Ok(Vec::new()) };
    of(&file.text).with_context(|| format!("`{}` holds no valid scanners; correct it", file.path.shown()))
}

fn of(text: &str) -> anyhow::Result<Vec<ScannerBlackOut>> {
    let rows = toml::from_str::<ScannersFile>(text)?.scanner;
    rows.into_iter()
        .map(|row| {
            ensure!(
                !row.black_out.is_empty(),
                "a scanner needs a rectangle in `black_out`, as in [\"0,0,800,60\"]"
            );
            let rectangles: Result<Vec<Rectangle>, String> =
                row.black_out.iter().map(|text| rectangle(text)).collect();
            let rectangles = rectangles.map_err(|why| anyhow::anyhow!("`black_out`: {why}"))?;
            let ScannerRow { manufacturer, model, station, serial, .. } = row;
            Ok(ScannerBlackOut { manufacturer, model, station, serial, rectangles })
        })
        .collect()
}

/// A rectangle, as people write it.
pub(super) fn rectangle(text: &str) -> Result<Rectangle, String> {
    let numbers: Result<Vec<u32>, _> = text.split(',').map(|number| number.trim().parse()).collect();
    match numbers.as_deref() {
        Ok([left, top, width, height]) if *width > 0 && *height > 0 => {
            Ok(Rectangle { left: *left, top: *top, width: *width, height: *height })
        }
        _ => Err("give left, top, width and height in pixels, as in 0,0,800,60".to_owned()),
    }
}

/// A scanner in words, for `doctor`.
pub(super) fn in_words(scanner: &ScannerBlackOut) -> String {
    let ScannerBlackOut { manufacturer, model, station, serial, rectangles } = scanner;
    let stated: Vec<String> = [manufacturer, model, station, serial]
        .into_iter()
        .flatten()
        .map(|name| format!("`{}`", name.shown()))
        .collect();
    let whom = if stated.is_empty() { "every scanner".to_owned() } else { stated.join(" ") };
    format!("{whom}: {} black in copies for teaching", count(rectangles.len(), "rectangle"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn a_row_states_what_it_fits_and_one_that_blackens_nothing_is_an_error() {
        let found =
            of("[[scanner]]\nstation = \"YARD3\"\nblack_out = [\"0,0,800,60\", \"0,560,200,40\"]\n").unwrap();
        assert_eq!((found[0].station.as_deref(), found[0].rectangles.len()), (Some("YARD3"), 2));
        assert_eq!(in_words(&found[0]), "`YARD3`: 2 rectangles black in copies for teaching");
        let why = |text: &str| of(text).unwrap_err().to_string();
        assert!(why("[[scanner]]\nblack_out = []\n").contains("needs a rectangle"));
        assert!(why("[[scanner]]\nblack_out = [\"1,2,3\"]\n").contains("left, top, width and height"));
        assert!(why("[[scanner]]\ncolour = \"red\"\n").contains("colour"));
    }
}
