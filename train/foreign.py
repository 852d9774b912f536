"""English said by voices of other languages, with the sounds that those languages have.

Takes: text, a language of espeak-ng or Pico, a random source. Gives: what to tell that synthesiser, sounds spelled out.
Which of its sounds stand for which of ours is written from memory; where there are several, each speaker takes one.
"""
import functools
import subprocess

from accents import SOUND, clauses, spoken

ESPEAK = ["fr", "fr-be", "de", "es", "es-419", "it", "pl", "ru", "nl", "sv", "nb", "hi", "pt", "pt-br", "tr", "cs", "hu", "ro", "fi", "el"]
# Sounds of English as espeak-ng writes them, and what is taken for them, the first that a language has.
NEAR = {"aI@": "aIr air ar", "aI3": "aIr air ar", "tS": "tS ts", "dZ": "dZ tS", "aI": "aI ai", "eI": "eI ei e E", "OI": "OI oI oi",
    "aU": "aU au", "oU": "oU ou o", "3:": "3: Er er", "i:": "i: i", "u:": "u: u", "A:": "A: a: a", "O:": "O: O o: o", "A@": "A:r a:r ar",
    "O@": "O:r Or or", "o@": "O:r Or or", "e@": "Er er", "i@": "i:r ir", "U@": "u:r ur", "I2": "I i", "I#": "I i", "@L": "@l el l",
    "@2": "@ e E a", "@5": "@ e E a", "a#": "@ a", "t#": "t d", "S": "S s", "Z": "Z S s", "N": "N n", "V": "V a A", "E": "E e",
    "a": "a A", "I": "I i", "@": "@ e E a", "0": "0 O o", "O": "O o", "U": "U u", "3": "@r er Er", "r": "r R", "w": "w v u", "v": "v b B",
    "h": "h x", "z": "z s", "j": "j i"}
# Of those that English keeps to itself, each speaker makes one.
OWN = {"T": ["s", "t", "T"], "D": ["z", "d", "D"]}

_COMMON = {"tS": "tS", "dZ": "dZ", "aI": "aj", "eI": "ej", "OI": "oj", "aU": "aw", "oU": "ow", "3:": "er", "i:": "i", "u:": "u", "A:": "a",
    "O:": "o", "A@": "ar", "O@": "or", "o@": "or", "e@": "er", "i@": "ir", "U@": "ur", "aI@": "ajr", "aI3": "ajr", "I2": "i", "I#": "i",
    "@L": "el", "@2": "e", "@5": "e", "a#": "a", "t#": "t", "T": "t", "D": "d", "S": "S", "Z": "Z", "N": "N", "V": "a", "E": "e", "a": "a",
    "I": "i", "@": "a", "0": "o", "O": "o", "U": "u", "i": "i", "3": "er", "h": "", "w": "w", "v": "v", "z": "z",
    **{sound: sound for sound in "rlsdtbpgkfmnj"}}
# Pico's voices of other languages: ours to theirs, in X-SAMPA.
PICO = {
    "fr-FR": _COMMON | {"T": "s t f", "D": "z d", "r": "R", "3:": "9R 9", "3": "9R", "@": "9 @", "V": "9 a", "eI": "ej e E", "oU": "o ow",
        "E": "E", "0": "O", "O": "O", "O:": "O o", "A@": "aR", "O@": "OR", "o@": "OR", "e@": "ER", "i@": "iR", "U@": "uR", "aI@": "ajR",
        "aI3": "ajR", "@L": "9l", "@2": "9", "@5": "9"},
    "de-DE": _COMMON | {"T": "s t f", "D": "z d", "r": "R", "w": "v", "h": "h", "V": "a", "a": "E a", "i:": "i:", "u:": "u:", "A:": "a:",
        "O:": "o: O", "eI": "e:", "oU": "o:", "aI": "aI", "aU": "aU", "OI": "OY", "3:": "9 9R", "3": "6", "@": "@", "I": "I", "I2": "I",
        "U": "U", "E": "E", "0": "O", "O": "O", "z": "z s", "A@": "a:6 aR", "O@": "o:6 OR", "o@": "o:6", "e@": "e:6", "i@": "i:6",
        "U@": "u:6", "@L": "@l", "@2": "@", "@5": "@", "a#": "@"},
    "es-ES": _COMMON | {"T": "T t s", "D": "D d", "z": "s", "v": "b B", "S": "tS s", "dZ": "tS", "Z": "s", "h": "x", "N": "n N", "w": "w gw",
        "@": "e a"},
    "it-IT": _COMMON | {"T": "t f", "N": "ng", "Z": "dZ", "E": "E", "a": "E a", "0": "O", "O": "O", "O:": "O", "@": "e a", "oU": "o ow"},
}


@functools.cache
def _has(language, sounds):
    """Whether a language of espeak-ng knows these sounds: it drops a word at the first that it does not know."""
    told = subprocess.run(["espeak-ng", "-q", "-x", "-v", language, f"[[ta{sounds}ap]]"], capture_output=True, text=True, check=True)
    return told.stdout.strip().endswith("p")


def _said(text, rng):
    """Clauses of words in the sounds of English, in half of what is said with an accent besides."""
    voice = rng.choice(["en-us", "en-gb"])
    return [clause.split() for clause in clauses(text, voice, rng)] if rng.random() < .5 else spoken(text, voice)


def for_espeak(text, language, rng):
    """Text for espeak-ng's voice of another language."""
    own = {sound: rng.choice(many) for sound, many in OWN.items()}

    def near(sound):
        wanted = [own[sound], *OWN[sound]] if sound in own else NEAR.get(sound, sound).split()
        return next((one for one in wanted if _has(language, one)), "" if sound.isalpha() or len(sound) > 1 else sound)

    return ", ".join("[[" + " ".join("".join(map(near, SOUND.findall(word))) for word in words) + "]]" for words in _said(text, rng))


def for_pico(text, language, rng):
    """Text for Pico's voice of another language, each word a phoneme tag."""
    own = {sound: rng.choice(many.split() or [""]) for sound, many in PICO[language].items()}
    said = lambda word: "".join(own.get(sound, "") for sound in SOUND.findall(word))
    told = [[said(word) for word in words] for words in _said(text, rng)]
    return ", ".join(" ".join(f'<phoneme ph="{word}"/>' for word in words if word) for words in told)
