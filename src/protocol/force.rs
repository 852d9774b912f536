//! Which schemes apply on a limb, and what they make of a zone or a level.
//!
//! Takes: `Protocols`, a limb code, and the scheme chosen for each group of limbs.
//! Gives: schemes, zones, and the zone of a level in centimetres.
//! Never: picks between two schemes that could both be meant; without a choice none is current.
//! Tested in: `tests/it/protocol.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::code::ZoneCode;
use crate::protocol::model::{Limb, Protocols, Scheme, Zone};

/// A level that belongs to no zone; data for a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LevelProblem {
    /// What is wrong, in words.
    pub message: String,
    /// What to do or say instead.
    pub help: String,
}

/// A choice of schemes that cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SchemeFault {
    /// No scheme has this name, or it is one that needs no choice.
    #[error("`{name}` is not a zone scheme; the schemes are: {known}")]
    Unknown {
        /// What was asked for.
        name: String,
        /// The schemes that can be chosen.
        known: String,
    },
    /// Two schemes for the same limbs.
    #[error("`{}` and `{}` are both schemes of the {group} limbs; name one", names[0], names[1])]
    Twice {
        /// The group of limbs.
        group: String,
        /// Both names.
        names: [String; 2],
    },
}

impl Protocols {
    /// The scheme of each group of limbs: those in `names`, else the default ones.
    ///
    /// # Errors
    /// A [`SchemeFault`] where a name is no scheme, or two are named for one group.
    pub fn choose(&self, names: &[String]) -> Result<BTreeMap<String, String>, SchemeFault> {
        let mut chosen = BTreeMap::new();
        for name in names {
            let main = |scheme: &&Scheme| !scheme.when_called;
            let scheme = self.schemes.iter().filter(main).find(|scheme| scheme.name == *name);
            let scheme = scheme.ok_or_else(|| SchemeFault::Unknown {
                name: name.clone(),
                known: self
                    .schemes
                    .iter()
                    .filter(main)
                    .map(|s| s.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            })?;
            for group in &scheme.groups {
                match chosen.insert(group.clone(), name.clone()) {
                    Some(other) if other != *name => {
                        return Err(SchemeFault::Twice {
                            group: group.clone(),
                            names: [other, name.clone()],
                        });
                    }
                    _ => {}
                }
            }
        }
        for scheme in self.schemes.iter().filter(|scheme| scheme.default) {
            for group in &scheme.groups {
                chosen.entry(group.clone()).or_insert_with(|| scheme.name.clone());
            }
        }
        Ok(chosen)
    }

    /// The current schemes on `limb`, the chosen one first.
    ///
    /// `schemes` names the scheme chosen for a group, such as `fore` -> `thirds`.
    /// In a region for which nothing was chosen, a scheme is current if no other fits the limb there.
    #[must_use]
    pub fn schemes_for(&self, limb: &str, schemes: &BTreeMap<String, String>) -> Vec<&Scheme> {
        let Some(limb) = self.limb(limb) else { return Vec::new() };
        let fits = |scheme: &&Scheme| scheme.groups.contains(&limb.group);
        let chosen = self.chosen(limb, schemes);
        let mut found: Vec<&Scheme> = chosen.into_iter().collect();
        for scheme in self.schemes.iter().filter(fits) {
            let taken = chosen.is_some_and(|chosen| chosen.region == scheme.region);
            let alone =
                self.schemes.iter().filter(fits).filter(|other| other.region == scheme.region).count() == 1;
            if !taken && alone {
                found.push(scheme);
            }
        }
        found
    }

    fn chosen(&self, limb: &Limb, schemes: &BTreeMap<String, String>) -> Option<&Scheme> {
        let scheme = self.scheme(schemes.get(&limb.group)?)?;
        scheme.groups.contains(&limb.group).then_some(scheme)
    }

    /// The current scheme on `limb` that has `zone`; none if the zone cannot be meant there.
    #[must_use]
    pub fn scheme_for(&self, limb: &str, zone: &str, schemes: &BTreeMap<String, String>) -> Option<&Scheme> {
        self.schemes_for(limb, schemes).into_iter().find(|scheme| scheme.zone(zone).is_some())
    }

    /// A zone expects what it lists, the parts of that, and the whole that a listed part belongs to.
    #[must_use]
    pub fn expects(&self, zone: &Zone, structure: &str) -> bool {
        let whole_of = |code: &str| self.structure(code).and_then(|known| known.part_of.as_deref());
        zone.structures.iter().any(|code| {
            code == structure
                || whole_of(structure) == Some(code.as_str())
                || whole_of(code) == Some(structure)
        })
    }

    /// The zones that can be named on `limb`, scheme by scheme, from proximal to distal.
    #[must_use]
    pub fn zones_for(&self, limb: &str, schemes: &BTreeMap<String, String>) -> Vec<(&Scheme, &Zone)> {
        let in_force = self.schemes_for(limb, schemes);
        in_force.into_iter().flat_map(|scheme| scheme.zones.iter().map(move |zone| (scheme, zone))).collect()
    }

    /// The codes of the zones that can be named on each limb.
    #[must_use]
    pub fn zones_by_limb(&self, schemes: &BTreeMap<String, String>) -> BTreeMap<String, BTreeSet<String>> {
        let codes = |limb: &Limb| {
            self.zones_for(&limb.code, schemes).into_iter().map(|(_, zone)| zone.code.to_string()).collect()
        };
        self.limbs.iter().map(|limb| (limb.code.to_string(), codes(limb))).collect()
    }

    /// The codes of the zones that some scheme has for each limb, chosen or not: what may be said of it.
    ///
    /// A zone that the chosen schemes lack must be heard as what it is, for else it is taken for the nearest one they have.
    #[must_use]
    pub fn sayable_zones(&self) -> BTreeMap<String, BTreeSet<String>> {
        let codes = |limb: &Limb| {
            let schemes = self.schemes.iter().filter(|scheme| scheme.groups.contains(&limb.group));
            schemes.flat_map(|scheme| &scheme.zones).map(|zone| zone.code.to_string()).collect()
        };
        self.limbs.iter().map(|limb| (limb.code.to_string(), codes(limb))).collect()
    }

    /// The setting by which the length of this limb is said, where levels are scaled by it.
    #[must_use]
    pub fn length_setting(&self, limb: &str, schemes: &BTreeMap<String, String>) -> Option<&str> {
        self.schemes_for(limb, schemes).into_iter().find_map(|scheme| scheme.length_setting.as_deref())
    }

    /// The zone of a level `cm` centimetres below the landmark: `from` belongs to a zone, `to` to the next.
    ///
    /// Levels are counted in the scheme that is always covered, never in one that is covered only when called.
    /// The table is made for a limb of one length; where that of this limb is known, `length_cm`, it is scaled by it.
    ///
    /// # Errors
    /// A [`LevelProblem`] where no scheme is chosen, the scheme has no centimetres, or the level is outside them.
    pub fn zone_of_level(
        &self,
        limb: &str,
        cm: f64,
        schemes: &BTreeMap<String, String>,
        length_cm: Option<f64>,
    ) -> Result<ZoneCode, LevelProblem> {
        let in_force = self.schemes_for(limb, schemes);
        let Some(scheme) = in_force.into_iter().find(|scheme| !scheme.when_called) else {
            return Err(LevelProblem {
                message: format!("a level needs a zone scheme, and none is chosen for limb `{limb}`"),
                help: "choose a scheme for this limb's group, or say the zone by name".to_owned(),
            });
        };
        let factor = match (length_cm, scheme.length_cm) {
            (Some(own), Some(table)) => own / table,
            _ => 1.0,
        };
        let scaled = |(from, to): (f64, f64)| (from * factor, to * factor);
        let rows: Vec<(&Zone, (f64, f64))> =
            scheme.zones.iter().filter_map(|zone| zone.cm.map(|cm| (zone, scaled(cm)))).collect();
        if rows.is_empty() {
            return Err(LevelProblem {
                message: format!("the scheme `{}` has no centimetres for its zones", scheme.name),
                help: format!(
                    "say the zone by name, or measure and add `cm = [from, to]` to each zone in `{}`",
                    scheme.file
                ),
            });
        }
        let found = rows.iter().find(|(_, (from, to))| *from <= cm && cm < *to);
        found.map(|(zone, _)| zone.code.clone()).ok_or_else(|| outside(scheme, cm, &rows))
    }
}

fn outside(scheme: &Scheme, cm: f64, rows: &[(&Zone, (f64, f64))]) -> LevelProblem {
    // A tenth of a centimetre is finer than a level can be read.
    let tenths = |cm: f64| (cm * 10.0).round() / 10.0;
    let from = tenths(rows.iter().map(|row| row.1.0).fold(f64::INFINITY, f64::min));
    let to = tenths(rows.iter().map(|row| row.1.1).fold(f64::NEG_INFINITY, f64::max));
    LevelProblem {
        message: format!(
            "level {cm} cm is in no zone: the scheme `{}` covers {from} to {to} cm below the {}",
            scheme.name, scheme.landmark
        ),
        help: format!("say the level again or the zone by name; the table is in `{}`", scheme.file),
    }
}
