//! `zonecall trace`: an area outlined on a still goes into the journal, and from there into the measures.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use anyhow::{Context as _, anyhow, bail};
use chrono::Utc;

use super::known_place::place_is_known;
use super::options::{DraftAgain, FolderArgs, listed_name};
use crate::exam::call::Amount;
use crate::exam::event::{Entered, Event};
use crate::exam::fold::Exam;
use crate::exam_folder::record_against;
use crate::frames::cine::Cine;
use crate::frames::scale::scale_of;
use crate::knowledge::measure::Against;
use crate::knowledge::record::{FrameRow, Record};
use crate::protocol::Protocols;
use crate::report::picture;
use crate::terminal::{self, ShownText as _};
use crate::trace::{Outline, compare, outline_at, size};

#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("outline").required(true).args(["points", "ellipse", "click"]))]
#[command(
    after_help = "Examples:\n  zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --by Ada --click 160,120\n  \
    zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --lesion --by Ada --ellipse 160,120,40,18,0\n\n\
    Exit codes: 0 written, 1 an outline was suggested and nothing written, 2 an error, and nothing was written."
)]
pub(crate) struct TraceArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// The still: its file name or its id.
    #[arg(long, value_name = "STILL")]
    pub(crate) still: String,
    /// Who traces.
    #[arg(long, value_name = "PERSON", value_parser = listed_name)]
    pub(crate) by: String,
    /// Corners in pixels from the top left, such as "100,80 140,82 130,120".
    #[arg(long, value_name = "X,Y ...")]
    pub(crate) points: Option<String>,
    /// An ellipse: centre, half-axes, and the clockwise angle of the first in degrees.
    #[arg(long, value_name = "X,Y,A,B,DEG")]
    pub(crate) ellipse: Option<String>,
    /// A point inside the structure: an outline is suggested, and written only with --confirm. Not for a lesion, whose
    /// edge is too faint to be found from a point.
    #[arg(long, value_name = "X,Y", conflicts_with = "lesion")]
    pub(crate) click: Option<String>,
    /// Write the suggested outline; only after you have looked at it on the still.
    #[arg(long, requires = "click")]
    pub(crate) confirm: bool,
    /// Where the still is a loop, the frame that the outline is on, counted from 1.
    #[arg(long, value_name = "NUMBER")]
    pub(crate) frame: Option<u32>,
    #[command(flatten)]
    pub(crate) again: DraftAgain,
    /// The outline is the lesion's, not the whole structure's.
    #[arg(long)]
    pub(crate) lesion: bool,
    /// Structure, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) structure: Option<String>,
    /// Limb, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) limb: Option<String>,
    /// Zone, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) zone: Option<String>,
}

pub(crate) fn trace(args: &TraceArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    let record = record_against(&exam, &protocols, &Against::default());
    let frame = still(&record, &args.still)?;
    let path = frame.paired_file(folder.path())?;
    let frames = Cine::of(&path).frames;
    if let Some(number) = args.frame.filter(|number| !(1..=frames).contains(number)) {
        bail!("`{}` has no frame {number}; it has {frames}", path.shown());
    }
    let outline = outline(args, &path)?;
    outline.verify().with_context(|| format!("`{}`", path.shown()))?;
    let (scale, by_hand) = scale_of(&exam, &frame.id, &path, &outline.corners()).map_err(|problem| {
        let help = if problem.help.is_empty() { String::new() } else { format!("; {}", problem.help) };
        anyhow!("`{}`: {}{help}", path.shown(), problem.message)
    })?;
    let size = size(&outline, &scale);
    let mut entered = entered(args, &exam, frame, &outline, size.area_mm2, &protocols)?;
    entered.scale_by_hand_mm = by_hand.then_some(scale.width_mm);
    let mut out = terminal::out();
    writeln!(
        out,
        "{} {} {} {}: {:.1} mm2, circumference {:.1} mm, width {:.1} mm, depth {:.1} mm",
        entered.limb,
        entered.zone,
        entered.structure,
        entered.term,
        size.area_mm2,
        size.circumference_mm,
        size.width_mm,
        size.depth_mm
    )?;
    put_grey(&mut out, &exam, &entered, &path)?;
    if args.click.is_some() && !args.confirm {
        let points: Vec<String> =
            outline.corners().iter().step_by(12).map(|(x, y)| format!("{x:.1},{y:.1}")).collect();
        writeln!(out, "suggested outline, every twelfth corner: {}", points.join(" "))?;
        writeln!(
            out,
            "nothing was written: look at the outline on the still, then add --confirm or trace by hand"
        )?;
        return Ok(ExitCode::from(1));
    }
    args.again.may_change(&exam)?;
    let sample = exam.last_sample();
    let seq = folder.append_journal()?.append(Utc::now(), sample, &Event::Entered(Box::new(entered)))?;
    writeln!(out, "written as line {seq} of the journal; a later trace of the same place replaces it")?;
    Ok(ExitCode::SUCCESS)
}

