"""What the update scripts share: an app of a few attributes, the sending side, and whether a slot is whole."""

import binascii
import hashlib
import os
import sys

from sootboard import channels, slots, update
from sootboard.clock import Clock

BLOCK = 512


class Sampler:
    contact_mask = 1 << channels.SWITCHED.index("burner") | 1 << channels.SWITCHED.index("pump")
    states = 0

    def __init__(self):
        self.values = {channels.numeric("stack"): 2100}


class App:
    def __init__(self, key):
        self.clock = Clock()
        self.sampler = Sampler()
        self.update_key = key
        self.update = None


def hash_of(data):
    return binascii.hexlify(hashlib.sha256(data).digest()).decode()


def load(folder):
    """A release as the host has laid it out: the manifest, and files by name."""
    with open(folder + "/manifest", "rb") as f:
        manifest = f.read()
    files = {}
    for line in manifest.decode().split("\n"):
        words = line.split()
        if words and words[0] == "file":
            try:
                with open(folder + "/" + words[3], "rb") as f:
                    files[words[3]] = f.read()
            except OSError:
                files[words[3]] = b""
    return manifest, files


async def send(app, release):
    """The host's part: begin, then whatever is wanted. Returns `(first error or None, blocks sent)`."""
    manifest, files = release
    error, wanted = await update.carry_out(app, {"begin": hash_of(manifest), "size": len(manifest)})
    blocks = 0
    while wanted and not error:
        name, at = wanted
        data = manifest if name == "manifest" else files[name]
        piece = binascii.b2a_base64(data[at : at + BLOCK]).decode().strip()
        error, wanted = await update.carry_out(app, {"file": name, "at": at, "data": piece})
        blocks += 1
    return error, blocks


def put(slot, release):
    """Lay a release into a slot, as an installation over USB does."""
    manifest, files = release
    os.mkdir(slot)
    os.mkdir(slot + "/sootboard")
    for name in files:
        with open(slot + "/" + name, "wb") as f:
            f.write(files[name])
    with open(slot + "/manifest", "wb") as f:
        f.write(manifest)


def holds(slot, release):
    """Whether the slot has exactly what the release has."""
    manifest, files = release
    try:
        with open(slot + "/manifest", "rb") as f:
            good = f.read() == manifest
        for name in files:
            with open(slot + "/" + name, "rb") as f:
                good = good and f.read() == files[name]
    except OSError:
        return False
    return good


def run_from(slot):
    sys.path[0] = slot
    assert slots.running() == slot
