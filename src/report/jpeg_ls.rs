//! Decodes JPEG-LS (ISO/IEC 14495-1, ITU-T T.87): lossless, and lossy within a bound.
//!
//! Takes: the bytes of one picture.
//! Gives: its samples by rows, the components of a pixel side by side.
//! Never: trusts a size or a length; a stream that ends early, or goes beyond what is read here, is an error.
//! Tested in: `tests/it/picture.rs`, against what CharLS wrote.

/// Samples of a picture.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Samples {
    /// Pixels in a row.
    pub(crate) columns: usize,
    /// Rows.
    pub(crate) rows: usize,
    /// Samples of a pixel.
    pub(crate) components: usize,
    /// All samples.
    pub(crate) values: Vec<u16>,
}

/// What a picture that cannot be decoded lacks.
pub(crate) type Damage = &'static str;

/// Most samples of one picture.
const SAMPLES_MAX: usize = 1 << 28;
/// Contexts of regular mode, and after them the two of run mode (T.87 A.2.1).
const REGULAR: usize = 365;
/// How long a run each step stands for, as powers of two (T.87 A.2.1).
const J: [u32; 32] =
    [0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 9, 10, 11, 12, 13, 14, 15];

/// The picture in these bytes, of at most this many columns and rows.
///
/// # Errors
/// When it is none, is cut short, or is written in a way that is not read here.
pub(crate) fn decode(bytes: &[u8], side_max: usize) -> Result<Samples, Damage> {
    let mut at = 2;
    let mut frame: Option<Frame> = None;
    let mut preset = None;
    let mut found: Option<Samples> = None;
    let mut filled = 0;
    if bytes.get(..2) != Some(&[0xff, 0xd8]) {
        return Err("it does not begin as JPEG-LS does");
    }
    while let Some(&[0xff, marker]) = bytes.get(at..at + 2).and_then(|two| two.first_chunk()) {
        if marker == 0xd9 {
            break;
        }
        let length = word(bytes, at + 2)?;
        let body = bytes.get(at + 4..at + 2 + length).ok_or("it is cut short")?;
        at += 2 + length;
        match marker {
            0xf7 => frame = Some(Frame::read(body, side_max)?),
            0xf8 => match body {
                [1, numbers @ ..] if numbers.len() == 10 => preset = Some(numbers.to_vec()),
                _ => return Err("it has tables of its own, which are not supported"),
            },
            0xda => {
                let frame = frame.as_ref().ok_or("its size is missing")?;
                let scan = Scan::read(body, frame, preset.as_deref())?;
                let samples = found.get_or_insert_with(|| frame.samples());
                if filled + scan.of_pixel > frame.components {
                    return Err("it has more components than it says");
                }
                let mut decoder = Decoder::new(bytes.get(at..).unwrap_or_default(), &scan);
                decoder.scan(samples, filled, &scan)?;
                at += decoder.bits.at;
                filled += scan.of_pixel;
            }
            _ => {}
        }
    }
    match (found, frame) {
        (Some(samples), Some(frame)) if filled == frame.components => Ok(samples),
        _ => Err("it is cut short"),
    }
}

fn word(bytes: &[u8], at: usize) -> Result<usize, Damage> {
    let two: [u8; 2] = bytes.get(at..at + 2).and_then(|two| two.try_into().ok()).ok_or("it is cut short")?;
    Ok(u16::from_be_bytes(two).into())
}

/// The head of a picture (T.87 C.2.2).
struct Frame {
    bits: u32,
    columns: usize,
    rows: usize,
    components: usize,
}

