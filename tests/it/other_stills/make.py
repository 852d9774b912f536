"""Stills as other scanners and media have them, made with pydicom, which is not ours.

`make.py medium IN OUT` copies the stills of a folder onto a medium with a DICOMDIR (PS3.10, 8)
`make.py heads STILL OUT` writes a still with each kind of head that is met: without parts of it, without any, deflated
`make.py names STILL OUT` writes a still under each name of pydicom's samples of character sets, and prints what pydicom reads
`make.py kinds STILL OUT` writes a still with each kind of pixels, and prints their names
`make.py overlays OUT` writes a still with each kind of overlay plane, and prints file, frame and the places that are drawn
`make.py seen ORIGINAL COPY RECTANGLE` prints how bright a copy is inside a rectangle, and how it differs outside
`make.py looks ORIGINAL PICTURE` prints by how much a picture differs from what pydicom shows
"""
import io
import json
import pathlib
import sys

import numpy as np
import pydicom
from PIL import Image
from pydicom import uid
from pydicom.data import get_charset_files
from pydicom.dataelem import DataElement
from pydicom.fileset import FileSet
from pydicom.pixels import apply_color_lut, apply_windowing, convert_color_space, pixel_array


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


def overlays(target):
    target = pathlib.Path(target)
    told = []

    def still(frames=1, samples=1, bits=8):
        made = pydicom.Dataset()
        made.file_meta = pydicom.dataset.FileMetaDataset()
        made.file_meta.TransferSyntaxUID = uid.ExplicitVRLittleEndian
        made.file_meta.MediaStorageSOPClassUID = made.SOPClassUID = uid.UltrasoundMultiFrameImageStorage
        made.file_meta.MediaStorageSOPInstanceUID = made.SOPInstanceUID = "2.25.1"
        made.Rows, made.Columns, made.NumberOfFrames = 20, 30, frames
        made.SamplesPerPixel, made.BitsAllocated = samples, 16 if bits > 8 else 8
        made.BitsStored, made.HighBit, made.PixelRepresentation = bits, bits - 1, 0
        made.PhotometricInterpretation = "MONOCHROME2" if samples == 1 else "RGB"
        if samples > 1:
            made.PlanarConfiguration = 0
        # The whole range is shown, so that nothing is white by itself.
        made.WindowCenter, made.WindowWidth = 2 ** (bits - 1), 2**bits
        kind = np.uint16 if bits > 8 else np.uint8
        made.PixelData = np.full(frames * 600 * samples, 100, kind).tobytes()
        return made

    def put(made, group, bits, origin=None, kind="G", frames=None, first=None):
        flat = np.packbits(bits.ravel().astype(np.uint8), bitorder="little").tobytes()
        made.add_new((group, 0x0010), "US", bits.shape[-2])
        made.add_new((group, 0x0011), "US", bits.shape[-1])
        made.add_new((group, 0x0040), "CS", kind)
        if origin:
            made.add_new((group, 0x0050), "SS", list(origin))
        if frames:
            made.add_new((group, 0x0015), "IS", frames)
        if first:
            made.add_new((group, 0x0051), "US", first)
        made.add_new((group, 0x0100), "US", 1)
        made.add_new((group, 0x0102), "US", 0)
        made.add_new((group, 0x3000), "OW", flat + b"\0" * (len(flat) % 2))

    def written(name, made, drawn):
        made.save_as(target / name, enforce_file_format=True)
        for frame, places in drawn:
            told.append([name, frame, places.astype(int).ravel().tolist()])

    def read(made, group, frame=0):
        """The plane as pydicom reads it, at its place in the picture."""
        plane = made.overlay_array(group)
        plane = plane if plane.ndim == 2 else plane[frame]
        row, column = made[group, 0x0050].value if (group, 0x0050) in made else (1, 1)
        whole = np.zeros((20, 30), bool)
        for y, x in np.argwhere(plane):
            at = (y + row - 1, x + column - 1)
            if 0 <= at[0] < 20 and 0 <= at[1] < 30:
                whole[at] = True
        return whole

    letters = np.random.default_rng(7).random((20, 30)) < 0.2
    small = np.ones((4, 5), bool)
    made = still()
    put(made, 0x6000, letters)
    put(made, 0x601E, small, (3, 4))
    written("two.dcm", made, [(0, read(made, 0x6000) | read(made, 0x601E))])
    made = still()
    put(made, 0x6002, small, (-1, 28))
    written("outside.dcm", made, [(0, read(made, 0x6002))])
    made = still(samples=3)
    put(made, 0x6000, letters, (1, 1))
    written("colour.dcm", made, [(0, read(made, 0x6000))])
    made = still(frames=4)
    put(made, 0x6000, np.stack([letters, ~letters]), (1, 1), frames=2, first=2)
    nothing = np.zeros((20, 30), bool)
    written("loop.dcm", made, [(0, nothing), (1, read(made, 0x6000, 0)), (2, read(made, 0x6000, 1))])
    made = still()
    region = np.zeros((20, 30), bool)
    region[5:12, 6:20] = True
    put(made, 0x6000, region, kind="R")
    edge = region.copy()
    edge[6:11, 7:19] = False
    written("region.dcm", made, [(0, edge)])
    made = still(bits=12)
    pixels = np.full((20, 30), 100, np.uint16) | (letters.astype(np.uint16) << 14)
    made.PixelData = pixels.tobytes()
    for number, value in ((0x0010, 20), (0x0011, 30), (0x0100, 16), (0x0102, 14)):
        made.add_new((0x6000, number), "US", value)
    written("embedded.dcm", made, [(0, letters)])
    made = still()
    put(made, 0x6000, letters)
    made.compress(uid.RLELossless)
    written("packed.dcm", made, [(0, read(made, 0x6000))])
    print(json.dumps(told))


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


