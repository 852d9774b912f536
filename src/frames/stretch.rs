//! The clock of the whole exam, held against the saves of each stretch between two restarts of the program.
//!
//! Takes: the moments, the stills, the clock that explains most of them, and the labels that it gives.
//! Gives: which stills lie in a stretch whose own saves confirm no clock, and the labels as the stretch has them.
//! Never: takes for granted that the computer's clock ran on, or the scanner's, while the program was stopped.
//! Tested in: `tests/it/clocks.rs`, `tests/it/simulated.rs`.

use std::ops::Range;

use crate::exam::fold::Exam;
use crate::frames::clock_fit::{Candidate, Said, Saved, candidates, exam_s, score, slack};
use crate::frames::pairing::{ClockFit, PairedFrame, Tie};
use crate::frames::reading::{NumberedStill, PairMoment, PairReading, call_of, label, since_start_s};
use crate::frames::vote::APART_S;

/// Pairs that confirm a clock: one save may have a still of another by chance; our own choice.
const PAIRS_MIN: usize = 2;
/// The same where that may be chance more easily: the clock was set by a second or two, or a save lacks its still while a still
/// is left over; our own choice.
const PAIRS_MORE_MIN: usize = 3;
/// A clock of the stretch's own is a rival where it explains all but half a pair of what the clock of the exam explains,
/// or half a pair more where a clock mark has its still; our own choice.
const RIVAL_LACKS: f64 = 0.5;

/// A part of the exam in which the program ran on.
struct Stretch {
    from_s: f64,
    to_s: f64,
    moments: Range<usize>,
    /// Index into the stills: those that may be of this stretch.
    stills: Vec<usize>,
    /// Its moments that have a still by the clock of the exam, each with that one, in order.
    paired: Vec<(usize, usize)>,
    /// Its own saves confirm a clock: that of the exam, or `set`.
    is_sure: bool,
    /// The clock of the exam, set by a second or two, where it confirms only that.
    set: Option<Candidate>,
    /// Clocks of its own that explain it about as well, or better.
    rivals: Vec<Candidate>,
    /// The first of them explains clearly more than the clock of the exam and than the others.
    has_own: bool,
}

impl Stretch {
    fn holds(&self, at_s: f64) -> bool {
        (self.from_s..self.to_s).contains(&at_s)
    }

    /// Saves that have a still.
    fn n_paired(&self) -> usize {
        self.set.as_ref().map_or(self.paired.len(), |set| set.clock.pairs)
    }

    /// Each save has its still, and no still is left: the order of the two alone says which is of which, unless a still was
    /// lost and another saved without a word, and that one just when the lost one was due.
    fn is_complete(&self) -> bool {
        let n_saves = self.moments.len();
        self.rivals.is_empty() && n_saves > 0 && self.stills.len() == n_saves && self.n_paired() == n_saves
    }

    /// The save of the end that meets another stretch has its still.
    fn is_whole_at(&self, moment: usize) -> bool {
        self.is_complete() || self.is_sure && self.paired.iter().any(|pair| pair.0 == moment)
    }

    /// A still that was said to be saved in it may be any that no save was left for.
    fn misses(&self, still: usize) -> bool {
        !self.is_sure && !self.moments.is_empty() && self.stills.contains(&still)
    }
}

/// Holds the labels of an exam whose program was restarted against the saves of each stretch; gives by the place in the
/// caller's list whether a still's stretch leaves its time unsure.
///
/// A label that a clock of the stretch's own contradicts becomes that clock's, where it explains clearly more, and is
/// left open otherwise.
pub(super) fn hold_by_stretch(
    exam: &Exam,
    moments: &[PairMoment],
    stills: &[NumberedStill],
    best: &Candidate,
    paired: &mut [PairedFrame],
) -> Vec<bool> {
    let mut unsure = vec![false; paired.len()];
    if exam.timeline.restarts.is_empty() {
        return unsure;
    }
    let mut stretches = stretches(exam, moments, stills, best);
    trust_complete(&mut stretches);
    for stretch in &stretches {
        for rival in stretch.rivals.iter().chain(stretch.set.iter().filter(|_| stretch.is_sure)) {
            by_rival(exam, moments, stills, (stretch, rival), paired);
        }
    }
    let may_be_next = may_be_next(&stretches);
    for (idx, still) in stills.iter().enumerate() {
        let paired = &paired[still.frame];
        let at_s = match paired.tie {
            Tie::Save(call) => Some(since_start_s(exam, exam.calls[call].said_at)),
            _ => paired.exam_s,
        };
        let is_sure =
            stretches.iter().any(|stretch| stretch.is_sure && at_s.is_some_and(|at_s| stretch.holds(at_s)));
        let is_missed =
            matches!(paired.tie, Tie::Context(_)) && stretches.iter().any(|stretch| stretch.misses(idx));
        unsure[still.frame] = !is_sure || is_missed || may_be_next.contains(&idx);
    }
    unsure
}

