"""Units of the head and how words are made of them.

Takes: `lexicon.dict`, the words of the grammar and the pronunciations that come with it (`words.dict`).
Gives: unit numbers for what was said. Unit 0 is CTC's blank, 1 is speech outside the language, one for each word of it.
"""
from grammar import LETTER
from spoken import HESITATIONS

BLANK, OTHER = 0, 1
OF_GRAMMAR = "grammars/en/words.dict"


DIPHTHONG = "AW", ["AA", "UH"]  # no unit of its own: the program splits it alike


def lines(path):
    """Words with their phones, in the order of the file."""
    for line in open(path, encoding="utf-8"):
        if line.strip() and not line.startswith("#"):
            word, *phones = line.split("#")[0].split()
            yield word, [p for phone in phones for p in (DIPHTHONG[1] if phone == DIPHTHONG[0] else [phone])]


def read(path, words):
    """Phones by word; of two lines for "a" the first is the letter's name. Words that it lacks sound as the grammar says."""
    table = {}
    for word, phones in lines(path):
        table.setdefault(LETTER + word if word == "a" and "a" not in table and LETTER + word not in table else word, phones)
    known = {p for phones in table.values() for p in phones}
    for word, phones in lines(OF_GRAMMAR):
        if known.issuperset(phones):
            table.setdefault(word, phones)
    missing = [w for w in words if w not in table]
    assert not missing, f"without pronunciation in {path} and {OF_GRAMMAR}: {missing}"
    return table


class Phones:
    def __init__(self, path, words):
        self.table = read(path, words)
        self.units = ["<blank>", "<other>"] + sorted({p for phones in self.table.values() for p in phones})
        self.number = {u: i for i, u in enumerate(self.units)}

    def spell(self, words):
        """Units of the words; hesitations have none, so that the head leaves them out."""
        said = [w for w in words if w not in HESITATIONS]
        return [self.number[p] for w in said for p in self.table.get(w) or self.table[w.removeprefix(LETTER)]]


class Words:
    """Whole words; those that sound alike share a unit."""

    def __init__(self, path, words):
        self.table = read(path, words)
        first = {}
        for word in sorted(self.table):
            first.setdefault(" ".join(self.table[word]), word)
        self.same = {word: first[" ".join(phones)] for word, phones in self.table.items()}
        self.units = ["<blank>", "<other>"] + sorted(set(self.same.values()))
        self.number = {u: i for i, u in enumerate(self.units)}

    def spell(self, words):
        return [self.number[self.same[w if w in self.same else w.removeprefix(LETTER)]] for w in words]
