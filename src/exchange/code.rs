//! Codes by which other systems know what the protocols name.
//!
//! Takes: `codes/dicom.toml`, built in or another.
//! Gives: `Codes`: for each limb, zone, structure, plane, value and finding a code of a published scheme, else a local one.
//! Never: a code that is guessed; what the file lacks gets a local code made from its own name.
//! Tested in: `tests/it/exchange/codes.rs`, against published dictionaries.

use std::collections::BTreeMap;

use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::code::ZoneCode;
use crate::exam::place::Place;
use crate::hex;
use crate::protocol::Protocols;

/// Longest code value, in characters (VR SH, PS3.5 6.2).
const VALUE_CHARS_MAX: usize = 16;
/// Longest meaning, in characters (VR LO).
const MEANING_CHARS_MAX: usize = 64;

const BUILT_IN: &str = include_str!("../../codes/dicom.toml");

/// A code of a published scheme or of our own.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(from = "(String, String, String)")]
pub struct Code {
    /// The code itself.
    pub value: String,
    /// Designator of the scheme, such as `DCM`.
    pub scheme: String,
    /// Its meaning in words.
    pub meaning: String,
}

impl From<(String, String, String)> for Code {
    fn from((value, scheme, meaning): (String, String, String)) -> Code {
        Code { value, scheme, meaning }
    }
}

/// All codes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Codes {
    /// The scheme of local codes.
    pub local: LocalScheme,
    /// Codes that hold for every exam.
    pub common: Common,
    side: Vec<Side>,
    region: Vec<Region>,
    structure: Vec<Structure>,
    plane: Vec<Plane>,
    position: Vec<Named>,
    degree: Vec<Named>,
    value: Vec<Value>,
    finding: Vec<FindingTerm>,
    units: BTreeMap<String, String>,
    #[serde(default)]
    breeds: BTreeMap<String, Code>,
    short: BTreeMap<String, String>,
}

/// The scheme of local codes.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LocalScheme {
    /// Designator; begins with `99`, as PS3.16 section 8 requires.
    pub designator: String,
    /// UID of the scheme.
    pub uid: String,
    /// What it is.
    pub name: String,
    /// Who answers for it.
    pub organisation: String,
}

