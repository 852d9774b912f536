//! Reads stills that are DICOM files.
//!
//! Takes: a file, read up to its pixels; and once more to its end, for the hash of them.
//! Gives: what names and dates the still, and the regions in which a pixel has a size.
//! Never: takes a time of the study or series for the time of the still (of its day, where the still states none), or trusts a region that does not fit the image.
//! Tested in: `tests/it/frames.rs`.

use std::path::Path;

use chrono::{DateTime, Days, TimeDelta, Utc};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{DefaultDicomObject, InMemDicomObject, OpenFileOptions, Tag};
use sha2::{Digest as _, Sha256};

use crate::exam::animal::Animal;
use crate::exam::call::Problem;
use crate::exam::patient::Patient;
use crate::exam::stated_site::StatedSite;
use crate::frames::element::{element, int_of, items_of, text_of};
use crate::frames::lengths::lengths;
use crate::frames::made_here;
use crate::frames::part10;
use crate::frames::scanner_name::scanner_name;
use crate::frames::stated_site::stated_site;
use crate::frames::texts::set_right;
use crate::frames::time_value::{self, TimeValue, problem};
use crate::frames::video::{unseen, video};
use crate::trace::Scale;

/// Modalities of ultrasound, and of a capture of its screen, which may call itself "other" (PS3.3 C.7.3.1.1.1).
const ULTRASOUND: [&str; 3] = ["US", "OT", "SC"];
/// The least and the most that a picture of a probe shows, in millimetres: from below a fingernail to through a horse; our own
/// choice.
const SIDE_MM_MIN: f64 = 2.0;
const SIDE_MM_MAX: f64 = 600.0;
/// More regions than this in one image are not read.
pub const REGIONS_MAX: usize = 64;

/// What a file says of its still.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StillHeader {
    /// SOP Instance UID.
    pub id: Option<String>,
    /// When it was saved, as UTC.
    pub saved_at: Option<DateTime<Utc>>,
    /// Smallest step of that time as written, in seconds.
    pub resolution_s: f64,
    /// Where the time comes from.
    pub time_source: String,
    /// The file names no valid time zone.
    pub zone_assumed: bool,
    /// Order number on the scanner.
    pub instance_number: Option<i64>,
    /// Width and height in pixels.
    pub size_px: Option<(u32, u32)>,
    /// Whom it is of.
    pub patient: Option<Patient>,
    /// What it says of the animal.
    pub animal: Option<Animal>,
    /// Which part of the body it says that it shows.
    pub stated_site: Option<StatedSite>,
    /// The study it belongs to.
    pub study: Option<String>,
    /// When its content was made, where that is another time than `saved_at`.
    pub content_at: Option<DateTime<Utc>>,
    /// The scanner: model and serial number.
    pub scanner: Option<String>,
    /// SHA-256 of its pixels as they lie in the file.
    pub pixels_sha256: Option<String>,
    /// What is wrong with it.
    pub problems: Vec<Problem>,
}

/// A part of the image in which a pixel has a size; both corners belong to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Left, top, right and bottom in pixels, counted from 0.
    pub bounds_px: [u32; 4],
    /// Width of a pixel in millimetres; negative where the axis points left.
    pub delta_x_mm: f64,
    /// Height of a pixel in millimetres; negative where the axis points up.
    pub delta_y_mm: f64,
}

impl From<Region> for Scale {
    /// Both corner pixels belong to the region, so its right and lower edges lie one further.
    fn from(region: Region) -> Scale {
        let [left, top, right, bottom] = region.bounds_px.map(f64::from);
        Scale {
            bounds_px: [left, top, right + 1.0, bottom + 1.0],
            width_mm: region.delta_x_mm.abs(),
            height_mm: region.delta_y_mm.abs(),
        }
    }
}

