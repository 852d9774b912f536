//! The printed reports, read by poppler: whole, embedded, of the right size, and with everything in them.
use crate::support;
use crate::support::pdf;
use crate::support::program;
use crate::support::sample;
use crate::support::sample::WHOLE;

use pdf::{Pdf, dense};
use program::zonecall;
use zonecall::exam::closed_sets::CallKind;
use zonecall::exam::review::WordsPart;
use zonecall::exam::seq::Seq;
use zonecall::knowledge::measure::Earlier;
use zonecall::knowledge::measure::row::Name;
use zonecall::knowledge::record::{Record, WordsRow};
use zonecall::protocol::Protocols;
use zonecall::report::ReportInput;
use zonecall::report::picture::{Picture, Pictures};
use zonecall::report::print::{Audience, PageSize, Printed, pdf};

const READERS: [Audience; 2] = [Audience::Vet, Audience::Owner];

fn printed_since(record: &Record, earlier: &[Earlier], reader: Audience, sheet: PageSize) -> Printed {
    let protocols = Protocols::built_in().unwrap();
    let pictures = Pictures::from([("2.25.90002".to_owned(), picture())]);
    pdf(
        &ReportInput { record, earlier, protocols: &protocols, pictures: &pictures, frame: WHOLE },
        reader,
        sheet,
    )
    .unwrap()
}

fn printed(record: &Record, reader: Audience) -> Printed {
    printed_since(record, &[], reader, PageSize::A4)
}

fn read(record: &Record, reader: Audience) -> Pdf {
    Pdf::new(&printed(record, reader).pdf)
}

/// A grey wedge.
pub(super) fn picture() -> Picture {
    let wedge = image::GrayImage::from_fn(64, 48, |x, _| image::Luma([u8::try_from(x).unwrap() * 4]));
    let mut jpeg = std::io::Cursor::new(Vec::new());
    wedge.write_to(&mut jpeg, image::ImageFormat::Jpeg).unwrap();
    Picture::Shown { jpeg: jpeg.into_inner(), width_px: 64, height_px: 48 }
}

#[test]
fn the_vet_reads_which_numbers_were_not_used_and_which_units_were_assumed() {
    let area = "area one point two square centimetres";
    let said = support::exam_of(&["left fore two bravo transverse", "s d f t", area, "area one point five"]);
    let pairing = zonecall::frames::pairing::Pairing::default();
    let record = zonecall::knowledge::assemble::record(&said, &pairing, &support::BUILT_IN.1);
    let vet = read(&record, Audience::Vet).dense();
    let (_, unused) = vet.split_once("Notused:").expect("a list of what was not used");
    assert!(unused.contains(&dense("area 1.2 cm2 (line ")), "{unused}");
    assert!(vet.contains(&dense("area 1.5 cm2 (unit assumed), call ")), "{vet}");
    assert!(!read(&record, Audience::Owner).dense().contains("Notused"));
}

/// ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: a letter is 8.5 by 11 inches; a point is 1/72 inch.
#[test]
fn both_reports_come_on_either_sheet_whole_tagged_and_with_every_font_in_them() {
    let record = sample::record();
    for reader in READERS {
        for (sheet, size) in [
            (PageSize::A4, (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0)),
            (PageSize::Letter, (8.5 * 72.0, 11.0 * 72.0)),
        ] {
            let read = Pdf::new(&printed_since(&record, &[], reader, sheet).pdf);
            let fonts = read.fonts();
            assert!(!fonts.is_empty() && fonts.iter().all(|font| font.1), "{fonts:?}");
            let told = read.property("Page size");
            let numbers: Vec<f64> =
                told.split_whitespace().filter_map(|word| word.parse().ok()).take(2).collect();
            assert!((numbers[0] - size.0).abs() < 0.1 && (numbers[1] - size.1).abs() < 0.1, "{told}");
            assert_eq!(read.property("Tagged"), "yes");
            assert!(read.property("Title").starts_with("Scan of Juniper, 4 May 2026"));
            // Nothing runs, nothing is filled in, nothing is locked.
            for (name, wanted) in [("JavaScript", "no"), ("Form", "none"), ("Encrypted", "no")] {
                assert_eq!(read.property(name), wanted, "{name}");
            }
            // The one still that has a picture shows a lesion: the vet finds it among the key pictures and in the appendix.
            assert_eq!(read.pictures(), if reader == Audience::Vet { 2 } else { 1 });
        }
    }
}

/// XMP of ISO 19005-2 and ISO 14289-1: what the file claims to keep to.
#[test]
fn the_file_says_that_it_is_made_for_keeping_and_for_reading_aloud() {
    let bytes = printed(&sample::record(), Audience::Vet).pdf;
    let text = String::from_utf8_lossy(&bytes);
    for claim in [
        "<pdfaid:part>2</pdfaid:part>",
        "<pdfaid:conformance>A</pdfaid:conformance>",
        "<pdfuaid:part>1</pdfuaid:part>",
    ] {
        assert!(text.contains(claim), "{claim}");
    }
}

