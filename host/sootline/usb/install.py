"""Puts board code on a board: into the slot that does not run, manifest last, then the switch (firmware/README.md)."""

import hashlib
import json
from collections.abc import Callable
from typing import Protocol

from sootline.usb.console import SLOTS, Console

LOADER = "main.py"


class Release(Protocol):
    """One version: content by path within a slot, and the manifest that names them."""

    @property
    def version(self) -> str: ...
    @property
    def files(self) -> dict[str, bytes]: ...
    @property
    def manifest(self) -> bytes: ...


def install(console: Console, release: Release, loader: bytes, progress: Callable[[int, int], None]) -> str:
    """Install; returns the slot. Broken off at any moment, the board still has its old version whole.

    progress: called with files done and all of them. What is on the board already is not sent again.
    """
    active = active_slot(console)
    slot = {"a": "b", "b": "a"}.get(active or "", "a")
    console.remove(f"{slot}/manifest")
    _sweep(console, slot, release)
    wanted = list(release.files.items())
    for done, (name, data) in enumerate(wanted):
        progress(done, len(wanted))
        path = f"{slot}/{name}"
        if console.hash(path) != hashlib.sha256(data).digest():
            console.put(path, data)
    console.put(f"{slot}/manifest", release.manifest)
    progress(len(wanted), len(wanted))
    if active:
        _put_loader(console, loader)
        _switch(console, active, slot)
    else:
        _switch(console, slot, None)
        _put_loader(console, loader)
    return slot


def active_slot(console: Console) -> str | None:
    """The slot to come back to; None where no slot is whole."""
    whole = [slot for slot in "ab" if console.hash(f"{slot}/manifest")]
    active = console.slots().get("active")
    if active in whole:
        return str(active)
    return whole[0] if whole else None


def next_slot(console: Console) -> str | None:
    """The slot that is started next: one on trial, else the active one."""
    trial = (console.parked or console.slots()).get("trial")
    return str(trial) if trial and console.hash(f"{trial}/manifest") else active_slot(console)


def _switch(console: Console, active: str, trial: str | None) -> None:
    console.put(SLOTS, json.dumps({"active": active, "trial": trial, "tries": 0}).encode())
    console.parked = None


def _put_loader(console: Console, loader: bytes) -> None:
    if console.hash(LOADER) != hashlib.sha256(loader).digest():
        console.put(LOADER, loader)


def _sweep(console: Console, slot: str, release: Release) -> None:
    """Remove from the slot what does not belong to the release: two versions shall never need more than their room."""
    keep = {f"{slot}/{name}" for name in release.files}
    console.run(
        "def sweep(folder):\n"
        " try:\n"
        "  entries = list(os.ilistdir(folder))\n"
        " except OSError:\n"
        "  return\n"
        " for entry in entries:\n"
        "  path = folder + '/' + entry[0]\n"
        "  if entry[1] == 0x4000:\n"
        "   sweep(path)\n"
        f"  elif path not in {keep!r}:\n"
        "   os.remove(path)\n"
        f"sweep({slot!r})\n",
        60,
    )
