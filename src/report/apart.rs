//! Decodes stills in a program of their own, which may fail without harm to this one.
//!
//! Takes: a file, and the program that was named with [`decode_with`].
//! Gives: its pixels, or why there are none.
//! Never: waits longer than `MAX_S` seconds, or lets a decoder have more than `MAX_MIB` MiB.
//! Tested in: `tests/it/picture.rs`.

use std::ffi::{OsStr, OsString};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use image::{DynamicImage, GrayImage, RgbImage};

use crate::frames::cine::video_in;
use crate::report::decode::{Show, decode_here};
use crate::report::picture_error::{MAX_MIB, MAX_S, MAX_SIDE_PX, PictureError};

/// The first argument of the program that decodes.
const DECODE: &str = "--decode-still";
/// Between two looks at a program that decodes.
const LOOK_AGAIN: Duration = Duration::from_millis(5);
/// Longest message of it that is read, in bytes.
const WORDS_MAX: u64 = 4096;
/// What comes before the pixels: samples of one pixel, width and height.
const HEAD_BYTES: usize = 9;

static PROGRAM: OnceLock<PathBuf> = OnceLock::new();

/// From now on stills are decoded by `program`, which gives its arguments to [`decoding`] first.
/// Without it they are decoded in this program, which a bad file may end.
pub fn decode_with(program: PathBuf) {
    // The first one named counts: there is one program.
    let _ = PROGRAM.set(program);
}

/// Decodes a still if that is what this program was started for; gives the code to end with.
#[must_use]
pub fn decoding(args: impl IntoIterator<Item = OsString>) -> Option<ExitCode> {
    let mut args = args.into_iter().skip(1);
    if args.next()? != DECODE {
        return None;
    }
    let show = args.next()?;
    let show = [Show::AsStored, Show::Exact, Show::Bare].into_iter().find(|known| show == known.word());
    let show = show.unwrap_or(Show::Windowed);
    let frame = args.next()?.to_str()?.parse().ok()?;
    let path = PathBuf::from(args.next()?);
    let written = decode_here(&path, show, frame).map_err(|error| error.to_string()).and_then(|picture| {
        std::io::stdout().lock().write_all(&packed(&picture)).map_err(|error| error.to_string())
    });
    Some(match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprint!("{why}");
            ExitCode::FAILURE
        }
    })
}

impl Show {
    fn word(self) -> &'static str {
        match self {
            Show::Windowed => "windowed",
            Show::AsStored => "as-stored",
            Show::Exact => "exact",
            Show::Bare => "bare",
        }
    }
}

/// Decodes a still, of a loop the frame of this number, the first being 0.
pub(super) fn decode(path: &Path, show: Show, frame: u32) -> Result<DynamicImage, PictureError> {
    if let Some(coding) = video_in(path) {
        return Err(PictureError::Video(coding.name()));
    }
    let Some(program) = PROGRAM.get() else { return decode_here(path, show, frame) };
    let mut child = command(program, show, frame, path).spawn()?;
    let (Some(mut pixels), Some(words)) = (child.stdout.take(), child.stderr.take()) else {
        unreachable!("both are piped")
    };
    let most = u64::from(MAX_SIDE_PX).pow(2) * 3 + HEAD_BYTES as u64;
    let reader = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        pixels.by_ref().take(most).read_to_end(&mut bytes).map(|_| bytes)
    });
    let has_ended = ended(&mut child)?;
    let bytes = reader.join().map_err(|_| PictureError::TooMuch)??;
    match has_ended {
        Some(status) if status.success() => {
            unpacked(&bytes).ok_or_else(|| PictureError::Apart("the picture cannot be decoded".to_owned()))
        }
        Some(status) if status.code() == Some(1) => {
            let mut why = String::new();
            words.take(WORDS_MAX).read_to_string(&mut why)?;
            Err(PictureError::Apart(why))
        }
        // A panic of a decoder: the file is one that it does not know how to refuse.
        Some(status) if status.code() == Some(101) => {
            Err(PictureError::Apart("the picture is damaged: its decoder gave up".to_owned()))
        }
        _ => Err(PictureError::TooMuch),
    }
}

/// Waits for a program to end, or ends it.
fn ended(child: &mut Child) -> std::io::Result<Option<std::process::ExitStatus>> {
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(MAX_S) {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        std::thread::sleep(LOOK_AGAIN);
    }
    child.kill()?;
    child.wait()?;
    Ok(None)
}

/// The program with its limits, which a shell sets: doing it here would need code that is not safe.
fn command(program: &Path, show: Show, frame: u32, path: &Path) -> Command {
    let frame = OsString::from(frame.to_string());
    let args = [OsStr::new(DECODE), OsStr::new(show.word()), &frame, path.as_os_str()];
    let mut command = if cfg!(unix) {
        let limits =
            format!("ulimit -v {}; ulimit -t {MAX_S}; ulimit -c 0; exec \"$0\" \"$@\"", MAX_MIB * 1024);
        let mut shell = Command::new("/bin/sh");
        shell.args([OsStr::new("-c"), OsStr::new(&limits), program.as_os_str()]);
        shell
    } else {
        Command::new(program)
    };
    command.args(args).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn packed(picture: &DynamicImage) -> Vec<u8> {
    let (samples, bytes) = match picture {
        DynamicImage::ImageLuma8(grey) => (1, grey.as_raw()),
        DynamicImage::ImageRgb8(colour) => (3, colour.as_raw()),
        _ => unreachable!("`decode_here` gives one of the two"),
    };
    let sides = [picture.width().to_le_bytes(), picture.height().to_le_bytes()];
    [&[samples], sides.as_flattened(), bytes].concat()
}

fn unpacked(bytes: &[u8]) -> Option<DynamicImage> {
    let (head, pixels) = bytes.split_at_checked(HEAD_BYTES)?;
    let side = |from: usize| Some(u32::from_le_bytes(head.get(from..from + 4)?.try_into().ok()?));
    let (width, height) = (side(1)?, side(5)?);
    match head[0] {
        1 => GrayImage::from_raw(width, height, pixels.to_vec()).map(DynamicImage::ImageLuma8),
        3 => RgbImage::from_raw(width, height, pixels.to_vec()).map(DynamicImage::ImageRgb8),
        _ => None,
    }
}
