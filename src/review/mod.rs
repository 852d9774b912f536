//! The review desk: a page on this machine only, on which a person goes through an exam and corrects it.
//!
//! Takes: an exam folder, or a folder of them.
//! Gives: the exam as it is now to a browser, and back from it changes, which go into the journal as events.
//! Never: listens on anything but 127.0.0.1 (the second screen at the horse may, over TLS, where that was asked for), loads anything from elsewhere, or changes what was recorded.
//! Tested in: `tests/it/review.rs` and, in a real browser, `tests/it/review_browser/`.

mod running_tasks;
mod desk;
mod question;
mod history;
mod refusal;
mod fit;
mod judge;
mod change;
mod trace;
mod caliper;
mod signature;
mod time_stamping;
mod cache;
mod sound;
mod patience;
mod print;
mod export;
mod send;
mod guard;
mod answer;
mod exams;
mod inbox;
mod course;
mod stills;
mod serve;
mod second_screen;

pub use desk::Desk;
pub use exams::ServedExams;
pub use export::ExportProgram;
pub use guard::Keys;
pub use question::{FindingQuestion, questions};
pub use second_screen::{BoundSecondScreen, SecondScreenPlace};
pub use serve::{Bound, ServeError, bind, serve};