/// Reads what the file at `path` says of its still; `utc_offset_s` is taken where it names no time zone.
///
/// # Errors
/// A problem, where it is not DICOM or holds no image.
pub fn read(path: &Path, utc_offset_s: i32) -> Result<StillHeader, Problem> {
    let (file, is_undeclared) = open_noting(path)?;
    let size_px = size_of(&file).ok_or_else(|| {
        problem(
            "a DICOM file without an image",
            "ignore it if it is a report; otherwise export the still again",
        )
    })?;
    // The class stands in the file's head, too, where the object itself does not name it.
    let class = text_of(&file, tags::SOP_CLASS_UID)
        .unwrap_or_else(|| file.meta().media_storage_sop_class_uid().to_owned());
    if class == uids::ENHANCED_US_VOLUME_STORAGE {
        return Err(problem(
            "a volume of slices (Enhanced US Volume), not a view that was saved",
            "save the view on the scanner as a single picture or a loop",
        ));
    }
    if made_here::is_copy(&file) {
        return Err(made_here::refused());
    }
    let mut header = StillHeader { size_px: Some(size_px), ..StillHeader::default() };
    if let Some(modality) = text_of(&file, tags::MODALITY).filter(|it| !ULTRASOUND.contains(&it.as_str())) {
        header.problems.push(problem(
            format!("Modality is `{modality}`, not ultrasound"),
            "leave it out at the desk if it is no view of this exam",
        ));
    }
    header.id = text_of(&file, tags::SOP_INSTANCE_UID);
    if header.id.is_none() {
        header.problems.push(problem(
            "no SOP Instance UID",
            "the file's hash is used as its identity; a copy in another format will not be recognised",
        ));
    }
    if is_undeclared {
        header.problems.push(problem(
            "declares no known character set, and its texts are UTF-8",
            "they are read as that; set the scanner's character set to `ISO_IR 192`",
        ));
    }
    if has_hidden_plane(&file) {
        header.problems.push(problem(
            "an overlay plane that is not drawn: it lies in spare bits of packed pixels",
            "look at the still on the scanner for letters and rulers",
        ));
    }
    header.problems.extend(video(file.meta().transfer_syntax()).map(unseen));
    header.patient = Patient::new(text_of(&file, tags::PATIENT_NAME), text_of(&file, tags::PATIENT_ID));
    header.animal = animal(&file);
    header.stated_site = stated_site(&file);
    header.study = text_of(&file, tags::STUDY_INSTANCE_UID);
    if let Some((sha256, lacking)) = pixels(path) {
        header.pixels_sha256 = Some(sha256);
        header.problems.extend(lacking);
    }
    header.scanner = scanner(&file);
    header.instance_number = int_of(&file, tags::INSTANCE_NUMBER);
    date(&file, utc_offset_s, &mut header);
    header.problems.extend(regions_of(&file, size_px).1);
    Ok(header)
}

/// Reads the regions of the image at `path` in which a pixel has a size in both directions, and what is wrong with the others.
///
/// A trace may be measured only where it lies in one of them as a whole.
///
/// # Errors
/// A problem, where the file is not DICOM or holds no image.
pub fn regions(path: &Path) -> Result<(Vec<Region>, Vec<Problem>), Problem> {
    let file = open(path)?;
    let size_px = size_of(&file)
        .ok_or_else(|| problem("a DICOM file without an image", "there is nothing to measure in it"))?;
    Ok(regions_of(&file, size_px))
}

/// A larger file is a loop, not a still: its pixels are not read for this.
const PIXELS_FILE_BYTES_MAX: u64 = 64 << 20;

