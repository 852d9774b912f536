//! Concepts that the published templates of DICOM SR are built from (PS3.16).
//!
//! Takes: nothing.
//! Gives: their codes.
//! Never: anything of a body: that is in `codes/`.
//! Tested in: `tests/it/exchange/codes.rs`, against published dictionaries.

use super::code::Code;

/// A concept: value and meaning, in the scheme DCM.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Concept(pub &'static str, pub &'static str, pub &'static str);

impl From<Concept> for Code {
    fn from(Concept(value, scheme, meaning): Concept) -> Code {
        Code { value: value.to_owned(), scheme: scheme.to_owned(), meaning: meaning.to_owned() }
    }
}

/// All of them, for whoever checks them.
pub const ALL: [Concept; 49] = [
    REPORT,
    MEASUREMENTS,
    GROUP,
    TRACKING_ID,
    TRACKING_UID,
    FINDING,
    SITE,
    LATERALITY,
    MODIFIER,
    REGION,
    METHOD,
    SOURCE,
    COMMENT,
    LANGUAGE,
    ENGLISH,
    OBSERVER_TYPE,
    PERSON,
    DEVICE,
    PERSON_NAME,
    DEVICE_UID,
    DEVICE_NAME,
    DEVICE_MODEL,
    SUBJECT_CLASS,
    PATIENT,
    SUBJECT_NAME,
    SUBJECT_ID,
    SUBJECT_SEX,
    SUBJECT_SPECIES,
    SUBJECT_BREED,
    MALE,
    FEMALE,
    OTHER_SEX,
    PROCEDURE,
    LIBRARY,
    LIBRARY_GROUP,
    MODALITY,
    TARGET_REGION,
    IMAGE_LATERALITY,
    IMAGE_VIEW,
    QUALITATIVE,
    IMPRESSION,
    RECOMMENDATION,
    OF_INTEREST,
    KEY_DESCRIPTION,
    SOURCE_IMAGE,
    MODIFYING_EQUIPMENT,
    PATH,
    BASIC_PROFILE,
    CLEAN_PIXELS,
];

pub(super) const REPORT: Concept = Concept("126000", "DCM", "Imaging Measurement Report");
pub(super) const MEASUREMENTS: Concept = Concept("126010", "DCM", "Imaging Measurements");
pub(super) const GROUP: Concept = Concept("125007", "DCM", "Measurement Group");
pub(super) const TRACKING_ID: Concept = Concept("112039", "DCM", "Tracking Identifier");
pub(super) const TRACKING_UID: Concept = Concept("112040", "DCM", "Tracking Unique Identifier");
pub(super) const FINDING: Concept = Concept("121071", "DCM", "Finding");
pub(super) const SITE: Concept = Concept("363698007", "SCT", "Finding Site");
pub(super) const LATERALITY: Concept = Concept("272741003", "SCT", "Laterality");
pub(super) const MODIFIER: Concept = Concept("106233006", "SCT", "Topographical modifier");
pub(super) const REGION: Concept = Concept("111030", "DCM", "Image Region");
pub(super) const PATH: Concept = Concept("121055", "DCM", "Path");
pub(super) const METHOD: Concept = Concept("370129005", "SCT", "Measurement Method");
pub(super) const SOURCE: Concept = Concept("121112", "DCM", "Source of Measurement");
pub(super) const COMMENT: Concept = Concept("121106", "DCM", "Comment");
pub(super) const LANGUAGE: Concept = Concept("121049", "DCM", "Language of Content Item and Descendants");
pub(super) const ENGLISH: Concept = Concept("en", "RFC5646", "English");
pub(super) const OBSERVER_TYPE: Concept = Concept("121005", "DCM", "Observer Type");
pub(super) const PERSON: Concept = Concept("121006", "DCM", "Person");
pub(super) const DEVICE: Concept = Concept("121007", "DCM", "Device");
pub(super) const PERSON_NAME: Concept = Concept("121008", "DCM", "Person Observer Name");
pub(super) const DEVICE_UID: Concept = Concept("121012", "DCM", "Device Observer UID");
pub(super) const DEVICE_NAME: Concept = Concept("121013", "DCM", "Device Observer Name");
pub(super) const DEVICE_MODEL: Concept = Concept("121015", "DCM", "Device Observer Model Name");
pub(super) const SUBJECT_CLASS: Concept = Concept("121024", "DCM", "Subject Class");
pub(super) const PATIENT: Concept = Concept("121025", "DCM", "Patient");
pub(super) const SUBJECT_NAME: Concept = Concept("121029", "DCM", "Subject Name");
pub(super) const SUBJECT_ID: Concept = Concept("121030", "DCM", "Subject ID");
pub(super) const SUBJECT_SEX: Concept = Concept("121032", "DCM", "Subject Sex");
pub(super) const SUBJECT_SPECIES: Concept = Concept("121034", "DCM", "Subject Species");
pub(super) const SUBJECT_BREED: Concept = Concept("121035", "DCM", "Subject Breed");
pub(super) const MALE: Concept = Concept("M", "DCM", "Male");
pub(super) const FEMALE: Concept = Concept("F", "DCM", "Female");
pub(super) const OTHER_SEX: Concept = Concept("121104", "DCM", "Ambiguous sex");
pub(super) const PROCEDURE: Concept = Concept("121058", "DCM", "Procedure reported");
pub(super) const LIBRARY: Concept = Concept("111028", "DCM", "Image Library");
pub(super) const LIBRARY_GROUP: Concept = Concept("126200", "DCM", "Image Library Group");
pub(super) const MODALITY: Concept = Concept("121139", "DCM", "Modality");
pub(super) const TARGET_REGION: Concept = Concept("123014", "DCM", "Target Region");
pub(super) const IMAGE_LATERALITY: Concept = Concept("111027", "DCM", "Image Laterality");
pub(super) const IMAGE_VIEW: Concept = Concept("111031", "DCM", "Image View");
pub(super) const QUALITATIVE: Concept = Concept("C0034375", "UMLS", "Qualitative Evaluations");
pub(super) const IMPRESSION: Concept = Concept("121073", "DCM", "Impression");
pub(super) const RECOMMENDATION: Concept = Concept("121075", "DCM", "Recommendation");
pub(super) const OF_INTEREST: Concept = Concept("113000", "DCM", "Of Interest");
pub(super) const KEY_DESCRIPTION: Concept = Concept("113012", "DCM", "Key Object Description");
pub(super) const SOURCE_IMAGE: Concept =
    Concept("121322", "DCM", "Source image for image processing operation");
pub(super) const MODIFYING_EQUIPMENT: Concept = Concept("109103", "DCM", "Modifying Equipment");
pub(super) const BASIC_PROFILE: Concept =
    Concept("113100", "DCM", "Basic Application Confidentiality Profile");
pub(super) const CLEAN_PIXELS: Concept = Concept("113101", "DCM", "Clean Pixel Data Option");
