//! How to listen: what a person has set, as plain values.
//!
//! Takes: nothing; commands and other programs fill these in.
//! Gives: `ListenOptions`, `Subject`.
//! Never: reads a file or a command line.
//! Tested in: `tests/it/dialogue.rs`, `tests/sound/listen.rs`.

use std::collections::BTreeMap;
use std::path::PathBuf;

use crate::exam::event::{Horse, Order};
use crate::frames::watch::PictureFault;
use crate::session::dialogue_options::Output;
use crate::session::listed_horse::ListedHorse;
use crate::session::screen::Display;
use crate::session::second_screen::SecondScreen;
use crate::session::talk_switch::SwitchChoice;
use crate::session::voice::VoiceStyle;

/// Whether something is to be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Audible {
    /// It is.
    On,
    /// It is not.
    Off,
}

/// How to listen.
#[derive(Debug, Clone)]
pub struct ListenOptions {
    /// The microphone, or a part of its name; none for the default one.
    pub device: Option<String>,
    /// How what happens is shown.
    pub display: Display,
    /// Tones that say what became of each utterance.
    pub tones: Audible,
    /// A voice that asks back, answers and warns.
    pub voice: Audible,
    /// How fast and how loud it speaks.
    pub voice_style: VoiceStyle,
    /// Where the voice comes out.
    pub output: Output,
    /// The pair of words by which the sides are called, by its place among those of the practice.
    pub sides: Option<usize>,
    /// The folder into which the scanner exports its stills.
    pub watch: Option<PathBuf>,
    /// The stills come there by this program's own receiver.
    pub received: bool,
    /// What says that a still from there holds no picture.
    pub picture_fault: PictureFault,
    /// Seconds that the scanner takes from saving a still to its file there.
    pub export_delay_s: f64,
    /// The horses of the day: one of them is named by voice.
    pub day_list: Vec<ListedHorse>,
    /// The horses that are known from earlier exams: a spelled name may be one of theirs.
    pub known_horses: Vec<Horse>,
    /// The switch to talk by; none where everything counts that is said.
    pub switch: Option<SwitchChoice>,
    /// Language of the voice, such as `en`.
    pub language: String,
    /// A second screen that shows the same.
    pub second_screen: Option<SecondScreen>,
}

/// Who is examined, and by whom.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Subject {
    /// The horse, as far as it is known.
    pub horse: Horse,
    /// What the practice's system knows the exam by.
    pub order: Option<Order>,
    /// Who speaks.
    pub person: Option<String>,
    /// Length of the limbs in centimetres, by group, as far as it is known.
    pub limb_lengths_cm: BTreeMap<String, f64>,
    /// Whether the person saves first and says the place afterwards, as far as it was set.
    pub save_first: Option<bool>,
    /// For how many seconds after the last call the current place labels a still without a save, as far as it was set.
    pub context_s: Option<f64>,
    /// Scale of each score, as far as it was set.
    pub scales: BTreeMap<String, String>,
}