#[test]
fn equal_exams_print_equal_bytes() {
    for reader in READERS {
        assert_eq!(printed(&sample::record(), reader), printed(&sample::record(), reader));
    }
}

#[test]
fn cautions_and_the_draft_stand_on_every_page_of_both() {
    for reader in READERS {
        let pages = read(&sample::record(), reader).pages();
        assert!(reader == Audience::Owner || pages.len() > 2, "{} pages", pages.len());
        for (idx, page) in pages.iter().enumerate() {
            assert!(page.contains("DRAFT. Not a diagnosis"), "page {}: {page}", idx + 1);
            assert!(page.contains(&format!("{} of {}", idx + 1, pages.len())), "page {}", idx + 1);
        }
    }
    let vet = read(&sample::record(), Audience::Vet).dense();
    assert_eq!(
        vet.matches(&dense("Sedation and handling safety are the practice's responsibility.")).count(),
        1
    );
    let owner = read(&sample::record(), Audience::Owner).dense();
    assert!(owner.contains(&dense("Not a diagnosis")));
}

/// The invented horse of `tests/it/measure.rs`, spoken.
fn measured() -> Record {
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let areas = [
        ["eight", "twelve", "thirty five", "fifty", "twenty eight", "four", "thirty"],
        ["six", "eight", "four", "two", "three", "one", "twenty seven"],
    ];
    let lesions = [(2, "twenty two"), (3, "fifty one"), (4, "thirty")];
    let mut said = Vec::new();
    for (limb, areas) in ["left fore", "right fore"].into_iter().zip(areas) {
        said.push(limb.to_owned());
        for (idx, area) in areas.into_iter().enumerate() {
            said.push(format!("{} transverse s d f t", zones[idx]));
            said.push(format!("area one hundred and {area} square millimetres"));
            match lesions.iter().find(|lesion| lesion.0 == idx && limb == "left fore") {
                Some((_, lesion)) => {
                    said.push(format!("lesion area {lesion} square millimetres"));
                    said.push("core lesion lateral".to_owned());
                }
                None => said.push("lesion area zero square millimetres".to_owned()),
            }
        }
    }
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let exam = support::exam_of(&said);
    zonecall::knowledge::assemble::record(
        &exam,
        &zonecall::frames::pairing::Pairing::default(),
        &support::BUILT_IN.1,
    )
}

#[test]
fn the_vets_report_holds_every_number_of_the_record() {
    for record in [sample::record(), measured()] {
        let read = read(&record, Audience::Vet);
        let text = read.dense();
        let mut wanted: Vec<String> = Vec::new();
        for row in record.measures.iter() {
            wanted.extend(row.why_not.iter().chain(&row.over).chain(&row.cautions).cloned());
            wanted.extend(row.source.clone().filter(|_| row.value.is_some() || row.over.is_some()));
        }
        for call in &record.calls {
            wanted.extend(
                call.number.filter(|_| call.kind != CallKind::Command).map(|number| number.to_string()),
            );
            wanted.push(call.words.clone());
            wanted.push(format!("{:.0} %", call.confidence * 100.0));
        }
        for entry in &record.entries {
            wanted.push(format!(
                "{} {} {}",
                entry.term,
                entry.number,
                entry.unit.as_deref().unwrap_or_default()
            ));
        }
        for frame in &record.frames {
            wanted.push(frame.name().to_owned());
            wanted
                .extend(frame.rivals.iter().map(|rival| format!("{:.0} % likely", rival.confidence * 100.0)));
        }
        wanted.extend(record.findings.iter().map(|finding| finding.message.replace('`', "")));
        let text = text.replace(['“', '”'], "");
        for words in wanted.iter().map(|words| dense(words)).filter(|words| !words.is_empty()) {
            assert!(text.contains(&words), "`{words}` is not in the report");
        }
    }
}

/// Row by row, as the numbers of one zone stand beside each other.
#[test]
fn the_vets_table_of_measures_has_each_zone_with_its_numbers() {
    let record = measured();
    let read = read(&record, Audience::Vet);
    let lines: Vec<Vec<String>> = read
        .pages()
        .iter()
        .flat_map(|page| page.lines())
        .map(|line| line.split_whitespace().map(str::to_owned).collect())
        .collect();
    let of = |limb: &str, name: Name, zone: &str| {
        let fits = |row: &&zonecall::knowledge::measure::row::MeasureRow| {
            row.limb == limb && row.name == name && row.zone.as_deref() == Some(zone)
        };
        record.measures.iter().find(fits).and_then(|row| row.value)
    };
    for limb in ["LF", "RF"] {
        for zone in ["1A", "1B", "2A", "2B", "3A", "3B", "3C"] {
            let number =
                |name, decimals: usize| of(limb, name, zone).map(|value| format!("{value:.decimals$}"));
            let signed =
                |name, decimals: usize| of(limb, name, zone).map(|value| format!("{value:+.decimals$}"));
            let row: Vec<String> = [
                Some(zone.to_owned()),
                number(Name::Area, 0),
                number(Name::LesionArea, 0),
                number(Name::LesionPercent, 1),
                signed(Name::AreaAgainstOtherLimb, 1),
                signed(Name::AreaMinusOtherLimb, 0),
            ]
            .into_iter()
            .flatten()
            .collect();
            assert_eq!(row.len(), 6, "{row:?}");
            assert!(lines.contains(&row), "{row:?} is not a line of the report");
        }
    }
}