/// The last stills that were said to be saved before a stretch that is not sure and lacks one: where one of the clocks was
/// set by about the time between, such a still may be the first of that stretch.
fn may_be_next(stretches: &[Stretch]) -> Vec<usize> {
    let spoken: Vec<&Stretch> = stretches.iter().filter(|stretch| !stretch.moments.is_empty()).collect();
    let lacks = |next: &Stretch| !next.is_sure && next.n_paired() < next.moments.len();
    spoken
        .windows(2)
        .filter(|pair| lacks(pair[1]))
        .filter_map(|pair| Some(pair[0].paired.last()?.1))
        .collect()
}

/// Trusts a stretch that is complete, however few saves it has, where no still is missing on either side of it.
fn trust_complete(stretches: &mut [Stretch]) {
    let mut spoken: Vec<&mut Stretch> = stretches.iter_mut().filter(|one| !one.moments.is_empty()).collect();
    if spoken.iter().all(|one| !one.is_sure) {
        return;
    }
    let is_whole: Vec<[bool; 2]> = (spoken.iter())
        .map(|one| [one.moments.start, one.moments.end - 1].map(|moment| one.is_whole_at(moment)))
        .collect();
    for (idx, stretch) in spoken.iter_mut().enumerate() {
        let before = idx.checked_sub(1).is_none_or(|before| is_whole[before][1]);
        let after = is_whole.get(idx + 1).is_none_or(|after| after[0]);
        stretch.is_sure |= stretch.is_complete() && before && after;
    }
}

fn stretches(
    exam: &Exam,
    moments: &[PairMoment],
    stills: &[NumberedStill],
    best: &Candidate,
) -> Vec<Stretch> {
    let whole = PairReading::new(exam, moments, stills, best);
    let restarts = exam.timeline.restarts.iter().map(|at| since_start_s(exam, *at));
    let mut ends_s: Vec<f64> = restarts.chain([f64::INFINITY]).collect();
    ends_s.sort_by(f64::total_cmp);
    let mut from_s = f64::NEG_INFINITY;
    let mut found: Vec<Stretch> = Vec::new();
    // The scanner saves in order: no still of a stretch comes before one that an earlier stretch surely has.
    let mut last_sure: Option<usize> = None;
    for to_s in ends_s {
        let first = moments.partition_point(|moment| moment.at_s < from_s);
        let range = first..moments.partition_point(|moment| moment.at_s < to_s);
        let is_free = |still: &usize| whole.moment_of[*still].is_none_or(|moment| range.contains(&moment));
        let free = (0..stills.len()).filter(is_free).collect();
        let own = in_order(free, range.len(), |still| last_sure.is_none_or(|last| still > last));
        let next = stretch(&whole, moments, (stills, own), best, (from_s, to_s), range);
        if next.is_sure {
            last_sure = next.paired.last().map(|pair| pair.1).or(last_sure);
        }
        found.push(next);
        from_s = to_s;
    }
    // Nor after one that a later stretch surely has.
    let mut first_sure: Option<usize> = None;
    for stretch in found.iter_mut().rev() {
        let all = std::mem::take(&mut stretch.stills);
        let is_before = |still| first_sure.is_none_or(|first| still < first);
        stretch.stills = in_order(all, stretch.moments.len(), is_before);
        if stretch.is_sure {
            first_sure = stretch.paired.first().map(|pair| pair.1).or(first_sure);
        }
    }
    found
}

/// The stills that are in order, unless they are fewer than were said to be saved: then the scanner's clock may have been
/// set, and the order of its times says nothing.
fn in_order(stills: Vec<usize>, n_moments: usize, is_in_order: impl Fn(usize) -> bool) -> Vec<usize> {
    let ordered: Vec<usize> = stills.iter().copied().filter(|still| is_in_order(*still)).collect();
    if ordered.len() < n_moments { stills } else { ordered }
}