impl Frame {
    fn read(body: &[u8], side_max: usize) -> Result<Frame, Damage> {
        let [bits, _, _, _, _, components, rest @ ..] = body else { return Err("its size is cut short") };
        let (rows, columns) = (word(body, 1)?, word(body, 3)?);
        let components = usize::from(*components);
        let is_plain = rest.chunks(3).all(|one| one.get(1) == Some(&0x11));
        if !(2..=16).contains(bits) || components == 0 || rest.len() != 3 * components || !is_plain {
            return Err("its samples are coded in a way that is not supported");
        }
        let samples = rows * columns * components;
        if rows == 0 || columns == 0 || rows > side_max || columns > side_max || samples > SAMPLES_MAX {
            return Err("its size is not supported");
        }
        Ok(Frame { bits: u32::from(*bits), columns, rows, components })
    }

    fn samples(&self) -> Samples {
        let Frame { columns, rows, components, .. } = *self;
        Samples { columns, rows, components, values: vec![0; columns * rows * components] }
    }
}

/// The head of a scan and what follows from it (T.87 C.2.3, C.2.4.1.1 and A.2.1).
#[derive(Clone)]
struct Scan {
    /// Components in it.
    of_pixel: usize,
    /// Components of a pixel follow each other, and not whole lines of them.
    by_sample: bool,
    near: i64,
    max: i64,
    thresholds: [i64; 3],
    reset: i64,
    range: i64,
    qbpp: u32,
    limit: u32,
}

impl Scan {
    fn read(body: &[u8], frame: &Frame, preset: Option<&[u8]>) -> Result<Scan, Damage> {
        let of_pixel = usize::from(*body.first().ok_or("its scan is cut short")?);
        let Some(&[near, order, shift]) = body.get(1 + 2 * of_pixel..) else {
            return Err("its scan is cut short");
        };
        let tables = body[1..=2 * of_pixel].chunks(2).any(|one| one[1] != 0);
        if of_pixel == 0 || order > 2 || shift != 0 || tables || (order == 0 && of_pixel > 1) {
            return Err("its scan is coded in a way that is not supported");
        }
        let number =
            |idx: usize| preset.map_or(Ok(0), |preset| word(preset, 2 * idx)).map(|number| number as i64);
        let or = |number: i64, usual: i64| if number == 0 { usual } else { number };
        let near = i64::from(near);
        let max = or(number(0)?, (1 << frame.bits) - 1);
        let usual = usual_thresholds(max, near);
        let thresholds = [or(number(1)?, usual[0]), or(number(2)?, usual[1]), or(number(3)?, usual[2])];
        let reset = or(number(4)?, 64);
        if max >= 1 << frame.bits || 2 * near > max || reset < 3 {
            return Err("its bounds are invalid");
        }
        let range = (max + 2 * near) / (2 * near + 1) + 1;
        let bpp = bits_of(max + 1).max(2);
        let limit = 2 * (bpp + bpp.max(8));
        let by_sample = order == 2;
        Ok(Scan { of_pixel, by_sample, near, max, thresholds, reset, range, qbpp: bits_of(range), limit })
    }
}

/// Bits that numbers below this one need.
fn bits_of(number: i64) -> u32 {
    (0..).find(|bits| 1_i64 << bits >= number).unwrap_or(0)
}

/// T.87 C.2.4.1.1.1.
fn usual_thresholds(max: i64, near: i64) -> [i64; 3] {
    let within = |number: i64, least: i64| if number > max || number < least { least } else { number };
    let [first, second, third] = if max >= 128 {
        let factor = (max.min(4095) + 128) / 256;
        [factor + 2 + 3 * near, 4 * factor + 3 + 5 * near, 17 * factor + 4 + 7 * near]
    } else {
        let factor = 256 / (max + 1);
        [(3 / factor + 3 * near).max(2), (7 / factor + 5 * near).max(3), (21 / factor + 7 * near).max(4)]
    };
    let first = within(first, near + 1);
    let second = within(second, first);
    [first, second, within(third, second)]
}

/// Bits as they lie in a scan: after a byte of ones a zero is put in (T.87 A.1).
struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
    held: u32,
    count: u32,
}

