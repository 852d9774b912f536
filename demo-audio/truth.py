"""What the record must hold for a scenario, worked out from its words without zonecall's grammar or code.

`calls(text)` gives one dict for each call, in order, with the field names of the record. Its phrase tables hold
only what the scenarios say and any other word stops it: a wrong table fails loudly, it never guesses.
"""

LIMBS = {"left fore": "LF", "right fore": "RF", "left hind": "LH", "right hind": "RH"}
PLANES = {"transverse": "T", "longitudinal": "L"}
STRUCTURES = {
    "superficial flexor": "SDFT", "deep flexor": "DDFT", "check ligament": "ALDDFT", "suspensory origin": "SL-origin",
    "suspensory body": "SL-body", "medial branch": "SL-medial", "lateral branch": "SL-lateral",
}
SETTINGS = {
    "standoff on": {"term": "standoff", "state": "on"},
    "weight bearing": {"term": "stance", "state": "weight bearing"},
}
LESIONS = ("core lesion", "diffuse lesion")
DEGREES = ("mild", "moderate", "severe")
POSITIONS = ("central", "medial", "lateral")
DIGITS = dict(zip("nought one two three four five six seven eight nine oh".split(), "01234567890", strict=True))
LETTERS = {"alpha": "A", "bravo": "B", "charlie": "C"}
VALUES = ("lesion area", "area", "echo score", "fibre score")
UNITS = {"square centimetres": "cm2", "centimetres": "cm", "": None}


def after(words, table):
    """The entry of the table that the words begin with, and the words after it."""
    for entry in sorted(table, key=len, reverse=True):
        if words == entry or words.startswith(entry + " "):
            return entry, words[len(entry):].strip()
    return None, words


def view(words, context):
    """Takes the view parts off the front of the words and changes the context in force."""
    said = False
    limb, words = after(words, LIMBS)
    if limb:
        context.update(limb=LIMBS[limb], zone=None, plane=None, structure=None)
        said = True
    parts = words.removeprefix("zone ").split()
    if len(parts) > 1 and parts[0] in DIGITS and parts[1] in LETTERS:
        context.update(zone=DIGITS[parts[0]] + LETTERS[parts[1]], structure=None)
        words, said = " ".join(parts[2:]), True
    for key, table in (("plane", PLANES), ("structure", STRUCTURES)):
        found, words = after(words, table)
        if found:
            context[key], said = table[found], True
    return said, words


def number(words):
    """Digits said one by one with a point, then a unit."""
    figures, parts = "", words.split()
    while parts and (parts[0] in DIGITS or parts[0] == "point"):
        word = parts.pop(0)
        figures += "." if word == "point" else DIGITS[word]
    return float(figures), UNITS[" ".join(parts)]


def act(words):
    """What the words after the view say, as fields of the record."""
    if words == "save":
        return {"kind": "save"}
    if words == "disregard that":
        return {"kind": "command", "term": "take_back", "number": 1.0}
    if words == "end of exam":
        return {"kind": "command", "term": "end_of_exam"}
    if words == "normal":
        return {"kind": "finding", "class": "normal", "term": "normal"}
    if words in SETTINGS:
        return {"kind": "setting"} | SETTINGS[words]
    if words.startswith("imaging depth "):
        figure, unit = number(words.removeprefix("imaging depth "))
        return {"kind": "setting", "term": "imaging depth", "number": figure, "unit": unit}
    term, rest = after(words, VALUES)
    if term:
        figure, unit = number(rest)
        return {"kind": "value", "term": term, "number": figure, **({"unit": unit} if unit else {})}
    degree, rest = after(words, DEGREES)
    term, rest = after(rest, LESIONS)
    position, rest = after(rest, POSITIONS)
    assert term and not rest, f"no meaning in the tables for `{words}`"
    found = {"kind": "finding", "class": "lesion", "term": term}
    return found | ({"degree": degree} if degree else {}) | ({"position": [position]} if position else {})


def put_right(found, limb):
    """`correction LIMB`: the last view that named a limb, and all since then, belongs to the other limb."""
    for call in reversed(found):
        call["limb"] = limb
        if call["kind"] == "view" and call.pop("named_limb", False):
            return
    raise AssertionError("a correction with nothing before it")


def calls(text):
    context, found = {}, []
    for line in text.splitlines():
        if not line.strip() or line.startswith("#"):
            continue
        _, voice, words, mark = (part.strip() for part in line.split("|"))
        if voice != "vet" or not words or mark == "talk":
            continue
        branch = words.startswith(("medial branch ", "lateral branch "))
        corrects = words.startswith("correction ")
        words = words.removeprefix("correction ")
        if corrects:
            limb, rest = after(words, LIMBS)
            assert limb and not rest, "the tables know how to put right a limb only"
            put_right(found, LIMBS[limb])
            context["limb"] = LIMBS[limb]
            said, words = True, ""
        else:
            names_limb = after(words, LIMBS)[0] is not None
            said, words = view(words, context)
        # A branch belongs to what is said of it in the same utterance: alone it could be one of two structures.
        if said and not (words and branch):
            here = {key: value for key, value in context.items() if value}
            extra = {"corrects": True} if corrects else {"named_limb": True} if names_limb else {}
            found.append({"kind": "view"} | here | extra)
        if words:
            meaning = act(words)
            if meaning.get("term") == "take_back":
                found[-1]["withdrawn"] = True
            found.append(meaning | {key: value for key, value in context.items() if value})
    for call in found:
        call.pop("named_limb", None)
    return found
