//! The horses of the day, as the practice's system lists them or as somebody typed them.
//!
//! Takes: rows of a worklist, or a table with a column `horse`.
//! Gives: `Appointment`s with their numbers; each as the horse and order that an exam begins with; the table.
//! Never: an appointment out of a row that can be read in two ways.
//! Tested in: here and `tests/it/exchange/worklist.rs`.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::uid::is_uid;
use crate::exam::event::{Horse, Order};
use crate::report::spreadsheet::{FORMULA, text};
use crate::terminal::ShownText as _;

/// One animal of the day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Appointment {
    /// What it is chosen by.
    pub number: String,
    /// When, by the clock of the place, as `HH:MM`; empty where the list does not say.
    pub time: String,
    /// The animal's name.
    pub horse: String,
    /// The practice's number for it.
    pub horse_id: String,
    /// Its owner or keeper.
    pub owner: String,
    /// Species in words.
    pub species: String,
    /// Breed in words.
    pub breed: String,
    /// `M`, `F`, `O` or empty.
    pub sex: String,
    /// Whether it was neutered: `yes`, `no` or empty.
    pub neutered: String,
    /// Day of birth, as `2018-04-01`; empty where the list does not say.
    pub born: String,
    /// Accession number of the order.
    pub accession: String,
    /// UID that the study is to have.
    pub study: String,
    /// What is to be done.
    pub procedure: String,
}

/// Why a table is no list of the day.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DayListError {
    /// It cannot be read.
    #[error("cannot read the list of the day `{path}`: {source}", path = path.shown())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// It is no table.
    #[error("the list of the day is no table: {0}; save it as CSV in UTF-8")]
    Table(#[from] csv::Error),
    /// It does not name its columns.
    #[error(
        "the list of the day has no column `horse`: its first line has {found}; name the columns there, as in {}",
        Appointment::COLUMNS.join(", ")
    )]
    NoHorses {
        /// What its first line has.
        found: String,
    },
    /// Its letters can be read in several ways.
    #[error(
        "line {line} of the list of the day `{path}` has letters that can be read in several ways; save it again as CSV in \
         UTF-8: in a spreadsheet choose `Save as`, and there the file type `CSV UTF-8`, or the character set `UTF-8`",
        path = path.shown()
    )]
    Letters {
        /// The file.
        path: PathBuf,
        /// Which, counted from 1.
        line: usize,
    },
    /// A row cannot be taken.
    #[error("row {row} of the list of the day: {why}")]
    Row {
        /// Which, counted from 1 below the names of the columns.
        row: usize,
        /// What is wrong, and what to do.
        why: String,
    },
    /// There is none of that number.
    #[error("the list of the day has no number `{wanted}`, only {known}")]
    NoNumber {
        /// What was asked for.
        wanted: String,
        /// What is there.
        known: String,
    },
}

/// Reads a table of the day.
///
/// # Errors
/// When it cannot be read, or a row of it can be read in two ways.
pub fn read(path: &Path) -> Result<Vec<Appointment>, DayListError> {
    let failed = |source| DayListError::Read { path: path.to_owned(), source };
    let bytes = std::fs::read(path).map_err(failed)?;
    let letters = |line| DayListError::Letters { path: path.to_owned(), line };
    parse(&text_of(bytes).map_err(letters)?)
}

/// Letters beyond ASCII that the character sets of western and middle Europe (ISO 8859-1, -2 and -15, and the Windows ones
/// made after them) have in one place.
const SHARED_LETTERS: &str = "ÁÂÄÇÉËÍÎÓÔÖÚÜÝßáâäçéëíîóôöúüý";

/// The text of a file: UTF-8, else one byte a letter where these mean the same whatever the character set is; else the line
/// in which they do not.
fn text_of(bytes: Vec<u8>) -> Result<String, usize> {
    let bytes = match String::from_utf8(bytes) {
        Ok(text) => return Ok(text),
        Err(error) => error.into_bytes(),
    };
    let is_shared = |byte: u8| byte.is_ascii() || SHARED_LETTERS.contains(char::from(byte));
    match bytes.iter().position(|byte| !is_shared(*byte)) {
        Some(at) => Err(1 + bytes[..at].iter().filter(|byte| **byte == b'\n').count()),
        None => Ok(bytes.into_iter().map(char::from).collect()),
    }
}

