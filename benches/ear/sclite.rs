//! Words wrong, judged by NIST's `sclite` (Debian package `sctk`).
//!
//! Takes: what was said and what an ear took it for.
//! Gives: words wrong in percent for each condition, as `sclite` counts them.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use zonecall::evaluation::words::Spelling;

use crate::set::Row;

pub struct Judge(Spelling);

/// For a condition: number of words, and substituted, dropped, inserted, all wrong in percent.
pub type Counts = BTreeMap<String, [f64; 5]>;

impl Judge {
    pub fn new(lexicon: &Path) -> Self {
        Self(Spelling::read(lexicon))
    }

    fn spelled(&self, words: &str) -> String {
        self.0.of(words).join(" ")
    }

    /// What `sclite` says of calls; none where it is not installed.
    pub fn judge(&self, rows: &[&Row]) -> Option<Counts> {
        if rows.is_empty() {
            // It falls over where nothing was said.
            return Some(Counts::new());
        }
        let folder = tempfile::tempdir().unwrap();
        let (mut said, mut heard) = (String::new(), String::new());
        for (idx, row) in rows.iter().enumerate() {
            let id = format!("({}-{idx:05})", row.truth.condition);
            let words = if row.heard.rejected { String::new() } else { self.spelled(&row.heard.text()) };
            let _ = writeln!(said, "{} {id}", self.spelled(&row.truth.words));
            let _ = writeln!(heard, "{words} {id}");
        }
        let (said_file, heard_file) = (folder.path().join("said.trn"), folder.path().join("heard.trn"));
        std::fs::write(&said_file, said).unwrap();
        std::fs::write(&heard_file, heard).unwrap();
        // Debian has it behind a command of the whole package.
        let told = [&["sclite"][..], &["sctk", "sclite"]].into_iter().find_map(|name| {
            let mut command = Command::new(name[0]);
            command.args(&name[1..]).arg("-r").arg(&said_file).arg("trn").arg("-h").arg(&heard_file);
            command.args(["trn", "-i", "spu_id", "-o", "sum", "stdout"]).output().ok()
        })?;
        assert!(told.status.success(), "sclite: {}", String::from_utf8_lossy(&told.stderr));
        let counts = read(&String::from_utf8_lossy(&told.stdout));
        assert!(!counts.is_empty(), "no table in what sclite said");
        Some(counts)
    }
}

/// Lines such as `| quiet | 2 5 | 80.0 0.0 20.0 20.0 40.0 100.0 |`: sentences, words, right, then what is wrong.
fn read(told: &str) -> Counts {
    let mut counts = Counts::new();
    for line in told.lines() {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let [_, name, amounts, shares, ..] = cells.as_slice() else { continue };
        let numbers: Vec<f64> =
            format!("{amounts} {shares}").split(' ').filter_map(|n| n.parse().ok()).collect();
        let [_, words, _, substituted, dropped, inserted, wrong, _] = numbers.as_slice() else { continue };
        if !["Mean", "S.D.", "Median"].contains(name) {
            let name = if *name == "Sum/Avg" { "all" } else { name };
            counts.insert(name.to_owned(), [*words, *substituted, *dropped, *inserted, *wrong]);
        }
    }
    counts
}
