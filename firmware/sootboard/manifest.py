"""The manifest of a release, checked line by line: signed by the owner, and fit for this board (README, "Slots")."""

import binascii
import hashlib
import os
import sys

from micropython import const

from . import VERSION, forget
from .steps import last

_SIGNED = b"sootboard release\n"
_FORMAT = "sootboard-release 1"
# Names of the kinds of native code, in the order of their numbers in a compiled file.
_ARCHS = "any x86 x64 armv6 armv6m armv7m armv7em armv7emsp armv7emdp xtensa xtensawin rv32imc rv64imc"
_FILE_BYTES = const(65536)
_LINE_BYTES = const(200)
_SPARE_BYTES = const(32768)  # left free on the code's file system


def _numbers(version):
    return [int(n) for n in version.split(".")]


async def unsigned(path, key):
    """Why the manifest's signature is not that of `key` (32 bytes), or None if it is."""
    from . import ed25519

    digest = hashlib.sha256()
    signature = b""
    with open(path, "rb") as f:
        while True:
            line = f.readline(_LINE_BYTES)
            if line[:10] == b"signature ":
                signature = binascii.unhexlify(line[10:-1])
                break
            if not line:
                break
            digest.update(line)
        if f.read(1):
            return "the manifest goes on behind its signature"
    text = _SIGNED + binascii.hexlify(digest.digest())
    good = await last(ed25519.verify(key, signature, text))
    del ed25519
    forget("ed25519", "sha512")
    return None if good else "the signature is not the owner's"


def unfit(path):
    """What in a signed manifest does not fit this board, or None."""
    mpy = getattr(sys.implementation, "_mpy", 0)
    arch = _ARCHS.split(" ")[mpy >> 10 & 15]
    older = False
    version = ""
    total = 0
    with open(path) as f:
        if f.readline() != _FORMAT + "\n":
            return "not a manifest this version knows"
        for line in f:
            words = line.split()
            if words[0] == "version":
                version = words[1]
            elif words[0] == "mpy" and int(words[1]) != mpy & 0xFF:
                return "bytecode of version %s, this board loads %d" % (words[1], mpy & 0xFF)
            elif words[0] == "arch" and words[1] not in ("any", arch):
                return "code for %s, this board is %s" % (words[1], arch)
            elif words[0] == "older":
                older = True
            elif words[0] == "file":
                if int(words[1]) > _FILE_BYTES or not words[3].startswith("sootboard/") or ".." in words[3]:
                    return "a file that cannot be: %s" % words[3]
                total += int(words[1])
    if _numbers(version) < _numbers(VERSION) and not older:
        return "version %s is older than %s, which runs" % (version, VERSION)
    status = os.statvfs(".")
    if total + _SPARE_BYTES > status[0] * status[3]:
        return "no room: %d bytes are needed" % (total + _SPARE_BYTES)
    return None