/// The hash of the pixels as they lie in the file, and what is wrong where some are missing; none where they cannot be read,
/// which is no fault of the still's head.
fn pixels(path: &Path) -> Option<(String, Option<Problem>)> {
    if path.metadata().ok()?.len() > PIXELS_FILE_BYTES_MAX {
        return None;
    }
    let file = OpenFileOptions::new().from_reader(part10::open(path).ok()?).ok()?;
    let pixels = element(&file, tags::PIXEL_DATA)?;
    let mut hash = Sha256::new();
    let mut lacking = None;
    match pixels.fragments() {
        Some(pieces) => pieces.iter().for_each(|piece| hash.update(piece)),
        None => {
            let bytes = pixels.to_bytes().ok()?;
            lacking = plain_bytes(&file).filter(|wanted| (bytes.len() as u64) < *wanted).map(|wanted| {
                problem(
                    format!("its picture is cut short: {} of {wanted} bytes are there", bytes.len()),
                    "it cannot be shown; export the still from the scanner again",
                )
            });
            hash.update(bytes);
        }
    }
    Some((crate::hex(&hash.finalize()), lacking))
}

/// How many bytes pixels take that are not compressed (PS3.3 C.7.6.3.1.2 for those that share their colour).
fn plain_bytes(file: &InMemDicomObject) -> Option<u64> {
    let number = |tag| u64::try_from(int_of(file, tag)?).ok();
    let shares = text_of(file, tags::PHOTOMETRIC_INTERPRETATION).is_some_and(|kind| kind.ends_with("_422"));
    let samples = if shares { 2 } else { number(tags::SAMPLES_PER_PIXEL)? };
    let sides =
        [number(tags::ROWS)?, number(tags::COLUMNS)?, number(tags::NUMBER_OF_FRAMES).unwrap_or(1).max(1)];
    let pixels = sides.into_iter().try_fold(samples, u64::checked_mul)?;
    Some(pixels.checked_mul(number(tags::BITS_ALLOCATED)?)? / 8)
}

/// The file at `path` up to its pixels.
pub(crate) fn open(path: &Path) -> Result<DefaultDicomObject, Problem> {
    open_noting(path).map(|(file, _)| file)
}

/// The same, and whether its texts are UTF-8 without its saying so.
fn open_noting(path: &Path) -> Result<(DefaultDicomObject, bool), Problem> {
    lengths(path)?;
    let file = part10::open(path).map_err(|error| {
        problem(format!("cannot be read: {error}"), "export the still from the scanner again")
    })?;
    let file = OpenFileOptions::new().read_until(tags::PIXEL_DATA).from_reader(file).map_err(|error| {
        let mut why = error.to_string();
        let mut source = std::error::Error::source(&error);
        // The outermost text only says that reading failed; the innermost says why.
        while let Some(inner) = source {
            why = inner.to_string();
            source = inner.source();
        }
        problem(format!("cannot be read as DICOM: {why}"), "export the still from the scanner again")
    });
    let mut file: DefaultDicomObject = file?;
    let is_undeclared = set_right(&mut file);
    Ok((file, is_undeclared))
}

fn size_of(data: &InMemDicomObject) -> Option<(u32, u32)> {
    let side = |tag| u32::try_from(int_of(data, tag)?).ok().filter(|side| *side > 0);
    Some((side(tags::COLUMNS)?, side(tags::ROWS)?))
}

/// Whether letters or rulers lie where only the decoder of the pixels comes: bits that no grey value needs, in a compressed
/// picture or in pixels of another length than 16 bits (PS3.5-2004, 8.1.2).
fn has_hidden_plane(file: &DefaultDicomObject) -> bool {
    !has_plain_words(file) && has_plane_in_pixels(file)
}

/// Whether the pixels lie as they are in words of 16 bits: of compressed ones the decoder gives the grey values alone.
pub(crate) fn has_plain_words(file: &DefaultDicomObject) -> bool {
    let syntax = file.meta().transfer_syntax().trim_end_matches('\0');
    [uids::EXPLICIT_VR_LITTLE_ENDIAN, uids::IMPLICIT_VR_LITTLE_ENDIAN].contains(&syntax)
        && int_of(file, tags::BITS_ALLOCATED) == Some(16)
}

/// The groups of overlay planes: even numbers, sixteen of them (PS3.3 C.9.2).
pub(crate) fn overlay_groups() -> impl Iterator<Item = u16> {
    (0x6000..=0x601E).step_by(2)
}

