"""People talking, out of Debian packages that carry their voices: talk that is no call.

Takes: the folder that `fetch.py` laid down. Gives: pieces of sound, level, in a fixed order. Speakers of the tuning set
and of the test set are apart: announcers of other languages tune; of the actors of a game, whoever is met in a dialogue of an odd number
tunes, and the rest, the hero among them, tests. Nobody is trained on.
"""
import glob
import io
import random
import struct

import noise
import synth

FROM_S, TO_S = .5, 6.0


def announcements(folder, every):
    """Announcements for telephones (`asterisk-core-sounds-*-wav`), one file of `every`; single words are in folders below."""
    for file in sorted(glob.glob(f"{folder}/*.wav"))[::every]:
        x = synth.read_wav(file)
        if "tone" not in file and "beep" not in file and len(x) > FROM_S * synth.RATE:
            yield noise.level(x[: int(TO_S * synth.RATE)])


def actors(file, tune, count, seed):
    """Lines of a game (`flight-of-the-amazon-queen`): MP3 behind a table of name, place and length."""
    import soundfile

    data = open(file, "rb").read()
    at = data.index(b".SB\0") - 8
    (rows,) = struct.unpack(">H", data[at - 2:at])
    lines = []
    for row in range(rows):
        name, _, place, size = struct.unpack(">12sBII", data[at + 21 * row:at + 21 * row + 21])
        name = name.split(b"\0")[0].decode("ascii")
        if name.endswith(".SB"):
            # Two digits for the dialogue, then the line, then who says it: a partner (P) or the hero (J).
            partner = name[:2].isdigit() and int(name[:2]) % 2 == 1 and "P" in name[5:]
            if partner == tune:
                lines.append((place, size))
    random.Random(seed).shuffle(lines)
    kept = 0
    for place, size in lines:
        x, rate = soundfile.read(io.BytesIO(data[place:place + size]), dtype="float32")
        x = synth.to_16k(x, rate)
        if FROM_S * synth.RATE < len(x) < TO_S * synth.RATE and kept < count:
            kept += 1
            yield noise.level(x)
