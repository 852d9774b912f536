//! The first page of the vet's report, and the pictures that go with it.
//!
//! Takes: `ReportInput`.
//! Gives: `FirstPage`: letterhead, signalment, the vet's words, what was found, and the stills that show it.
//! Never: a still whose label is in doubt among the pictures, or a word of meaning that no person wrote.
//! Tested in: `tests/it/first_page.rs`.

use super::lines::{FirstPage, FoundLine, KeyPicture, Letterhead, LimbFound};
use super::said::said_of;
use crate::exam::closed_sets::CallKind;
use crate::exam::event::Horse;
use crate::exam::place::Place;
use crate::exam::review::WordsPart;
use crate::knowledge::key_stills::{has_finding, is_sure, key_stills};
use crate::knowledge::record::{CallRow, ExamInfo, FrameRow, Record};
use crate::knowledge::undescribed::{UNDESCRIBED, undescribed_of};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;
use crate::report::picture::Picture;
use crate::report::words::{day, local, meaning_that_counts, said_against, standing, structure};
use crate::report::{ReportFrame, ReportInput};

pub(super) fn first_page(input: &ReportInput) -> FirstPage {
    let ReportInput { record, protocols, frame, .. } = *input;
    let words: Vec<(&str, String)> = record
        .words
        .iter()
        .filter(|row| is_prose(row.part))
        .map(|row| (row.part.name(), row.text.clone()))
        .collect();
    FirstPage {
        letterhead: Letterhead::of(&frame),
        signalment: signalment(record),
        lacks_impression: !record.words.iter().any(|row| row.part == WordsPart::Impression),
        words,
        found: found(record, protocols),
        open: record.findings.iter().filter(|finding| finding.is_open()).count(),
        pictures: pictures(input),
        not_shown: not_shown(input),
        appendix: frame.appendix,
    }
}

impl Letterhead {
    /// Of the practice that has a name.
    pub(crate) fn of(frame: &ReportFrame) -> Option<Letterhead> {
        frame.practice.filter(|practice| !practice.name.is_empty()).map(|practice| Letterhead {
            name: practice.name.clone(),
            lines: practice.lines(),
            logo: practice.picture.as_ref().map_or("", |logo| logo.ending),
        })
    }
}

fn is_prose(part: WordsPart) -> bool {
    matches!(part, WordsPart::Question | WordsPart::Impression | WordsPart::Recommendation)
}

/// The horse, and when and by whom it was scanned.
fn signalment(record: &Record) -> Vec<(&'static str, String)> {
    let exam = &record.exam;
    let mut facts = of_horse(record);
    facts.push(("Date of the scan", day(exam.started_at, exam.utc_offset_s)));
    if let Some(person) = &exam.person {
        facts.push(("Scanned by", person.clone()));
    }
    facts
}

/// What is known of the horse; what is not known is left out.
pub(crate) fn of_horse(record: &Record) -> Vec<(&'static str, String)> {
    let exam = &record.exam;
    let mut facts: Vec<(&str, String)> = Vec::new();
    if let (Some(_), Some(number)) = (&exam.horse.name, &exam.horse.id) {
        facts.push(("Horse number", number.clone()));
    }
    for part in WordsPart::ALL.into_iter().filter(|part| !is_prose(*part)) {
        // What a person wrote goes before what the practice's list says, and that before what was entered on the scanner.
        let written = record.words.iter().find(|row| row.part == part).map(|row| row.text.clone());
        let known = written.or_else(|| from_list(part, &exam.horse)).or_else(|| from_stills(part, exam));
        if let Some(text) = known {
            facts.push((part.name(), text));
        }
    }
    facts
}

/// What the practice's list of the day says of the horse.
fn from_list(part: WordsPart, horse: &Horse) -> Option<String> {
    match part {
        WordsPart::Owner => horse.owner.clone(),
        WordsPart::Breed => horse.breed.clone(),
        WordsPart::Sex => horse.sex.as_deref().map(|code| sex(code).to_owned()),
        _ => None,
    }
}

/// What the stills say of the horse; its age is that on the day of the exam.
fn from_stills(part: WordsPart, exam: &ExamInfo) -> Option<String> {
    let animal = exam.in_stills.as_ref()?;
    match part {
        WordsPart::Owner => animal.owner.clone(),
        WordsPart::Breed => animal.breed.clone(),
        WordsPart::Sex => animal.sex.as_deref().map(|code| match animal.neutered {
            Some(true) => format!("{}, neutered", sex(code)),
            _ => sex(code).to_owned(),
        }),
        WordsPart::Age => animal.age_on(local(exam.started_at, exam.utc_offset_s).date_naive()),
        _ => None,
    }
}

fn sex(code: &str) -> &str {
    match code {
        "M" => "male",
        "F" => "female",
        other => other,
    }
}

