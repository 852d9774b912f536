//! What was current after each call, and what calls mean that only make sense from the place before them.
//!
//! Takes: the logged calls in order, taken back and corrected ones marked.
//! Gives: the same calls with contexts, levels turned into zones, steps into places, short names into structures.
//! Never: guesses: a step without a place before it, or a short name without a zone, is a problem.
//! Tested in: `tests/it/fold.rs` and `tests/it/language_phrases.rs`.

use crate::code::StructureCode;
use crate::exam::call::{Act, Command, FindingSaid, Problem, View, ViewStep};
use crate::exam::context::Context;
use crate::exam::correct::counts;
use crate::exam::event::Header;
use crate::exam::logged::LoggedCall;
use crate::exam::seq::Seq;
use crate::language::closed_sets::Class;
use crate::protocol::{Protocols, Scheme, Structure, convert};

/// Fills in what was current after each call, and gives what is current at the end.
pub(crate) fn set_in_force(calls: &mut [LoggedCall], header: &Header, protocols: &Protocols) -> Context {
    set_in_force_from(calls, Context::default(), header, protocols)
}

/// The same from the middle of an exam, with the context before the first of the calls.
pub(crate) fn set_in_force_from(
    calls: &mut [LoggedCall],
    mut context: Context,
    header: &Header,
    protocols: &Protocols,
) -> Context {
    let settler = Settler { header, protocols };
    for idx in 0..calls.len() {
        let (earlier, rest) = calls.split_at_mut(idx);
        let call = &mut rest[0];
        if counts(call) {
            let problem = settler.settle(&mut call.act, &context, earlier);
            call.problems.extend(problem);
            context.apply(&call.act, &protocols.rules.habits.until_next_limb);
            if let Act::Finding(finding) = &call.act
                && finding.class == Class::Detail
            {
                let detail = finding.clone();
                call.problems.extend(add_detail(earlier, &detail, call.seq));
            }
        }
        call.context = context.clone();
    }
    context
}

/// It refers to an earlier finding: only the whole exam shows which.
pub(crate) fn looks_back(act: &Act) -> bool {
    matches!(act, Act::Finding(finding) if finding.copied || finding.class == Class::Detail)
}

/// "Lateral" or "mild", just after a finding: its position or its degree.
fn add_detail(earlier: &mut [LoggedCall], detail: &FindingSaid, by: Seq) -> Option<Problem> {
    let last = earlier.iter_mut().rev().find(|call| counts(call));
    if let Some(LoggedCall { act: Act::Finding(finding), corrected_by, .. }) = last
        && !matches!(finding.class, Class::Quality | Class::Normal)
        && (detail.degree.is_none() || finding.takes_degree())
    {
        if detail.degree.is_some() {
            finding.degree.clone_from(&detail.degree);
        }
        finding.position.extend(detail.position.iter().cloned());
        corrected_by.push(by);
        return None;
    }
    Some(Problem::new(
        "a position or a degree was said without a finding before it that can have one",
        "say the finding with its position or its degree",
    ))
}

/// Makes of a call what it means at the place before it.
struct Settler<'a> {
    header: &'a Header,
    protocols: &'a Protocols,
}

