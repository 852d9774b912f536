"""Speaks the training and tuning sentences, and talk that is not for us, with the voices of `voices.toml`.

Takes: the grammar, the voices, how many. Gives: shards `NAME.npy` (16-bit samples, end to end) and `NAME.json`
(a row for each utterance: start, end, words or null for talk, count of words spoken, purpose, kind of voice).
Never: uses a test voice.
"""
import argparse
import functools
import json
import multiprocessing
import os
import time
import tomllib

import accents
import diphones
import foreign
import grammar
import numpy as np
import sentences
import spoken
import synth
import tracts

TALK_SHARE = .18
AROUND_SHARE = .3  # of talk is about the very things that are called
HALTING_SHARE = .15  # of calls have a pause inside
ACCENT_SHARE = .35  # of what espeak-ng and Kokoro say
FOREIGN_SHARE = .2  # of what espeak-ng says, by its voices of other languages
FIGURES_SHARE = .05  # of all: figures alone, besides those among the sentences
KOKORO_ACCENTS = ["en-us", "en-us", "en-gb", "en-gb-x-rp"]


def draw(speaker, purpose):
    """Words of one utterance, or None with a piece of talk; and its spoken text."""
    rng = speaker.rng
    if rng.random() < TALK_SHARE:
        if rng.random() < AROUND_SHARE:
            return None, spoken.around(rng, spoken.spell(speaker.item()[:4], rng, pause=0, hesitate=0))
        return None, spoken.talk(rng, speaker.words)
    if purpose == "train" and rng.random() < FIGURES_SHARE:
        words = [rng.choice(sentences.FIGURES) for _ in range(rng.choice([1, 1, 1, 2, 3]))]
        return words, spoken.spell(words, rng, hesitate=0)
    words, _ = speaker.pick(1, purpose)[0]
    return words, spoken.spell(words, rng, hesitate=.05)


class Beside:
    """Synthesisers that stay running, each begun when it is first asked for; none where its parts are not."""

    def __init__(self, parts):
        self.parts = parts

    @functools.cached_property
    def festival(self):
        return diphones.Festival(self.parts) if os.path.isdir(f"{self.parts}/festival") else None

    @functools.cached_property
    def gnuspeech(self):
        return tracts.Gnuspeech(self.parts)


def fast(voices, tune, rng, beside, diphones_share):
    """A synthesiser that needs no network, at a random rate and pitch: what says a text, and its kind."""
    if not tune and beside.festival and rng.random() < diphones_share:
        voice = rng.choice(voices["diphones"])
        how = rng.uniform(.8, 1.6), rng.uniform(.7, 1.45), rng.uniform(.2, 1.8)
        return lambda text: diphones.say(beside.festival, voice, text, *how, rng), "festival"
    maker = rng.random()
    if maker < .2:
        voice, rate, pitch = rng.choice(voices["rhvoice"]), rng.randint(75, 135), rng.randint(75, 130)
        return lambda text: synth.rhvoice(voice, text, rate, pitch), "rhvoice"
    if maker < .37 and not tune:
        voice, rate, pitch = rng.choice(voices["pico"]), rng.randint(75, 150), rng.randint(70, 140)
        if voice in foreign.PICO:
            return lambda text: synth.pico(voice, foreign.for_pico(text, voice, rng), rate, pitch), "pico-foreign"
        return lambda text: synth.pico(voice, text, rate, pitch), "pico"
    if tune:
        if rng.random() < .3:
            voice, rate = rng.choice(voices["flite"]), rng.uniform(.85, 1.2)
            return lambda text: synth.flite(voice, text, rate), "flite"
        voice, rate, pitch = rng.choice(voices["espeak"]), rng.randint(120, 200), rng.randint(25, 75)
        return lambda text: synth.espeak(voice, text, rate, pitch), "espeak"
    if rng.random() < .27:
        voice, rate = rng.choice(voices["flite"]), rng.uniform(.75, 1.3)
        pitch = rng.randint(80, 220) if voice.startswith("kal") and rng.random() < .8 else None
        return lambda text: synth.flite(voice, text, rate, pitch), "flite"
    variant = rng.choice(voices["espeak_variants"])
    variant = "+" + variant if variant else ""
    rate, pitch = rng.randint(110, 230), rng.randint(10, 90)
    if rng.random() < FOREIGN_SHARE:
        language = rng.choice(foreign.ESPEAK)
        return lambda text: synth.espeak(language + variant, foreign.for_espeak(text, language, rng), rate, pitch), "espeak-foreign"
    voice = rng.choice(voices["espeak_languages"]) + variant
    if rng.random() < ACCENT_SHARE:
        return lambda text: synth.espeak(voice, accents.for_espeak(text, voice, rng), rate, pitch), "espeak"
    return lambda text: synth.espeak(voice, text, rate, pitch), "espeak"


