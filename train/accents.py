"""English as people say it who grew up with other languages and in other places: sounds taken for others.

Takes: text, a synthesiser that speaks phonemes, a random source. Gives: phonemes with some sounds exchanged, as espeak-ng
writes them or as IPA. What was said keeps its own phones in training, so that the head learns that "sree" is "three".
The exchanges are common knowledge of accents, written from memory; none stands for all its speakers.
"""
import functools
import re
import subprocess

import synth

# Sounds as espeak-ng writes them, longest first; marks of stress stay where they are.
SOUNDS = ["aI@", "aI3", "tS", "dZ", "aI", "eI", "OI", "aU", "oU", "3:", "i:", "u:", "A:", "O:", "A@", "O@", "o@", "e@", "i@", "U@", "I2",
    "I#", "@L", "@2", "@5", "a#", "t#", "T", "D", "S", "Z", "N", "V", "E", "a", "I", "@", "0", "O", "U", "i", "3", "r", "l", "w", "v", "h", "z",
    "s", "d", "t", "b", "p", "g", "k", "f", "m", "n", "j"]
SOUND = re.compile("|".join(map(re.escape, SOUNDS)) + "|.", re.DOTALL)
# From, to; a "$" wants the end of a word. Each speaker does each of them with the chance that `habit` draws.
ACCENTS = {
    "french": [("T", "s"), ("D", "z"), ("I", "i:"), ("h", ""), ("tS", "S"), ("dZ", "Z"), ("V", "a"), ("U", "u:"), ("eI", "E"), ("oU", "O:")],
    "german": [("T", "s"), ("D", "z"), ("w", "v"), ("a", "E"), ("d$", "t"), ("b$", "p"), ("g$", "k"), ("z$", "s"), ("v$", "f"), ("dZ", "tS")],
    "spanish": [("I", "i:"), ("V", "a"), ("z", "s"), ("v", "b"), ("D", "d"), ("a", "A:"), ("@", "E"), ("U", "u:"), ("S", "tS"), ("T", "t")],
    "italian": [("I", "i:"), ("T", "t"), ("D", "d"), ("h", ""), ("V", "a"), ("@", "E"), ("a", "E"), ("eI", "E"), ("oU", "O:")],
    "indian": [("T", "t"), ("D", "d"), ("w", "v"), ("eI", "E"), ("oU", "O:"), ("V", "A:"), ("z$", "s")],
    "slavic": [("T", "s"), ("T", "f"), ("D", "z"), ("w", "v"), ("I", "i:"), ("V", "a"), ("a", "E"),
        ("d$", "t"), ("z$", "s"), ("N", "n"), ("3:", "E")],
    "dutch": [("T", "t"), ("D", "d"), ("a", "E"), ("d$", "t"), ("b$", "p"), ("z$", "s"), ("v$", "f"), ("V", "@"), ("w", "v")],
    "nordic": [("z", "s"), ("T", "t"), ("D", "d"), ("dZ", "j"), ("w", "v"), ("eI", "e@"), ("V", "E")],
    "japanese": [("l", "r"), ("r", "l"), ("T", "s"), ("D", "z"), ("v", "b"), ("V", "a"), ("I", "i:"), ("3:", "A:"), ("a", "A:")],
    "irish": [("T", "t"), ("D", "d"), ("V", "U"), ("eI", "e@"), ("oU", "O:"), ("aI", "OI")],
    "australian": [("eI", "aI"), ("aI", "OI"), ("a", "E"), ("E", "I"), ("I", "i:"), ("oU", "aU"), ("i:", "eI")],
    "new_zealand": [("I", "@"), ("E", "I"), ("a", "E"), ("e@", "i@"), ("aI", "OI"), ("eI", "aI")],
    "southern": [("aI", "A:"), ("E", "I"), ("I", "i:"), ("O:", "oU"), ("i:", "eI")],
    "northern": [("V", "U"), ("eI", "E"), ("oU", "O:"), ("A:", "a"), ("aU", "u:")],
    "london": [("T", "f"), ("D", "v"), ("h", ""), ("eI", "aI"), ("aI", "OI"), ("oU", "aU"), ("aU", "A:"), ("l$", "w")],
    "scottish": [("U", "u:"), ("oU", "O:"), ("eI", "E"), ("aU", "u:"), ("I", "E"), ("A:", "a")],
}
IPA = {"T": "θ", "D": "ð", "I": "ɪ", "i:": "i", "E": "ɛ", "a": "æ", "V": "ʌ", "@": "ə", "A:": "ɑ", "O:": "ɔ", "U": "ʊ", "u:": "u", "eI": "eɪ",
    "oU": "oʊ", "aI": "aɪ", "OI": "ɔɪ", "aU": "aʊ", "e@": "ɛə", "i@": "ɪə", "3:": "ɜ", "tS": "tʃ", "dZ": "dʒ", "S": "ʃ", "Z": "ʒ", "N": "ŋ",
    "r": "ɹ", "g": "ɡ"}

