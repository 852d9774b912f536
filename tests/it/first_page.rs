//! Claims about what a referring vet gets: first what the vet wrote, then the numbers, then the pictures that show it.
use crate::support;
use crate::support::pdf::{Pdf, dense};
use crate::support::sample;

use zonecall::clock::Sample;
use zonecall::exam::closed_sets::{CallKind, ExamStatus};
use zonecall::exam::event::{Entered, Event};
use zonecall::exam::fold::fold;
use zonecall::exam::journal;
use zonecall::exam::review::{Change, Review, WordsPart};
use zonecall::exam::seq::Seq;
use zonecall::knowledge::key_stills::key_stills;
use zonecall::knowledge::record::{EntryRow, Record, WordsRow};
use zonecall::language::closed_sets::Class;
use zonecall::report::overlay::{OverlayLine, Overlays, overlays};
use zonecall::report::picture::{Picture, Pictures};
use zonecall::report::practice::{Logo, Practice};
use zonecall::report::print::{Audience, PageSize, pdf};
use zonecall::report::{ReportFrame, ReportInput, owner, vet};
use zonecall::trace::Outline;

fn picture() -> Picture {
    let wedge = image::GrayImage::from_fn(64, 48, |x, _| image::Luma([u8::try_from(x).unwrap() * 4]));
    let mut jpeg = std::io::Cursor::new(Vec::new());
    wedge.write_to(&mut jpeg, image::ImageFormat::Jpeg).unwrap();
    Picture::Shown { jpeg: jpeg.into_inner(), width_px: 64, height_px: 48 }
}

fn pictures() -> Pictures {
    Pictures::from([("2.25.90002".to_owned(), picture())])
}

fn practice() -> Practice {
    Practice {
        name: "Example Equine".to_owned(),
        address: vec!["1 Lane".to_owned(), "Town".to_owned()],
        phone: "01234 567".to_owned(),
        ..Practice::default()
    }
}

fn written(mut record: Record, part: WordsPart, text: &str) -> Record {
    let (seq, at, by) = (record.calls[0].seq, record.exam.started_at, "Dr Example".to_owned());
    record.words.push(WordsRow { seq, at, by, part, text: text.to_owned() });
    record
}

fn in_pdf(record: &Record, reader: Audience, frame: ReportFrame) -> Pdf {
    let (protocols, pictures) = (&support::BUILT_IN.1, &pictures());
    let told = ReportInput { record, earlier: &[], protocols, pictures, frame };
    Pdf::new(&pdf(&told, reader, PageSize::A4).unwrap().pdf)
}

fn in_html(record: &Record, frame: ReportFrame) -> String {
    let (protocols, pictures) = (&support::BUILT_IN.1, &pictures());
    vet::html(&ReportInput { record, earlier: &[], protocols, pictures, frame })
}

#[test]
fn the_first_page_has_letterhead_words_findings_and_the_place_to_sign() {
    let record = written(sample::record(), WordsPart::Impression, "Healing core lesion.");
    let record = written(record, WordsPart::Recommendation, "Walk in hand.\nScan again in ten weeks.");
    let record = written(record, WordsPart::Microchip, "276 0000");
    let practice = practice();
    let frame = ReportFrame { practice: Some(&practice), ..ReportFrame::default() };
    let first = dense(&in_pdf(&record, Audience::Vet, frame).pages()[0]);
    let order = ["Example Equine", "01234 567", "Juniper", "276 0000", "Impression", "Healing core lesion."];
    let rest = ["Recommendation", "Scan again in ten weeks.", "Vet, date and signature", "What was found"];
    let order = [&order[..], &rest, &["Extent of the scan"]].concat();
    let mut from = 0;
    for words in order {
        let at = first[from..].find(&dense(words)).unwrap_or_else(|| panic!("{words}: {first}"));
        from += at;
    }
    assert!(first.contains(&dense("Vet, date and signature")), "{first}");
    let html = in_html(&record, frame);
    assert!(html.contains("Healing core lesion.") && html.contains("Example Equine"));
}

#[test]
fn nothing_is_written_for_the_vet_and_a_draft_says_that_the_impression_lacks() {
    let page = dense(&in_pdf(&sample::record(), Audience::Vet, ReportFrame::default()).pages()[0]);
    assert!(page.contains(&dense("Impression Not written yet")), "{page}");
    assert!(!page.contains("Recommendation"), "{page}");
}

