//! What is set for one exam: how long the limbs are, the scales of scores, and how labels follow from what was said.
//!
//! Takes: the program's arguments, and what the settings say.
//! Gives: the `Subject` with all of it.
//! Never: a length or a scale that the protocols do not know.
//! Tested in: `tests/it/set_for_exam.rs`.

use anyhow::{anyhow, ensure};

use super::options::Switch;
use crate::exam::header::CONTEXT_S_MAX;
use crate::protocol::Protocols;
use crate::session::options::Subject;

/// What is set for one exam.
#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct SetForExam {
    /// Length of the limbs of a group in centimetres, such as `fore=21`, from the landmark of the zones to their end;
    /// levels are scaled by it. A pony needs it, unless you say "limb length ..."; give it once for each group.
    #[arg(long = "limb-length", value_name = "GROUP=CM", value_parser = named)]
    limb_lengths: Vec<(String, String)>,
    /// The scale of a score, such as `echo score=0-3`; it is kept with the exam. Without it, that of the protocols.
    #[arg(long = "score-scale", value_name = "TERM=SCALE", value_parser = named)]
    score_scales: Vec<(String, String)>,
    /// You save first and say the place afterwards: the place said within four seconds of a save labels its still.
    /// `--save-first=off` overrides the settings.
    #[arg(long, value_enum, value_name = "on|off", num_args = 0..=1, require_equals = true, default_missing_value = "on")]
    save_first: Option<Switch>,
    /// A still without a save call gets the current place only within this many seconds of the last call: 60 by
    /// default, 600 at most, 0 for never.
    #[arg(long = "context", value_name = "SECONDS", value_parser = context)]
    context_s: Option<f64>,
}

/// What `--context` can be.
fn context(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(seconds) if (0.0..=CONTEXT_S_MAX).contains(&seconds) => Ok(seconds),
        _ => Err(format!("give a number of seconds from 0 to {CONTEXT_S_MAX}")),
    }
}

impl SetForExam {
    /// The subject with what was set; a scale that was not given is that of the settings.
    pub(super) fn added_to(
        &self,
        subject: Subject,
        protocols: &Protocols,
        settings: Option<&str>,
    ) -> anyhow::Result<Subject> {
        let kept = settings.map(named).transpose();
        let kept = kept.map_err(|why| anyhow!("score_scale in the settings: {why}"))?;
        let scales = kept.into_iter().chain(self.score_scales.iter().cloned()).map(|(term, scale)| {
            let known = protocols.value(&term).map(|kind| kind.scales.as_slice()).unwrap_or_default();
            let names: Vec<&str> = known.iter().map(|known| known.name.as_str()).collect();
            ensure!(!names.is_empty(), "`{term}` has no scale to choose; leave it out");
            let is_known = names.contains(&scale.as_str());
            ensure!(is_known, "`{scale}` is not a scale of {term}; give {}", names.join(" or "));
            Ok((term, scale))
        });
        let scales = scales.collect::<anyhow::Result<_>>()?;
        let lengths = self.limb_lengths.iter().map(|(group, cm)| {
            let is_known = protocols.limbs.iter().any(|limb| limb.group == *group);
            ensure!(is_known, "no limb is of the group `{group}`; the protocols name the group of each limb");
            let length: f64 = cm.parse().unwrap_or(f64::NAN);
            let is_length = length.is_finite() && length > 0.0;
            ensure!(is_length, "`{cm}` is not a length; give centimetres, such as {group}=21");
            Ok((group.clone(), length))
        });
        let limb_lengths_cm = lengths.collect::<anyhow::Result<_>>()?;
        let save_first = self.save_first.map(|switch| switch == Switch::On);
        let context_s = self.context_s;
        Ok(Subject { limb_lengths_cm, scales, save_first, context_s, ..subject })
    }
}

/// `NAME=TEXT`, both there.
fn named(text: &str) -> Result<(String, String), String> {
    match text.split_once('=').map(|(name, text)| (name.trim(), text.trim())) {
        Some((name, text)) if !name.is_empty() && !text.is_empty() => Ok((name.to_owned(), text.to_owned())),
        _ => Err(format!("`{text}` is not of the form NAME=TEXT")),
    }
}