impl Bits<'_> {
    fn bit(&mut self) -> Result<u32, Damage> {
        if self.count == 0 {
            let after_ones = self.at > 0 && self.bytes[self.at - 1] == 0xff;
            let next = *self.bytes.get(self.at).ok_or("it is cut short")?;
            let is_marker = after_ones && next >= 0x80
                || next == 0xff && self.bytes.get(self.at + 1).is_none_or(|after| *after >= 0x80);
            if is_marker {
                return Err("it is cut short");
            }
            (self.held, self.count) = (u32::from(next), if after_ones { 7 } else { 8 });
            self.at += 1;
        }
        self.count -= 1;
        Ok(self.held >> self.count & 1)
    }

    fn number(&mut self, bits: u32) -> Result<i64, Damage> {
        (0..bits).try_fold(0, |number, _| Ok(number << 1 | i64::from(self.bit()?)))
    }

    /// A number by a Golomb code of limited length (T.87 A.5.3).
    fn golomb(&mut self, k: u32, limit: u32, qbpp: u32) -> Result<i64, Damage> {
        let longest = limit.checked_sub(qbpp + 1).ok_or("its codes are invalid")?;
        let mut zeros = 0;
        while zeros < longest && self.bit()? == 0 {
            zeros += 1;
        }
        if zeros < longest {
            return Ok(i64::from(zeros) << k | self.number(k)?);
        }
        // The one that ends the zeros, then the number itself.
        if self.bit()? == 0 {
            return Err("its codes are invalid");
        }
        Ok(self.number(qbpp)? + 1)
    }
}

/// What was learnt of one kind of surroundings (T.87 A.2.1).
#[derive(Clone)]
struct Context {
    sum: i64,
    bias: i64,
    count: i64,
    correction: i64,
    negatives: i64,
}

struct Decoder<'a> {
    bits: Bits<'a>,
    scan: Scan,
    contexts: Vec<Context>,
}

/// The neighbours of a sample: left, above, above left, above right (T.87 figure 3).
type Around = [i64; 4];