/// Findings by limb in the order of the protocols, then those of which no limb was said; one line for what was said in the same words of several zones.
fn found(record: &Record, protocols: &Protocols) -> Vec<LimbFound> {
    let undescribed = undescribed_of(record, protocols);
    let limbs = protocols.limbs.iter().map(Some).chain([None]).map(|one| {
        let code = one.map(|one| &one.code);
        let mine: Vec<&CallRow> = standing(record)
            .filter(|call| call.kind == CallKind::Finding && call.place.limb.as_ref() == code)
            .filter(|call| !matches!(call.class, Some(Class::Quality | Class::Detail)))
            .collect();
        // What something else contradicts is told with that.
        let is_normal = |call: &&&CallRow| call.is_all_normal() && call.contradicted_by.is_empty();
        let normal =
            by_words(mine.iter().filter(is_normal).map(|call| (&call.place, String::new())), protocols);
        let meaning = |call: &CallRow| with_contradiction(call, record, protocols);
        let found = mine.iter().filter(|call| !is_normal(call));
        let mut lines = by_words(found.map(|call| (&call.place, meaning(call))), protocols);
        let sized = undescribed.iter().filter(|place| place.limb.as_ref() == code);
        lines.extend(by_words(sized.map(|place| (place, UNDESCRIBED.to_owned())), protocols));
        let normal: Vec<String> =
            normal.into_iter().map(|line| format!("{} ({})", line.structure, line.places)).collect();
        let limb = code.map_or("limb not said", |code| protocols.limb_name(code)).to_owned();
        LimbFound { limb, lines, normal: normal.join(", ") }
    });
    limbs.filter(|found| !found.lines.is_empty() || !found.normal.is_empty()).collect()
}

/// What a finding says; what something contradicts, with that: neither is chosen.
fn with_contradiction(call: &CallRow, record: &Record, protocols: &Protocols) -> String {
    let own = meaning_that_counts(call, record, protocols);
    let others = said_against(call, record, protocols);
    match call.class {
        Some(Class::Normal) if !others.is_empty() => {
            format!("{own}, but also {}", others.join(" and "))
        }
        _ => own,
    }
}

/// One line for each structure and wording, with all its places.
fn by_words<'a>(said: impl Iterator<Item = (&'a Place, String)>, protocols: &Protocols) -> Vec<FoundLine> {
    let mut lines: Vec<(FoundLine, Vec<String>)> = Vec::new();
    for (at, what) in said {
        let part = at.structure.as_deref().map_or("not named", |code| structure(code, protocols));
        let place = place_words(at, protocols);
        match lines.iter_mut().find(|(line, _)| line.structure == part && line.what == what) {
            Some((_, places)) if places.contains(&place) => {}
            Some((_, places)) => places.push(place),
            None => {
                let line = FoundLine { structure: part.to_owned(), what, places: String::new() };
                lines.push((line, vec![place]));
            }
        }
    }
    lines.into_iter().map(|(line, places)| FoundLine { places: places.join("; "), ..line }).collect()
}

/// `2B transverse`.
fn place_words(place: &Place, protocols: &Protocols) -> String {
    let zone = place.zone.as_deref().unwrap_or("zone not said");
    let axis = place.plane.as_deref().map(|code| format!(" {}", protocols.plane_name(code)));
    format!("{zone}{}", axis.unwrap_or_default())
}

/// The stills that the report shows, as far as they can be shown.
fn pictures(input: &ReportInput) -> Vec<KeyPicture> {
    let chosen = key_stills(input.record, input.protocols).into_iter();
    chosen.filter_map(|idx| key_picture(idx, &input.record.frames[idx], input)).collect()
}

/// A line for each still of a finding, or one that was chosen, that is not shown: its label is in doubt, or it has no picture.
fn not_shown(input: &ReportInput) -> Vec<String> {
    let ReportInput { record, protocols, pictures, .. } = *input;
    let frames = record.frames.iter().enumerate();
    let doubted = frames
        .filter(|(_, frame)| !is_sure(frame))
        .filter(|(_, frame)| frame.key != Some(false))
        .filter(|(_, frame)| frame.key == Some(true) || has_finding(record, &frame.place));
    let line = |(idx, frame): (usize, &FrameRow)| {
        format!(
            "Still {}, {}: not shown, because its label is in doubt.",
            idx + 1,
            frame.place.in_words(protocols)
        )
    };
    let blank = key_stills(record, protocols).into_iter().filter_map(|idx| {
        let frame = &record.frames[idx];
        let Some(Picture::NotShown { why }) = pictures.get(&frame.id) else { return None };
        let (number, place) = (idx + 1, frame.place.in_words(protocols));
        Some(format!("Still {number}, {place}: not shown here: {why}. Its file is {}.", frame.name()))
    });
    doubted.map(line).chain(blank).collect()
}

/// What a still shows, and of a loop which frame.
fn caption(frame: &FrameRow, protocols: &Protocols) -> String {
    let words = frame.place.in_words(protocols);
    match frame.frame_number {
        Some(number) => format!("{words}, frame {number}"),
        None => words,
    }
}

fn key_picture(idx: usize, frame: &FrameRow, input: &ReportInput) -> Option<KeyPicture> {
    let Some(Picture::Shown { width_px, height_px, .. }) = input.pictures.get(&frame.id) else { return None };
    Some(KeyPicture {
        number: idx + 1,
        id: frame.id.clone(),
        caption: caption(frame, input.protocols),
        said: said_of(frame, input.record, input.protocols),
        tall: f64::from(*height_px) / f64::from((*width_px).max(1)),
        lines: input.frame.drawn.and_then(|drawn| drawn.get(&frame.id)).cloned().unwrap_or_default(),
    })
}
