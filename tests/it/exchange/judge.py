"""Reads what was exported with libraries that are not ours, and prints it as JSON.

`judge.py sr FILE`, `judge.py codes` (codes on standard input), `judge.py header FILE`,
`judge.py fill FILE` (adds what the list of PS3.15 names), `judge.py profiled ORIGINAL COPY` (what became of each)
"""
import json
import sys

import pydicom


def structured(path):
    import highdicom as hd

    report = hd.sr.srread(path)
    content = report.content
    groups = []
    for kind, found in (
        ("1501", content.get_image_measurement_groups()),
        ("1410", content.get_planar_roi_measurement_groups()),
    ):
        for group in found:
            row = {
                "template": kind,
                "tracking": group.tracking_identifier,
                "uid": group.tracking_uid,
                "sites": [[site.value.value, site.value.scheme_designator] for site in group.finding_sites],
                "sides": [side_of(site) for site in group.finding_sites],
                "finding": group.finding_type.value if group.finding_type else None,
                "values": [
                    [m.name.value, m.value, m.unit.value] for m in group.get_measurements()
                ],
            }
            if kind == "1410":
                roi = group.roi
                row["points"] = roi.value.tolist()
                row["graphic"] = roi.graphic_type.value
            groups.append(row)
    return {
        "verification": report.VerificationFlag,
        "completion": report.CompletionFlag,
        "instance": report.SOPInstanceUID,
        "predecessors": [
            image.ReferencedSOPInstanceUID
            for study in report.get("PredecessorDocumentsSequence", [])
            for series in study.ReferencedSeriesSequence
            for image in series.ReferencedSOPSequence
        ],
        "groups": groups,
    }


def side_of(site):
    side = site.laterality
    return side.value if side else None


def codes(rows):
    from pydicom.sr._concepts_dict import concepts

    wrong = []
    for value, scheme, meaning in rows:
        known = [
            text for names in concepts.get(scheme, {}).values() for code, (text, _) in names.items() if code == value
        ]
        plain = [text.split(" (")[0] for text in known]
        if meaning not in known and meaning not in plain:
            wrong.append([value, scheme, meaning, known])
    return wrong


def breeds(values):
    from pydicom.sr._cid_dict import cid_concepts
    from pydicom.sr._concepts_dict import concepts

    names = cid_concepts[7480]["SCT"]
    known = {code for name in names for code in concepts["SCT"][name]}
    return [value for value in values if value not in known]


def tree(item):
    node = {
        "relation": item.get("RelationshipType"),
        "type": item.ValueType,
        "name": item.ConceptNameCodeSequence[0].CodeValue if "ConceptNameCodeSequence" in item else None,
        "template": item.ContentTemplateSequence[0].TemplateIdentifier if "ContentTemplateSequence" in item else None,
        "text": item.get("TextValue"),
        "code": item.ConceptCodeSequence[0].CodeValue if "ConceptCodeSequence" in item else None,
        "below": [tree(below) for below in item.get("ContentSequence", [])],
    }
    return node


def profile():
    """The basic profile of PS3.15 table E.1-1: each attribute with its action, as a library has it."""
    from dicomanonymizer.dicom_anonymization_databases import dicomfields_2026c as table

    actions = {}
    for name in ("D", "Z", "X", "U", "Z_D", "X_Z", "X_D", "X_Z_D", "X_Z_U_STAR"):
        for tag in getattr(table, f"{name}_TAGS"):
            if len(tag) == 4:
                # Of a repeating group the first one: curves, overlay data and overlay comments.
                tag = (tag[0], 0x0010 if tag[1] == 0 else tag[1])
            if tag[0] == 0:
                # Of commands on the network; no file has it.
                continue
            actions[pydicom.tag.Tag(tag)] = name.replace("_U_STAR", "_U").replace("_", "/")
    return actions


def telling(tag):
    """A value that is found again wherever it went, and its representation."""
    from pydicom.datadict import dictionary_VR

    try:
        vr = dictionary_VR(tag).split(" ")[0]
    except KeyError:
        vr = "LO"
    mark = f"S{tag:08X}"
    day = "19991231"
    values = {
        "PN": f"{mark}^X", "DA": day, "TM": "235959.77", "DT": f"{day}235959", "AS": "077Y", "IS": "77077", "DS": "77.077",
        "UI": f"2.25.77{int(tag)}", "UR": f"urn:{mark}", "AT": 0x77077707, "FL": 77.077, "FD": 77.077,
        "US": 7707, "SS": 7707, "UL": 77077, "SL": 77077, "OB": mark.encode() + b"X", "OW": mark.encode() + b"X",
        "UN": mark.encode() + b"X",
    }  # fmt: skip
    if vr == "SQ":
        inside = pydicom.Dataset()
        inside.PatientComments = mark
        return vr, [inside]
    return vr, values.get(vr, mark)


def part(data, tag):
    """Where an attribute belongs: the head of the file, or its data."""
    return data.file_meta if tag.group == 2 else data


def fill(path):
    data = pydicom.dcmread(path)
    added = {}
    for tag in profile():
        place = part(data, tag)
        if tag not in place or not place[tag].value:
            vr, value = telling(tag)
            place.add_new(tag, vr, value)
            added[f"{tag:08X}"] = vr
    data.save_as(path)
    return added


def profiled(original, copy):
    files = pydicom.dcmread(original), pydicom.dcmread(copy)

    def became(tag):
        before, after = (part(file, tag) for file in files)
        if tag not in after:
            return "gone"
        if after[tag].is_empty:
            return "empty"
        return "same" if before[tag].value == after[tag].value else "other"

    return {f"{tag:08X}": [action, became(tag)] for tag, action in profile().items()}


def main():
    what = sys.argv[1]
    if what == "sr":
        found = structured(sys.argv[2])
        found["tree"] = tree(pydicom.dcmread(sys.argv[2]))
    elif what == "codes":
        found = codes(json.load(sys.stdin))
    elif what == "breeds":
        found = breeds(json.load(sys.stdin))
    elif what == "fill":
        found = fill(sys.argv[2])
    elif what == "profiled":
        found = profiled(sys.argv[2], sys.argv[3])
    else:
        found = json.loads(pydicom.dcmread(sys.argv[2]).to_json(bulk_data_threshold=64, bulk_data_element_handler=lambda _: ""))
    json.dump(found, sys.stdout)


main()
