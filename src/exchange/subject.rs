//! Whose exam it is, in the words of DICOM: patient, study and equipment.
//!
//! Takes: the exam and its stills.
//! Gives: the attributes that every object of an export begins with.
//! Never: puts an exam under another animal's name: where stills and exam disagree, it stops.
//! Tested in: `tests/it/exchange/`.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use dicom_core::{Tag, VR};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::code::{Code, Codes};
use super::dataset::{DataSet, coded, offset};
use super::input::ExportInput;
use super::still::Still;
use super::uid::uid;
use crate::exam::fold::Exam;
use crate::exam::patient::{IdentityVerdict, Patient};
use crate::frames::element::text_of;
use crate::frames::made_here::MAKER;
use crate::knowledge::record::ExamInfo;
use crate::terminal::ShownText as _;

/// Types 2 and 2C of the modules of patient and study: they must be there, and may be empty where unknown or withheld.
pub(super) const MAY_BE_EMPTY: [(Tag, VR); 13] = [
    (tags::PATIENT_BIRTH_DATE, VR::DA),
    (tags::PATIENT_SEX, VR::CS),
    (tags::PATIENT_BREED_DESCRIPTION, VR::LO),
    (tags::PATIENT_BREED_CODE_SEQUENCE, VR::SQ),
    (tags::BREED_REGISTRATION_SEQUENCE, VR::SQ),
    (tags::RESPONSIBLE_PERSON, VR::PN),
    (tags::RESPONSIBLE_ORGANIZATION, VR::LO),
    (tags::PATIENT_SEX_NEUTERED, VR::CS),
    (tags::STUDY_DATE, VR::DA),
    (tags::STUDY_TIME, VR::TM),
    (tags::REFERRING_PHYSICIAN_NAME, VR::PN),
    (tags::STUDY_ID, VR::SH),
    (tags::ACCESSION_NUMBER, VR::SH),
];

/// What a responsible person is whose role nobody said. PS3.3 C.7.1.1 asks for a role wherever there is such a person (type
/// 1C); its terms are Defined Terms, which may be added to (PS3.5 6.3), and none of them says this.
pub(super) const ROLE_UNKNOWN: &str = "UNKNOWN";

/// Whose name goes onto an export.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Identity {
    /// That of the stills, if the exam says nothing else.
    #[default]
    Agreed,
    /// That of the stills, whatever the exam says.
    Stills,
    /// That of the exam, whatever the stills say.
    Exam,
}

/// Whose exam it is.
#[derive(Debug, Clone)]
pub struct SrSubject {
    /// Study Instance UID.
    pub study: String,
    /// The animal's name, as DICOM writes it.
    pub name: String,
    /// The practice's number for the animal.
    pub id: String,
    /// Sex as the stills state it: `M`, `F`, `O` or empty.
    pub sex: String,
    /// Breed by a code, where the stills state one or its name is one that has a code.
    pub breed: Option<Code>,
    /// Patient, Patient Study and General Study modules.
    pub(super) modules: DataSet,
    /// Seconds east of UTC at the place of the exam.
    pub(super) utc_offset_s: i32,
}

/// Why there is no name to export under.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SubjectError {
    /// Stills and exam name different animals.
    #[error(
        "the still `{still}` is of `{named}`, the exam of `{exam}`; if both are the same animal, say --identity stills or \
         --identity exam; else take the still out",
        still = still.shown()
    )]
    Differs {
        /// The still.
        still: String,
        /// Whom it names.
        named: String,
        /// Whom the exam names.
        exam: String,
    },
    /// Two stills name different animals.
    #[error(
        "the stills `{one}` and `{other}` name different animals; take out the one that does not belong here",
        one = one.shown(), other = other.shown()
    )]
    TwoAnimals {
        /// A still.
        one: String,
        /// Another one.
        other: String,
    },
}