impl<'a> Decoder<'a> {
    fn new(bytes: &'a [u8], scan: &Scan) -> Decoder<'a> {
        let sum = ((scan.range + 32) / 64).max(2);
        let fresh = Context { sum, bias: 0, count: 1, correction: 0, negatives: 0 };
        let bits = Bits { bytes, at: 0, held: 0, count: 0 };
        Decoder { bits, scan: scan.clone(), contexts: vec![fresh; REGULAR + 2] }
    }

    /// Decodes a scan into the components from `first` on.
    fn scan(&mut self, into: &mut Samples, first: usize, scan: &Scan) -> Result<(), Damage> {
        let lines = if scan.by_sample { 1 } else { scan.of_pixel };
        let of_line = scan.of_pixel / lines;
        let width = into.columns;
        // A sample more on each side: the left one is that above the first, the right one that above the last.
        let mut above = vec![vec![0_i64; (width + 2) * of_line]; lines];
        let mut runs = vec![0_usize; lines];
        for row in 0..into.rows {
            for line in 0..lines {
                let before = &mut above[line];
                for part in 0..of_line {
                    before[(width + 1) * of_line + part] = before[width * of_line + part];
                }
                let mut now = vec![0_i64; (width + 2) * of_line];
                now[..of_line].copy_from_slice(&before[of_line..2 * of_line]);
                self.line(before, &mut now, of_line, &mut runs[line])?;
                for column in 0..width {
                    for part in 0..of_line {
                        let value = now[(column + 1) * of_line + part];
                        let to = (row * width + column) * into.components + first + line + part;
                        into.values[to] = u16::try_from(value).unwrap_or(u16::MAX);
                    }
                }
                *before = now;
            }
        }
        Ok(())
    }

    fn line(
        &mut self,
        above: &[i64],
        now: &mut [i64],
        of_pixel: usize,
        run: &mut usize,
    ) -> Result<(), Damage> {
        let around = |now: &[i64], at: usize| -> Around {
            [now[at - of_pixel], above[at], above[at - of_pixel], above[at + of_pixel]]
        };
        let end = now.len() - of_pixel;
        let mut at = of_pixel;
        while at < end {
            let kinds: Vec<i64> = (0..of_pixel).map(|part| self.kind(around(now, at + part))).collect();
            if kinds.iter().any(|kind| *kind != 0) {
                for (part, kind) in kinds.into_iter().enumerate() {
                    now[at + part] = self.regular(around(now, at + part), kind)?;
                }
                at += of_pixel;
                continue;
            }
            let left = (end - at) / of_pixel;
            let same = self.run(left, run)?;
            for to in at..at + same * of_pixel {
                now[to] = now[to - of_pixel];
            }
            at += same * of_pixel;
            if same == left {
                continue;
            }
            for part in 0..of_pixel {
                now[at + part] = self.broken(around(now, at + part), of_pixel, *run)?;
            }
            *run = run.saturating_sub(1);
            at += of_pixel;
        }
        Ok(())
    }

    /// The kind of surroundings, negative where it is the mirror of another one; 0 is flat (T.87 A.3.3, A.3.4).
    fn kind(&self, [left, above, above_left, above_right]: Around) -> i64 {
        let [first, second, third] = self.scan.thresholds;
        let step = |change: i64| {
            let size = change.abs();
            let step = match size {
                _ if size <= self.scan.near => 0,
                _ if size < first => 1,
                _ if size < second => 2,
                _ if size < third => 3,
                _ => 4,
            };
            step * change.signum()
        };
        81 * step(above_right - above) + 9 * step(above - above_left) + step(above_left - left)
    }

    /// A sample that its surroundings predict (T.87 A.4 to A.6).
    fn regular(&mut self, [left, above, above_left, _]: Around, kind: i64) -> Result<i64, Damage> {
        let sign = if kind < 0 { -1 } else { 1 };
        let Scan { near, max, reset, limit, qbpp, .. } = self.scan;
        let predicted = if above_left >= left.max(above) {
            left.min(above)
        } else if above_left <= left.min(above) {
            left.max(above)
        } else {
            left + above - above_left
        };
        let context = &mut self.contexts
            [usize::try_from(kind.unsigned_abs()).map_err(|_| "it needs a context that does not exist")?];
        let predicted = (predicted + sign * context.correction).clamp(0, max);
        let k = context.width(context.sum);
        let coded = self.bits.golomb(k, limit, qbpp)?;
        let is_turned = near == 0 && k == 0 && 2 * context.bias <= -context.count;
        let error = match (is_turned, coded % 2 == 0) {
            (false, true) => coded / 2,
            (false, false) | (true, true) => -(coded / 2) - 1,
            (true, false) => coded / 2,
        };
        context.bias += error * (2 * near + 1);
        context.sum += error.abs();
        context.age(reset);
        if context.bias <= -context.count {
            context.bias = (context.bias + context.count).max(1 - context.count);
            context.correction = (context.correction - 1).max(-128);
        } else if context.bias > 0 {
            context.bias = (context.bias - context.count).min(0);
            context.correction = (context.correction + 1).min(127);
        }
        Ok(self.near_to(predicted, sign * error))
    }

    /// How many pixels are as the one before them (T.87 A.7.1).
    fn run(&mut self, left: usize, run: &mut usize) -> Result<usize, Damage> {
        let mut same = 0;
        while self.bits.bit()? == 1 {
            let step = 1 << J[*run];
            if same + step >= left {
                if same + step == left {
                    *run = (*run + 1).min(J.len() - 1);
                }
                return Ok(left);
            }
            same += step;
            *run = (*run + 1).min(J.len() - 1);
        }
        let rest = usize::try_from(self.bits.number(J[*run])?).unwrap_or(usize::MAX);
        // A run that is broken ends before the line does.
        if rest >= left - same { Err("its runs are invalid") } else { Ok(same + rest) }
    }

    /// The sample that breaks a run, one of so many `of_pixel` (T.87 A.7.2).
    fn broken(&mut self, [left, above, ..]: Around, of_pixel: usize, run: usize) -> Result<i64, Damage> {
        let Scan { near, reset, limit, qbpp, .. } = self.scan;
        let is_flat = of_pixel == 1 && (left - above).abs() <= near;
        let flat = i64::from(is_flat);
        let context = &mut self.contexts[REGULAR + usize::from(is_flat)];
        let k = context.width(if is_flat { context.sum + context.count / 2 } else { context.sum });
        let limit = limit.checked_sub(J[run] + 1).ok_or("its codes are invalid")?;
        let coded = self.bits.golomb(k, limit, qbpp)?;
        let odd = (coded + flat) % 2;
        let size = (coded + flat + odd) / 2;
        let is_negative = (k != 0 || 2 * context.negatives >= context.count) == (odd == 1);
        let error = if is_negative { -size } else { size };
        if error < 0 {
            context.negatives += 1;
        }
        context.sum += (coded + 1 - flat) / 2;
        context.age(reset);
        let sign = if !is_flat && left > above { -1 } else { 1 };
        Ok(self.near_to(if is_flat { left } else { above }, sign * error))
    }

    /// The sample that lies this many steps from what was predicted, within its range (T.87 A.4.5 and A.8).
    fn near_to(&self, predicted: i64, steps: i64) -> i64 {
        let Scan { near, max, range, .. } = self.scan;
        let step = 2 * near + 1;
        let value = predicted + steps * step;
        let value = match value {
            _ if value < -near => value + range * step,
            _ if value > max + near => value - range * step,
            _ => value,
        };
        value.clamp(0, max)
    }
}

impl Context {
    /// Bits that a usual error has (T.87 A.5.1).
    fn width(&self, sum: i64) -> u32 {
        (0..32).find(|k| self.count << k >= sum).unwrap_or(32)
    }