def kinds(source, target):
    """Each a picture of its own; the names are printed."""
    rows, columns = 48, 64
    grey = (np.arange(rows * columns) % 251).reshape(rows, columns)
    across = np.tile(np.arange(columns) * 4, (rows, 1))
    down = np.tile(np.arange(rows).reshape(rows, 1) * 5, (1, columns))
    colours = np.stack([across, down, 255 - across], axis=-1).astype("uint8")
    ybr = convert_color_space(colours, "RGB", "YBR_FULL")
    made = []

    def write(name, pixels, photometric, samples=1, bits=8, stored=None, signed=0, syntax=uid.ExplicitVRLittleEndian, **more):
        still = pydicom.dcmread(source)
        still.file_meta.TransferSyntaxUID = syntax
        still.SamplesPerPixel, still.PhotometricInterpretation = samples, photometric
        still.BitsAllocated, still.BitsStored = bits, stored or bits
        still.HighBit, still.PixelRepresentation = still.BitsStored - 1, signed
        if samples == 3:
            still.PlanarConfiguration = more.pop("planar", 0)
        for key, value in more.items():
            setattr(still, key, value)
            if key.endswith("Descriptor"):
                still[key].VR = "US"
        still.PixelData = pixels if len(pixels) % 2 == 0 else pixels + b"\0"
        still["PixelData"].VR = "OW" if bits > 8 else "OB"
        if syntax == uid.RLELossless:
            still.file_meta.TransferSyntaxUID = uid.ExplicitVRLittleEndian
            still.compress(uid.RLELossless)
            still["PixelData"].VR = "OB"
        path = pathlib.Path(target) / f"{name}.dcm"
        pydicom.dcmwrite(path, still, implicit_vr=False, little_endian=syntax.is_little_endian, force_encoding=True)
        made.append(name)

    def entries(values, bits):
        return np.asarray(values, "uint8" if bits == 8 else "<u2").tobytes()

    def palette(bits, of):
        shift = bits - 8
        more = {}
        for name, values in zip(("Red", "Green", "Blue"), of, strict=True):
            more[f"{name}PaletteColorLookupTableDescriptor"] = [256, 0, bits]
            more[f"{name}PaletteColorLookupTableData"] = entries([value << shift for value in values], bits)
        return more

    def segmented(bits):
        shift = bits - 8
        # Two values, a line to the brightest, and for the blue a part of a line again.
        line = [0, 2, 200 << shift, 190 << shift, 1, 254, 255 << shift]
        more = {}
        for name in ("Red", "Green", "Blue"):
            more[f"{name}PaletteColorLookupTableDescriptor"] = [256, 0, bits]
            data = list(line)
            if name == "Blue" and bits == 8:
                data = [0, 2, 200, 190, 1, 127, 10, 2, 1, 4, 0, 0, 0]
            more[f"Segmented{name}PaletteColorLookupTableData"] = entries(data, bits)
        return more

    words = {"bits": 16, "stored": 12}
    write("mono2", grey.astype("uint8").tobytes(), "MONOCHROME2")
    write("mono1", grey.astype("uint8").tobytes(), "MONOCHROME1")
    write("rgb", colours.tobytes(), "RGB", 3)
    write("rgb-planes", colours.transpose(2, 0, 1).tobytes(), "RGB", 3, planar=1)
    write("ybr", ybr.tobytes(), "YBR_FULL", 3)
    write("ybr-planes", ybr.transpose(2, 0, 1).tobytes(), "YBR_FULL", 3, planar=1)
    pairs = np.stack([ybr[:, 0::2, 0], ybr[:, 1::2, 0], ybr[:, 0::2, 1], ybr[:, 0::2, 2]], axis=-1)
    write("ybr-shared", pairs.tobytes(), "YBR_FULL_422", 3)
    write("ybr-packed", ybr.tobytes(), "YBR_FULL", 3, syntax=uid.RLELossless)
    write("rgb-packed", colours.tobytes(), "RGB", 3, syntax=uid.RLELossless)
    write("rgb-big-endian", colours.tobytes(), "RGB", 3, syntax=uid.ExplicitVRBigEndian)
    ramp = [(value + 100) % 256 for value in range(256)]
    write("palette", grey.astype("uint8").tobytes(), "PALETTE COLOR", **palette(8, [ramp, ramp, ramp]))
    write("palette-16", grey.astype("uint8").tobytes(), "PALETTE COLOR", **palette(16, [ramp, ramp[::-1], ramp]))
    write("palette-segments", grey.astype("uint8").tobytes(), "PALETTE COLOR", **segmented(8))
    write("palette-segments-16", grey.astype("uint8").tobytes(), "PALETTE COLOR", **segmented(16))
    whole = {"WindowCenter": "2048", "WindowWidth": "4096"}
    write("mono2-12", (grey * 16).astype("<u2").tobytes(), "MONOCHROME2", **words, **whole)
    write("mono1-12", (grey * 16).astype("<u2").tobytes(), "MONOCHROME1", **words, **whole)
    both = {"WindowCenter": "0", "WindowWidth": "4096"}
    write("mono2-signed", (grey * 16 - 2000).astype("<i2").tobytes(), "MONOCHROME2", **words, **both, signed=1)
    print(json.dumps(made))