# Numbers are heard alone, and an exchanged sound makes another one of them: they keep theirs more often.
NUMBERS = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen " \
    "nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred oh nought point".split()
SPARED = .3  # of the chance that other words have
STRESS = re.compile("[ˈˌ',]")


def habit(rng):
    """What one speaker exchanges, and how often: from, to, chance."""
    exchanges = ACCENTS[rng.choice(sorted(ACCENTS))]
    strength = rng.uniform(.5, 1)
    return [(a, b, strength * rng.uniform(.6, 1)) for a, b in exchanges if rng.random() < .85]


def said_as(sounds, own, rng, written=lambda sound: sound):
    """The sounds of one word, some of them exchanged."""
    out = []
    for i, sound in enumerate(sounds):
        last = i + 1 == len(sounds)
        for a, b, chance in own:
            if written(a.removesuffix("$")) == sound and (last or not a.endswith("$")) and rng.random() < chance:
                sound = written(b)
                break
        out.append(sound)
    return "".join(out)


def spoken(text, voice):
    """Words as espeak-ng writes them, a list for each clause."""
    told = subprocess.run(["espeak-ng", "-q", "-x", "-v", voice, text], capture_output=True, text=True, check=True)
    return [line.split() for line in told.stdout.splitlines() if line.strip()]


def bare(word):
    return STRESS.sub("", word)


@functools.cache
def numbers(write, voice):
    """Numbers as `write` spells them for a voice, without their stress."""
    return frozenset(bare(write(word, voice)) for word in NUMBERS)


def _sounds(word, voice):
    return "".join("".join(words) for words in spoken(word, voice))


def _exchanged(words, found, own, spared, rng, written=lambda sound: sound):
    """A clause, its words exchanged."""
    lesser = [(a, b, SPARED * chance) for a, b, chance in own]
    return " ".join(said_as(found(word), lesser if bare(word) in spared else own, rng, written) for word in words)


def for_espeak(text, voice, rng):
    """Text for espeak-ng that spells the phonemes out."""
    return ", ".join(f"[[{clause}]]" for clause in clauses(text, voice, rng))


def clauses(text, voice, rng):
    """Clauses as espeak-ng's sounds, exchanged as one speaker does."""
    own, spared = habit(rng), numbers(_sounds, voice.split("+")[0])
    return [_exchanged(words, SOUND.findall, own, spared, rng) for words in spoken(text, voice)]


SIGN = re.compile("|".join(sorted(IPA.values(), key=len, reverse=True)) + "|.")


def in_ipa(ipa, voice, rng):
    """The same of a line of IPA that espeak-ng wrote for a voice."""
    spared = numbers(synth.phonemes, voice)
    return _exchanged(ipa.split(" "), SIGN.findall, habit(rng), spared, rng, lambda sound: IPA.get(sound, sound))
