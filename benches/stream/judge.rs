//! What became of each thing said in a recording, by meaning.
//!
//! Takes: what was said and when, and the exam that the program made of it.
//! Gives: a `Fate` for each line. Views are compared part by part, for two calls may be heard as one view or as two.

use std::collections::BTreeMap;

use zonecall::clock::Span;
use zonecall::evaluation::judge::acts;
use zonecall::evaluation::truth::SpokenStretch;
use zonecall::exam::call::{Act, View};
use zonecall::exam::event::{Event, Outcome};
use zonecall::exam::parse::unit_as_said;
use zonecall::exam::seq::Seq;
use zonecall::language::pack::Language;
use zonecall::protocol::Protocols;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    Right,
    /// Asked about, the right reading among the two that a question offers.
    Asked,
    /// Asked about, but not in these words.
    AskedOther,
    Missed,
    Wrong,
}

pub struct Judge<'a> {
    pub language: &'a Language,
    pub protocols: &'a Protocols,
}

/// An utterance as heard.
struct Heard {
    span: Span,
    acted: Vec<String>,
    /// The readings that were offered, where it was asked about.
    offered: Vec<Vec<String>>,
    asked: bool,
    words: String,
}

/// A line, its fate, and what was heard in its place.
pub struct Judged {
    pub fate: Fate,
    pub heard: String,
}

/// What an act does, in parts.
fn parts(act: Act, corrects: bool) -> Vec<String> {
    let said = |text: String| if corrects { format!("corrected {text}") } else { text };
    match unit_as_said(act) {
        Act::View(view) => {
            let View {
                limb,
                zone,
                level_cm,
                level_from,
                to_zone,
                place,
                plane,
                offset,
                structure,
                step,
                pair,
                same_zone,
            } = view;
            let fields = [
                ("limb", limb.map(String::from)),
                ("zone", zone.map(String::from)),
                ("level from", level_from),
                ("to zone", to_zone.map(String::from)),
                ("place", place),
                ("plane", plane.map(String::from)),
                ("offset", offset),
                ("structure", structure.map(String::from)),
                ("step", step.map(|step| format!("{step:?}"))),
                ("pair", pair),
                ("same zone", same_zone.then(String::new)),
            ];
            let fields =
                fields.into_iter().filter_map(|(name, value)| Some(said(format!("{name} {}", value?))));
            fields.chain(level_cm.map(|level| said(format!("level {level}")))).collect()
        }
        // Read back and shown, nothing more.
        other => vec![said(format!("{other:?}"))],
    }
}