fn stretch(
    whole: &PairReading,
    moments: &[PairMoment],
    (stills, own): (&[NumberedStill], Vec<usize>),
    best: &Candidate,
    (from_s, to_s): (f64, f64),
    range: Range<usize>,
) -> Stretch {
    // By the clock of the exam, so that a clock of its own is one that was set meanwhile, not one that is years off.
    let saved_by = |still: &usize| Saved { at_s: whole.at_s[*still], ..stills[*still].saved };
    let mut saved: Vec<Saved> = own.iter().map(saved_by).collect();
    saved.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let said: Vec<Said> =
        moments[range.clone()].iter().map(|moment| Said { at_s: moment.at_s, mark: moment.mark }).collect();
    let pairs: Vec<(usize, usize)> =
        (own.iter()).filter_map(|still| Some((whole.moment_of[*still]?, *still))).collect();
    let is_marked = pairs.iter().any(|(moment, _)| moments[*moment].mark);
    let by_exam =
        score(pairs.iter().map(|(moment, still)| whole.at_s[*still] - moments[*moment].at_s), &saved);
    let middle_s =
        said.first().zip(said.last()).map_or(0.0, |(first, last)| f64::midpoint(first.at_s, last.at_s));
    let is_near = |own: &Candidate| (exam_s(&own.clock, middle_s) - middle_s).abs() < APART_S;
    let (near, mut rivals): (Vec<Candidate>, Vec<Candidate>) =
        candidates(&said, &saved, None).into_iter().partition(is_near);
    // A clock that was set by a second or two, as when it is set from a network, is still the clock of the exam.
    let explained = near.iter().map(|near| near.score).fold(by_exam, f64::max);
    let far = rivals.first().map_or(0.0, |rival| rival.score);
    // With a mark every still has a clock, which explains that one.
    let has_mark = is_marked || near.iter().any(|near| near.marks > 0);
    let enough = if has_mark { explained + RIVAL_LACKS } else { explained - RIVAL_LACKS };
    rivals.retain(|rival| rival.score >= enough);
    let next = rivals.get(1).map_or(explained, |next| next.score.max(explained));
    let has_own = rivals.first().is_some_and(|own| own.score - next > slack(own.score));
    if has_own {
        rivals.truncate(1);
    }
    let is_left = pairs.len() < range.len().min(own.len());
    let is_by_exam = is_marked || pairs.len() >= if is_left { PAIRS_MORE_MIN } else { PAIRS_MIN };
    let set = near.into_iter().next().filter(|set| !is_by_exam && set.clock.pairs > pairs.len());
    let is_by_set = |set: &Candidate| set.clock.pairs >= PAIRS_MORE_MIN && set.score - far > slack(set.score);
    let is_sure = rivals.is_empty() && (is_by_exam || set.as_ref().is_some_and(is_by_set));
    let rivals = rivals.into_iter().map(|own| own_clock(own, &best.clock)).collect();
    let set = set.map(|set| own_clock(set, &best.clock));
    Stretch { from_s, to_s, moments: range, stills: own, paired: pairs, is_sure, set, rivals, has_own }
}

/// A clock that was fitted to times by the clock of the exam, as one that is read against the scanner's.
fn own_clock(own: Candidate, best: &ClockFit) -> Candidate {
    let (ours, theirs) = (1e-6 * own.clock.drift_ppm, 1e-6 * best.drift_ppm);
    let offset_s = best.offset_s + own.clock.offset_s * (1.0 + theirs);
    let drift_ppm = 1e6 * ((1.0 + ours) * (1.0 + theirs) - 1.0);
    Candidate { clock: ClockFit { offset_s, drift_ppm, ..own.clock }, ..own }
}

/// Puts what a clock of the stretch's own says against the labels that the clock of the exam gave.
fn by_rival(
    exam: &Exam,
    moments: &[PairMoment],
    stills: &[NumberedStill],
    (stretch, rival): (&Stretch, &Candidate),
    paired: &mut [PairedFrame],
) {
    let own: Vec<NumberedStill> = stretch.stills.iter().map(|still| stills[*still].clone()).collect();
    let reading = PairReading::new(exam, &moments[stretch.moments.clone()], &own, rival);
    for (still, other) in own.iter().zip(reading.frames(1.0 - 0.5_f64.powf(rival.score))) {
        let before = &mut paired[still.frame];
        let holds = |paired: &PairedFrame| paired.exam_s.is_some_and(|at_s| stretch.holds(at_s));
        if before.tie == Tie::Open || !holds(&other) && !holds(before) {
            continue;
        }
        let places = [call_of(before.tie), call_of(other.tie)].map(|call| call.map(|call| label(exam, call)));
        if places[0] == places[1] && !stretch.is_sure {
            continue;
        }
        // A stretch that is sure has no rivals: this is its clock, set by a second or two.
        if (stretch.has_own || stretch.is_sure) && holds(&other) {
            *before = other;
        } else if places[0] != places[1] && call_of(before.tie).is_some() {
            *before = open(before, &other);
        }
    }
}

/// Two readings, of which neither is chosen.
fn open(one: &PairedFrame, other: &PairedFrame) -> PairedFrame {
    let rival = |paired: &PairedFrame, why: &str| Some((call_of(paired.tie)?, 0.5, why.to_owned()));
    let rivals = [
        rival(one, "by the clock of the whole exam"),
        rival(other, "by the saves between two restarts of the program"),
    ];
    PairedFrame {
        exam_s: one.exam_s,
        tie: Tie::Open,
        confidence: 0.5,
        rivals: rivals.into_iter().flatten().collect(),
    }
}
