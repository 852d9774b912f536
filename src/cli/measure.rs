//! `zonecall measure`: what the numbers of an exam say, as tables or for programs.

use std::io::Write;
use std::process::ExitCode;

use super::against::against;
use super::args;
use super::output::write_file;
use crate::exam_folder::record_against;
use crate::report::measure_table;

pub(crate) fn measure(args: &args::MeasureArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    let against = against(&args.against, &exam.header, &protocols)?;
    let record = record_against(&exam, &protocols, &against);
    let text = match args.form {
        args::MeasureForm::Text => measure_table::text(&record, &protocols),
        args::MeasureForm::Json => measure_table::json(&record, &protocols),
    };
    match &args.out {
        Some(path) => write_file(path, text.as_bytes())?,
        None => std::io::stdout().write_all(text.as_bytes())?,
    }
    let open = record.measures.iter().any(|row| row.over.is_some());
    Ok(if open { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