/// Attributes that name the animal (PS3.3 C.7.1.1 and C.7.2.2).
const PATIENT: [(Tag, VR); 20] = [
    (tags::PATIENT_NAME, VR::PN),
    (tags::PATIENT_ID, VR::LO),
    (tags::ISSUER_OF_PATIENT_ID, VR::LO),
    (tags::TYPE_OF_PATIENT_ID, VR::CS),
    (tags::PATIENT_BIRTH_DATE, VR::DA),
    (tags::PATIENT_SEX, VR::CS),
    (tags::OTHER_PATIENT_I_DS_SEQUENCE, VR::SQ),
    (tags::PATIENT_SPECIES_DESCRIPTION, VR::LO),
    (tags::PATIENT_SPECIES_CODE_SEQUENCE, VR::SQ),
    (tags::PATIENT_BREED_DESCRIPTION, VR::LO),
    (tags::PATIENT_BREED_CODE_SEQUENCE, VR::SQ),
    (tags::BREED_REGISTRATION_SEQUENCE, VR::SQ),
    (tags::STRAIN_DESCRIPTION, VR::UC),
    (tags::RESPONSIBLE_PERSON, VR::PN),
    (tags::RESPONSIBLE_PERSON_ROLE, VR::CS),
    (tags::RESPONSIBLE_ORGANIZATION, VR::LO),
    (tags::PATIENT_AGE, VR::AS),
    (tags::PATIENT_SIZE, VR::DS),
    (tags::PATIENT_WEIGHT, VR::DS),
    (tags::PATIENT_SEX_NEUTERED, VR::CS),
];

/// Attributes that name the study (PS3.3 C.7.2.1).
const STUDY: [(Tag, VR); 7] = [
    (tags::STUDY_INSTANCE_UID, VR::UI),
    (tags::STUDY_DATE, VR::DA),
    (tags::STUDY_TIME, VR::TM),
    (tags::REFERRING_PHYSICIAN_NAME, VR::PN),
    (tags::STUDY_ID, VR::SH),
    (tags::ACCESSION_NUMBER, VR::SH),
    (tags::STUDY_DESCRIPTION, VR::LO),
];

impl SrSubject {
    /// Whose exam it is.
    ///
    /// # Errors
    /// When the stills name different animals, or another one than the exam does and nobody said which counts.
    pub fn of(input: &ExportInput, stills: &[Still], identity: Identity) -> Result<SrSubject, SubjectError> {
        let (exam, codes) = (&input.record.exam, input.codes);
        let from = if identity == Identity::Exam { None } else { main_still(stills) };
        if let Some(first) = from {
            agree(input.exam, first, stills)?;
            if identity == Identity::Agreed {
                agree_with_exam(exam, first)?;
            }
        }
        let mut modules = DataSet::new();
        for (tag, _) in PATIENT.iter().chain(&STUDY) {
            if let Some(element) = from.and_then(|still| still.head.element_opt(*tag).ok().flatten()) {
                modules.0.put(element.clone());
            }
        }
        fill(&mut modules, exam, codes);
        let text = |tag| text_of(&modules.0, tag).unwrap_or_default();
        Ok(SrSubject {
            study: text(tags::STUDY_INSTANCE_UID),
            name: text(tags::PATIENT_NAME),
            id: text(tags::PATIENT_ID),
            sex: text(tags::PATIENT_SEX),
            breed: breed(&modules.0, codes),
            utc_offset_s: exam.utc_offset_s,
            modules,
        })
    }

