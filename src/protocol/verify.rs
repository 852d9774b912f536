//! Protocols checked against themselves.
//!
//! Takes: freshly read `Protocols` and the file each part came from.
//! Gives: nothing when all holds together, else the first fault.
//! Never: I/O.
//! Tested in: `tests/it/protocol.rs`.

use std::collections::BTreeSet;
use std::path::Path;

use crate::protocol::error::{NumberFault, ProtocolError, UnknownCode};
use crate::protocol::model::{Protocols, Scheme, ValueKind};
use crate::protocol::unit::convert;

/// Checks that every code used exists, once, and that numbers make sense.
///
/// `lists`: files of limbs, planes, structures, values, measures, plain words; `schemes`: file of each scheme, in order.
pub(super) fn verify(
    protocols: &Protocols,
    lists: [&Path; 6],
    schemes: &[&Path],
) -> Result<(), ProtocolError> {
    let [limbs, planes, structures, values, measures, plain] = lists;
    once(limbs, "limb", protocols.limbs.iter().map(|limb| limb.code.as_str()))?;
    for part in &protocols.stated_parts {
        KnownCodes::groups(protocols).hold(limbs, "`stated_part`", part.groups.iter())?;
    }
    once(planes, "plane", protocols.planes.iter().map(|plane| plane.code.as_str()))?;
    once(structures, "structure", protocols.structures.iter().map(|structure| structure.code.as_str()))?;
    once(values, "value", protocols.values.iter().map(|value| value.term.as_str()))?;
    for structure in &protocols.structures {
        let place = format!("structure `{}`", structure.code);
        KnownCodes::structures(protocols).hold(structures, &place, structure.part_of.iter())?;
        KnownCodes::groups(protocols).hold(structures, &place, structure.groups.iter())?;
    }
    for only in &protocols.only_of {
        let place = format!("`only_of` of `{}`", only.terms.join(", "));
        KnownCodes::structures(protocols).hold(structures, &place, only.structures.iter())?;
    }
    for value in &protocols.values {
        verify_value(protocols, values, value)?;
    }
    once(measures, "strand", protocols.measuring.strand.iter().map(|strand| strand.code.as_str()))?;
    for strand in &protocols.measuring.strand {
        let place = format!("strand `{}`", strand.code);
        let codes = strand.parts.iter().chain(std::iter::once(&strand.code));
        KnownCodes::structures(protocols).hold(measures, &place, codes)?;
    }
    let terms = &protocols.measuring.terms;
    let single = [&terms.area, &terms.lesion_area, &terms.lesion_percent, &terms.length];
    KnownCodes::values(protocols).hold(measures, "`terms`", single.into_iter().chain(&terms.scores))?;
    let mut names = BTreeSet::new();
    for (scheme, path) in protocols.schemes.iter().zip(schemes) {
        if !names.insert(scheme.name.as_str()) {
            return Err(duplicate(path, "scheme", &scheme.name));
        }
        verify_scheme(protocols, path, scheme)?;
    }
    verify_defaults(protocols, schemes)?;
    verify_plain(protocols, plain)
}

/// Words are given for what exists; shares go upwards.
fn verify_plain(protocols: &Protocols, path: &Path) -> Result<(), ProtocolError> {
    let plain = &protocols.plain;
    KnownCodes::limbs(protocols).hold(path, "`limbs`", plain.limbs.keys())?;
    KnownCodes::structures(protocols).hold(path, "`structures`", plain.structures.keys())?;
    let codes = protocols.schemes.iter().map(|scheme| scheme.name.as_str()).collect();
    let schemes = KnownCodes { kind: "scheme", file: "the files of the schemes", codes };
    schemes.hold(path, "`zones`", plain.zones.keys())?;
    for scheme in &protocols.schemes {
        let codes = scheme.zones.iter().map(|zone| zone.code.as_str()).collect();
        let zones = KnownCodes { kind: "zone", file: "the file of its scheme", codes };
        let named = plain.zones.get(&scheme.name).into_iter().flat_map(|zones| zones.keys());
        zones.hold(path, &format!("zones of `{}`", scheme.name), named)?;
    }
    let mut from = 0.0;
    for share in &plain.share {
        range(path, &format!("share `{}`", share.words), from, share.up_to_percent)?;
        from = share.up_to_percent;
    }
    let mut from = 0.0;
    for more in &plain.more {
        range(path, &format!("more `{}`", more.words), from, more.over_percent)?;
        from = more.over_percent;
    }
    Ok(())
}

