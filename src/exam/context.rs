//! Where the exam is at a given moment: place and settings.
//!
//! Takes: calls, one after the other.
//! Gives: `Context`: the current limb, zone, plane, structure and settings.
//! Never: looks ahead or back; take-backs and corrections are `fold`'s work.
//! Tested in: here and `exam::fold`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::code::ZoneCode;
use crate::exam::call::{Act, FindingSaid, Setting, Value, ValueSaid, View};
use crate::exam::place::Place;

/// The current limb, zone, plane, structure and settings.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Context {
    /// Limb, zone, plane and structure.
    #[serde(flatten)]
    pub place: Place,
    /// The level in centimetres that the zone was taken from, where it was said as a level.
    pub level_cm: Option<f64>,
    /// The last zone of a range that begins at `zone`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_zone: Option<ZoneCode>,
    /// A landmark as said, where no zone was said after it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub landmark: Option<String>,
    /// How far the plane is off its usual place, as said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<String>,
    /// Settings by slot.
    pub settings: BTreeMap<String, Setting>,
}

impl Context {
    /// Applies `act`.
    ///
    /// A limb clears zone, plane and structure; a zone keeps the plane and clears the structure;
    /// what the same call names is set afterwards, whatever the order of the words.
    /// A structure named with a finding or a number stays current; what is said of all structures leaves none current.
    /// Settings in `until_next_limb` end where another limb is called.
    pub fn apply(&mut self, act: &Act, until_next_limb: &[String]) {
        match act {
            Act::View(view) => self.look_at(view, until_next_limb),
            Act::Setting(setting) => {
                self.settings.insert(setting.slot.clone(), setting.clone());
            }
            Act::Finding(FindingSaid { structure: Some(structure), .. })
            | Act::Value(Value { said: ValueSaid { structure: Some(structure), .. }, .. }) => {
                self.place.structure = Some(structure.clone());
            }
            Act::Finding(FindingSaid { all_structures: true, .. }) => self.place.structure = None,
            _ => {}
        }
    }

    fn look_at(&mut self, view: &View, until_next_limb: &[String]) {
        if let Some(limb) = &view.limb {
            if self.place.limb.as_ref() != Some(limb) {
                self.settings.retain(|slot, _| !until_next_limb.contains(slot));
            }
            self.place = Place { limb: Some(limb.clone()), ..Place::default() };
            self.level_cm = None;
            self.to_zone = None;
            self.landmark = None;
            self.offset = None;
        }
        // A level or a landmark without a zone clears the old zone: nothing may hang on a place that was left.
        if view.zone.is_some() || view.level_cm.is_some() || view.place.is_some() {
            self.place.zone.clone_from(&view.zone);
            self.to_zone.clone_from(&view.to_zone);
            self.landmark.clone_from(&view.place);
            self.level_cm = view.level_cm;
            self.place.structure = None;
        }
        if view.plane.is_some() {
            self.place.plane.clone_from(&view.plane);
            self.offset.clone_from(&view.offset);
        }
        if view.structure.is_some() {
            self.place.structure.clone_from(&view.structure);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view(limb: Option<&str>, zone: Option<&str>, plane: Option<&str>, structure: Option<&str>) -> Act {
        Act::View(View {
            limb: limb.map(Into::into),
            zone: zone.map(Into::into),
            plane: plane.map(Into::into),
            structure: structure.map(Into::into),
            ..View::default()
        })
    }

    #[test]
    fn a_limb_clears_the_rest_and_a_zone_only_the_structure() {
        let mut context = Context::default();
        context.apply(&view(Some("LF"), Some("2A"), Some("T"), Some("SDFT")), &[]);
        context.apply(&view(None, Some("2B"), None, None), &[]);
        assert_eq!((context.place.plane.as_deref(), context.place.structure.as_deref()), (Some("T"), None));
        context.apply(&view(None, None, Some("L"), None), &[]);
        assert_eq!(context.place.zone.as_deref(), Some("2B"));
        context.apply(&view(Some("RF"), None, None, None), &[]);
        assert_eq!((context.place.zone, context.place.plane), (None, None));
    }

    #[test]
    fn another_limb_ends_the_settings_that_are_of_one_limb_and_the_same_limb_does_not() {
        let set = |slot: &str| {
            Act::Setting(Setting { slot: slot.to_owned(), state: Some("on".to_owned()), amount: None })
        };
        let until_next_limb = ["x".to_owned()];
        let mut context = Context::default();
        for act in [view(Some("A"), None, None, None), set("x"), set("y"), view(Some("A"), None, None, None)]
        {
            context.apply(&act, &until_next_limb);
        }
        assert_eq!(context.settings.len(), 2);
        context.apply(&view(Some("B"), None, None, None), &until_next_limb);
        assert_eq!(context.settings.keys().collect::<Vec<_>>(), ["y"]);
    }
}