/// Reads the text of a table: parted by commas or semicolons, with the names of the columns in the first line.
///
/// # Errors
/// When it is none, or a row of it can be read in two ways.
pub fn parse(table: &str) -> Result<Vec<Appointment>, DayListError> {
    let table = table.trim_start_matches('\u{feff}');
    let first = table.lines().next().unwrap_or_default();
    // Where a comma is the decimal sign, spreadsheets part cells by semicolons.
    let delimiter = if first.contains(';') { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(table.as_bytes());
    // Spreadsheets begin names with a capital, and people part their words by a space.
    let named = reader.headers()?.iter().map(|name| name.to_lowercase().replace([' ', '-'], "_"));
    let named: csv::StringRecord = named.collect();
    if !named.iter().any(|name| name == "horse") {
        let found: Vec<String> = reader.headers()?.iter().map(|name| format!("`{name}`")).collect();
        return Err(DayListError::NoHorses { found: found.join(", ") });
    }
    reader.set_headers(named);
    let mut rows: Vec<Appointment> = Vec::new();
    for (row, read) in (1..).zip(reader.deserialize()) {
        let mut found: Appointment = read?;
        found.each_cell(|cell| *cell = unescaped(cell));
        if found.number.is_empty() {
            found.number = row.to_string();
        }
        let fault = fault(&found, &rows);
        if let Some(why) = fault {
            return Err(DayListError::Row { row, why });
        }
        rows.push(found);
    }
    Ok(rows)
}

/// What keeps a row from being taken.
fn fault(row: &Appointment, before: &[Appointment]) -> Option<String> {
    if row.horse.is_empty() && row.horse_id.is_empty() {
        return Some("it names no horse; give `horse` or `horse_id`".to_owned());
    }
    if before.iter().any(|other| other.number == row.number) {
        return Some(format!("the number `{}` is there twice; give each row its own", row.number));
    }
    if !row.sex.is_empty() && !is_sex(&row.sex) {
        return Some(format!("the sex is `{}`; wanted is `M`, `F`, `O` or nothing", row.sex));
    }
    if !["", "yes", "no"].contains(&row.neutered.as_str()) {
        return Some(format!("`neutered` is `{}`; wanted is `yes`, `no` or nothing", row.neutered));
    }
    if !row.born.is_empty() && row.born.parse::<NaiveDate>().is_err() {
        return Some(format!(
            "it was born on `{}`; wanted is a day such as `2018-04-01`, or nothing",
            row.born
        ));
    }
    if !row.study.is_empty() && !is_uid(&row.study) {
        return Some(format!("the study is `{}`, which is no UID; leave the cell empty", row.study));
    }
    None
}

/// The values that DICOM has (PS3.3 C.7.1.1).
pub(super) fn is_sex(text: &str) -> bool {
    matches!(text, "M" | "F" | "O")
}

/// What our own table put before a sign that a spreadsheet would take for a formula.
fn unescaped(cell: &str) -> String {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(FORMULA) => rest.to_owned(),
        _ => cell.to_owned(),
    }
}

/// The table; no cell of it is a formula to a spreadsheet.
///
/// # Errors
/// Never in practice: it is written into memory.
pub fn table(rows: &[Appointment]) -> Result<String, DayListError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        let mut row = row.clone();
        row.each_cell(|cell| *cell = text(Some(cell)));
        writer.serialize(row)?;
    }
    let bytes = writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

/// The appointment of this number.
///
/// # Errors
/// When there is none.
pub fn choose<'a>(rows: &'a [Appointment], number: &str) -> Result<&'a Appointment, DayListError> {
    rows.iter().find(|row| row.number == number.trim()).ok_or_else(|| DayListError::NoNumber {
        wanted: number.trim().to_owned(),
        known: rows.iter().map(|row| format!("`{}`", row.number)).collect::<Vec<_>>().join(", "),
    })
}

impl Appointment {
    /// The columns of a table of the day; only `horse` must be there.
    pub const COLUMNS: [&str; 13] = [
        "number",
        "time",
        "horse",
        "horse_id",
        "owner",
        "species",
        "breed",
        "sex",
        "neutered",
        "born",
        "accession",
        "study",
        "procedure",
    ];

    fn each_cell(&mut self, mut change: impl FnMut(&mut String)) {
        let Appointment {
            number,
            time,
            horse,
            horse_id,
            owner,
            species,
            breed,
            sex,
            neutered,
            born,
            accession,
            study,
            procedure,
        } = self;
        let whose = [number, time, horse, horse_id, owner, species, breed, sex, neutered, born];
        for cell in whose.into_iter().chain([accession, study, procedure]) {
            change(cell);
        }
    }

    /// The horse that an exam begins with.
    #[must_use]
    pub fn horse(&self) -> Horse {
        Horse {
            name: stated(&self.horse),
            id: stated(&self.horse_id),
            owner: stated(&self.owner),
            species: stated(&self.species),
            breed: stated(&self.breed),
            sex: stated(&self.sex),
        }
    }

    /// What the practice's system knows the exam by.
    #[must_use]
    pub fn order(&self) -> Option<Order> {
        let order = Order { accession: stated(&self.accession), study: stated(&self.study) };
        (order != Order::default()).then_some(order)
    }

