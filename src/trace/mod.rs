//! Areas traced on a still: outlines, their size, the grey inside, and an outline from one click.
//!
//! Takes: outlines in pixels, the scale of the still, its grey values.
//! Gives: sizes in millimetres, grey statistics, a suggested outline.
//! Never: I/O; nor a size where the scale is missing or inconsistent.
//! Tested in: `tests/it/trace.rs`.

mod outline;
mod grey;
mod click;

pub use click::{ClickProblem, outline_at};
pub use grey::{Grey, GreyCompared, compare};
pub use outline::{
    Outline, OutlineProblem, POINTS_MAX, Scale, Size, distance_mm, scale_for, scale_over, size,
};
