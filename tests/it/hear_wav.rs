//! WAV files as recorders, players and lost power leave them.
use crate::hear::{tone, write_wav};
use crate::support::speech::all;

use std::path::PathBuf;

use zonecall::speech::recording;

/// A plain recording to be spoiled: a tone of 16 bits at 16 kHz.
struct Plain {
    _folder: tempfile::TempDir,
    path: PathBuf,
    /// The file as it was written.
    whole: Vec<u8>,
    samples: Vec<i16>,
    /// Where the chunk of the samples begins.
    data: usize,
}

impl Plain {
    fn new(channels: u16, seconds: f64) -> Plain {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plain.wav");
        let (bits_per_sample, sample_format) = (16, hound::SampleFormat::Int);
        let spec = hound::WavSpec { channels, sample_rate: 16_000, bits_per_sample, sample_format };
        write_wav(&path, spec, &tone(440.0, 16_000, seconds));
        let whole = std::fs::read(&path).unwrap();
        let samples = all(recording::open(&path).unwrap());
        let data = whole.windows(4).position(|four| four == b"data").unwrap();
        Plain { _folder: folder, path, whole, samples, data }
    }
}

/// As RIFF has it an odd chunk is followed by a byte that fills up; some recorders leave it out, and some count it in.
#[test]
fn chunks_of_odd_length_and_samples_that_are_not_whole_are_passed_over() {
    let Plain { _folder, path, whole, samples, data } = Plain::new(1, 1.0);
    for between in
        [&b"LIST\x07\0\0\0INFOabc\0"[..], b"LIST\x07\0\0\0INFOabc", b"junk\x01\0\0\0x\0fill\x03\0\0\0abc\0"]
    {
        let mut odd = [&whole[..data], between, &whole[data..]].concat();
        let size = u32::try_from(odd.len()).unwrap() - 8;
        odd[4..8].copy_from_slice(&size.to_le_bytes());
        std::fs::write(&path, &odd).unwrap();
        let recording = recording::open(&path).unwrap();
        assert!(!recording.is_unfinished(), "{between:?}");
        assert_eq!(all(recording), samples, "{between:?}");
    }
    let mut one_more = whole.clone();
    let size = u32::try_from(whole.len() - data - 8).unwrap() + 1;
    one_more[data + 4..data + 8].copy_from_slice(&size.to_le_bytes());
    std::fs::write(&path, &one_more).unwrap();
    assert_eq!(all(recording::open(&path).unwrap()), samples);
}

/// What a recorder leaves that lost its power or wrote to a pipe: its samples are heard to the end of the file.
#[test]
fn a_recording_whose_head_was_never_finished_is_heard_to_its_end() {
    for channels in [1, 2] {
        let Plain { _folder, path, whole, samples, data } = Plain::new(channels, 1.0);
        for size in [0_u32, u32::MAX, 0x7FFF_F000, 0x8000_0000] {
            let mut open = whole.clone();
            open[4..8].copy_from_slice(&size.to_le_bytes());
            open[data + 4..data + 8].copy_from_slice(&size.to_le_bytes());
            // Half a sample may have been written last.
            open.push(7);
            std::fs::write(&path, &open).unwrap();
            let recording = recording::open(&path).unwrap();
            assert!(recording.is_unfinished(), "{size:#x}");
            assert_eq!(recording.total_samples(), Some(16_000), "{size:#x}");
            assert_eq!(all(recording), samples, "{size:#x}");
        }
        // An empty recording is one, whatever chunk follows its samples.
        let mut empty = [&whole[..data + 4], &[0; 4], b"LIST", &4_u32.to_le_bytes(), b"INFO"].concat();
        let size = u32::try_from(empty.len()).unwrap() - 8;
        empty[4..8].copy_from_slice(&size.to_le_bytes());
        std::fs::write(&path, &empty).unwrap();
        let recording = recording::open(&path).unwrap();
        assert!(!recording.is_unfinished());
        assert!(all(recording).is_empty());
    }
}

/// A recorder that renews the sizes now and then leaves the last ones when its power fails.
#[test]
fn a_recording_whose_head_is_old_is_heard_to_its_end_and_chunks_behind_it_are_no_sound() {
    let Plain { _folder, path, whole, samples, data } = Plain::new(1, 3.0);
    for named in [2_u32, 8_000, 62_000] {
        let mut old = whole.clone();
        old[4..8].copy_from_slice(&(named + u32::try_from(data).unwrap()).to_le_bytes());
        old[data + 4..data + 8].copy_from_slice(&named.to_le_bytes());
        std::fs::write(&path, &old).unwrap();
        let recording = recording::open(&path).unwrap();
        assert!(recording.is_unfinished(), "{named}");
        assert_eq!(all(recording), samples, "{named}");
    }
    // Text of a player behind the samples, and a byte that fills up.
    let tag = [&b"ID3\x04\0"[..], &[7; 40_000]].concat();
    let cut = [&b"LIST\xFF\xFF\xFF\0"[..], &[7; 40_000]].concat();
    for behind in [&b"LIST\x04\0\0\0INFO"[..], &[0], &[0; 512], &tag, &cut] {
        std::fs::write(&path, [&whole[..], behind].concat()).unwrap();
        let recording = recording::open(&path).unwrap();
        assert!(!recording.is_unfinished());
        assert_eq!(all(recording), samples);
    }
}

#[test]
fn an_unfinished_recording_of_more_than_a_wav_file_can_name_is_refused() {
    let Plain { _folder, path, whole: mut head, data, .. } = Plain::new(1, 0.1);
    head[data + 4..data + 8].copy_from_slice(&u32::MAX.to_le_bytes());
    std::fs::write(&path, &head).unwrap();
    // The rest takes no room on the disk.
    let file = std::fs::File::options().write(true).open(&path).unwrap();
    for (len, is_refused) in [(3_u64 << 30, false), ((4 << 30) + 1_000, true)] {
        file.set_len(len).unwrap();
        let opened = recording::open(&path);
        assert_eq!(opened.is_err(), is_refused, "{len}");
        match opened {
            Err(error) => assert!(error.to_string().contains("cut it in two"), "{error}"),
            Ok(recording) => {
                assert_eq!(recording.total_samples(), Some((len - data as u64 - 8) / 2), "{len}")
            }
        }
    }
}
