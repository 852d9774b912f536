//! A place in the horse: limb, zone, plane and structure, each known or not.
//!
//! Takes: codes of limb, zone, plane and structure, and the names in `Protocols`.
//! Gives: `Place`, the one type that calls, stills and readings share, and its words; `WholeView`, a view that can be saved.
//! Never: a name of its own; a code that the protocols do not know is shown as it is.
//! Tested in: `tests/it/report.rs`.

use serde::{Deserialize, Serialize};

use crate::code::{LimbCode, PlaneCode, StructureCode, ZoneCode};
use crate::protocol::Protocols;

/// Limb, zone, plane and structure; in JSON its fields are among those of its row.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// Limb code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limb: Option<LimbCode>,
    /// Zone code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<ZoneCode>,
    /// Plane code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<PlaneCode>,
    /// Structure code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructureCode>,
}

/// A view: limb, zone and plane, all known.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct WholeView {
    /// Limb code.
    pub limb: LimbCode,
    /// Zone code.
    pub zone: ZoneCode,
    /// Plane code.
    pub plane: PlaneCode,
}

impl WholeView {
    /// Whether `place` lies in this view.
    #[must_use]
    pub fn holds(&self, place: &Place) -> bool {
        (place.limb.as_ref(), place.zone.as_ref(), place.plane.as_ref())
            == (Some(&self.limb), Some(&self.zone), Some(&self.plane))
    }
}

impl Place {
    /// The view of this place, where limb, zone and plane are known.
    #[must_use]
    pub fn whole_view(&self) -> Option<WholeView> {
        Some(WholeView { limb: self.limb.clone()?, zone: self.zone.clone()?, plane: self.plane.clone()? })
    }

    /// The same part of the limb, seen in whichever plane.
    #[must_use]
    pub fn in_any_plane(self) -> Place {
        Place { plane: None, ..self }
    }

    /// Whether limb, zone and plane are the same, whatever the structure.
    #[must_use]
    pub fn same_view(&self, other: &Place) -> bool {
        (&self.limb, &self.zone, &self.plane) == (&other.limb, &other.zone, &other.plane)
    }

    /// The codes with spaces between, such as `LF 2A T`; what is not known stays out.
    #[must_use]
    pub fn codes(&self) -> String {
        self.parts().into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    /// The codes in columns: what is not known is a dash.
    #[must_use]
    pub fn columns(&self) -> String {
        self.parts().map(|part| part.unwrap_or("-")).join(" ")
    }

    /// The place in words, such as `left fore, zone 2A, transverse, <structure>`; empty when nothing is known.
    #[must_use]
    pub fn in_words(&self, protocols: &Protocols) -> String {
        let structure = self.structure.as_deref();
        let named = structure.map(|code| protocols.structure(code).map_or(code, |known| &known.name));
        self.with_structure(named, protocols)
    }

    /// The place in words with the structure as a code, for narrow columns.
    #[must_use]
    pub fn in_short(&self, protocols: &Protocols) -> String {
        self.with_structure(self.structure.as_deref(), protocols)
    }

    /// The view in words, without the structure.
    #[must_use]
    pub fn view_in_words(&self, protocols: &Protocols) -> String {
        self.with_structure(None, protocols)
    }

    fn with_structure(&self, structure: Option<&str>, protocols: &Protocols) -> String {
        let (limb, plane) = (self.limb.as_deref(), self.plane.as_deref());
        let parts = [
            limb.map(|code| protocols.limb_name(code).to_owned()),
            self.zone.as_ref().map(|code| format!("zone {code}")),
            plane.map(|code| protocols.plane_name(code).to_owned()),
            structure.map(str::to_owned),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// Limb, zone, plane and structure.
    #[must_use]
    pub fn parts(&self) -> [Option<&str>; 4] {
        [self.limb.as_deref(), self.zone.as_deref(), self.plane.as_deref(), self.structure.as_deref()]
    }
}