const HOSTILE: &str = "</td><script>alert(1)</script> #import \"x.typ\": * $x$ *b* _i_ \\ `raw` @cite <label> [c] {d} // e /* f */";

#[test]
fn hostile_text_is_shown_as_text_in_both() {
    let mut record = sample::record();
    let bad = || HOSTILE.to_owned();
    record.exam.horse.name = Some(bad());
    record.exam.person = Some(bad());
    record.exam.engine = bad();
    for call in &mut record.calls {
        call.words = bad();
        call.term = Some(bad());
        call.place.structure = Some(HOSTILE.into());
    }
    for frame in &mut record.frames {
        frame.file = bad();
        frame.place.zone = Some(HOSTILE.into());
    }
    for finding in &mut record.findings {
        finding.message = bad();
    }
    record.coverage[0].zone = HOSTILE.into();
    record.changes[0].what = bad();
    for (reader, at_least) in [(Audience::Vet, 60), (Audience::Owner, 4)] {
        let text = read(&record, reader).dense();
        let shown = text.replace(['“', '”'], "`");
        assert!(
            shown.matches(&dense(HOSTILE)).count() >= at_least,
            "{reader:?}: {}",
            shown.matches(&dense(HOSTILE)).count()
        );
    }
}

/// Korean comes from a font of the machine; a letter that no font has is shown by its number, as is one that turns the
/// direction of writing.
#[test]
fn letters_of_other_scripts_are_printed_and_none_is_lost() {
    let mut record = sample::record();
    record.exam.horse.name = Some("Ženský Жанна Ιππος 번개 \u{202E}evil \u{1F434} \u{10FFFD}".to_owned());
    for reader in READERS {
        let printed = printed(&record, reader);
        assert!(printed.without_font.contains(&'\u{10FFFD}'), "{:?}", printed.without_font);
        assert!(!printed.without_font.contains(&'번'), "a Korean font is missing: run `make setup`");
        let read = Pdf::new(&printed.pdf);
        assert!(read.fonts().iter().all(|font| font.1), "{:?}", read.fonts());
        let text = read.dense();
        for part in ["Ženský", "Жанна", "Ιππος", "번개", "‹U+202E›evil", "‹U+10FFFD›"] {
            assert!(text.contains(part), "`{part}` is not in {reader:?}");
        }
    }
}

#[test]
fn what_the_vet_wrote_on_several_lines_is_printed_on_several_lines() {
    let mut record = sample::record();
    record.words = vec![WordsRow {
        seq: Seq(70),
        at: sample::at(990),
        by: "Robin".to_owned(),
        part: WordsPart::Recommendation,
        text: "Box rest.\nA scan in eight weeks.".to_owned(),
    }];
    let text = read(&record, Audience::Vet).pages().join("\n");
    assert!(!text.contains("U+000A"), "{text}");
    let line = |words: &str| text.lines().position(|line| line.contains(words)).unwrap();
    assert!(line("Box rest.") < line("A scan in eight weeks."), "{text}");
}

#[test]
fn an_exam_in_which_nothing_happened_is_printed_too() {
    let mut record = sample::record();
    record.calls.clear();
    record.frames.clear();
    record.coverage.clear();
    record.findings.clear();
    record.measures.clear();
    record.notes.clear();
    record.entries.clear();
    record.changes.clear();
    record.clock = None;
    record.exam.ended_at = None;
    record.exam.utc_offset_s = i32::MAX;
    let vet = read(&record, Audience::Vet).dense();
    for words in ["No limb was called", "Nothing to check.", "No still was found.", "never closed"] {
        assert!(vet.contains(&dense(words)), "{words}");
    }
    assert!(read(&record, Audience::Owner).dense().contains(&dense("No leg was recorded in this scan.")));
}

#[test]
fn the_command_prints_either_report_on_either_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    support::write_journal(&exam, &[(2.0, "left fore two bravo transverse"), (6.0, "s d f t core lesion")]);
    let at = exam.to_str().unwrap();
    let done = zonecall(&["report", at, "--format", "pdf", "--paper", "letter"]);
    assert!(done.status.success() && done.stderr.is_empty(), "{done:?}");
    assert!(Pdf::read(&exam.join("out/report.pdf")).property("Page size").contains("letter"));
    assert!(zonecall(&["report", at, "--for", "owner", "--format", "pdf"]).status.success());
    let owner = Pdf::read(&exam.join("out/report-owner.pdf"));
    assert!(owner.property("Page size").contains("A4"));
    assert!(owner.dense().contains(&dense("an area inside it looks different from the rest")));
    assert!(zonecall(&["report", at, "--for", "owner"]).status.success());
    let html = std::fs::read_to_string(exam.join("out/report-owner.html")).unwrap();
    assert!(html.contains("an area inside it looks different from the rest"));
    assert_eq!(zonecall(&["report", at, "--paper", "a5"]).status.code(), Some(2));
}