/// The one still with this id or file name.
fn still<'a>(record: &'a Record, name: &str) -> anyhow::Result<&'a FrameRow> {
    let fits = |frame: &&FrameRow| frame.id == name || Path::new(&frame.file).ends_with(name);
    let found: Vec<&FrameRow> = record.frames.iter().filter(fits).collect();
    match found.as_slice() {
        [one] => Ok(one),
        [] => bail!(
            "`{name}` is not a still of this exam; give a file name or id, as `zonecall pair` shows them"
        ),
        _ => bail!("`{name}` matches {} stills; give the id of one", found.len()),
    }
}

fn outline(args: &TraceArgs, path: &Path) -> anyhow::Result<Outline> {
    if let Some(points) = &args.points {
        let points_px = points.split_whitespace().map(pair).collect::<anyhow::Result<Vec<_>>>()?;
        return Ok(Outline::Polygon { points_px });
    }
    if let Some(ellipse) = &args.ellipse {
        let numbers: Result<Vec<f64>, _> = ellipse.split(',').map(|number| number.trim().parse()).collect();
        let [x, y, a, b, turned_deg] =
            numbers.ok().and_then(|all| all.try_into().ok()).with_context(|| {
                format!(
                    "`{ellipse}` is not an ellipse; give centre x,y, half-axes and degrees: 160,120,72,32,0"
                )
            })?;
        return Ok(Outline::Ellipse { centre_px: (x, y), half_axes_px: (a, b), turned_deg });
    }
    let click = args.click.as_ref().context("give --points, --ellipse or --click")?;
    let (x, y) = pair(click)?;
    let grey = picture::grey(path, picture::frame_index(args.frame))
        .map_err(|why| anyhow!("`{}`: {why}", path.shown()))?;
    outline_at(&grey, x, y).with_context(|| format!("`{}`", path.shown()))
}

fn pair(text: &str) -> anyhow::Result<(f64, f64)> {
    let parts =
        text.split_once(',').and_then(|(x, y)| Some((x.trim().parse().ok()?, y.trim().parse().ok()?)));
    parts.with_context(|| format!("`{text}` is not a point; give x,y in pixels, such as 160,120"))
}

fn entered(
    args: &TraceArgs,
    exam: &Exam,
    frame: &FrameRow,
    outline: &Outline,
    area_mm2: f64,
    protocols: &Protocols,
) -> anyhow::Result<Entered> {
    let part = |given: &Option<String>, label: Option<&str>, name: &str| {
        given
            .clone()
            .or_else(|| label.map(str::to_owned))
            .with_context(|| format!("the still's label has no {name}; give it with --{name}"))
    };
    let limb = part(&args.limb, frame.place.limb.as_deref(), "limb")?;
    let zone = part(&args.zone, frame.place.zone.as_deref(), "zone")?;
    let structure = part(&args.structure, frame.place.structure.as_deref(), "structure")?;
    place_is_known([&limb, &zone, &structure], &exam.header, protocols)?;
    let terms = &protocols.measuring.terms;
    let term = if args.lesion { &terms.lesion_area } else { &terms.area };
    let planes = protocols.value(term).map(|kind| kind.planes.clone()).unwrap_or_default();
    if let Some(plane) =
        frame.place.plane.as_ref().filter(|plane| !planes.is_empty() && !planes.contains(plane))
    {
        bail!("the still is labelled plane {plane}, but {term} is traced in plane {}", planes.join(" or "));
    }
    Ok(Entered {
        limb: limb.into(),
        zone: zone.into(),
        plane: frame.place.plane.clone(),
        structure: structure.into(),
        term: term.clone(),
        amount: Amount {
            number: (area_mm2 * 100.0).round() / 100.0,
            unit: Some("mm2".to_owned()),
            unit_assumed: false,
        },
        scale: None,
        traced: true,
        by: Some(args.by.clone()),
        still: Some(frame.id.clone()),
        frame_number: args.frame,
        scale_by_hand_mm: None,
        ends_px: None,
        outline: Some(outline.clone()),
    })
}

/// For a lesion whose structure was traced on the same still: the grey of one against the other.
fn put_grey(out: &mut impl Write, exam: &Exam, lesion: &Entered, path: &Path) -> anyhow::Result<()> {
    let whole = exam.entries.iter().rev().map(|entry| &entry.entered).find(|entered| {
        entered.term != lesion.term
            && (&entered.still, &entered.structure) == (&lesion.still, &lesion.structure)
            && entered.outline.is_some()
            && entered.frame_number.unwrap_or(1) == lesion.frame_number.unwrap_or(1)
    });
    let (Some(whole), Some(inner)) = (whole.and_then(|whole| whole.outline.as_ref()), &lesion.outline) else {
        return Ok(());
    };
    let grey = picture::grey(path, picture::frame_index(lesion.frame_number))
        .map_err(|why| anyhow!("`{}`: {why}", path.shown()))?;
    if let Some(compared) = compare(&grey, inner, whole) {
        writeln!(
            out,
            "mean grey {:.0} inside, {:.0} around, ratio {:.2}; {}",
            compared.mean_inside,
            compared.mean_around,
            compared.ratio.unwrap_or(f64::NAN),
            compared.caution
        )?;
    }
    Ok(())
}
