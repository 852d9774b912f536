//! A PDF as poppler reads it.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::Path;
use std::process::Command;

/// ISO 32000 has `Suspects` as a boolean, false by default (14.7.1, from memory); Debian 12's poppler takes a plain
/// `false` for a fault.
const POPPLER_SLIP: &str = "Suspects object is wrong type (boolean)";

/// A PDF in a temporary file.
pub struct Pdf {
    folder: tempfile::TempDir,
}

impl Pdf {
    pub fn new(bytes: &[u8]) -> Pdf {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("report.pdf"), bytes).unwrap();
        Pdf { folder }
    }

    pub fn read(file: &Path) -> Pdf {
        Pdf::new(&std::fs::read(file).unwrap())
    }

    /// What one of poppler's programs says of it; a word of warning on standard error fails the test.
    fn run(&self, program: &str, before: &[&str], after: &[&str]) -> String {
        let file = self.folder.path().join("report.pdf");
        let done = Command::new(program).args(before).arg(file).args(after).output();
        let done = done.unwrap_or_else(|error| panic!("{program}: {error}; run `make setup`"));
        assert!(done.status.success(), "{done:?}");
        let told = String::from_utf8_lossy(&done.stderr);
        let complaints: Vec<&str> = told.lines().filter(|line| !line.contains(POPPLER_SLIP)).collect();
        assert_eq!(complaints, [""; 0], "{program} complains");
        String::from_utf8(done.stdout).unwrap()
    }

    /// The text, page by page, as it is laid out.
    pub fn pages(&self) -> Vec<String> {
        let text = self.run("pdftotext", &["-layout", "-enc", "UTF-8"], &["-"]);
        text.trim_end_matches('\u{c}').split('\u{c}').map(str::to_owned).collect()
    }

    /// The text without any space, so that line breaks hide nothing; in the order in which it is read aloud.
    pub fn dense(&self) -> String {
        dense(&self.run("pdftotext", &["-raw", "-enc", "UTF-8"], &["-"]))
    }

    /// One property.
    pub fn property(&self, name: &str) -> String {
        let about = self.run("pdfinfo", &[], &[]);
        let line = about.lines().find_map(|line| line.strip_prefix(&format!("{name}:")));
        line.unwrap_or_else(|| panic!("no {name} in {about}")).trim().to_owned()
    }

    /// Each font's name, and whether it is embedded.
    pub fn fonts(&self) -> Vec<(String, bool)> {
        let table = self.run("pdffonts", &[], &[]);
        let mut lines = table.lines();
        let embedded = lines.next().unwrap().find("emb").unwrap();
        lines.next();
        lines
            .map(|line| {
                let name = line.split_whitespace().next().unwrap().to_owned();
                (name, line[embedded..].starts_with("yes"))
            })
            .collect()
    }

    /// Names of the pictures' kinds, such as `jpeg`.
    pub fn pictures(&self) -> usize {
        self.run("pdfimages", &["-list"], &[]).lines().skip(2).count()
    }
}

/// A text without any space.
pub fn dense(text: &str) -> String {
    text.chars().filter(|sign| !sign.is_whitespace()).collect()
}
