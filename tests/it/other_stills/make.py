"""Stills as other scanners and media have them, made with pydicom, which is not ours.

`make.py medium IN OUT` copies the stills of a folder onto a medium with a DICOMDIR (PS3.10, 8)
"""
import pathlib
import sys

import pydicom
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


if __name__ == "__main__":
    {"medium": medium}[sys.argv[1]](*sys.argv[2:])