impl Settler<'_> {
    fn settle(&self, act: &mut Act, before: &Context, earlier: &[LoggedCall]) -> Option<Problem> {
        match act {
            Act::View(view) => self.step(view, before).or_else(|| self.place(view, before)),
            Act::Finding(finding) => {
                // Grammars and journals may have it as a lesion of which the practice's files know better.
                match (&finding.class, self.protocols.is_no_lesion(&finding.term)) {
                    (Class::Lesion, true) => finding.class = Class::Unremarkable,
                    // The desk may have it so of a term that was put right later.
                    (Class::Unremarkable, false) => finding.class = Class::Lesion,
                    _ => {}
                }
                let problem = if finding.copied { copy(finding, before, earlier) } else { None };
                let problem = problem
                    .or_else(|| self.name(&mut finding.structure, before, before.place.zone.as_deref()));
                let of = finding.structure.as_ref().or(before.place.structure.as_ref());
                problem
                    .or_else(|| self.not_the_other(finding, before))
                    .or_else(|| self.elsewhere(finding, of?))
            }
            Act::Value(value) => {
                if value.said.scale.is_none() {
                    value.said.scale = self.header.scales.get(&value.term).cloned();
                }
                let share = self.protocols.measuring.terms.lesion_percent == value.term;
                let problem = self.name(&mut value.said.structure, before, before.place.zone.as_deref());
                let of = value.said.structure.as_ref().or(before.place.structure.as_ref());
                problem.or_else(|| (share && of.is_none()).then(no_structure))
            }
            Act::Command(Command::NewHorse) => Some(Problem::new(
                "another horse was called, but this exam went on",
                "say `end of exam`, then open an exam for the other horse",
            )),
            _ => None,
        }
    }

    /// Turns a step into the place that it leads to.
    fn step(&self, view: &mut View, before: &Context) -> Option<Problem> {
        if view.same_zone {
            view.zone.clone_from(&before.place.zone);
            if view.zone.is_none() {
                return Some(no_zone_to_keep());
            }
        }
        let step = view.step?;
        let Some(limb) = before.place.limb.as_deref() else {
            return Some(Problem::new("a step was called before any limb", "say the limb first"));
        };
        let found = match step {
            ViewStep::OtherLimb => {
                let other = self.protocols.other_limb(limb, view.pair.as_deref());
                view.limb = other.map(|limb| limb.code.clone());
                view.limb.is_some()
            }
            ViewStep::NextZone | ViewStep::PreviousZone => {
                let zone = before.place.zone.as_deref().and_then(|zone| {
                    let zones = &self.protocols.scheme_for(limb, zone, &self.header.schemes)?.zones;
                    let here = zones.iter().position(|known| known.code == zone)?;
                    let to = if step == ViewStep::NextZone { here + 1 } else { here.checked_sub(1)? };
                    zones.get(to).map(|zone| zone.code.clone())
                });
                view.zone = zone;
                view.zone.is_some()
            }
        };
        (!found).then(|| {
            Problem::new("there is no place that this step leads to", "say the limb or the zone by its name")
        })
    }

    /// Turns a level into its zone, checks that the limb has the zone, and names the structure.
    fn place(&self, view: &mut View, before: &Context) -> Option<Problem> {
        let limb = view.limb.clone().or_else(|| before.place.limb.clone());
        let length_cm = limb.as_deref().and_then(|limb| length_of(limb, before, self.header, self.protocols));
        let problem = settle_zone(view, limb.as_deref(), self.header, length_cm, self.protocols);
        let mut at = before.clone();
        at.place.limb = limb;
        let zone = view.zone.clone().or_else(|| before.place.zone.clone().filter(|_| view.limb.is_none()));
        let unnamed = self.name(&mut view.structure, &at, zone.as_deref());
        problem.or(unnamed)
    }

    /// "Thinner than left hind", said of the left fore or of the left hind itself: it is compared with the other of its pair.
    fn not_the_other(&self, finding: &FindingSaid, before: &Context) -> Option<Problem> {
        let code = before.place.limb.as_deref()?;
        let (limb, other) = (self.protocols.limb(code)?, self.protocols.other_limb(code, None)?);
        let is_other = finding.against_limb.iter().all(|word| *word == other.side || *word == other.group);
        (!is_other).then(|| {
            Problem::new(
                format!(
                    "it was compared with the {}, which is not the other limb of the {}",
                    finding.against_limb.join(" "),
                    limb.name
                ),
                "if another limb is scanned, say that limb first; else compare with `the other leg`",
            )
        })
    }

    /// What this structure cannot have: it was seen in another one, which was not said.
    fn elsewhere(&self, finding: &FindingSaid, structure: &StructureCode) -> Option<Problem> {
        if !matches!(finding.class, Class::Lesion | Class::Unremarkable)
            || self.protocols.can_have(structure, &finding.term)
        {
            return None;
        }
        let name = self.protocols.structure(structure).map_or(structure.as_str(), |known| &known.name);
        Some(Problem::new(
            format!("`{}` cannot be of the {name}, and nothing else was named", finding.term),
            "say it with its own structure, or set that by hand",
        ))
    }

    /// Turns a short name of a structure into the one that it has in the zone.
    fn name(
        &self,
        structure: &mut Option<StructureCode>,
        at: &Context,
        zone: Option<&str>,
    ) -> Option<Problem> {
        let short = structure.as_deref()?;
        let known: Vec<_> =
            self.protocols.structures.iter().filter(|known| known.short.as_deref() == Some(short)).collect();
        if known.is_empty() {
            return None;
        }
        // "Suspensory origin, medial lobe": of what was named last.
        let own = at.place.structure.as_deref().and_then(|last| {
            let is_own = |known: &&&Structure| {
                let whole = self.protocols.whole(&known.code);
                whole == last || whole == self.protocols.whole(last)
            };
            // The superficial flexor's branches are named short in the pastern only.
            known.iter().filter(|known| known.short_after_whole || known.short_in.is_none()).find(is_own)
        });
        let scheme = at
            .place
            .limb
            .as_deref()
            .zip(zone)
            .and_then(|(limb, zone)| self.protocols.scheme_for(limb, zone, &self.header.schemes));
        let here = own.or_else(|| {
            let name = scheme?.name.as_str();
            let named = known.iter().find(|known| known.short_in.as_deref() == Some(name));
            named.or_else(|| known.iter().find(|known| known.short_in.is_none() && !known.short_after_whole))
        });
        if let Some(known) = here {
            *structure = Some(known.code.clone());
            return None;
        }
        // It keeps its short name: filed under no structure it would count for the one before it.
        let names: Vec<&str> = known.iter().map(|known| known.name.as_str()).collect();
        Some(Problem::new(
            format!("here it may be the {}", names.join(" or the ")),
            "say the zone first, or the structure in full",
        ))
    }
}