def halting(say, words, rng):
    """A call with a pause inside, as when a speaker looks at the screen."""
    at = rng.randrange(1, len(words))
    pause = np.zeros(int(rng.uniform(.15, 1.0) * synth.RATE), np.float32)
    parts = [say(spoken.spell(part, rng, pause=0, hesitate=.1)) for part in (words[:at], words[at:])]
    return np.concatenate([parts[0], pause, parts[1]]) if all(map(len, parts)) else parts[0][:0]


def neural(kokoro, folder, voices, tune, text, rng):
    """Kokoro: one voice, or in training two mixed, at a random rate."""
    voice, other, share = rng.choice(voices["kokoro"]), None, 0.0
    if not tune and rng.random() < .6:
        other, share = rng.choice(voices["kokoro"]), rng.choice([.3, .5, .5, .7, -.25])
    accent = rng.choice(KOKORO_ACCENTS)
    told = (lambda ipa: accents.in_ipa(ipa, accent, rng)) if not tune and rng.random() < ACCENT_SHARE else None
    tokens = synth.Kokoro.tokens(folder, text, accent, told)
    return kokoro.say(tokens, voice, rng.uniform(.75, 1.35), other, share), "kokoro"


def shard(job):
    """One worker's share: `plan` is a list of (how many, maker, purpose, tune voices)."""
    name, seed, plan, ask, voices = job
    os.environ["OMP_NUM_THREADS"] = "1"
    rules = grammar.read(ask.grammar)
    speaker = sentences.Speaker(rules, seed, sentences.said(sentences.SAID, set(grammar.words(rules))))
    folder, kokoro, beside = f"{ask.parts}/kokoro", None, Beside(ask.parts)
    audio, rows, at, start = [], [], 0, time.time()
    for count, maker, purpose, tune in plan:
        use = voices["tune" if tune else "train"]
        for _ in range(count):
            if time.time() - start > ask.seconds:
                break
            words, text = draw(speaker, purpose)
            if maker == "kokoro":
                kokoro = kokoro or synth.Kokoro(folder, device=ask.device)
                x, kind = neural(kokoro, folder, use, tune, text, speaker.rng)
            elif maker == "gnuspeech":
                x, kind = beside.gnuspeech.say(text, speaker.rng), maker
            else:
                say, kind = fast(use, tune, speaker.rng, beside, ask.diphones)
                halts = words and len(words) > 1 and speaker.rng.random() < HALTING_SHARE
                x = halting(say, words, speaker.rng) if halts else say(text)
            if not 1600 < len(x) < 9 * synth.RATE:
                continue
            audio.append((x * 32767).astype(np.int16))
            group = "voices" if tune else "texts" if purpose == "tune" else "train"
            rows.append([at, at + len(x), words, len(text.split()), group, kind])
            at += len(x)
    np.save(f"{ask.out}/{name}.npy", np.concatenate(audio))
    json.dump(rows, open(f"{ask.out}/{name}.json", "w"))
    return name, len(rows), at / synth.RATE, time.time() - start


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--out", default=".ear/speech")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--fast", type=int, default=12000)
    ask.add_argument("--diphones", type=float, default=.2, help="share of what the fast ones say by festival's diphones, where these are")
    ask.add_argument("--kokoro", type=int, default=6000, help="none: Kokoro tunes nothing, either")
    ask.add_argument("--gnuspeech", type=int, default=0, help="by gnuspeech; a quarter of a second each")
    ask.add_argument("--tune", type=int, default=800)
    ask.add_argument("--device", default="cpu", help="where Kokoro speaks: cpu or cuda")
    ask.add_argument("--jobs", type=int, default=os.cpu_count())
    ask.add_argument("--seconds", type=float, default=1e9, help="each worker stops after this long, whatever is left")
    ask = ask.parse_args()
    os.makedirs(ask.out, exist_ok=True)
    voices = tomllib.load(open(os.path.join(os.path.dirname(__file__), "voices.toml"), "rb"))
    share = lambda n: -(-n // ask.jobs)
    plan = [(share(ask.tune // 4), "fast", "tune", True), (share(ask.tune // 4 if ask.kokoro else 0), "kokoro", "tune", True),
        (share(ask.tune // 2), "fast", "tune", False), (share(ask.fast), "fast", "train", False),
        (share(ask.kokoro), "kokoro", "train", False), (share(ask.gnuspeech), "gnuspeech", "train", False)]
    work = [(f"s{ask.seed}-{i:02d}", ask.seed * 1000 + i, plan, ask, voices) for i in range(ask.jobs)]
    with multiprocessing.get_context("spawn").Pool(ask.jobs) as pool:
        for done in pool.imap_unordered(shard, work):
            name, count, speech_s, took_s = done
            print(f"{name}: {count} utterances, {speech_s:.0f} s of speech in {took_s:.0f} s", flush=True)


if __name__ == "__main__":
    main()
