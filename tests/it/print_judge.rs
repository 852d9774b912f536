//! The printed reports before a checker that is not ours: veraPDF, on PDF/A-2a (ISO 19005-2) and PDF/UA-1 (ISO 14289-1).
use super::print::picture;
use crate::support::sample;
use crate::support::sample::WHOLE;

use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::TimeDelta;

use zonecall::exam::review::WordsPart;
use zonecall::exam::seq::Seq;
use zonecall::knowledge::measure::Earlier;
use zonecall::knowledge::record::{Record, WordsRow};
use zonecall::protocol::Protocols;
use zonecall::report::picture::Pictures;
use zonecall::report::print::{Audience, PageSize, pdf};
use zonecall::report::{ReportFrame, ReportInput};

/// What the checker says of these files, a line each rule that is broken, and a line each file and standard.
fn judged(files: &[PathBuf]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let parts = root.join(std::env::var("ZONECALL_DEPS").unwrap_or_else(|_| ".deps".to_owned()));
    let done = Command::new("java")
        .arg("-cp")
        .arg(parts.join("print/jars/*"))
        .arg(root.join("scripts/print/PrintJudge.java"))
        .args(files)
        .output()
        .unwrap_or_else(|error| panic!("java: {error}; run `make setup`"));
    let told = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(done.status.success(), "{told}{}", String::from_utf8_lossy(&done.stderr));
    told
}

/// A text in each script that a practice may write in; what no font here has is printed by its number.
const TEXTS: [&str; 5] = [
    "Mild lesion of the superficial flexor; rest, and a scan in six weeks.",
    "Обследование повторить через шесть недель.",
    "Να επαναληφθεί σε έξι εβδομάδες.",
    "여섯 주 뒤에 다시 검사합니다.",
    "Žluťoučký kůň; ½ µm ≥ 3 cm²; “quoted” – and 𝛼.",
];

fn record(text: &str) -> Record {
    let mut record = sample::record();
    record.words = [WordsPart::Owner, WordsPart::Question, WordsPart::Impression, WordsPart::Recommendation]
        .into_iter()
        .map(|part| WordsRow {
            seq: Seq(70),
            at: sample::at(990),
            by: "Robin".to_owned(),
            part,
            text: text.to_owned(),
        })
        .collect();
    record
}

/// Six exams before the sample's: the course lies on its side.
fn earlier() -> Vec<Earlier> {
    let rows = sample::record().measures;
    let exam = |month: i64| Earlier {
        id: format!("exam-{month}"),
        at: sample::at(0) - TimeDelta::days(30 * (7 - month)),
        utc_offset_s: 3600,
        rows: rows.clone(),
    };
    (1..7).map(exam).collect()
}

#[test]
fn all_reports_keep_pdf_a_and_pdf_ua_on_both_papers_and_in_every_script() {
    let folder = tempfile::tempdir().unwrap();
    let protocols = Protocols::built_in().unwrap();
    let pictures = Pictures::from([("2.25.90002".to_owned(), picture())]);
    let earlier = earlier();
    let mut files = Vec::new();
    for (idx, text) in TEXTS.iter().enumerate() {
        let record = record(text);
        for (name, reader, size, appendix) in [
            ("vet-a4", Audience::Vet, PageSize::A4, true),
            ("vet-letter", Audience::Vet, PageSize::Letter, false),
            ("owner-a4", Audience::Owner, PageSize::A4, false),
            ("owner-letter", Audience::Owner, PageSize::Letter, false),
            ("course-a4", Audience::Course, PageSize::A4, false),
            ("course-letter", Audience::Course, PageSize::Letter, false),
        ] {
            let frame = ReportFrame { appendix, ..WHOLE };
            let input = ReportInput {
                record: &record,
                earlier: &earlier,
                protocols: &protocols,
                pictures: &pictures,
                frame,
            };
            let path = folder.path().join(format!("{idx}-{name}.pdf"));
            std::fs::write(&path, pdf(&input, reader, size).unwrap().pdf).unwrap();
            files.push(path);
        }
    }
    let told = judged(&files);
    assert!(!told.contains("wrong\t") && !told.contains("breaks\t"), "{told}");
    assert_eq!(told.matches("keeps\t2a\t").count(), files.len(), "{told}");
    assert_eq!(told.matches("keeps\tua1\t").count(), files.len(), "{told}");
    // The checker sees what is wrong: a file that does not say what it keeps.
    let bytes = std::fs::read(&files[0]).unwrap();
    let claim = b"pdfaid:part";
    let at = bytes.windows(claim.len()).position(|part| part == claim).unwrap();
    let broken = folder.path().join("broken.pdf");
    std::fs::write(&broken, [&bytes[..at], &b"pdfaxx"[..], &bytes[at + 6..]].concat()).unwrap();
    assert!(judged(&[broken]).contains("breaks\t2a\t"));
}

