"""Sentences to train, tune and test with, said from the grammar itself.

Takes: the grammar's rules, a random source. Gives: lists of words, a letter's name marked with `letter:`.
Never: a phrase that the grammar does not have, except lone words and figures, which teach that words stand alone.
"""
import random
import zlib

import grammar

ITEM_WEIGHTS = {"limb": 8, "zone": 14, "level": 7, "landmark": 3, "plane": 8, "structure": 13, "setting": 9,
    "nothing_wrong": 6, "negative": 6, "lesion": 13, "remark": 4, "quality": 3, "value": 18, "score": 6, "save": 5,
    "clock_mark": 1, "take_back": 3, "correction": 2, "journal": 2, "begin": 1, "end": 1, "progress": 2, "note": 2,
    "question": 2, "identity": 5, "talk": 4}
# How a look at a leg is told, in order; each part is said or left out with the chance beside it.
BREATH = [("limb", .45), ("zone|level", .6), ("plane", .45), ("structure", .6),
    ("nothing_wrong|lesion|lesion|quality|value|value|score", .75), ("value|lesion|score", .3), ("value", .15),
    ("save", .3)]
FIGURES = "zero one two three four five six seven eight nine oh nought".split()
SAID = ["train/said.txt", "grammars/en/usage.txt"]  # what vets say, written for this project; a line may begin with how often
SAID_SHARE = .4
ONE_IN = 12  # this share of the longer texts is kept for tuning, and as many for the test


def use(words):
    """"train", "tune" or "test": decided by the words alone, so the same in every run. Short texts serve all."""
    if len(words) <= 3:
        return "any"
    return {0: "tune", 1: "test"}.get(zlib.crc32(" ".join(words).encode()) % ONE_IN, "train")


def marked(words):
    """Words with letters marked: "a" is one after a figure or another letter ("two a", "c s a"), elsewhere the article."""
    is_letter = lambda i: len(words[i]) == 1 and words[i] != "i" and (
        words[i] != "a" or (i > 0 and (words[i - 1] in FIGURES or len(words[i - 1]) == 1)) or len(words) == 1)
    return [grammar.LETTER + word if is_letter(i) else word for i, word in enumerate(words)]


def said(files, known):
    """The lines of these files whose words are all known."""
    found = []
    for file in files:
        for line in open(file, encoding="utf-8"):
            words = line.split()
            words = words[1:] if words and words[0].isdigit() else words
            if words and all(word in known for word in words):
                found.append(marked(words))
    return found


class Speaker:
    """Says things from the rules of a grammar, and of `usual` lines now and then one as it is."""

    def __init__(self, rules, seed, usual=None):
        self.rules, self.rng, self.usual = rules, random.Random(seed), usual
        self.words = grammar.words(rules)
        self.own = {"letters": grammar.letter_rules(rules), "number": self.number}
        known = [n for n in ITEM_WEIGHTS if n in rules]
        self.items = known, [ITEM_WEIGHTS[n] for n in known]

    def rule(self, name, optional=0.5):
        return grammar.say(self.rules, ("rule", name), self.rng, self.own, optional)

    def number(self, rng):
        """0 to 199 mostly, decimals often, as they are read from a screen."""
        plain = {k: v for k, v in self.own.items() if k != "number"}
        part = lambda name: grammar.say(self.rules, ("rule", name), rng, plain, 0.5, name)
        r = rng.random()
        if r < .30:
            return part("number")
        if r < .42:
            rest = rng.choice([["and"], []]) + part("below_hundred") if rng.random() < .8 else []
            return [rng.choice(["one", "a"]), "hundred"] + rest
        if r < .72:
            whole = rng.choice(["digit", "digit", "digit", "nought", "below_hundred", "teen"])
            return part(whole) + ["point"] + [w for _ in range(rng.choice([1, 1, 1, 2])) for w in part("figure")]
        return part(rng.choice(["below_hundred", "teen", "tens", "digit"]))

    def item(self):
        return self.rule(self.rng.choices(*self.items)[0])

    def breath(self):
        said = []
        for names, chance in BREATH:
            if self.rng.random() < chance:
                if said and self.rng.random() < .04:
                    said += self.rule("filler")
                said += self.rule(self.rng.choice(names.split("|")))
        return said or self.item()

    def marked(self, word):
        return grammar.LETTER + word if len(word) == 1 and word != "i" else word

    def next(self):
        """One utterance: (words, part of the mix it belongs to)."""
        rng = self.rng
        if self.usual and rng.random() < SAID_SHARE:
            return rng.choice(self.usual), "usual"
        r = rng.random()
        if r < .40:
            return self.breath(), "breath"
        if r < .60:
            return self.item(), "item"
        if r < .72:
            return [w for _ in range(rng.randint(2, 3)) for w in self.item()], "items"
        if r < .79:
            return self.number(rng), "number"
        if r < .84:
            return [rng.choice(FIGURES) for _ in range(rng.choice([1, 1, 1, 2, 3, 4]))], "figures"
        if r < .93:
            return [self.marked(rng.choice(self.words))], "word"
        if r < .95:
            return self.rule("answer"), "answer"
        return [self.marked(rng.choice(self.words)) for _ in range(rng.randint(2, 5))], "salad"

    def pick(self, count, purpose, parts=None, longest=12):
        """`count` utterances for "train", "tune" or "test"; `parts` limits which parts of the mix are taken."""
        found = []
        while len(found) < count:
            words, part = self.next()
            if len(words) > longest or (parts and part not in parts):
                continue
            here = use(words)
            # Outside training, short texts would crowd out the others: they pass more easily.
            if here == purpose or (here == "any" and (purpose == "train" or self.rng.random() < .12)):
                found.append((words, part))
        return found