    /// What every object of an export begins with; `made_at` is when its content was settled.
    pub(super) fn start(&self, class: &str, instance: &str, made_at: DateTime<Utc>) -> DataSet {
        DataSet::new()
            .text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192")
            .text(tags::SOP_CLASS_UID, VR::UI, class)
            .text(tags::SOP_INSTANCE_UID, VR::UI, instance)
            .text(tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, &offset(self.utc_offset_s))
            .moment(tags::INSTANCE_CREATION_DATE, tags::INSTANCE_CREATION_TIME, made_at, self.utc_offset_s)
            .all(self.modules.clone())
            .text(tags::MANUFACTURER, VR::LO, MAKER)
            .text(tags::MANUFACTURER_MODEL_NAME, VR::LO, MAKER)
            .text(tags::SOFTWARE_VERSIONS, VR::LO, env!("CARGO_PKG_VERSION"))
            .text(tags::DEVICE_SERIAL_NUMBER, VR::LO, "none")
    }
}

/// The breed by its code (CID 7480).
fn breed(modules: &InMemDicomObject, codes: &Codes) -> Option<Code> {
    let stated = modules.element_opt(tags::PATIENT_BREED_CODE_SEQUENCE).ok().flatten();
    let stated = stated.and_then(|all| all.items()?.first()).and_then(|item| {
        let part = |tag| text_of(item, tag);
        let (value, scheme) = (part(tags::CODE_VALUE)?, part(tags::CODING_SCHEME_DESIGNATOR)?);
        Some(Code { value, scheme, meaning: part(tags::CODE_MEANING)? })
    });
    stated.or_else(|| codes.breed(&text_of(modules, tags::PATIENT_BREED_DESCRIPTION)?).cloned())
}

/// A still of the study that most stills belong to.
fn main_still(stills: &[Still]) -> Option<&Still> {
    let mut count: BTreeMap<&str, usize> = BTreeMap::new();
    stills.iter().for_each(|still| *count.entry(still.study.as_str()).or_default() += 1);
    let (study, _) = count.into_iter().max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(a.0)))?;
    stills.iter().find(|still| still.study == study)
}

/// Whom a still is of, as its head says.
fn patient(still: &Still) -> Option<Patient> {
    let text = |tag| text_of(&still.head, tag);
    Patient::new(text(tags::PATIENT_NAME), text(tags::PATIENT_ID))
}

/// Whether a person confirmed that it is the exam's horse, or name or number say so.
fn is_own(exam: &Exam, patient: &Patient) -> bool {
    let horse = &exam.header.horse;
    let verdict = patient.against(horse.name.as_deref(), horse.id.as_deref());
    exam.is_confirmed(patient) || matches!(verdict, IdentityVerdict::SameNumber | IdentityVerdict::SameName)
}

/// What is one animal to whoever pairs and checks is one here, too.
fn agree(exam: &Exam, first: &Still, stills: &[Still]) -> Result<(), SubjectError> {
    let Some(own) = patient(first) else { return Ok(()) };
    let differs = |other: &Patient| own.is_other_than(other) && !(is_own(exam, &own) && is_own(exam, other));
    match stills.iter().find(|still| patient(still).is_some_and(|other| differs(&other))) {
        Some(other) => {
            Err(SubjectError::TwoAnimals { one: first.instance.clone(), other: other.instance.clone() })
        }
        None => Ok(()),
    }
}

/// Whoever confirmed that it is the same horse has not said under which name it goes out.
fn agree_with_exam(exam: &ExamInfo, still: &Still) -> Result<(), SubjectError> {
    let Some(named) = patient(still) else { return Ok(()) };
    let own = Patient { name: exam.horse.name.clone(), id: exam.horse.id.clone() };
    if named.is_other_than(&own) {
        return Err(SubjectError::Differs {
            still: still.instance.clone(),
            named: named.in_words(),
            exam: own.in_words(),
        });
    }
    Ok(())
}