    /// One line for a person to choose by.
    #[must_use]
    pub fn line(&self) -> String {
        let time = if self.time.is_empty() { "--:--" } else { &self.time };
        let id = stated(&self.horse_id).map(|id| format!(" ({id})"));
        let owner = stated(&self.owner).map(|owner| format!("owner {owner}"));
        let neutered = (self.neutered == "yes").then(|| "neutered".to_owned());
        let born = stated(&self.born).map(|day| format!("born {day}"));
        let rest = [owner, stated(&self.breed), stated(&self.sex), neutered, born, stated(&self.procedure)];
        let rest: String = rest.into_iter().flatten().map(|part| format!(", {part}")).collect();
        let line = format!("{:>3}  {time}  {}{}{rest}", self.number, self.horse, id.unwrap_or_default());
        // A name could hold signs that a terminal obeys.
        line.chars().filter(|sign| !sign.is_control()).collect()
    }
}

fn stated(cell: &str) -> Option<String> {
    (!cell.is_empty()).then(|| cell.to_owned())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn a_typed_table_needs_no_more_than_names_and_may_be_parted_by_semicolons() {
        let rows = parse("\u{feff}time;horse;sex;colour\n08:30;Juniper;F;bay\n;Bramble;;\n").unwrap();
        assert_eq!(rows.len(), 2);
        assert_eq!((rows[0].number.as_str(), rows[0].line().as_str()), ("1", "  1  08:30  Juniper, F"));
        assert_eq!(choose(&rows, " 2 ").unwrap().horse().name.as_deref(), Some("Bramble"));
        assert!(rows[1].order().is_none());
        assert!(choose(&rows, "3").unwrap_err().to_string().contains("only `1`, `2`"));
    }

    #[test]
    fn a_spreadsheets_capitals_spaces_and_letters_are_read() {
        let rows = parse("Horse,Number,Horse ID\nJuniper,7,4711\n").unwrap();
        assert_eq!((rows[0].number.as_str(), rows[0].horse_id.as_str()), ("7", "4711"));
        let why = parse("Name;No\nJuniper;1\n").unwrap_err().to_string();
        assert!(
            why.contains("has `Name`, `No`") && why.contains("as in number, time, horse, horse_id"),
            "{why}"
        );
        // What every column of a written table is called.
        let written =
            table(&[Appointment { horse: "Juniper".to_owned(), ..Appointment::default() }]).unwrap();
        assert_eq!(written.lines().next(), Some(Appointment::COLUMNS.join(",").as_str()));
        let file = tempfile::NamedTempFile::new().unwrap();
        let read_bytes = |bytes: &[u8]| {
            std::fs::write(file.path(), bytes).unwrap();
            read(file.path())
        };
        // ISO 8859-1: `Müller` and `José`.
        let rows = read_bytes(b"horse,owner\nJuniper,M\xfcller\nJos\xe9,\n").unwrap();
        assert_eq!((rows[0].owner.as_str(), rows[1].horse.as_str()), ("Müller", "José"));
        // 0xE8 is another letter in the west of Europe than in its middle.
        let why = read_bytes(b"horse\nJuniper\nHel\xe8ne\n").unwrap_err().to_string();
        assert!(why.contains("line 3 of the list") && why.contains("`CSV UTF-8`"), "{why}");
    }

    #[test]
    fn what_can_be_read_in_two_ways_is_refused_by_its_row() {
        let why = |table: &str| parse(table).unwrap_err().to_string();
        assert!(why("name\nJuniper\n").contains("no column `horse`"));
        assert!(why("number,horse\n3,Juniper\n3,Bramble\n").starts_with("row 2 of the list of the day"));
        assert!(why("horse,sex\nJuniper,mare\n").contains("wanted is `M`, `F`, `O`"));
        assert!(why("horse,study\nJuniper,../x\n").contains("no UID"));
        assert!(why("horse,neutered\nJuniper,gelding\n").contains("wanted is `yes`, `no`"));
        assert!(why("horse,born\nJuniper,1.4.2018\n").contains("a day such as `2018-04-01`"));
        assert!(why("horse,horse_id\n,\n").contains("names no horse"));
    }

    #[test]
    fn the_table_reads_back_and_no_cell_is_a_formula() {
        let row = Appointment {
            number: "1".to_owned(),
            horse: "=HYPERLINK(1)".to_owned(),
            horse_id: "-7".to_owned(),
            owner: "Kim, \"the boss\"".to_owned(),
            study: "2.25.7".to_owned(),
            ..Appointment::default()
        };
        let written = table(std::slice::from_ref(&row)).unwrap();
        assert!(written.contains("'=HYPERLINK(1),'-7"), "{written}");
        assert_eq!(parse(&written).unwrap(), [row]);
    }
}
