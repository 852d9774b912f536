//! What is written to the terminal, so that no name of a file and no word of another program commands it.
//!
//! Takes: text and paths from anywhere.
//! Gives: lines in which control characters and marks of direction are readable escapes, such as `\u{1b}`.
//! Never: changes what goes into a file or a pipe as data.
//! Tested in: `tests/it/terminal.rs`, and here.

use std::fmt::{Arguments, Display};
use std::io::{IsTerminal as _, Result, Stderr, Stdout, Write};
use std::path::Path;

/// Whether a terminal obeys this character, or a reader does not see it or reads what follows in another order: control
/// characters, line separators, the marks of direction of Unicode (UAX 9), and what is drawn as nothing: soft hyphens, marks of
/// annotation and the tag characters (Unicode 15.1, 23.2, 23.8 and 23.9, from memory).
fn is_obeyed(sign: char) -> bool {
    sign.is_control()
        || matches!(
            sign,
            '\u{00AD}'
                | '\u{061C}'
                | '\u{180E}'
                | '\u{200B}'
                | '\u{200E}'
                | '\u{200F}'
                | '\u{2028}'..='\u{202E}'
                | '\u{2060}'..='\u{206F}'
                | '\u{FEFF}'
                | '\u{FFF9}'..='\u{FFFB}'
                | '\u{E0000}'..='\u{E007F}'
        )
}

/// Whether a text holds nothing that a terminal obeys, that nobody sees or that turns the order of what is read.
#[must_use]
pub fn is_plain(text: &str) -> bool {
    !text.chars().any(is_obeyed)
}

/// What can be shown in one line.
pub trait ShownText {
    /// As text of one line: what a terminal would obey is an escape, bytes that are no text are `\xff`.
    fn shown(&self) -> String;
}

impl ShownText for str {
    fn shown(&self) -> String {
        self.chars().fold(String::with_capacity(self.len()), |mut text, sign| {
            push(&mut text, sign);
            text
        })
    }
}

impl ShownText for Path {
    fn shown(&self) -> String {
        let mut text = String::new();
        for chunk in self.as_os_str().as_encoded_bytes().utf8_chunks() {
            text.push_str(&chunk.valid().shown());
            push_bytes(&mut text, chunk.invalid());
        }
        text
    }
}

fn push(text: &mut String, sign: char) {
    if is_obeyed(sign) { text.extend(sign.escape_default()) } else { text.push(sign) }
}

/// Bytes that are no text.
fn push_bytes(text: &mut String, bytes: &[u8]) {
    text.extend(bytes.iter().map(|byte| format!("\\x{byte:02x}")));
}

/// Writes text of several lines: what else a terminal would obey is an escape.
#[derive(Debug)]
pub struct PlainOutput<W>(W);

impl<W: Write> Write for PlainOutput<W> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize> {
        let mut text = String::with_capacity(bytes.len());
        for chunk in bytes.utf8_chunks() {
            let mut signs = chunk.valid().chars().peekable();
            while let Some(sign) = signs.next() {
                match sign {
                    '\n' | '\t' => text.push(sign),
                    '\r' if signs.peek() == Some(&'\n') => text.push(sign),
                    _ => push(&mut text, sign),
                }
            }
            push_bytes(&mut text, chunk.invalid());
        }
        self.0.write_all(text.as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<()> {
        self.0.flush()
    }

    /// In one go, so that two threads do not write into each other's lines.
    fn write_fmt(&mut self, args: Arguments<'_>) -> Result<()> {
        self.write_all(args.to_string().as_bytes())
    }
}

/// Where lines for people go.
#[must_use]
pub fn out() -> PlainOutput<Stdout> {
    PlainOutput(std::io::stdout())
}

/// Where questions and warnings go.
#[must_use]
pub fn err() -> PlainOutput<Stderr> {
    PlainOutput(std::io::stderr())
}

/// Writes a line of a warning; one that nobody can read any more is no fault.
pub fn warn(line: impl Display) {
    let _ = writeln!(err(), "{line}");
}

/// Writes data for another program as it is; where a terminal would show it, as text.
///
/// # Errors
/// When it cannot be written.
pub fn data(bytes: &[u8]) -> Result<()> {
    let mut out = std::io::stdout().lock();
    if out.is_terminal() { PlainOutput(out).write_all(bytes) } else { out.write_all(bytes) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn a_name_is_one_line_whatever_is_in_it() {
        assert_eq!("a\u{1b}[31m\nb\u{202e}gnp.\u{9b}2J".shown(), "a\\u{1b}[31m\\nb\\u{202e}gnp.\\u{9b}2J");
        for plain in ["", "Jüniper 2B (1).png", "馬", "C:\\stills\\1.png", "e\u{301}", "\u{200D}"] {
            assert_eq!(plain.shown(), plain);
            assert!(is_plain(plain));
        }
    }

    #[cfg(unix)]
    #[test]
    fn bytes_of_a_name_that_are_no_text_are_shown_as_numbers() {
        use std::os::unix::ffi::OsStrExt as _;
        let path = Path::new(std::ffi::OsStr::from_bytes(b"a\xff\x1b.png"));
        assert_eq!(path.shown(), "a\\xff\\u{1b}.png");
    }

    #[test]
    fn lines_stay_lines_and_nothing_else_is_obeyed() {
        let mut out = PlainOutput(Vec::new());
        out.write_all(b"one\ttwo\r\nthree\rfour\x07\xc2\x9b\xff\n").unwrap();
        assert_eq!(String::from_utf8(out.0).unwrap(), "one\ttwo\r\nthree\\rfour\\u{7}\\u{9b}\\xff\n");
    }
}
