//! An exam whose folder goes away while it is heard goes on in a second place, with all of it.
use crate::support::machine::Simulated;
use crate::support::{self, BUILT_IN};

use std::path::Path;
use std::sync::Arc;

use zonecall::exam::event::{CloseReason, Event};
use zonecall::exam_folder::ExamFolder;
use zonecall::machine;
use zonecall::protocol::Protocols;
use zonecall::session::ear::Ear;
use zonecall::session::effect::{Arrival, Effect};
use zonecall::session::exam_session::Session;
use zonecall::session::notice::ScreenChange;
use zonecall::speech::recording;
use zonecall::speech::scripted::Scripted;

fn session(folder: &Path) -> Session {
    let protocols = Arc::new(Protocols::built_in().unwrap());
    let language = BUILT_IN.0.clone();
    let ear = Ear { engine: Box::new(Scripted::new(Vec::new())), language, protocols };
    let folder = ExamFolder::on(machine::this(), folder);
    let mut session = Session::begin(&folder, support::header(), ear).unwrap();
    session.open_audio("default".to_owned(), None).unwrap();
    session
}

fn say(session: &mut Session, words: &str) -> Vec<Effect> {
    let from = session.next_sample().0;
    let block: Vec<i16> = (from..from + 40_000).map(|idx| i16::try_from(idx % 5 + 1).unwrap()).collect();
    session.take(&block).unwrap();
    let utterance = support::utterance(from as f64 / 16_000.0, words);
    let parsed = session.ear().understand(&utterance);
    session.attend(utterance, parsed, Arrival::Whole).unwrap()
}

fn is_told(effects: &[Effect]) -> bool {
    effects.iter().any(|effect| {
        matches!(effect, Effect::Show(ScreenChange::Line(_, text)) if text.contains("was removed or moved"))
    })
}

/// What is done to the folder; whether its sound is left.
const HARMS: [fn(&Path); 5] = [
    |exam| std::fs::remove_dir_all(exam).unwrap(),
    |exam| std::fs::rename(exam, exam.with_extension("moved")).unwrap(),
    |exam| std::fs::remove_file(exam.join("exam.jsonl")).unwrap(),
    |exam| std::fs::remove_dir_all(exam.join("audio")).unwrap(),
    |exam| std::fs::remove_dir_all(exam.parent().unwrap()).unwrap(),
];

#[test]
fn journal_and_sound_go_on_and_it_is_told_at_once() {
    for harm in HARMS {
        for by_saying in [true, false] {
            let home = tempfile::tempdir().unwrap();
            let folder = home.path().join("exams/juniper");
            let mut session = session(&folder);
            say(&mut session, "left fore zone two alpha transverse");
            harm(&folder);
            // The next line, or the next look, whichever comes first.
            let told = if by_saying && !folder.join("exam.jsonl").exists() {
                say(&mut session, "superficial flexor normal")
            } else {
                session.mind_folder().unwrap()
            };
            assert!(is_told(&told), "{told:?}");
            assert_eq!(session.mind_folder().unwrap(), [], "it is told once");
            say(&mut session, "save");
            session.close_audio().unwrap();
            let n_samples = session.next_sample().0;
            let (summary, _) = session.close(CloseReason::Stopped).unwrap();
            let second = folder.with_file_name("juniper-2");
            assert!(summary.contains("juniper-2") && summary.contains("was removed or moved"), "{summary}");
            let exam = ExamFolder::at(&second);
            let lines = exam.lines().unwrap();
            assert_eq!((lines.damage.len(), lines.tears.len()), (0, 0), "{:?}", lines.damage);
            let moved = lines.events.iter().filter(|line| matches!(line.event, Event::Moved { .. })).count();
            assert_eq!(moved, 1);
            let exam = exam.exam(&BUILT_IN.1).unwrap();
            assert_eq!(exam.sound, [], "all of the sound is there");
            let mut recording = recording::open(&second.join("audio/0001.wav")).unwrap();
            let mut kept = 0;
            while let Some(block) = recording.next_block().unwrap() {
                let right = |(idx, value): (u64, &i16)| *value == i16::try_from(idx % 5 + 1).unwrap();
                assert!((kept..).zip(&block).all(right));
                kept += block.len() as u64;
            }
            assert_eq!(kept, n_samples);
            assert_eq!(exam.calls.iter().filter(|call| call.call.words == "save").count(), 1);
        }
    }
}

/// An earlier recording that the disk does not give back.
#[cfg(target_os = "linux")]
#[test]
fn a_recording_that_cannot_be_copied_is_told_at_once() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("juniper");
    let mut session = session(&folder);
    say(&mut session, "left fore zone two alpha transverse");
    session.close_audio().unwrap();
    session.open_audio("default".to_owned(), None).unwrap();
    let earlier = folder.join("audio/0001.wav");
    std::fs::remove_file(&earlier).unwrap();
    // A file whose first byte cannot be read, by anybody.
    std::os::unix::fs::symlink("/proc/self/mem", &earlier).unwrap();
    std::fs::remove_file(folder.join("exam.jsonl")).unwrap();
    let told = session.mind_folder().unwrap();
    let said = told.iter().find_map(|effect| match effect {
        Effect::Show(ScreenChange::Line(_, text)) => Some(text.as_str()),
        _ => None,
    });
    let said = said.expect("it is told");
    assert!(said.contains("not copied whole, so keep the old folder") && said.contains("0001.wav"), "{said}");
}

#[test]
fn without_a_second_place_the_fault_is_the_first_one() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("juniper");
    let machine = Simulated::new(1, support::header().started_at);
    let protocols = Arc::new(Protocols::built_in().unwrap());
    let ear = Ear { engine: Box::new(Scripted::new(Vec::new())), language: BUILT_IN.0.clone(), protocols };
    let exam = ExamFolder::on(Arc::clone(&machine) as _, &folder);
    let mut session = Session::begin(&exam, support::header(), ear).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    machine.leave_room(Some(0));
    let refused = session.mind_folder().unwrap_err();
    assert!(refused.to_string().contains("exam.jsonl"), "{refused}");
}
