"""Stills as other scanners and media have them, made with pydicom, which is not ours.

`make.py medium IN OUT` copies the stills of a folder onto a medium with a DICOMDIR (PS3.10, 8)
`make.py heads STILL OUT` writes a still with each kind of head that is met: without parts of it, without any, deflated
`make.py names STILL OUT` writes a still under each name of pydicom's samples of character sets, and prints what pydicom reads
"""
import io
import json
import pathlib
import sys

import pydicom
from pydicom import uid
from pydicom.data import get_charset_files
from pydicom.dataelem import DataElement
from pydicom.fileset import FileSet


def medium(source, target):
    files = FileSet()
    for path in sorted(pathlib.Path(source).glob("*.dcm")):
        still = pydicom.dcmread(path)
        # Keys of the directory's records that a still may leave out or leave empty (PS3.3 F.5).
        for name, value in {"StudyID": "1", "SeriesNumber": 1, "AccessionNumber": "", "StudyDescription": ""}.items():
            if name not in still or not still[name].value:
                setattr(still, name, value)
        files.add(still)
    files.write(target)


def heads(source, target):
    target = pathlib.Path(target)
    whole = pathlib.Path(source).read_bytes()
    (target / "no-preamble").write_bytes(whole[132:])
    (target / "magic-first").write_bytes(whole[128:])
    # The length of the head is its first element, of twelve bytes (PS3.10, 7.1).
    (target / "no-length").write_bytes(whole[:132] + whole[144:])

    def written(name, syntax, with_head):
        still = pydicom.dcmread(source)
        pixels = still.PixelData
        still.file_meta.TransferSyntaxUID = syntax
        buffer = io.BytesIO()
        if with_head:
            still.save_as(buffer, enforce_file_format=True, implicit_vr=syntax.is_implicit_VR, little_endian=syntax.is_little_endian)
        else:
            del still.file_meta
            still.preamble = None
            pydicom.dcmwrite(buffer, still, implicit_vr=syntax.is_implicit_VR, little_endian=syntax.is_little_endian)
        assert still.PixelData == pixels
        (target / name).write_bytes(buffer.getvalue())

    written("bare-explicit", uid.ExplicitVRLittleEndian, False)
    written("bare-implicit", uid.ImplicitVRLittleEndian, False)
    written("bare-big-endian", uid.ExplicitVRBigEndian, False)
    written("deflated", uid.DeflatedExplicitVRLittleEndian, True)


def names(source, target):
    told = {}
    for path in sorted(pathlib.Path(get_charset_files("*.dcm")[0]).parent.glob("chr*.dcm")):
        named = pydicom.dcmread(path)
        sets = named.get("SpecificCharacterSet", "")
        if "PatientName" not in named:
            continue
        still = pydicom.dcmread(source)
        # The bytes as they lie in the file, under the sets that it declares: nothing is decoded and encoded again.
        still.SpecificCharacterSet = sets
        still[0x00100010] = DataElement(0x00100010, "PN", named.PatientName)
        still[0x00100020] = DataElement(0x00100020, "LO", "H-22")
        for tag in (0x00102297, 0x00102292):
            if tag in still:
                del still[tag]
        still.save_as(pathlib.Path(target) / path.name)
        again = pydicom.dcmread(pathlib.Path(target) / path.name)
        again.decode()
        told[path.name] = str(again.PatientName)
    print(json.dumps(told))


if __name__ == "__main__":
    {"medium": medium, "heads": heads, "names": names}[sys.argv[1]](*sys.argv[2:])
