//! What pairing gives: each still with the call that labels it.
//!
//! Takes: nothing; this is the type between `pair` and the record.
//! Gives: `Pairing`.
//! Never: settles two plausible readings in silence; both are in it.
//! Tested in: `tests/it/pair.rs`.

/// The stills of an exam, paired with its save calls.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pairing {
    /// How the scanner's clock runs against the exam's; none where it is not known.
    pub clock: Option<ClockFit>,
    /// Other clocks that explain the stills about as well.
    pub rival_clocks: Vec<ClockFit>,
    /// One entry for each still, in the order of `Exam::frames`.
    pub frames: Vec<PairedFrame>,
    /// In the same order: the place of the still that a file shows, too, in another format or as another object; none where it is a still of its own.
    pub copies: Vec<Option<usize>>,
    /// In the same order: the still lies in a stretch between two restarts of the program whose own saves do not confirm
    /// the clock of the whole exam.
    pub unsure: Vec<bool>,
}

/// The scanner's clock: `scanner = exam + offset + drift x (exam - start)`.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockFit {
    /// Scanner minus exam at the start of the exam, in seconds (reaction delay included).
    pub offset_s: f64,
    /// Parts per million by which the scanner's clock runs fast.
    pub drift_ppm: f64,
    /// Half-width of the offset's interval, in seconds.
    pub uncertainty_s: f64,
    /// Pairs that agree with it.
    pub pairs: usize,
    /// How it was found, in words.
    pub method: String,
}

/// What one still was paired with.
#[derive(Debug, Clone, PartialEq)]
pub struct PairedFrame {
    /// Seconds since the start of the exam, by the exam's clock; none without a clock fit.
    pub exam_s: Option<f64>,
    /// What it was paired with.
    pub tie: Tie,
    /// How sure that is, 0 to 1.
    pub confidence: f64,
    /// Other calls that would do about as well: index into `Exam::calls`, likelihood 0 to 1, reason.
    pub rivals: Vec<(usize, f64, String)>,
}

/// What a still hangs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tie {
    /// A save call: index into `Exam::calls`.
    Save(usize),
    /// The last call before it: index into `Exam::calls`.
    Context(usize),
    /// Paired by hand: index into `Exam::calls`.
    Hand(usize),
    /// Labelled by hand, with the change that says so: index into `Exam::changes`.
    Label(usize),
    /// Said by a person to be no part of the exam.
    LeftOut,
    /// Two readings: see the rivals.
    Open,
    /// Nothing.
    Nothing,
}