fn verify_value(protocols: &Protocols, path: &Path, value: &ValueKind) -> Result<(), ProtocolError> {
    let place = format!("value `{}`", value.term);
    KnownCodes::planes(protocols).hold(path, &place, value.planes.iter())?;
    KnownCodes::values(protocols).hold(path, &place, value.of_lesion.iter())?;
    range(path, &place, value.min, value.max)?;
    let fault = |fault| ProtocolError::Numbers { path: path.to_owned(), place: place.clone(), fault };
    if let Some(unit) = value.unit.as_ref().filter(|unit| !value.units.contains(unit)) {
        return Err(fault(NumberFault::DefaultUnit { unit: unit.clone() }));
    }
    let Some(bound_unit) = &value.bound_unit else {
        return if value.units.is_empty() { Ok(()) } else { Err(fault(NumberFault::NoBoundUnit)) };
    };
    let is_length = value.between.is_some() || value.outline.is_some();
    if is_length && convert(1.0, bound_unit, "mm").is_none() {
        return Err(fault(NumberFault::Unit { unit: bound_unit.clone(), bound_unit: "mm".to_owned() }));
    }
    for unit in &value.units {
        if convert(1.0, unit, bound_unit).is_none() {
            return Err(fault(NumberFault::Unit { unit: unit.clone(), bound_unit: bound_unit.clone() }));
        }
    }
    if let Some(unit) = value.shown.as_ref().filter(|unit| !value.units.contains(unit)) {
        return Err(fault(NumberFault::DefaultUnit { unit: unit.clone() }));
    }
    Ok(())
}

fn verify_scheme(protocols: &Protocols, path: &Path, scheme: &Scheme) -> Result<(), ProtocolError> {
    let empty = |place: String| ProtocolError::Empty { path: path.to_owned(), place };
    if scheme.groups.is_empty() {
        return Err(empty("`groups`".to_owned()));
    }
    if scheme.zones.is_empty() {
        return Err(empty("`zones`".to_owned()));
    }
    KnownCodes::groups(protocols).hold(path, "`groups`", scheme.groups.iter())?;
    once(path, "zone", scheme.zones.iter().map(|zone| zone.code.as_str()))?;
    let codes = scheme.zones.iter().map(|zone| zone.code.as_str()).collect();
    let zones = KnownCodes { kind: "zone", file: "the same file", codes };
    zones.hold(path, "`total_zones`", scheme.total_zones.iter())?;
    if let Some(length_cm) = scheme.length_cm {
        range(path, "`length_cm`", 0.0, length_cm)?;
    }
    for bone in &scheme.bone {
        let place = format!("bone `{}`", bone.name);
        if bone.outline.len() < 3 {
            return Err(empty(format!("`outline` of {place}")));
        }
        for (out, down) in &bone.outline {
            let zones = f64::from(u32::try_from(scheme.zones.len()).unwrap_or(u32::MAX));
            if !(0.0..=1.0).contains(out) || !(-1.0..=zones + 1.0).contains(down) {
                let (path, fault) = (path.to_owned(), NumberFault::Range { from: *out, to: *down });
                return Err(ProtocolError::Numbers { path, place, fault });
            }
        }
    }
    let mut last: Option<(&str, f64)> = None;
    for zone in &scheme.zones {
        let place = format!("zone `{}`", zone.code);
        if zone.planes.is_empty() {
            return Err(empty(format!("`planes` of {place}")));
        }
        KnownCodes::planes(protocols).hold(path, &place, zone.planes.iter())?;
        KnownCodes::structures(protocols).hold(
            path,
            &place,
            zone.structures.iter().chain(&zone.own_still),
        )?;
        let Some((from, to)) = zone.cm else { continue };
        range(path, &place, from, to)?;
        let fault = |fault| ProtocolError::Numbers { path: path.to_owned(), place: place.clone(), fault };
        if scheme.cm_source.is_none() {
            return Err(fault(NumberFault::NoSource));
        }
        if let Some((other, end)) = last.filter(|last| from < last.1) {
            return Err(fault(NumberFault::Overlap { from, other: other.to_owned(), to: end }));
        }
        last = Some((&zone.code, to));
    }
    Ok(())
}

