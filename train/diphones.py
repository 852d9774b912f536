"""Diphone voices: what festival would say in English, said with the recordings of several speakers.

Takes: text, a voice, how long sounds last, how high, a random source. Gives: samples as the synthesisers of `synth.py` do.
Sounds, their lengths and their pitch are those of festival's `ked` with CMU's dictionary; they are then said with the
diphones of any speaker, those of other languages with the sounds that these have (`SPEAKERS`, written from memory).
Needs: festival with `festvox-kdlpc16k` and the packages that `fetch.py` unpacks into `festival/`. A voice is its file of
diphones alone: no dictionary and no rules of its own, so rab needs no OALD.
"""
import itertools
import os

import accents
import synth
from running import Running

SOUNDS = "aa ae ah ao aw ax ay b ch d dh eh er ey f g hh ih iy jh k l m n ng ow oy p r s sh t th uh uw v w y z zh pau"
# The same as espeak-ng writes it: what `accents.py` exchanges.
ESPEAK = dict(zip(SOUNDS.split(),
    "A: a V O: aU @ aI b tS d D E 3: eI f g h I i: dZ k l m n N oU OI p r s S t T U u: v w j z Z #".split(), strict=True))
RADIO = {sign: sound for sound, sign in ESPEAK.items()} | {"0": "aa", "O": "ao", "3": "er", "i": "iy", "e@": "eh", "i@": "iy"}
# What stands for each sound, in order; several, with bars between them: each speaker takes one.
_RAB = "aa|o a uh oo au @ ai b ch d dh e @@ ei f g h i ii jh k l m n ng ou oi p r s sh t th u uu v w y z zh #"
_ITALIAN = "a1 E1|a1 a1 O1 a1_u e|a|E a1_i b tS d d|dz E1 e1_r|E1_r e1_i|e1 f g - i1 i1 dZ " \
    "k l m n n_g|n o1|o1_u O1_i p r s S t t|f u1 u1 v u i z|s dZ|S #"
_FINNISH = "a: @ a o: a_u 7|e|a a_i b|p t_S|t_s d d|t e 7: e_i f k|g h i i: d_S|j k l m n N o_u|o: o_i p r s S|s t t|s u u: v v j s s #"
_LJ = "a: @ a o: a_u 7|e|a a_i b|p t_s d d|t e 7: e_i f k|g h i i: j k l m n n_g|n o_u|o: o_i p r s s t t|s u u: v v j s s #"
_CZECH = "a: e a o: a_u e|a a_j b c~ d d|z e e_r e_j f g h i i: dz~ k l m n n_g|n o_u o_j p r s s~ t s|t|f u u: v v j z z~ #"
# Name: file of diphones below the voices, how high it speaks (Hz), what it says.
SPEAKERS = {
    "ked": ("english/ked_diphone/group/kedlpc16k.group", 105, SOUNDS.replace(" er ", " ax_r ")),
    "rab": ("english/rab_diphone/group/rablpc16k.group", 105, _RAB),
    "pc": ("italian/pc_diphone/group/pc_diphone.group", 115, _ITALIAN),
    "lp": ("italian/lp_diphone/group/lp_diphone.group", 185, _ITALIAN),
    "mv": ("finnish/hy_fi_mv_diphone/group/mvlpc.group", 100, _FINNISH),
    "lj": ("finnish/suo_fi_lj_diphone/group/ljlpc.group", 190, _LJ),
    "ph": ("czech/czech_ph/group/ph.group", 110, _CZECH),
}
VOWELS = set("aa ae ah ao aw ax ay eh er ey ih iy ow oy uh uw".split())
EXCHANGED = .35  # of what is said has an accent besides

# Prints the sounds of a text with their ends, and where the pitch lies; says sounds given with ends and pitch.
RULES = """
(voice_ked_diphone)
(set! UniSyn_module_hooks nil)
(define (told text)
  (PhoneSet.select 'radio)
  (let ((u (eval (list 'Utterance 'Text text))))
    (mapcar (lambda (step) (step u))
      (list Initialize Text Token_POS Token POS Phrasify Word Pauses Intonation PostLex Duration Int_Targets))
    (mapcar (lambda (s) (format t "s %s %s\\n" (item.name s) (item.feat s "end"))) (utt.relation.items u 'Segment))
    (mapcar (lambda (s) (if (> (item.feat s "f0") 0) (format t "f %s %s\\n" (item.feat s "pos") (item.feat s "f0"))))
      (utt.relation.items u 'Target))
    (format t "done\\n")))
(define (with name file silence default names)
  (eval (list 'defPhoneSet name '((vc + -)) (mapcar (lambda (one) (list one '+)) names)))
  (PhoneSet.silences (list silence))
  (us_diphone_init (list (list 'name name) (list 'index_file file) '(grouped "true") (list 'default_diphone default)
    '(alternates_left ((N n) (L l) (Z S) (a1 a) (e1 e) (i1 i) (o1 o) (u1 u) (E1 E) (O1 O) (i. i) (er ax) (aa ah) (w u) (ch t) (jh d)))
    '(alternates_right ((N n) (L l) (Z S) (a1 a) (e1 e) (i1 i) (o1 o) (u1 u) (E1 E) (O1 O) (i. i) (er ax) (aa ah) (w u) (ch t) (jh d))))))
(define (say name file sounds)
  (PhoneSet.select name)
  (let ((u (eval (list 'Utterance 'Segments sounds))))
    (us_db_select name)
    (Initialize u) (Wave_Synth u) (utt.save.wave u file)
    (format t "done\\n")))
"""


