//! Pairing measured on made-up exams, beside the plain method that a person would script.
//!
//! The table of `docs/measured.md` is made here: equal seeds give equal exams.
use crate::support;

use chrono::{DateTime, TimeDelta, Utc};

use super::docs::generated::table;
use super::pair::exam;
use zonecall::exam::call::{Act, View};
use zonecall::exam::event::{CloseReason, Frame};
use zonecall::exam::fold::Exam;
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

/// How exams go wrong.
struct Noise {
    name: &'static str,
    /// From the word to the button, at most, in seconds; 0.2 at least.
    delay_s: f64,
    /// Share of stills saved twice, of saves without a still, and of stills without a save.
    slips: f64,
    /// Share of stills saved before the word.
    before: f64,
}

const LEVELS: [Noise; 3] = [
    Noise { name: "calm", delay_s: 1.0, slips: 0.0, before: 0.0 },
    Noise { name: "usual", delay_s: 2.0, slips: 0.05, before: 0.1 },
    Noise { name: "hard", delay_s: 3.0, slips: 0.1, before: 0.1 },
];
/// Stills of an exam, and how many exams of that size are made up.
const SIZES: [(usize, u64); 4] = [(10, 100), (36, 60), (120, 30), (400, 8)];
const ZONES: [&str; 6] = ["1A", "1B", "2A", "2B", "3A", "3B"];

/// Numbers that look like chance, the same each time (splitmix64).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((bits ^ (bits >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }

    fn is(&mut self, share: f64) -> bool {
        self.next() < share
    }
}

/// An exam, its stills with the call of the view that each shows, and the seconds of the saves.
struct MadeUp {
    exam: Exam,
    frames: Vec<Frame>,
    shows: Vec<usize>,
    saves: Vec<(f64, usize)>,
}

fn after(at_s: f64) -> DateTime<Utc> {
    support::header().started_at + TimeDelta::microseconds((at_s * 1e6).round() as i64)
}

/// A clock that is wrong by seconds, by an hour, by half hours, by a day or by years, in turn.
fn offset_s(seed: u64, chance: &mut Chance) -> f64 {
    match seed % 5 {
        0 => chance.between(-60.0, 60.0),
        1 => chance.between(-3600.0, 3600.0),
        2 => 1800.0 * chance.between(-48.0, 48.0).trunc() + chance.between(-30.0, 30.0),
        3 => chance.between(-86_400.0, 86_400.0),
        _ => 86_400.0 * 365.0 * chance.between(-10.0, 10.0).trunc() + chance.between(-600.0, 600.0),
    }
}

fn made_up(noise: &Noise, n_stills: usize, seed: u64) -> MadeUp {
    let mut chance = Chance(seed * 7919 + n_stills as u64 * 31 + (noise.slips * 1000.0) as u64);
    let offset_s = offset_s(seed, &mut chance);
    let drift = chance.between(-200e-6, 200e-6);
    let is_whole = chance.is(0.5);
    let (mut acts, mut stills, mut saves) = (Vec::new(), Vec::new(), Vec::new());
    let (mut at_s, mut n_views) = (5.0, 0);
    while stills.len() < n_stills {
        let view = View {
            limb: Some(["LF", "RF"][n_views / 12 % 2].into()),
            zone: Some(ZONES[n_views / 2 % 6].into()),
            plane: Some(["T", "L"][n_views % 2].into()),
            ..View::default()
        };
        n_views += 1;
        let call = acts.len();
        acts.push((at_s, Act::View(view)));
        let said_s = at_s + chance.between(3.0, 15.0);
        let delay_s = match chance.is(noise.before) {
            true => -chance.between(0.2, 1.5),
            false => chance.between(0.2, noise.delay_s),
        };
        let (no_word, no_still) = (chance.is(noise.slips), chance.is(noise.slips));
        if !no_word {
            saves.push((said_s, call));
            acts.push((said_s, Act::Save));
        }
        let mut last_s = said_s + delay_s.max(0.0);
        if !no_still {
            stills.push((said_s + delay_s, call));
            if chance.is(noise.slips) {
                let longest_s = if chance.is(0.5) { 1.0 } else { 3.0 };
                last_s = said_s + delay_s + chance.between(0.3, longest_s);
                stills.push((last_s, call));
            }
        }
        at_s = last_s.max(said_s) + chance.between(1.0, 12.0);
    }
    let mut exam = exam(&acts);
    exam.closed = Some((after(at_s + 5.0), CloseReason::EndOfExam));
    let step_s = if is_whole { 1.0 } else { 0.01 };
    let frame = |(number, (saved_s, _)): (usize, &(f64, usize))| {
        let shown_s = ((saved_s + offset_s + drift * saved_s) / step_s).floor() * step_s;
        Frame {
            id: format!("2.25.{number}"),
            saved_at: after(shown_s),
            resolution_s: step_s,
            instance_number: Some(number as i64),
            time_source: "AcquisitionDateTime".to_owned(),
            ..support::still::frame("")
        }
    };
    let frames = stills.iter().enumerate().map(frame).collect();
    let shows = stills.iter().map(|still| still.1).collect();
    MadeUp { exam, frames, shows, saves }
}