/// Whether letters or rulers lie in bits of the pixels that no grey value needs: rows, and no data of their own (PS3.3 C.9.2).
pub(crate) fn has_plane_in_pixels(file: &InMemDicomObject) -> bool {
    let has = |group, number| element(file, Tag(group, number)).is_some();
    overlay_groups().any(|group| has(group, 0x0010) && !has(group, 0x3000))
}

/// Owner, breed, sex and birth, in the attributes that DICOM has for animals (PS3.3 C.7.1.1).
fn animal(file: &InMemDicomObject) -> Option<Animal> {
    let text = |tag| text_of(file, tag);
    let role = text(tags::RESPONSIBLE_PERSON_ROLE);
    let owner = text(tags::RESPONSIBLE_PERSON).filter(|_| role.is_none_or(|role| role == "OWNER"));
    let breeds = items_of(file, tags::PATIENT_BREED_CODE_SEQUENCE);
    let coded = || text_of(breeds.first()?, tags::CODE_MEANING);
    Animal {
        owner: owner.map(|name| in_order(&name)),
        breed: text(tags::PATIENT_BREED_DESCRIPTION).or_else(coded),
        sex: text(tags::PATIENT_SEX).filter(|sex| matches!(sex.as_str(), "M" | "F" | "O")),
        neutered: match text(tags::PATIENT_SEX_NEUTERED).as_deref() {
            Some("ALTERED") => Some(true),
            Some("UNALTERED") => Some(false),
            _ => None,
        },
        born: text(tags::PATIENT_BIRTH_DATE)
            .and_then(|day| time_value::date("Patient's Birth Date", &day).ok()),
    }
    .known()
}

/// A person's name as people write it: prefix, given, middle and family name, suffix (PS3.5 6.2.1).
fn in_order(name: &str) -> String {
    let first = name.split('=').find(|way| !way.trim().is_empty()).unwrap_or_default();
    let mut parts = first.split('^').map(str::trim);
    let [family, given, middle, prefix, suffix] = std::array::from_fn(|_| parts.next().unwrap_or_default());
    let known = [prefix, given, middle, family, suffix].into_iter().filter(|part| !part.is_empty());
    known.collect::<Vec<_>>().join(" ")
}

/// What tells one scanner from another: model and serial number, or the name of the station; else maker and model.
pub(crate) fn scanner(file: &InMemDicomObject) -> Option<String> {
    let text = |tag| text_of(file, tag);
    let own = text(tags::DEVICE_SERIAL_NUMBER).or_else(|| text(tags::STATION_NAME));
    scanner_name(text(tags::MANUFACTURER), text(tags::MANUFACTURER_MODEL_NAME), own)
}

/// The times that date a still, best first: name, date, and time; the first is both in one.
const TIMES: [(&str, Tag, Option<Tag>); 4] = [
    ("AcquisitionDateTime", tags::ACQUISITION_DATE_TIME, None),
    ("AcquisitionTime", tags::ACQUISITION_DATE, Some(tags::ACQUISITION_TIME)),
    ("ContentTime", tags::CONTENT_DATE, Some(tags::CONTENT_TIME)),
    ("InstanceCreationTime", tags::INSTANCE_CREATION_DATE, Some(tags::INSTANCE_CREATION_TIME)),
];