#[test]
fn the_reports_that_the_docs_show_keep_both_standards() {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reports");
    let files = ["vet.pdf", "owner.pdf", "course.pdf"].map(|name| docs.join(name));
    let told = judged(&files);
    assert!(!told.contains("breaks\t") && told.matches("keeps\t").count() == 6, "{told}");
}

/// Share of each page that is blank between its last line and the place of the foot.
fn blank(file: &Path) -> Vec<f64> {
    let folder = tempfile::tempdir().unwrap();
    let done = Command::new("pdftoppm")
        .args(["-r", "25", "-gray"])
        .arg(file)
        .arg(folder.path().join("page"))
        .status()
        .expect("poppler is there: run `make setup`");
    assert!(done.success());
    let mut pages: Vec<PathBuf> =
        std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().path()).collect();
    pages.sort();
    pages.iter().map(|page| blank_of(&std::fs::read(page).unwrap())).collect()
}

/// A picture in the form that `pdftoppm -gray` writes: `P5`, width, height and greatest value, then the greys.
fn blank_of(bytes: &[u8]) -> f64 {
    let mut parts = bytes.splitn(4, |byte| byte.is_ascii_whitespace());
    assert_eq!(parts.next().unwrap(), b"P5");
    let mut number = || std::str::from_utf8(parts.next().unwrap()).unwrap().parse::<usize>().unwrap();
    let (width, height) = (number(), number());
    let rest = parts.next().unwrap();
    let greys = &rest[rest.len() - width * height..];
    // The foot of the page stands in its lowest 21 of 297 mm.
    let floor = height - height * 22 / 297;
    let has_ink = |row: usize| greys[row * width..(row + 1) * width].iter().any(|grey| *grey < 200);
    let last = (0..floor).rev().find(|row| has_ink(*row)).unwrap_or(0);
    (floor - last) as f64 / height as f64
}

#[test]
fn no_page_but_the_last_is_a_third_blank_however_much_the_vet_writes() {
    let folder = tempfile::tempdir().unwrap();
    let protocols = Protocols::built_in().unwrap();
    let ids = sample::record().frames.into_iter().map(|frame| frame.id);
    let pictures: Pictures = ids.map(|id| (id, picture())).collect();
    for lines in [0, 1, 6, 12, 18, 24, 30, 40] {
        let mut record = record(&"Another line of what the scan means.\n".repeat(lines));
        for frame in &mut record.frames {
            frame.doubt.clear();
        }
        let frame = ReportFrame { appendix: false, ..WHOLE };
        let input =
            ReportInput { record: &record, earlier: &[], protocols: &protocols, pictures: &pictures, frame };
        let path = folder.path().join("report.pdf");
        std::fs::write(&path, pdf(&input, Audience::Vet, PageSize::A4).unwrap().pdf).unwrap();
        let blank = blank(&path);
        let (_, before) = blank.split_last().unwrap();
        assert!(before.iter().all(|share| *share < 1.0 / 3.0), "{lines} lines: {blank:?}");
    }
    let shown = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reports/vet.pdf");
    let blank = blank(&shown);
    assert!((3..=5).contains(&blank.len()), "three to five pages: {blank:?}");
    assert!(blank[..blank.len() - 1].iter().all(|share| *share < 1.0 / 3.0), "{blank:?}");
}
