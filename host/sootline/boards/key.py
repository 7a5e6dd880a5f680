"""The key that signs releases for this owner's boards. It never leaves the data folder; boards know its public half."""

import os
import stat
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from sootline.errors import UserError

NAME = "update-key.pem"


def load(data: Path) -> Ed25519PrivateKey:
    """The key in the data folder; made at the first call. Raises UserError where it cannot be used."""
    path = data / NAME
    try:
        if not path.exists():
            data.mkdir(parents=True, exist_ok=True)
            _make(path)
        if stat.S_IMODE(path.stat().st_mode) & 0o077:
            raise UserError(f"{path}: others can read this key; take it away from them: chmod 600 {path}")
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except OSError as error:
        raise UserError(f"{path}: cannot be used: {error.strerror}") from None
    except (ValueError, TypeError):
        key = None
    if not isinstance(key, Ed25519PrivateKey):
        raise UserError(f"{path}: is no key for updates; put back a copy of the file")
    return key


def public_hex(key: Ed25519PrivateKey) -> str:
    """The public half as the setting `update_key` of a board has it: 64 hexadecimal digits."""
    return key.public_key().public_bytes_raw().hex()


def _make(path: Path) -> None:
    pem = Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    temporary = path.with_suffix(".new")
    temporary.unlink(missing_ok=True)
    with os.fdopen(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())
    temporary.rename(path)
