"""Updates over the air: power cuts everywhere, what is refused and why, and whole updates over a real broker."""

import hashlib
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from sootline.boards import key as keys
from sootline.boards import release as releases

from .micropython import figures, run

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
PUBLIC = keys.public_hex(KEY)


def lay_out(folder: Path, files: dict[str, bytes], manifest: bytes) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    folder.mkdir(exist_ok=True)
    (folder / "manifest").write_bytes(manifest)
    return folder


def small(version: str) -> dict[str, bytes]:
    """A release of three files that differ from version to version."""
    return {
        f"sootboard/{name}.mpy": b"M\x06\0\x1f" + f"{version} {name} ".encode() * count
        for name, count in (("__init__", 3), ("app", 120), ("link", 60))
    }


def test_power_cuts_leave_a_slot_that_runs(tmp_path: Path) -> None:
    old, new = small("0.1.0"), small("0.2.0")
    old_folder = lay_out(tmp_path / "old", old, releases.manifest("0.1.0", old, KEY))
    new_folder = lay_out(tmp_path / "new", new, releases.manifest("0.2.0", new, KEY))
    got = figures(run("update_cuts.py", "16m", 300, PUBLIC, str(old_folder), str(new_folder)))
    assert got["cuts"] > 100
    assert got["not_whole"] == got["wrong_slot"] == got["not_resumed"] == 0
    assert got["most_blocks_saved"] >= got["blocks"] / 2
    assert got["trial_starts"] == 3 and got["in_the_end_a"] == 1


def _edited(manifest: bytes, old: bytes, new: bytes) -> bytes:
    """The manifest with a change in its text, signed anew."""
    text = manifest[: manifest.index(b"signature ")]
    assert old in text
    text = text.replace(old, new)
    signature = KEY.sign(b"sootboard release\n" + hashlib.sha256(text).hexdigest().encode())
    return text + f"signature {signature.hex()}\n".encode()


def test_what_is_refused_and_why(tmp_path: Path) -> None:
    files, old_files = small("0.2.0"), small("0.0.9")
    good = releases.manifest("0.2.0", files, KEY)
    older = releases.manifest("0.0.9", old_files, KEY)
    cut_off = {**files, "sootboard/app.mpy": files["sootboard/app.mpy"][:-1] + b"?"}
    cases = {
        "good": (files, good),
        "same version": (files, releases.manifest("0.1.0", files, KEY)),
        "older": (old_files, older),
        "older, asked for": (old_files, releases.manifest("0.0.9", old_files, KEY, older=True)),
        "asked for by another hand": (old_files, older.replace(b"arch any\n", b"arch any\nolder yes\n")),
        "no signature": (files, releases.manifest("0.2.0", files)),
        "another key": (files, releases.manifest("0.2.0", files, Ed25519PrivateKey.generate())),
        "another hash": (files, good.replace(b"file ", b"file 1", 1)),
        "more behind": (files, good + b"file 1 00 sootboard/x.mpy\n"),
        "native code": (files, releases.manifest("0.2.0", files, KEY, arch="xtensawin")),
        "other bytecode": (files, _edited(good, b"mpy 6", b"mpy 5")),
        "another form": (files, _edited(good, b"sootboard-release 1", b"sootboard-release 2")),
        "no version": (files, _edited(good, b"version 0.2.0\n", b"")),
        "outside": (files, _edited(good, b"sootboard/app.mpy", b"sootboard/../../main.py")),
        "the loader": (files, _edited(good, b"sootboard/app.mpy", b"main.py")),
        "damaged file": (cut_off, good),
    }
    for name, (content, manifest) in cases.items():
        lay_out(tmp_path / name, content, manifest)
    lines = run("update_take.py", "16m", 300, PUBLIC, str(tmp_path)).splitlines()
    said = {name: (text, state) for name, text, state in (line.split("|") for line in lines)}
    foreign, unclear = "the signature is not the owner's", "cannot tell whether the furnace fires"
    ok = ("None", "whole")
    expected = {
        "good": ok,
        "same version": ok,
        "older": "version 0.0.9 is older than 0.1.0, which runs",
        "older, asked for": ok,
        "asked for by another hand": foreign,
        "no signature": foreign,
        "another key": foreign,
        "another hash": foreign,
        "more behind": "the manifest goes on behind its signature",
        "native code": "code for xtensawin, this board is x64",
        "other bytecode": "bytecode of version 5, this board loads 6",
        "another form": "not a manifest this version knows",
        "no version": "not understood: invalid syntax for integer with base 10: ''",
        "outside": "a file that cannot be: sootboard/../../main.py",
        "the loader": "a file that cannot be: main.py",
        "damaged file": "damaged on the way: sootboard/app.mpy",
        "no room": "no room",
        "no key": "no update_key in the settings of this board",
        "no slots": "no slots on this board: install over USB first",
        "on trial": "the version that runs is itself on trial",
        "burner on": "firing",
        "burner on, owner says off": "firing",
        "stack hot": "firing",
        "refilling": "refilling",
        "inputs not known yet": unclear,
        "nothing to tell by": unclear,
        "nothing to tell by, owner says off": "None",
        "stack alone, cold": ok,
        "burner off": ok,
        "before the firing": "None",
        "in the firing": "firing",
        "start in the firing": "firing",
        "after it": ok,
        "start before begin": "not complete yet",
        "block before begin": "nothing is wanted: begin first",
        "begin, a block twice": "None",
        "start before the end": "not complete yet",
        "too much": "more than was announced",
        "not base64": "more than was announced",
        "no data": "not understood: data",
        "begin without size": "not understood: size",
        "huge": "not a manifest",
    }
    assert said.keys() == expected.keys()
    for name, wanted in expected.items():
        if isinstance(wanted, tuple):
            assert said[name] == wanted, name
        else:
            assert said[name][0].startswith(wanted) and said[name][1] == "not whole", (name, said[name])