/// One default scheme at most for a group of limbs in a region.
fn verify_defaults(protocols: &Protocols, paths: &[&Path]) -> Result<(), ProtocolError> {
    let mut seen = BTreeSet::new();
    let defaults = protocols.schemes.iter().zip(paths).filter(|(scheme, _)| scheme.default);
    for (scheme, path) in defaults {
        for group in &scheme.groups {
            if !seen.insert((group, &scheme.region)) {
                return Err(duplicate(path, "default scheme of the limbs", group));
            }
        }
    }
    Ok(())
}

fn range(path: &Path, place: &str, from: f64, to: f64) -> Result<(), ProtocolError> {
    if from.is_finite() && to.is_finite() && from < to {
        return Ok(());
    }
    let fault = NumberFault::Range { from, to };
    Err(ProtocolError::Numbers { path: path.to_owned(), place: place.to_owned(), fault })
}

/// The codes of one sort, and the file that defines them.
struct KnownCodes<'a> {
    kind: &'static str,
    file: &'static str,
    codes: Vec<&'a str>,
}

impl<'a> KnownCodes<'a> {
    fn planes(protocols: &'a Protocols) -> KnownCodes<'a> {
        let codes = protocols.planes.iter().map(|plane| plane.code.as_str()).collect();
        KnownCodes { kind: "plane", file: "planes.toml", codes }
    }

    fn limbs(protocols: &'a Protocols) -> KnownCodes<'a> {
        let codes = protocols.limbs.iter().map(|limb| limb.code.as_str()).collect();
        KnownCodes { kind: "limb", file: "limbs.toml", codes }
    }

    fn structures(protocols: &'a Protocols) -> KnownCodes<'a> {
        let codes = protocols.structures.iter().map(|structure| structure.code.as_str()).collect();
        KnownCodes { kind: "structure", file: "structures.toml", codes }
    }

    fn values(protocols: &'a Protocols) -> KnownCodes<'a> {
        let codes = protocols.values.iter().map(|value| value.term.as_str()).collect();
        KnownCodes { kind: "value", file: "values.toml", codes }
    }

    fn groups(protocols: &'a Protocols) -> KnownCodes<'a> {
        let codes: BTreeSet<&str> = protocols.limbs.iter().map(|limb| limb.group.as_str()).collect();
        KnownCodes { kind: "group of limbs", file: "limbs.toml", codes: codes.into_iter().collect() }
    }

    /// Whether every one of `used` is among the codes.
    fn hold<'b, C: AsRef<str> + 'b>(
        &self,
        path: &Path,
        place: &str,
        used: impl Iterator<Item = &'b C>,
    ) -> Result<(), ProtocolError> {
        let Some(code) = used.map(C::as_ref).find(|code| !self.codes.contains(code)) else { return Ok(()) };
        Err(ProtocolError::Unknown(Box::new(UnknownCode {
            path: path.to_owned(),
            place: place.to_owned(),
            kind: self.kind,
            code: code.to_owned(),
            known: self.codes.join(", "),
            file: self.file,
        })))
    }
}

fn once<'a>(
    path: &Path,
    kind: &'static str,
    codes: impl Iterator<Item = &'a str>,
) -> Result<(), ProtocolError> {
    let mut seen = BTreeSet::new();
    for code in codes {
        if !seen.insert(code) {
            return Err(duplicate(path, kind, code));
        }
    }
    Ok(())
}

fn duplicate(path: &Path, kind: &'static str, code: &str) -> ProtocolError {
    ProtocolError::Duplicate { path: path.to_owned(), kind, code: code.to_owned() }
}
