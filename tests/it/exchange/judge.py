"""Reads what was exported with libraries that are not ours, and prints it as JSON.

`judge.py sr FILE`, `judge.py codes` (codes on standard input), `judge.py header FILE`
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


def main():
    what = sys.argv[1]
    if what == "sr":
        found = structured(sys.argv[2])
        found["tree"] = tree(pydicom.dcmread(sys.argv[2]))
    elif what == "codes":
        found = codes(json.load(sys.stdin))
    else:
        found = json.loads(pydicom.dcmread(sys.argv[2]).to_json(bulk_data_threshold=64, bulk_data_element_handler=lambda _: ""))
    json.dump(found, sys.stdout)


main()