fn date(file: &InMemDicomObject, utc_offset_s: i32, header: &mut StillHeader) {
    let zone = text_of(file, tags::TIMEZONE_OFFSET_FROM_UTC)
        .and_then(|text| kept(time_value::zone("Timezone Offset From UTC", &text), &mut header.problems));
    let mut found: Vec<(&str, TimeValue)> = Vec::new();
    for (name, first, second) in TIMES {
        let stamp = match second {
            None => text_of(file, first).map(|text| time_value::date_time(name, &text)),
            Some(second) => text_of(file, first).zip(text_of(file, second)).map(|(day, clock)| {
                let (clock, resolution_s) = time_value::time(name, &clock)?;
                let local = time_value::date(&name.replace("Time", "Date"), &day)?.and_time(clock);
                Ok(TimeValue { local, resolution_s, utc_offset_s: None })
            }),
        };
        if let Some(stamp) = stamp.and_then(|stamp| kept(stamp, &mut header.problems)) {
            found.push((name, stamp));
        }
    }
    if found.is_empty() {
        found.extend(of_borrowed_day(file, &mut header.problems));
    }
    let Some((name, stamp)) = found.first() else {
        return;
    };
    header.saved_at = stamp.instant(zone.unwrap_or(utc_offset_s));
    header.resolution_s = stamp.resolution_s;
    header.time_source = (*name).to_owned();
    header.zone_assumed = stamp.utc_offset_s.is_none() && zone.is_none();
    if *name == "InstanceCreationTime" {
        header.problems.push(problem(
            "dated only by when the file was made",
            "that may be the time of export: check its label by eye",
        ));
    }
    let content = found.iter().find(|(other, _)| *other == "ContentTime" && other != name);
    if let Some((_, content)) = content {
        let apart_s = (content.local - stamp.local).as_seconds_f64();
        if apart_s.abs() >= 1.0 {
            header.content_at = content.instant(zone.unwrap_or(utc_offset_s));
            header.problems.push(problem(
                format!("{name} and ContentTime are not the same"),
                "the first one is used, unless several stills share it; check its label by eye",
            ));
        }
    }
}

/// The days that a time without a date of its own may be of, with the time at which that day's series or study began.
const DAYS: [(&str, Tag, Tag); 2] =
    [("series", tags::SERIES_DATE, tags::SERIES_TIME), ("study", tags::STUDY_DATE, tags::STUDY_TIME)];
/// A time that lies further before the beginning of its series or study than this, in hours, is of the day after; our own choice.
const DAY_AFTER_H: i64 = 12;

/// A time of the still that states no date, on the day of its series or study.
fn of_borrowed_day(
    file: &InMemDicomObject,
    problems: &mut Vec<Problem>,
) -> Option<(&'static str, TimeValue)> {
    let stated = DAYS.into_iter().find_map(|(of, day, begun)| Some((of, text_of(file, day)?, begun)));
    let (of, day, begun) = stated?;
    let of_still = TIMES.into_iter().filter(|(name, ..)| ["AcquisitionTime", "ContentTime"].contains(name));
    let undated = of_still.filter_map(|(name, date, time)| {
        Some((name, text_of(file, time?)?)).filter(|_| text_of(file, date).is_none())
    });
    let times: Vec<(&str, String)> = undated.collect();
    for (name, text) in times {
        let Some((clock, resolution_s)) = kept(time_value::time(name, &text), problems) else { continue };
        let date = kept(time_value::date(&format!("date of the {of}"), &day), problems)?;
        let began = text_of(file, begun).and_then(|began| time_value::time(of, &began).ok());
        let is_after = began.is_some_and(|(began, _)| began - clock > TimeDelta::hours(DAY_AFTER_H));
        let date = date.checked_add_days(Days::new(u64::from(is_after)))?;
        problems.push(problem(
            format!("{name} has no date of its own; that of the {of} is used"),
            "check that the still was saved on that day",
        ));
        return Some((name, TimeValue { local: date.and_time(clock), resolution_s, utc_offset_s: None }));
    }
    None
}

fn kept<T>(read: Result<T, Problem>, problems: &mut Vec<Problem>) -> Option<T> {
    read.map_err(|fault| problems.push(fault)).ok()
}