#[test]
fn a_still_is_proposed_for_what_is_changed_and_not_for_what_is_said_to_be_sound() {
    let protocols = &support::BUILT_IN.1;
    let said = |class: Class, term: &str| {
        let mut record = sample::record();
        let lesions = record.calls.iter_mut().filter(|call| call.class == Some(Class::Lesion));
        lesions.for_each(|call| (call.class, call.term) = (Some(class.clone()), Some(term.to_owned())));
        key_stills(&record, protocols)
    };
    let shown = said(Class::Lesion, "core lesion");
    assert!(!shown.is_empty());
    assert_eq!(said(Class::Abnormal, "abnormal"), shown);
    for (class, term) in
        [(Class::Unremarkable, "bone smooth"), (Class::Normal, "normal"), (Class::Absent, "not seen")]
    {
        assert_eq!(said(class, term), Vec::<usize>::new(), "{term}");
    }
}

#[test]
fn the_calls_and_all_stills_come_only_with_the_appendix() {
    let record = sample::record();
    for (appendix, wanted) in [(false, false), (true, true)] {
        let frame = ReportFrame { appendix, ..ReportFrame::default() };
        let (pdf, html) = (in_pdf(&record, Audience::Vet, frame).dense(), in_html(&record, frame));
        for part in ["CallTimeWordsMeaning", "bythescanner'sclock"] {
            assert_eq!(pdf.contains(part), wanted, "{part}: {pdf}");
        }
        assert_eq!(html.contains("id=\"calls\""), wanted);
        assert!(pdf.contains("DRAFT") && html.contains("DRAFT"));
    }
}

#[test]
fn what_was_traced_is_drawn_over_the_picture_and_what_was_taken_back_is_not() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone two bravo transverse")]);
    let add = |event: Event| {
        let mut journal = journal::Journal::open(folder.path()).unwrap();
        journal.append(support::header().started_at, Sample::FIRST, &event).unwrap()
    };
    add(Event::Frame(Box::new(support::still::frame("one"))));
    let traced = |outline| {
        Event::Entered(Box::new(Entered {
            traced: true,
            still: Some("one".to_owned()),
            outline: Some(outline),
            ..support::area("SDFT", 100.0, "mm2")
        }))
    };
    let corners = |x: f64| Outline::Polygon { points_px: vec![(x, 0.0), (100.0, 50.0), (0.0, 50.0)] };
    add(traced(corners(10.0)));
    let later = add(traced(corners(20.0)));
    let exam = || fold(&journal::read(folder.path()).unwrap(), &support::BUILT_IN.1).unwrap();
    let line = |x: f64| OverlayLine { corners: vec![(x / 200.0, 0.0), (0.5, 0.5), (0.0, 0.5)], closed: true };
    assert_eq!(
        overlays(&exam()),
        Overlays::from([("one".to_owned(), vec![line(20.0)])]),
        "the later one counts"
    );
    let (by, why, was) = ("Kim".to_owned(), String::new(), String::new());
    let back = Review { by, why, was, change: Change::TakeBack { seq: later } };
    add(Event::Review(Box::new(back)));
    assert_eq!(overlays(&exam()), Overlays::from([("one".to_owned(), vec![line(10.0)])]));
    let over = Overlays::from([("2.25.90002".to_owned(), vec![line(10.0)])]);
    let frame = ReportFrame { drawn: Some(&over), ..ReportFrame::default() };
    assert!(in_html(&sample::record(), frame).contains("<polygon points=\"0.0500,0.0000 "));
    assert_eq!(in_pdf(&sample::record(), Audience::Vet, frame).pictures(), 1);
}

#[test]
fn the_owner_reads_on_one_page_whom_to_call() {
    let practice = practice();
    let frame = ReportFrame { practice: Some(&practice), ..ReportFrame::default() };
    let read = in_pdf(&sample::record(), Audience::Owner, frame);
    assert_eq!(read.pages().len(), 1);
    assert!(read.dense().contains(&dense("call Example Equine: 01234 567")), "{}", read.dense());
    let (protocols, record, pictures) = (&support::BUILT_IN.1, &sample::record(), &pictures());
    let html = owner::html(&ReportInput { record, earlier: &[], protocols, pictures, frame });
    assert!(html.contains("call Example Equine: 01234 567"));
}

