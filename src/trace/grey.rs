//! Grey values inside an outline against those around it.
//!
//! Takes: the grey values of a still, the outline of a lesion and that of its structure.
//! Gives: means, their ratio and histograms.
//! Never: a verdict; gain, depth and the angle of the beam change every grey value.
//! Tested in: `tests/it/trace.rs`.

use crate::trace::outline::Outline;

/// Steps of a histogram over the 256 grey values.
const BINS: usize = 16;
/// Goes with every comparison.
const CAUTION: &str = "gain, depth, focus and beam angle change grey values: compare only within one still";

/// Grey values of a still, row by row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grey {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Grey {
    /// From `width * height` values; none where their number is another.
    #[must_use]
    pub fn new(width: usize, height: usize, pixels: Vec<u8>) -> Option<Grey> {
        (width.checked_mul(height) == Some(pixels.len())).then_some(Grey { width, height, pixels })
    }

    /// Width and height in pixels.
    #[must_use]
    pub const fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// The value of a pixel; none outside.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> Option<u8> {
        if x >= self.width { None } else { self.pixels.get(y * self.width + x).copied() }
    }
}

/// Grey inside a lesion and around it in the same structure.
#[derive(Debug, Clone, PartialEq)]
pub struct GreyCompared {
    /// Mean inside, 0 to 255.
    pub mean_inside: f64,
    /// Mean of the rest of the structure.
    pub mean_around: f64,
    /// Inside divided by around; none where around is black.
    pub ratio: Option<f64>,
    /// Pixels in each sixteenth of the grey values, inside.
    pub histogram_inside: [u32; 16],
    /// The same around.
    pub histogram_around: [u32; 16],
    /// What to keep in mind.
    pub caution: &'static str,
}

/// Compares the grey inside `lesion` with that of the rest of `structure`; none where either holds no pixel.
#[must_use]
pub fn compare(grey: &Grey, lesion: &Outline, structure: &Outline) -> Option<GreyCompared> {
    let (inner, outer) = (lesion.corners(), structure.corners());
    let (mut inside, mut around) = (Tally::default(), Tally::default());
    let mut y_mid = 0.5;
    for row in grey.pixels.chunks_exact(grey.width.max(1)) {
        let mut x_mid = 0.5;
        for value in row {
            if lesion.holds(&inner, x_mid, y_mid) {
                inside.add(*value);
            } else if structure.holds(&outer, x_mid, y_mid) {
                around.add(*value);
            }
            x_mid += 1.0;
        }
        y_mid += 1.0;
    }
    let (mean_inside, mean_around) = (inside.mean()?, around.mean()?);
    Some(GreyCompared {
        mean_inside,
        mean_around,
        ratio: (mean_around > 0.0).then(|| mean_inside / mean_around),
        histogram_inside: inside.histogram,
        histogram_around: around.histogram,
        caution: CAUTION,
    })
}

#[derive(Default)]
struct Tally {
    sum: f64,
    count: f64,
    histogram: [u32; BINS],
}

impl Tally {
    fn add(&mut self, value: u8) {
        self.sum += f64::from(value);
        self.count += 1.0;
        self.histogram[usize::from(value) * BINS / 256] += 1;
    }

    fn mean(&self) -> Option<f64> {
        (self.count > 0.0).then(|| self.sum / self.count)
    }
}