/// Adds what the list of the day says of the animal and the stills do not.
fn put_known(modules: &mut DataSet, exam: &ExamInfo) {
    let horse = &exam.horse;
    // A name that is not parted is an old form (PS3.5 6.2.1): the whole of it takes the first part.
    let owner = horse.owner.as_deref().map(|owner| format!("{}^", plain(owner)));
    let has_owner = text_of(&modules.0, tags::RESPONSIBLE_PERSON).is_some();
    // The column of the list is that of owners: another role is not taken from a worklist.
    let role = owner.as_ref().filter(|_| !has_owner).map(|_| "OWNER".to_owned());
    let known = [
        (tags::PATIENT_SEX, VR::CS, horse.sex.clone()),
        (tags::PATIENT_SPECIES_DESCRIPTION, VR::LO, horse.species.clone()),
        (tags::PATIENT_BREED_DESCRIPTION, VR::LO, horse.breed.clone()),
        (tags::RESPONSIBLE_PERSON, VR::PN, owner),
        (tags::RESPONSIBLE_PERSON_ROLE, VR::CS, role),
    ];
    for (tag, vr, value) in known {
        if let Some(value) = value.filter(|_| text_of(&modules.0, tag).is_none()) {
            modules.put_text(tag, vr, &value);
        }
    }
    let lacks_role = text_of(&modules.0, tags::RESPONSIBLE_PERSON_ROLE).is_none();
    if lacks_role && text_of(&modules.0, tags::RESPONSIBLE_PERSON).is_some() {
        modules.put_text(tags::RESPONSIBLE_PERSON_ROLE, VR::CS, ROLE_UNKNOWN);
    }
}

/// A name without the signs that would part it.
fn plain(name: &str) -> String {
    name.replace(['^', '='], " ")
}

/// Puts in what must be there and the stills did not bring.
fn fill(modules: &mut DataSet, exam: &ExamInfo, codes: &Codes) {
    let has = |modules: &DataSet, tag| modules.0.element_opt(tag).ok().flatten().is_some();
    let horse = &exam.horse;
    // The owner takes the place of the family name (PS3.5 6.2.1).
    let part = |name: &Option<String>| name.as_deref().map(plain).unwrap_or_default();
    let name = match (part(&horse.owner), part(&horse.name)) {
        (owner, name) if owner.is_empty() && name.is_empty() => String::new(),
        (owner, name) => format!("{owner}^{name}"),
    };
    // An order of another study than the stills' says nothing of this one.
    let study = text_of(&modules.0, tags::STUDY_INSTANCE_UID);
    let order = exam.order.as_ref().filter(|order| study.is_none() || order.study == study);
    let accession = order.and_then(|order| order.accession.as_deref());
    if let Some(accession) = accession.filter(|_| text_of(&modules.0, tags::ACCESSION_NUMBER).is_none()) {
        modules.put_text(tags::ACCESSION_NUMBER, VR::SH, accession);
    }
    if text_of(&modules.0, tags::PATIENT_NAME).is_none() {
        modules.put_text(tags::PATIENT_NAME, VR::PN, &name);
    }
    put_known(modules, exam);
    if text_of(&modules.0, tags::PATIENT_ID).is_none() {
        modules.put_text(tags::PATIENT_ID, VR::LO, horse.id.as_deref().unwrap_or_default());
    }
    if !has(modules, tags::PATIENT_SPECIES_DESCRIPTION) && !has(modules, tags::PATIENT_SPECIES_CODE_SEQUENCE)
    {
        let species = vec![coded(&codes.common.species)];
        *modules = modules.clone().items(tags::PATIENT_SPECIES_CODE_SEQUENCE, species);
    }
    if text_of(&modules.0, tags::STUDY_INSTANCE_UID).is_none() {
        let study = order.and_then(|order| order.study.clone()).unwrap_or_else(|| uid(&["study", &exam.id]));
        modules.put_text(tags::STUDY_INSTANCE_UID, VR::UI, &study);
        *modules =
            modules.clone().moment(tags::STUDY_DATE, tags::STUDY_TIME, exam.started_at, exam.utc_offset_s);
    }
    for (tag, vr) in MAY_BE_EMPTY {
        if !has(modules, tag) {
            *modules = modules.clone().empty(tag, vr);
        }
    }
}