class Festival(Running):
    """One process of festival; voices are read when they are first used."""

    def __init__(self, parts):
        super().__init__(["festival", "--pipe"], "end\n", RULES)
        self.parts, self.known = parts, set()

    def ask(self, command):
        lines = super().ask(command + "\n(format t \"end\\n\")\n(fflush nil)\n")
        if lines is None:
            self.known.clear()
        return [line.split() for line in lines or []]

    def told(self, text):
        """Sounds with their ends, and the curve of the pitch, in seconds and Hz."""
        lines = self.ask(f'(told "{text.replace(chr(34), " ")}")')
        return ([(line[1], float(line[2])) for line in lines if line and line[0] == "s"],
            [(float(line[1]), float(line[2])) for line in lines if line and line[0] == "f"])

    def say(self, voice, sounds, path):
        """Sounds as (name, seconds, pitch in the middle)."""
        file, _, has = SPEAKERS[voice]
        silence = has.split()[-1]
        if voice not in self.known:
            near = next(f"{folder}/{file}" for folder in (f"{self.parts}/festival", "/usr/share/festival/voices")
                if os.path.exists(f"{folder}/{file}"))
            names = " ".join(f'"{name}"' for name in sorted(set(has.replace("|", " ").replace("_", " ").split())))
            default = "@-@@" if voice == "rab" else f"{silence}-{silence}"
            self.ask(f"(with 'zone_{voice} \"{near}\" \"{silence}\" \"{default}\" '({names}))")
            self.known.add(voice)
        told = " ".join(f'("{name}" {seconds:.4f} ({seconds / 2:.4f} {pitch:.1f}))' for name, seconds, pitch in sounds)
        self.ask(f"(say 'zone_{voice} \"{path}\" '({told}))")


def exchanged(sounds, rng):
    """Sounds with an accent of `accents.py`; where words end is not known here, so only what is exchanged anywhere."""
    own = [(a, b, chance) for a, b, chance in accents.habit(rng) if not a.endswith("$")]
    out = []
    for sound, seconds, pitch in sounds:
        sign = ESPEAK[sound]
        for a, b, chance in own:
            if a == sign and rng.random() < .7 * chance:
                sign = b
                break
        if sign:
            out.append((RADIO.get(sign, sound), seconds, pitch))
    return out


def spoken_by(voice, sounds, rng):
    """What this speaker has for each sound, the time of two shared out."""
    mine = dict(zip(SOUNDS.split(), (rng.choice(one.split("|")) for one in SPEAKERS[voice][2].split()), strict=True))
    out = []
    for i, (sound, seconds, pitch) in enumerate(sounds):
        after = sounds[i + 1][0] if i + 1 < len(sounds) else "pau"
        if voice == "rab" and sound == "r" and after not in VOWELS:
            continue
        names = [] if mine[sound] == "-" else mine[sound].split("_")
        out += [(name, seconds / len(names), pitch) for name in names]
    return out


def at(curve, time):
    """The pitch at a time, straight between its points."""
    for (t0, f0), (t1, f1) in itertools.pairwise(curve):
        if t0 <= time <= t1:
            return f0 + (f1 - f0) * (time - t0) / max(1e-6, t1 - t0)
    return curve[-1][1] if curve and time > curve[-1][0] else curve[0][1] if curve else 105


def say(festival, voice, text, stretch, height, liveliness, rng):
    """`stretch` makes all longer, `height` is a factor of the speaker's own pitch, `liveliness` of its movement."""
    ends, curve = festival.told(text)
    base = SPEAKERS[voice][1] * height
    sounds, begin = [], 0.0
    for sound, end in ends:
        pitch = base * (at(curve, (begin + end) / 2) / 105) ** liveliness
        sounds.append((sound, max(.03, (end - begin) * stretch * rng.uniform(.85, 1.18)), pitch))
        begin = end
    if rng.random() < EXCHANGED:
        sounds = exchanged(sounds, rng)
    path = synth.temporary()
    festival.say(voice, spoken_by(voice, sounds, rng), path)
    return synth.taken(path)