def shown(path):
    """Red, green and blue as pydicom shows them."""
    still = pydicom.dcmread(path)
    pixels = still.pixel_array
    photometric = still.PhotometricInterpretation
    if photometric == "PALETTE COLOR":
        pixels = apply_color_lut(pixels, still)
        return (pixels if pixels.dtype == np.uint8 else pixels >> 8).astype(float)
    if photometric.startswith("YBR"):
        # pydicom 3 converts while it decodes; here it is done by its own function, once.
        pixels = convert_color_space(pixel_array(path, raw=True), photometric, "RGB")
    if still.SamplesPerPixel == 1:
        if "WindowCenter" in still:
            pixels = apply_windowing(pixels, still)
            low, high = (0, 4095) if not still.PixelRepresentation else (-2048, 2047)
            pixels = (np.clip(pixels, low, high) - low) / (high - low) * 255
        if photometric == "MONOCHROME1":
            pixels = 255 - pixels
        pixels = np.stack([pixels] * 3, axis=-1)
    return pixels.astype(float)


def seen(original, copy, rectangle):
    left, top, width, height = map(int, rectangle.split(","))
    inside = np.zeros((48, 64), bool)
    inside[top : top + height, left : left + width] = True
    before, after = shown(original), shown(copy)
    # A palette may have nothing darker.
    dark = before.reshape(-1, 3).sum(axis=1).min() / 3 if "palette" in original else 0
    told = {"inside": float((after[inside].sum(axis=1) / 3 - dark).max()), "outside": float(np.abs(before - after)[~inside].max())}
    print(json.dumps(told))


def looks(original, picture):
    wanted = shown(original)
    found = np.asarray(Image.open(picture).convert("RGB"))[: wanted.shape[0], : wanted.shape[1]]
    print(float(np.abs(found - wanted).max()))


if __name__ == "__main__":
    made = {"medium": medium, "heads": heads, "names": names, "kinds": kinds, "overlays": overlays, "seen": seen, "looks": looks}
    made[sys.argv[1]](*sys.argv[2:])