/// Codes that hold for every exam.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Common {
    /// The animals that are examined.
    pub species: Code,
    /// What was done.
    pub procedure: Code,
    /// What it was done with.
    pub modality: Code,
    /// What the vet's report is.
    pub report: Code,
    /// The concept of how marked a finding is.
    pub severity: Code,
    /// Something that is not sound.
    pub lesion: Code,
    /// Nothing wrong.
    pub normal: Code,
    /// Looked for, not there.
    pub absent: Code,
    /// Not scanned.
    pub not_done: Code,
    /// How the animal stands, for directions in a picture.
    pub orientation: String,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Side {
    name: String,
    code: Code,
    letter: String,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Region {
    groups: Vec<String>,
    scheme: String,
    #[serde(default)]
    zones: Vec<ZoneCode>,
    code: Code,
    body_part: String,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Structure {
    codes: Vec<String>,
    kind: Code,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Plane {
    code: String,
    view: Code,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    name: String,
    code: Code,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Value {
    term: String,
    code: Code,
    #[serde(default)]
    method: Option<Code>,
    #[serde(default)]
    of_lesion: bool,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct FindingTerm {
    term: String,
    code: Code,
}

/// Why a file of codes cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the file of codes is malformed: {0}; compare it with the built-in `codes/dicom.toml`")]
pub struct CodesError(#[from] toml::de::Error);

/// Where a place is, in codes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Site {
    /// The region of the body.
    pub region: Option<Code>,
    /// The region as the attribute Body Part Examined writes it.
    pub body_part: Option<String>,
    /// The side.
    pub side: Option<Code>,
    /// The side as the attribute Image Laterality writes it.
    pub side_letter: Option<String>,
    /// The zone, by a local code that names its scheme.
    pub zone: Option<Code>,
    /// The kind of the structure.
    pub kind: Option<Code>,
    /// The structure itself.
    pub structure: Option<Code>,
    /// The plane of the picture.
    pub view: Option<Code>,
}

impl Codes {
    /// The codes that come with the program.
    ///
    /// # Errors
    /// When the built-in file is malformed; a test keeps it free of faults.
    pub fn built_in() -> Result<Codes, CodesError> {
        Codes::parse(BUILT_IN)
    }

    /// The codes in a text.
    ///
    /// # Errors
    /// When it is no such file.
    pub fn parse(text: &str) -> Result<Codes, CodesError> {
        Ok(toml::from_str(text)?)
    }

    /// Every published code of the file, for whoever checks them.
    #[must_use]
    pub fn published(&self) -> Vec<&Code> {
        let common = &self.common;
        let mut all = vec![
            &common.species,
            &common.procedure,
            &common.modality,
            &common.report,
            &common.severity,
            &common.lesion,
            &common.normal,
            &common.absent,
            &common.not_done,
        ];
        all.extend(self.side.iter().map(|row| &row.code));
        all.extend(self.region.iter().map(|row| &row.code));
        all.extend(self.structure.iter().map(|row| &row.kind));
        all.extend(self.plane.iter().map(|row| &row.view));
        all.extend(self.position.iter().chain(&self.degree).map(|row| &row.code));
        all.extend(self.value.iter().flat_map(|row| std::iter::once(&row.code).chain(&row.method)));
        all.extend(self.finding.iter().map(|row| &row.code));
        all.extend(self.breeds());
        all
    }

    /// The codes of breeds.
    pub fn breeds(&self) -> impl Iterator<Item = &Code> {
        self.breeds.values()
    }

    /// The code of a breed, by its name in words; none where it has none.
    #[must_use]
    pub fn breed(&self, name: &str) -> Option<&Code> {
        let name = name.trim().to_lowercase();
        let short = name.strip_suffix(" horse").unwrap_or(&name);
        self.breeds.get(&name).or_else(|| self.breeds.get(short))
    }

    /// A local code for what has a name only.
    #[must_use]
    pub fn local(&self, name: &str, meaning: &str) -> Code {
        Code {
            value: short(name),
            scheme: self.local.designator.clone(),
            meaning: meaning.chars().take(MEANING_CHARS_MAX).collect(),
        }
    }

    /// Where a place is, in the zone schemes of an exam.
    #[must_use]
    pub fn site(&self, place: &Place, schemes: &BTreeMap<String, String>, protocols: &Protocols) -> Site {
        let limb = place.limb.as_deref().and_then(|code| protocols.limb(code));
        let side = limb.and_then(|limb| self.side.iter().find(|row| row.name == limb.side));
        let scheme = place.limb.as_deref().zip(place.zone.as_deref());
        let scheme = scheme.and_then(|(limb, zone)| protocols.scheme_for(limb, zone, schemes));
        let zone = place.zone.as_deref();
        let region = scheme.zip(limb).and_then(|(scheme, limb)| {
            self.region.iter().find(|row| {
                row.scheme == scheme.name
                    && row.groups.contains(&limb.group)
                    && (row.zones.is_empty() || row.zones.iter().any(|code| Some(code.as_str()) == zone))
            })
        });
        let structure = place.structure.as_deref();
        let kind = structure
            .and_then(|code| self.structure.iter().find(|row| row.codes.iter().any(|known| known == code)));
        let plane = place.plane.as_deref();
        Site {
            region: region.map(|row| row.code.clone()),
            body_part: region.map(|row| row.body_part.clone()),
            side: side.map(|row| row.code.clone()),
            side_letter: side.map(|row| row.letter.clone()),
            zone: zone.map(|zone| self.zone(zone, scheme.map(|scheme| scheme.name.as_str()))),
            kind: kind.map(|row| row.kind.clone()),
            structure: structure.map(|code| {
                let name = protocols.structure(code).map_or(code, |known| known.name.as_str());
                self.local(code, name)
            }),
            view: plane.map(|code| {
                let known = self.plane.iter().find(|row| row.code == code).map(|row| row.view.clone());
                known.unwrap_or_else(|| self.local(code, protocols.plane_name(code)))
            }),
        }
    }

    /// A zone means something only with its scheme, so its local code names both.
    fn zone(&self, zone: &str, scheme: Option<&str>) -> Code {
        match scheme {
            Some(scheme) => {
                let name = self.short.get(scheme).map_or(scheme, String::as_str);
                self.local(&format!("{name}:{zone}"), &format!("zone {zone} of the scheme {scheme}"))
            }
            None => self.local(&format!("zone:{zone}"), &format!("zone {zone}, scheme not known")),
        }
    }

    /// What a value is called.
    #[must_use]
    pub fn value(&self, term: &str) -> Code {
        let known = self.value.iter().find(|row| row.term == term);
        known.map_or_else(|| self.local(term, term), |row| row.code.clone())
    }

    /// How a traced value came about.
    #[must_use]
    pub fn method(&self, term: &str) -> Option<Code> {
        self.value.iter().find(|row| row.term == term).and_then(|row| row.method.clone())
    }

    /// Whether a value is that of the part that is not sound, not of the whole structure.
    #[must_use]
    pub fn is_of_lesion(&self, term: &str) -> bool {
        self.value.iter().any(|row| row.term == term && row.of_lesion)
    }

    /// A finding by its class and term.
    #[must_use]
    pub fn finding(&self, class: Option<&str>, term: &str) -> Code {
        match class {
            Some("normal") => self.common.normal.clone(),
            Some("absent") => self.common.absent.clone(),
            Some("not_done") => self.common.not_done.clone(),
            _ => {
                let known = self.finding.iter().find(|row| row.term == term);
                known.map_or_else(|| self.local(term, term), |row| row.code.clone())
            }
        }
    }

    /// Where in a structure a finding is.
    #[must_use]
    pub fn position(&self, name: &str) -> Code {
        self.named(&self.position, name)
    }

    /// How marked a finding is.
    #[must_use]
    pub fn degree(&self, name: &str) -> Code {
        self.named(&self.degree, name)
    }

    fn named(&self, rows: &[Named], name: &str) -> Code {
        let known = rows.iter().find(|row| row.name == name);
        known.map_or_else(|| self.local(name, name), |row| row.code.clone())
    }

    /// A unit; what has none is counted in ones.
    #[must_use]
    pub fn unit(&self, ucum: Option<&str>) -> Code {
        let value = ucum.unwrap_or("1");
        let meaning = self.units.get(value).map_or(value, String::as_str);
        Code { value: value.to_owned(), scheme: "UCUM".to_owned(), meaning: meaning.to_owned() }
    }
}

/// A name that fits into a code value: what is too long keeps its beginning and gets a part of its hash.
fn short(name: &str) -> String {
    let plain: String = name.chars().map(|c| if c == ' ' || c == '\\' { '-' } else { c }).collect();
    if plain.chars().count() <= VALUE_CHARS_MAX {
        return plain;
    }
    let hash = hex(&Sha256::digest(name.as_bytes()));
    let start: String = plain.chars().take(VALUE_CHARS_MAX - 5).collect();
    format!("{start}-{}", &hash[..4])
}

#[cfg(test)]
mod tests {
    use super::short;

    #[test]
    fn two_long_names_with_one_beginning_have_two_codes() {
        assert_eq!(short("lesion percent"), "lesion-percent");
        let (one, other) = (short("a very long term indeed"), short("a very long term at last"));
        assert!(one != other && one.chars().count() == 16, "{one} {other}");
    }
}
