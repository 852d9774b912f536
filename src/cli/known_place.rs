//! Whether something can be entered at a place: the exam's schemes know its zone, and the protocols its structure.
//!
//! Takes: codes as a person typed them.
//! Gives: nothing, or what there is instead.
//! Never: a place of its own.
//! Tested in: `tests/it/measure_command.rs`.

use anyhow::ensure;

use crate::exam::event::Header;
use crate::protocol::Protocols;

/// Makes sure that a value can be entered there: a zone of the limb in the exam's schemes, and a known structure.
pub(crate) fn place_is_known(
    [limb, zone, structure]: [&str; 3],
    header: &Header,
    protocols: &Protocols,
) -> anyhow::Result<()> {
    let codes = |all: Vec<&str>| all.join(", ");
    let limbs = protocols.limbs.iter().map(|limb| limb.code.as_str()).collect();
    ensure!(protocols.limb(limb).is_some(), "`{limb}` is not a limb; the limbs are: {}", codes(limbs));
    let zones = protocols.zones_for(limb, &header.schemes).into_iter().map(|(_, zone)| zone.code.as_str());
    ensure!(
        protocols.scheme_for(limb, zone, &header.schemes).is_some(),
        "`{zone}` is not a zone of limb `{limb}` in this exam's schemes; the zones are: {}",
        codes(zones.collect())
    );
    let structures = protocols.structures.iter().map(|structure| structure.code.as_str()).collect();
    ensure!(
        protocols.structure(structure).is_some(),
        "`{structure}` is not a structure; the structures are: {}",
        codes(structures)
    );
    if let (Some(limb), Some(structure)) = (protocols.limb(limb), protocols.structure(structure)) {
        ensure!(
            structure.is_of(&limb.group),
            "the {} has no {}; give a structure that this limb has",
            limb.name,
            structure.name
        );
    }
    Ok(())
}