/// "The same again": the last finding of this limb, marked as copied; never a number.
fn copy(finding: &mut FindingSaid, before: &Context, earlier: &[LoggedCall]) -> Option<Problem> {
    let last =
        earlier.iter().rev().filter(|call| counts(call) && call.context.place.limb == before.place.limb);
    let last = last.into_iter().find_map(|call| match &call.act {
        Act::Finding(found) if !matches!(found.class, Class::Detail | Class::Quality) => Some(found),
        _ => None,
    });
    match last {
        Some(found) => {
            let structure = finding.structure.take();
            *finding = FindingSaid { structure, copied: true, ..found.clone() };
            None
        }
        None => Some(Problem::new("there is no finding on this limb to repeat", "say the finding itself")),
    }
}

fn no_zone_to_keep() -> Problem {
    Problem::new(
        "there is no current zone that could stay the same",
        "say the limb, then the zone by its name",
    )
}

fn no_structure() -> Problem {
    Problem::new("a share was said while no structure was current", "say the structure first, then the share")
}

/// The length of a limb in centimetres: as it was said last, else as it was set for the exam.
fn length_of(limb: &str, context: &Context, header: &Header, protocols: &Protocols) -> Option<f64> {
    let said = || {
        let slot = protocols.length_setting(limb, &header.schemes)?;
        let amount = context.settings.get(slot)?.amount.as_ref()?;
        convert(amount.number, amount.unit.as_deref().unwrap_or("cm"), "cm").filter(|cm| *cm > 0.0)
    };
    let set = || header.limb_lengths_cm.get(&protocols.limb(limb)?.group).copied();
    said().or_else(set)
}

/// A level that is counted from a landmark of another limb.
fn foreign_landmark(view: &View, limb: &str, protocols: &Protocols) -> Option<Problem> {
    let limb = protocols.limb(limb)?;
    let from = view.level_from.as_ref().filter(|from| limb.foreign_landmarks.contains(from))?;
    Some(Problem::new(
        format!("the {} has no {from}", limb.name),
        "say the limb again if another one is meant, or the level from a landmark of this limb",
    ))
}

/// Turns a level into its zone, and checks that the limb has the zone.
fn settle_zone(
    view: &mut View,
    limb: Option<&str>,
    header: &Header,
    length_cm: Option<f64>,
    protocols: &Protocols,
) -> Option<Problem> {
    if view.zone.is_none() && view.level_cm.is_none() {
        return None;
    }
    let Some(limb) = limb else {
        return Some(Problem::new(
            "a zone was called before any limb",
            "say the limb first, or say `correction` and the limb afterwards",
        ));
    };
    if let Some(problem) = foreign_landmark(view, limb, protocols) {
        return Some(problem);
    }
    if let Some(level_cm) = view.level_cm {
        match protocols.zone_of_level(limb, level_cm, &header.schemes, length_cm) {
            Ok(zone) => view.zone = Some(zone),
            Err(level) => return Some(Problem { message: level.message, help: level.help }),
        }
    }
    let zone = view.zone.as_deref()?;
    if let Some(scheme) = protocols.scheme_for(limb, zone, &header.schemes) {
        return out_of_place(view, zone, scheme, protocols);
    }
    Some(Problem::new(
        format!("zone {zone} is not a zone of {limb} in this exam's schemes"),
        "check the limb and the zone; say `correction` and the right one",
    ))
}

/// A stretch of the limb said together with a zone that lies in another one: one of the two is wrong.
fn out_of_place(view: &View, zone: &str, scheme: &Scheme, protocols: &Protocols) -> Option<Problem> {
    let place = view.place.as_deref()?;
    let lies_in = |scheme: &Scheme| scheme.places.iter().any(|known| place.ends_with(known));
    (protocols.schemes.iter().any(lies_in) && !lies_in(scheme)).then(|| {
        Problem::new(
            format!("zone {zone} does not lie in the {place}"),
            "listen; say `correction` and the right zone, or the zone alone",
        )
    })
}
