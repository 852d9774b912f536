//! Who is examined: named by options, or chosen from the list of the day.
//!
//! Takes: the options, the list, and a number typed at the terminal where none was given.
//! Gives: `Subject`.
//! Never: picks a horse by itself.
//! Tested in: here and `tests/it/exchange/worklist.rs`.

use std::io::{BufRead, IsTerminal as _, Write};
use std::path::PathBuf;

use anyhow::bail;

use super::options::not_blank;
use super::set_for_exam::SetForExam;
use crate::exam::event::Horse;
use crate::exchange::day_list::{self, Appointment};
use crate::protocol::Protocols;
use crate::session::listed_horse::ListedHorse;
use crate::session::options::Subject;
use crate::terminal::{self, ShownText as _};

/// Who is examined, and by whom.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct SubjectArgs {
    /// Name of the horse.
    #[arg(long, value_parser = not_blank)]
    pub(crate) horse: Option<String>,
    /// The practice's number for the horse.
    #[arg(long, value_parser = not_blank)]
    pub(crate) horse_id: Option<String>,
    /// The list of the day, from `zonecall worklist --as csv` or typed; the horse is chosen from it.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["horse", "horse_id"])]
    pub(crate) day_list: Option<PathBuf>,
    /// Number of the horse on that list; without it the list is shown and you are asked, or, where nobody can type, you
    /// say it, as in "horse three".
    #[arg(long, value_name = "NUMBER", requires = "day_list", value_parser = not_blank)]
    pub(crate) number: Option<String>,
    /// Who speaks.
    #[arg(long, value_parser = not_blank)]
    pub(crate) person: Option<String>,
    #[command(flatten)]
    pub(crate) set: SetForExam,
}

impl SubjectArgs {
    /// Whom the options name, and what they set; a scale that they do not name is that of the settings.
    pub(crate) fn read(&self, protocols: &Protocols, settings: Option<&str>) -> anyhow::Result<Subject> {
        self.set.added_to(self.named()?, protocols, settings)
    }

    /// The same for a live exam, with the horses of the list: one of them can be named by voice, at once where nobody can
    /// type a number, and later instead of one that was chosen by mistake.
    pub(crate) fn read_for_listening(
        &self,
        protocols: &Protocols,
        settings: Option<&str>,
        can_type: bool,
    ) -> anyhow::Result<(Subject, Vec<ListedHorse>)> {
        let Some(path) = &self.day_list else {
            return Ok((self.read(protocols, settings)?, Vec::new()));
        };
        let listed = |row: &Appointment| ListedHorse {
            number: row.number.clone(),
            horse: row.horse(),
            order: row.order(),
        };
        let horses = day_list::read(path)?.iter().map(listed).collect();
        if self.number.is_some() || can_type {
            return Ok((self.read(protocols, settings)?, horses));
        }
        let subject = Subject { person: self.person.clone(), ..Subject::default() };
        Ok((self.set.added_to(subject, protocols, settings)?, horses))
    }

    fn named(&self) -> anyhow::Result<Subject> {
        let SubjectArgs { horse, horse_id, person, .. } = self.clone();
        let Some(path) = &self.day_list else {
            let horse = Horse { name: horse, id: horse_id, ..Horse::default() };
            return Ok(Subject { horse, person, ..Subject::default() });
        };
        let rows = day_list::read(path)?;
        let row = match &self.number {
            Some(number) => day_list::choose(&rows, number)?,
            None if std::io::stdin().is_terminal() => {
                ask(&rows, &mut std::io::stdin().lock(), &mut terminal::err())?
            }
            None => bail!("which horse of the list? give its --number"),
        };
        Ok(Subject { horse: row.horse(), order: row.order(), person, ..Subject::default() })
    }
}

/// Shows the list and asks until a number of it is typed.
fn ask<'a>(
    rows: &'a [Appointment],
    input: &mut dyn BufRead,
    out: &mut dyn Write,
) -> anyhow::Result<&'a Appointment> {
    for row in rows {
        writeln!(out, "{}", row.line().shown())?;
    }
    loop {
        write!(out, "Number of the horse: ")?;
        out.flush()?;
        let mut typed = String::new();
        if input.read_line(&mut typed)? == 0 {
            bail!("no number was typed; give it with --number");
        }
        match day_list::choose(rows, &typed) {
            Ok(row) => return Ok(row),
            Err(error) => writeln!(out, "{error}")?,
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn the_list_is_shown_and_asked_for_until_a_number_of_it_is_typed() {
        let rows = day_list::parse("horse\nJuniper\nBramble\n").unwrap();
        let mut out = Vec::new();
        let row = ask(&rows, &mut "7\n2\n".as_bytes(), &mut out).unwrap();
        assert_eq!(row.horse, "Bramble");
        let shown = String::from_utf8(out).unwrap();
        assert!(shown.starts_with("  1  --:--  Juniper\n  2  --:--  Bramble\n"), "{shown}");
        assert_eq!(shown.matches("Number of the horse: ").count(), 2, "{shown}");
        assert!(ask(&rows, &mut "".as_bytes(), &mut Vec::new()).is_err());
    }
}
