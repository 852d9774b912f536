//! How far the views of an exam are, call by call.
//!
//! Takes: calls that count, in order.
//! Gives: for each view whether it was called, saved, or left out on purpose; at any moment, without a second look.
//! Never: counts a call that was taken back: after taking back or correcting it is made anew.
//! Tested in: `tests/it/knowledge.rs`, `tests/it/live_exam.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::code::{LimbCode, PlaneCode, ZoneCode};
use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall};
use crate::exam::place::WholeView;
use crate::knowledge::belongs::is_view;
use crate::knowledge::left_out::{NamedPlane, is_seen};
use crate::language::closed_sets::Class;

/// What there is of one view.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct ViewProgress {
    /// Something was said while it was current.
    pub meant: bool,
    /// It was called.
    pub called: bool,
    /// Its plane was named for it, or something was said in it besides the place: a zone alone keeps the plane before it.
    pub settled: bool,
    /// Saves that were called in it.
    pub saves: usize,
    /// It was saved, measured or described: whatever is said of it, it was scanned.
    pub seen: bool,
}

/// What there is of each view.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Progress {
    /// Limbs of which a view was called.
    examined: BTreeSet<LimbCode>,
    /// Zones of which a view was called, by limb.
    zones: BTreeSet<(LimbCode, ZoneCode)>,
    views: BTreeMap<WholeView, ViewProgress>,
    /// Zones of which something was seen, whether its plane is known or not.
    seen_zones: BTreeSet<(LimbCode, ZoneCode)>,
    left_out: Vec<LeftOut>,
    plane_named: NamedPlane,
    saves: usize,
}

/// A place that was said not to be scanned; what is none was not named and means all.
#[derive(Debug, Clone, PartialEq, Eq)]
struct LeftOut {
    limb: LimbCode,
    zone: Option<ZoneCode>,
    plane: Option<PlaneCode>,
}

impl Progress {
    /// Of the whole exam.
    #[must_use]
    pub fn of(exam: &Exam) -> Self {
        let mut this = Self::default();
        exam.standing_calls().for_each(|call| this.add(call));
        this
    }

    /// One more call that counts.
    pub fn add(&mut self, call: &LoggedCall) {
        let context = &call.context;
        let (limb, zone) = (context.place.limb.as_ref(), context.place.zone.as_ref());
        let is_view = is_view(call);
        if let (Some(limb), true) = (limb, is_view) {
            self.examined.insert(limb.clone());
            self.zones.extend(zone.map(|zone| (limb.clone(), zone.clone())));
        }
        self.plane_named.follow(&call.act);
        self.note_left_out(call);
        let is_seen = is_seen(&call.act);
        if let (Some(limb), Some(zone), true) = (limb, zone, is_seen) {
            self.seen_zones.insert((limb.clone(), zone.clone()));
        }
        let is_save = call.act.is_save();
        self.saves += usize::from(is_save);
        if let Some(view) = context.place.whole_view() {
            let view = self.views.entry(view).or_default();
            view.meant = true;
            view.called |= is_view;
            view.settled |= !is_view || self.plane_named.0;
            view.saves += usize::from(is_save);
            view.seen |= is_seen;
        }
    }

    /// The plane counts only if it was named for this zone; a structure left out leaves the view itself wanted, and so does
    /// a zone of which something was seen, as long as nobody says which of its views is meant.
    fn note_left_out(&mut self, call: &LoggedCall) {
        let Act::Finding(finding) = &call.act else { return };
        let place = &call.context.place;
        if finding.class != Class::NotDone || place.structure.is_some() {
            return;
        }
        let (Some(limb), zone) = (place.limb.clone(), place.zone.clone()) else { return };
        let plane = place.plane.clone().filter(|_| self.plane_named.0);
        let is_seen = |zone: &ZoneCode| self.seen_zones.contains(&(limb.clone(), zone.clone()));
        if plane.is_some() || !zone.as_ref().is_some_and(is_seen) {
            self.left_out.push(LeftOut { limb, zone, plane });
        }
    }

    /// Whether a view of this limb was called.
    pub(crate) fn is_examined(&self, limb: &str) -> bool {
        self.examined.contains(limb)
    }

    /// Whether a view of this zone was called.
    pub(crate) fn is_called(&self, limb: &str, zone: &str) -> bool {
        self.zones.contains(&(LimbCode::from(limb), ZoneCode::from(zone)))
    }

    /// What there is of a view.
    pub(crate) fn view(&self, view: &WholeView) -> ViewProgress {
        self.views.get(view).copied().unwrap_or_default()
    }

    /// Whether it was said that a view is not scanned, and nothing was seen of it.
    pub(crate) fn is_left_out(&self, view: &WholeView) -> bool {
        let named = |part: Option<&str>, wanted: &str| part.is_none_or(|part| part == wanted);
        let is_seen = self.view(view).seen;
        !is_seen
            && self.left_out.iter().any(|out| {
                out.limb == view.limb
                    && named(out.zone.as_deref(), &view.zone)
                    && named(out.plane.as_deref(), &view.plane)
            })
    }

    /// Saves that were called, wherever.
    #[must_use]
    pub fn saves(&self) -> usize {
        self.saves
    }
}