#[test]
fn a_logo_is_a_picture_or_nothing() {
    assert!(Logo::of(b"<svg onload=alert(1)>".to_vec()).is_none());
    let mut png = std::io::Cursor::new(Vec::new());
    image::GrayImage::new(4, 4).write_to(&mut png, image::ImageFormat::Png).unwrap();
    assert_eq!(Logo::of(png.into_inner()).unwrap().ending, "png");
}

#[test]
fn a_signed_report_needs_no_hand_and_does_not_say_how_sure_the_ear_was() {
    let mut record = sample::record();
    record.exam.status = ExamStatus::Signed;
    let owners = in_pdf(&record, Audience::Owner, ReportFrame::default()).dense();
    let text = in_pdf(&record, Audience::Vet, ReportFrame::default()).dense();
    for text in [&text, &owners] {
        assert!(text.contains("SIGNED") && !text.contains(&dense("Vet, date and signature")), "{text}");
    }
    let draft = in_pdf(&sample::record(), Audience::Owner, ReportFrame::default()).dense();
    assert!(draft.contains(&dense("Vet, date and signature")), "{draft}");
    assert!(!text.contains("%sure"), "{text}");
}

#[test]
fn a_traced_area_is_one_number_in_captions_and_tables() {
    let said = ["left fore two bravo transverse", "s d f t", "area one point five square centimetres"];
    let pairing = zonecall::frames::pairing::Pairing::default();
    let mut record =
        zonecall::knowledge::assemble::record(&support::exam_of(&said), &pairing, &support::BUILT_IN.1);
    let call =
        record.calls.iter().find(|call| call.kind == CallKind::Value).expect("an area was said").clone();
    let entered = Seq(9000);
    record.calls.iter_mut().filter(|row| row.seq == call.seq).for_each(|row| row.replaced_by = Some(entered));
    record.entries.push(EntryRow {
        seq: entered,
        place: call.place.clone(),
        term: "area".to_owned(),
        number: 149.76,
        unit: Some("mm2".to_owned()),
        traced: true,
        ..EntryRow::default()
    });
    let page = in_html(&record, sample::WHOLE);
    let (_, said) = page.split_once("Findings and values as spoken").expect("what was said");
    let (said, _) = said.split_once("</table>").unwrap();
    assert!(said.contains("area 150 mm2") && !said.contains("149.76"), "{said}");
}

/// Owner, breed, sex and birth stand in most stills already; what a list or a person says goes before it.
#[test]
fn the_horse_is_described_by_what_its_stills_say_where_nobody_typed_it() {
    use zonecall::exam::animal::Animal;
    let mut record = sample::record();
    record.exam.horse =
        zonecall::exam::event::Horse { name: Some("Juniper".to_owned()), ..Default::default() };
    record.exam.in_stills = Some(Animal {
        owner: Some("Ada Marsh".to_owned()),
        breed: Some("Warmblood".to_owned()),
        sex: Some("M".to_owned()),
        neutered: Some(true),
        born: Some("2019-05-05".parse().unwrap()),
    });
    let facts = |record: &Record| {
        let page = in_html(record, ReportFrame::default());
        let from = page.find("<dl class=\"facts\">").unwrap();
        page[from..from + page[from..].find("</dl>").unwrap()].to_owned()
    };
    let told = facts(&record);
    for (name, value) in
        [("Owner", "Ada Marsh"), ("Breed", "Warmblood"), ("Sex", "male, neutered"), ("Age", "6 years")]
    {
        assert!(told.contains(&format!("<dt>{name}</dt><dd>{value}</dd>")), "{told}");
    }
    record.exam.horse.breed = Some("Hanoverian".to_owned());
    let told = facts(&written(record, WordsPart::Owner, "Kim Example"));
    assert!(told.contains("<dd>Kim Example</dd>") && told.contains("<dd>Hanoverian</dd>"), "{told}");
    assert!(!told.contains("Ada Marsh") && !told.contains("Warmblood"), "{told}");
}