fn regions_of(file: &InMemDicomObject, size_px: (u32, u32)) -> (Vec<Region>, Vec<Problem>) {
    let items = items_of(file, tags::SEQUENCE_OF_ULTRASOUND_REGIONS);
    let (mut good, mut problems) = (Vec::new(), Vec::new());
    for (idx, item) in items.iter().take(REGIONS_MAX).enumerate() {
        match region(item, size_px) {
            Ok((region, off_by_one)) => {
                good.push(region);
                if off_by_one {
                    problems.push(problem(
                        format!("region {} ends one pixel outside the image", idx + 1),
                        "used all the same: some scanners count one too many",
                    ));
                }
            }
            Err(why) => problems.push(problem(
                format!("region {}: {why}", idx + 1),
                "nothing can be measured inside it; measure on the scanner",
            )),
        }
    }
    if items.len() > REGIONS_MAX {
        problems.push(problem(
            format!("{} regions, of which {REGIONS_MAX} were read", items.len()),
            "export the still again",
        ));
    }
    if good.len() > 1 {
        problems.push(problem(
            format!("{} regions with a scale of their own", good.len()),
            "a trace must lie entirely within one of them",
        ));
    }
    (good, problems)
}

/// One region, and whether it ends one pixel outside the image; else why it cannot be used.
///
/// Spatial format 1 is a two-dimensional picture and unit 3 the centimetre (DICOM PS3.3 C.8.5.5).
fn region(item: &InMemDicomObject, (columns, rows): (u32, u32)) -> Result<(Region, bool), String> {
    let int = |tag, name: &str| int_of(item, tag).ok_or_else(|| format!("{name} is missing"));
    let format = int(tags::REGION_SPATIAL_FORMAT, "Region Spatial Format")?;
    if format != 1 {
        return Err(format!("Region Spatial Format is {format}, not a two-dimensional picture (1)"));
    }
    let bounds = [
        int(tags::REGION_LOCATION_MIN_X0, "its left edge")?,
        int(tags::REGION_LOCATION_MIN_Y0, "its upper edge")?,
        int(tags::REGION_LOCATION_MAX_X1, "its right edge")?,
        int(tags::REGION_LOCATION_MAX_Y1, "its lower edge")?,
    ];
    let [left, top, right, bottom] = bounds;
    let (width, height) = (i64::from(columns), i64::from(rows));
    if right > width || bottom > height || left < 0 || top < 0 || left >= right || top >= bottom {
        return Err(format!(
            "its bounds {left}..{right} x {top}..{bottom} do not fit the image of {width}x{height} pixels; \
             the image was scaled or cut after calibration"
        ));
    }
    for (tag, name) in [(tags::PHYSICAL_UNITS_X_DIRECTION, "X"), (tags::PHYSICAL_UNITS_Y_DIRECTION, "Y")] {
        let unit = int(tag, "its unit")?;
        if unit != 3 {
            return Err(format!("Physical Units {name} Direction is {unit}, not centimetre (3)"));
        }
    }
    let delta = |tag, name: &str| {
        let value = element(item, tag).and_then(|delta| delta.to_float64().ok());
        match value {
            Some(value) if value.is_finite() && value != 0.0 => Ok(10.0 * value),
            Some(value) => Err(format!("Physical Delta {name} is {value}")),
            None => Err(format!("Physical Delta {name} is missing")),
        }
    };
    let delta_x_mm = delta(tags::PHYSICAL_DELTA_X, "X")?;
    let delta_y_mm = delta(tags::PHYSICAL_DELTA_Y, "Y")?;
    let bounds_px = bounds.map(|edge| u32::try_from(edge).unwrap_or(u32::MAX));
    let [x0, y0, x1, y1] = bounds_px.map(f64::from);
    for (name, side_mm) in [("wide", (x1 - x0) * delta_x_mm), ("high", (y1 - y0) * delta_y_mm)] {
        let side_mm = side_mm.abs();
        if !(SIDE_MM_MIN..=SIDE_MM_MAX).contains(&side_mm) {
            return Err(format!("its scale makes it {side_mm:.3} mm {name}, which no probe sees"));
        }
    }
    Ok((Region { bounds_px, delta_x_mm, delta_y_mm }, right == width || bottom == height))
}
