//! Decodes stills in a program of their own, which may fail without harm to this one.
//!
//! Takes: a file, and the program that was named with [`decode_with`].
//! Gives: its pixels, or why there are none.
//! Never: waits longer, or lets a decoder have more memory, than its limits say.
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

/// What a program of its own may have.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ChildLimits {
    /// Memory, in MiB.
    pub(crate) mib: u64,
    /// Time, in seconds.
    pub(crate) seconds: u64,
    /// What it may give, in bytes.
    pub(crate) bytes: u64,
}

const ONE_PICTURE: ChildLimits = ChildLimits {
    mib: MAX_MIB,
    seconds: MAX_S,
    bytes: MAX_SIDE_PX as u64 * MAX_SIDE_PX as u64 * 3 + HEAD_BYTES as u64,
};

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
    Some(given(decode_here(&path, show, frame).map(|picture| packed(&picture))))
}

/// Gives what was made to the program that started this one, or why there is nothing; and the code to end with.
pub(crate) fn given(made: Result<Vec<u8>, impl std::fmt::Display>) -> ExitCode {
    let written = made
        .map_err(|error| error.to_string())
        .and_then(|bytes| std::io::stdout().lock().write_all(&bytes).map_err(|error| error.to_string()));
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprint!("{why}");
            ExitCode::FAILURE
        }
    }
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
    let frame_word = OsString::from(frame.to_string());
    let args = [OsStr::new(DECODE), OsStr::new(show.word()), &frame_word, path.as_os_str()];
    match apart(&args, ONE_PICTURE)? {
        Some(bytes) => {
            unpacked(&bytes).ok_or_else(|| PictureError::Apart("the picture cannot be decoded".to_owned()))
        }
        None => decode_here(path, show, frame),
    }
}

/// What a program of its own gives for these arguments; none where no program was named.
///
/// # Errors
/// When it says why there is nothing, gives up, or goes over its limits.
pub(crate) fn apart(args: &[&OsStr], limits: ChildLimits) -> Result<Option<Vec<u8>>, PictureError> {
    let Some(program) = PROGRAM.get() else { return Ok(None) };
    let ChildLimits { mib, seconds, bytes } = limits;
    let mut child = command(program, args, limits).spawn()?;
    let (Some(mut given), Some(words)) = (child.stdout.take(), child.stderr.take()) else {
        unreachable!("both are piped")
    };
    let reader = std::thread::spawn(move || {
        let mut read = Vec::new();
        given.by_ref().take(bytes).read_to_end(&mut read).map(|_| read)
    });
    let has_ended = ended(&mut child, Duration::from_secs(seconds))?;
    let read = reader.join().map_err(|_| PictureError::TooMuch { mib, seconds })??;
    match has_ended {
        Some(status) if status.success() => Ok(Some(read)),
        Some(status) if status.code() == Some(1) => {
            let mut why = String::new();
            words.take(WORDS_MAX).read_to_string(&mut why)?;
            Err(PictureError::Apart(why))
        }
        // A panic of a decoder: the file is one that it does not know how to refuse.
        Some(status) if status.code() == Some(101) => {
            Err(PictureError::Apart("the picture is damaged: its decoder gave up".to_owned()))
        }
        _ => Err(PictureError::TooMuch { mib, seconds }),
    }
}

/// Waits for a program to end, or ends it.
fn ended(child: &mut Child, most: Duration) -> std::io::Result<Option<std::process::ExitStatus>> {
    let began = Instant::now();
    while began.elapsed() < most {
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
fn command(program: &Path, args: &[&OsStr], limits: ChildLimits) -> Command {
    let mut command = if cfg!(unix) {
        let limits = format!(
            "ulimit -v {}; ulimit -t {}; ulimit -c 0; exec \"$0\" \"$@\"",
            limits.mib * 1024,
            limits.seconds
        );
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