impl Judge<'_> {
    fn of(&self, words: &str) -> Vec<String> {
        let acts = acts(words, self.language, self.protocols).unwrap_or_default();
        acts.into_iter().flat_map(|(act, corrects)| parts(act, corrects)).collect()
    }

    fn heard(&self, lines: &[(Seq, Event)]) -> Vec<Heard> {
        let mut found: BTreeMap<Seq, Heard> = BTreeMap::new();
        for (seq, event) in lines {
            match event {
                Event::Utterance(event) => {
                    let heard = &event.utterance;
                    let texts = std::iter::once(heard.text())
                        .chain(heard.rivals.iter().map(|rival| rival.words.clone()));
                    let asked = event.outcome == Outcome::Asked || heard.unsure;
                    let offered =
                        if asked { texts.take(2).map(|text| self.of(&text)).collect() } else { Vec::new() };
                    let span =
                        heard.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(heard.span);
                    let note = if asked {
                        " (asked)"
                    } else if heard.rejected {
                        " (rejected)"
                    } else {
                        ""
                    };
                    let words = format!("{}{note}", heard.text());
                    found.insert(*seq, Heard { span, acted: Vec::new(), offered, asked, words });
                }
                Event::Call(event) => {
                    if let Some(heard) = found.get_mut(&event.heard_seq) {
                        heard.acted.extend(parts(event.call.act.clone(), event.call.corrects));
                    }
                }
                _ => {}
            }
        }
        found.into_values().collect()
    }

    /// What became of each line of `said`, and how many calls were acted on while nothing was said.
    pub fn judge(&self, said: &[SpokenStretch], lines: &[(Seq, Event)]) -> (Vec<Judged>, Vec<String>) {
        let heard = self.heard(lines);
        let mut of_line: Vec<Vec<usize>> = vec![Vec::new(); said.len()];
        let mut nowhere = Vec::new();
        for (idx, one) in heard.iter().enumerate() {
            let met: Vec<usize> = (0..said.len()).filter(|line| meet(said[*line].span, one.span)).collect();
            if met.is_empty() && !one.acted.is_empty() {
                nowhere.push(one.words.clone());
            }
            met.into_iter().for_each(|line| of_line[line].push(idx));
        }
        let mut judged = Vec::new();
        let mut from = 0;
        while from < said.len() {
            // Lines that share an utterance are judged together.
            let mut to = from + 1;
            while to < said.len() && of_line[to].iter().any(|idx| of_line[to - 1].contains(idx)) {
                to += 1;
            }
            let mut own: Vec<usize> = of_line[from..to].concat();
            own.sort_unstable();
            own.dedup();
            let own: Vec<&Heard> = own.into_iter().map(|idx| &heard[idx]).collect();
            judged.extend(self.together(&said[from..to], &own));
            from = to;
        }
        (judged, nowhere)
    }

    /// Whether an utterance was said to the program, and whether acting on `words` would be right: all that it does was
    /// said in the stretches that it meets, one by one or in one go.
    pub fn would_be_right(&self, words: &str, span: Span, said: &[SpokenStretch]) -> (bool, bool) {
        let met: Vec<&SpokenStretch> = said.iter().filter(|one| meet(one.span, span)).collect();
        let wanted: Vec<(usize, String)> =
            met.iter().flat_map(|one| self.of(&one.words)).map(|part| (0, part)).collect();
        let acted = self.of(words);
        let acted: Vec<&String> = acted.iter().collect();
        // What does nothing is right where nothing was to be done: soothing words, a note that is read out.
        let one_by_one =
            common(&wanted, &acted).len() == acted.len() && acted.is_empty() == wanted.is_empty();
        let together: Vec<&str> = met.iter().map(|one| one.words.as_str()).collect();
        let right = one_by_one || acted.iter().copied().eq(&self.of(&together.join(" ")));
        (met.iter().any(|one| !one.words.is_empty()), right)
    }

    fn together(&self, said: &[SpokenStretch], heard: &[&Heard]) -> Vec<Judged> {
        let wanted: Vec<(usize, String)> = said
            .iter()
            .enumerate()
            .flat_map(|(line, one)| self.of(&one.words).into_iter().map(move |part| (line, part)))
            .collect();
        let acted: Vec<&String> = heard.iter().flat_map(|one| &one.acted).collect();
        let matched = common(&wanted, &acted);
        let mut lacking = vec![false; said.len()];
        let mut wrong = vec![false; said.len()];
        let mut line_now = 0;
        let found: Vec<Option<usize>> =
            (0..wanted.len()).map(|idx| matched.iter().find(|(w, _)| *w == idx).map(|(_, a)| *a)).collect();
        found
            .iter()
            .zip(&wanted)
            .filter(|(found, _)| found.is_none())
            .for_each(|(_, (line, _))| lacking[*line] = true);
        for (idx, _) in acted.iter().enumerate() {
            if let Some((w, _)) = matched.iter().find(|(_, a)| *a == idx) {
                line_now = wanted[*w].0;
                continue;
            }
            // What nobody said counts against the first line from here on that lacks something.
            let line = (line_now..said.len()).find(|line| lacking[*line]).unwrap_or(line_now);
            wrong[line] = true;
        }
        let words: Vec<&str> = heard.iter().map(|one| one.words.as_str()).collect();
        let fate = |line: usize| {
            let own = self.of(&said[line].words);
            if wrong[line] {
                return Fate::Wrong;
            }
            if !lacking[line] {
                return Fate::Right;
            }
            let asked: Vec<&&Heard> =
                heard.iter().filter(|one| one.asked && meet(said[line].span, one.span)).collect();
            let offers = |one: &&&Heard| {
                one.offered.iter().any(|offer| offer.windows(own.len()).any(|part| part == own))
            };
            match asked.iter().any(offers) {
                true => Fate::Asked,
                false if asked.is_empty() => Fate::Missed,
                false => Fate::AskedOther,
            }
        };
        (0..said.len()).map(|line| Judged { fate: fate(line), heard: words.join(" | ") }).collect()
    }
}

/// Whether they share some time: 50 ms of it.
fn meet(a: Span, b: Span) -> bool {
    a.to.min(b.to) > a.from.max(b.from) + 800
}

/// What is in both, as pairs of places: the order does not count, for a view heard in two parts is reported in another one.
fn common(wanted: &[(usize, String)], acted: &[&String]) -> Vec<(usize, usize)> {
    let mut free: Vec<bool> = vec![true; acted.len()];
    let mut pairs = Vec::new();
    for (idx, (_, part)) in wanted.iter().enumerate() {
        if let Some(found) = (0..acted.len()).find(|other| free[*other] && acted[*other] == part) {
            free[found] = false;
            pairs.push((idx, found));
        }
    }
    pairs
}