/// Stills of all exams of one kind.
#[derive(Debug, Default)]
struct Count {
    stills: usize,
    right: usize,
    /// Another label, and nothing says that it may be wrong.
    wrong: usize,
    right_by_plain: usize,
}

impl Count {
    fn share(&self, count: usize) -> f64 {
        100.0 * count as f64 / self.stills as f64
    }

    fn add(&mut self, made_up: &MadeUp) {
        let MadeUp { exam, frames, shows, .. } = made_up;
        let place = |call: usize| &exam.calls[call].context.place;
        let plain = by_plain_method(made_up);
        for ((paired, shows), plain) in pair(exam, frames).frames.iter().zip(shows).zip(plain) {
            self.stills += 1;
            self.right_by_plain += usize::from(plain == Some(*shows));
            if let Tie::Save(call) | Tie::Context(call) = paired.tie {
                let is_right = place(call) == place(*shows);
                self.right += usize::from(is_right);
                self.wrong += usize::from(!is_right && paired.rivals.is_empty());
            }
        }
    }
}

/// The first still is tied to the first save, and every other one to the save next to it.
fn by_plain_method(made_up: &MadeUp) -> Vec<Option<usize>> {
    let at_s = |frame: &Frame| (frame.saved_at - support::header().started_at).as_seconds_f64();
    let first = made_up.frames.first().zip(made_up.saves.first());
    let offset_s = first.map_or(0.0, |(frame, save)| at_s(frame) - save.0);
    let nearest = |frame: &Frame| {
        let off = |save: &(f64, usize)| (save.0 + offset_s - at_s(frame)).abs();
        made_up.saves.iter().min_by(|a, b| off(a).total_cmp(&off(b))).map(|save| save.1)
    };
    made_up.frames.iter().map(nearest).collect()
}

fn measured() -> Vec<(&'static str, usize, Count)> {
    let of_level = |noise: &'static Noise| {
        SIZES.into_iter().map(move |(n_stills, exams)| {
            let mut count = Count::default();
            (0..exams).for_each(|seed| count.add(&made_up(noise, n_stills, seed)));
            (noise.name, n_stills, count)
        })
    };
    LEVELS.iter().flat_map(of_level).collect()
}

/// The table for `docs/measured.md`.
pub fn simulated() -> String {
    let row = |(name, n_stills, count): (&str, usize, Count)| {
        let percent = |count_of: usize| format!("{:.1} %", count.share(count_of));
        vec![
            name.to_owned(),
            n_stills.to_string(),
            percent(count.right),
            percent(count.wrong),
            percent(count.stills - count.right - count.wrong),
            percent(count.right_by_plain),
        ]
    };
    let head =
        ["Exams", "Stills each", "Right", "Wrong, unmarked", "Left open or marked", "Plain method, right"];
    table(&head, measured().into_iter().map(row))
}

#[test]
fn of_made_up_exams_ninety_nine_stills_in_a_hundred_are_right_and_hardly_one_is_wrong_unmarked() {
    let mut all = Count::default();
    for (name, n_stills, count) in measured() {
        assert!(count.share(count.wrong) <= 0.2, "{name} {n_stills}: {count:?}");
        // A clock that is hours off cannot be distinguished from chance by ten stills of an exam that went badly.
        let wanted = if n_stills == 10 { 60.0 } else { 99.0 };
        assert!(count.share(count.right) >= wanted, "{name} {n_stills}: {count:?}");
        all.stills += count.stills;
        all.right_by_plain += count.right_by_plain;
        all.right += count.right;
    }
    assert!(all.right > all.right_by_plain);
}