    /// Lets what was long ago count less.
    fn age(&mut self, reset: i64) {
        if self.count == reset {
            self.sum >>= 1;
            self.bias >>= 1;
            self.negatives >>= 1;
            self.count >>= 1;
        }
        self.count += 1;
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    /// The worked example of ITU-T T.87, annex H.3, which is not copied but typed: sixteen samples and their stream.
    const STREAM: [u8; 57] = [
        0xff, 0xd8, 0xff, 0xf7, 0x00, 0x0b, 0x08, 0x00, 0x04, 0x00, 0x04, 0x01, 0x01, 0x11, 0x00, 0xff, 0xda,
        0x00, 0x08, 0x01, 0x01, 0x00, 0x00, 0x00, 0x00, 0xc0, 0x00, 0x00, 0x6c, 0x80, 0x20, 0x8e, 0x01, 0xc0,
        0x00, 0x00, 0x57, 0x40, 0x00, 0x00, 0x6e, 0xe6, 0x00, 0x00, 0x01, 0xbc, 0x18, 0x00, 0x00, 0x05, 0xd8,
        0x00, 0x00, 0x91, 0x60, 0xff, 0xd9,
    ];

    #[test]
    fn the_example_of_the_standard_is_read_as_it_says() {
        let wanted = [0, 0, 90, 74, 68, 50, 43, 205, 64, 145, 145, 145, 100, 145, 145, 145];
        assert_eq!(decode(&STREAM, 8).unwrap().values, wanted);
    }

    #[test]
    fn whatever_is_cut_off_or_changed_is_an_error_or_a_picture_and_never_a_panic() {
        for end in 0..STREAM.len() - 2 {
            assert!(decode(&STREAM[..end], 8).is_err(), "{end}");
        }
        for at in 0..STREAM.len() {
            for value in [0, 1, 0x7f, 0x80, 0xff] {
                let mut bytes = STREAM;
                bytes[at] = value;
                let _ = decode(&bytes, 64);
            }
        }
        assert!(decode(&STREAM, 3).is_err(), "wider than is shown");
    }
}
