"""Reads the JSGF grammar and says random things from it.

Takes: the path of `exam.gram`. Gives: rules as nested tuples; random expansions as words.
Never: knows a word or a rule name of the language.
"""
import re

LETTER = "letter:"  # marks a one-letter word where it is said as the letter's name, not as an article


def read(path):
    """Rules by name. A node is ("word", w), ("rule", name), ("seq", [..]), ("alt", [..]), ("opt", n) or ("plus", n)."""
    text = open(path, encoding="utf-8").read()
    text = re.sub(r"/\*.*?\*/|//[^\n]*", " ", text, flags=re.S)
    text = re.sub(r"\{[^}]*\}", " ", text)  # what a phrase means is not needed to say it
    rules = {}
    for name, body in re.findall(r"(?:public\s+)?<([^>]+)>\s*=\s*(.*?);", text, flags=re.S):
        tokens = re.findall(r"<[^>]+>|[\w']+|[()\[\]|+*]", body)
        node, rest = _alternatives(tokens)
        assert not rest, f"rule <{name}>: left over {rest}"
        rules[name] = node
    return rules


def _alternatives(tokens):
    parts, tokens = [], list(tokens)
    while True:
        sequence = []
        while tokens and tokens[0] not in ")]|":
            node, tokens = _one(tokens)
            sequence.append(node)
        parts.append(("seq", sequence) if len(sequence) != 1 else sequence[0])
        if not tokens or tokens[0] != "|":
            return (("alt", parts) if len(parts) > 1 else parts[0]), tokens
        tokens = tokens[1:]


def _one(tokens):
    head, rest = tokens[0], tokens[1:]
    if head in "([":
        node, rest = _alternatives(rest)
        assert rest, "bracket without end"
        rest = rest[1:]
        node = ("opt", node) if head == "[" else node
    elif head[0] == "<":
        node = ("rule", head[1:-1])
    else:
        node = ("word", head)
    if rest and rest[0] in "+*":
        node = ("plus", node) if rest[0] == "+" else ("opt", ("plus", node))
        rest = rest[1:]
    return node, rest


def words(rules):
    """Every word of the grammar, sorted."""
    found = set()

    def walk(node):
        kind, inner = node
        if kind == "word":
            found.add(inner)
        elif kind in ("opt", "plus"):
            walk(inner)
        elif kind != "rule":
            for part in inner:
                walk(part)

    for node in rules.values():
        walk(node)
    return sorted(found)


def say(rules, node, rng, own=None, optional=0.5, rule=None):
    """Words of one random expansion; `own` maps rule names to functions that expand them instead."""
    kind, inner = node
    if kind == "word":
        # A letter alone with its spelling word is a name of the letter ("alpha | a"); elsewhere "a" is the article.
        named = len(inner) == 1 and not (inner in ("a", "i") and rule not in (own or {}).get("letters", ()))
        return [LETTER + inner] if named else [inner]
    if kind == "rule":
        if own and inner in own:
            return own[inner](rng)
        return say(rules, rules[inner], rng, own, optional, inner)
    if kind == "opt":
        return say(rules, inner, rng, own, optional, rule) if rng.random() < optional else []
    if kind == "plus":
        return say(rules, inner, rng, own, optional, rule)
    if kind == "alt":
        return say(rules, rng.choice(inner), rng, own, optional, rule)
    return [word for part in inner for word in say(rules, part, rng, own, optional, rule)]


def letter_rules(rules):
    """Rules that are a spelling word or its letter ("alpha | a"): there the letter is said by name."""
    return {
        name
        for name, node in rules.items()
        if node[0] == "alt" and len(node[1]) == 2 and all(p[0] == "word" for p in node[1])
        and node[1][1][1] == node[1][0][1][0]
    }
