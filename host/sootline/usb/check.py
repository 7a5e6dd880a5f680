"""Is a board fit for service? Every point of the list passes or fails, with the number or the reason."""

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sootline.errors import UserError
from sootline.usb.console import BoardError, Console
from sootline.usb.install import next_slot
from sootline.usb.ports import open_port
from sootline.usb.settings import present, use_code
from sootline.wire import line

OLDEST = (1, 28, 0)
ROOM_BYTES = 128 * 1024  # a second version and its copy while it is written
NETWORK_S = 90.0
SPEAKS_S = 30.0
_FAULTS = {
    "open": "broken, or not plugged in",
    "short": "shorted",
    "range": "a value it cannot have: supply, wrong part or wrong settings",
    "crc": "damaged on the way: cable, shield, ground",
    "absent": "does not answer: plug, ROM id or select pin",
}


@dataclass(frozen=True, slots=True)
class Point:
    """One line of the list."""

    what: str
    passed: bool
    detail: str


def check(console: Console) -> Iterator[Point]:
    """The points, one after the other, the slow ones last; the board stays at its prompt."""
    yield from _code(console)
    use_code(console)
    yield from _about(console)
    settings = present(console)
    try:
        console.run("from sootboard import config\nconfig.load('config.json')")
        yield Point("settings", True, f"furnace {settings.get('furnace')}")
    except BoardError as error:
        yield Point("settings", False, str(error))
        return
    yield from _sensors(console, settings)
    if settings.get("link", "mqtt") == "mqtt":
        yield _attempt("Wi-Fi", console, "selfcheck.join()", lambda dbm: f"joined, {dbm} dBm")
        said = {True: "one message acknowledged, clock set", False: "one message acknowledged, no time server"}
        yield _attempt("publish", console, "selfcheck.publish()", lambda synced: said[bool(synced)])


def speaks(port: str) -> Point:
    """Whether a restarted board without a network speaks over its line. Nothing is acknowledged, so nothing is lost."""
    reader = line.Reader()
    hello_at = 0.0
    end = time.monotonic() + SPEAKS_S
    with open_port(port, 0.1) as opened:
        while time.monotonic() < end:
            if time.monotonic() >= hello_at:
                opened.write(line.encode(line.HELLO, b"0 check"))
                hello_at = time.monotonic() + 1
            for found in reader.feed(opened.read(max(1, opened.in_waiting))):
                if isinstance(found, line.Record) and found.topic.endswith("/board"):
                    return Point("USB line", True, f"speaks as {found.topic.removesuffix('/board')}")
    return Point("USB line", False, "the board says nothing after its start; look at: sootline board log")


def _code(console: Console) -> Iterator[Point]:
    slot = next_slot(console)
    text = (console.read(f"{slot}/manifest") or b"").decode(errors="replace") if slot else ""
    if not text:
        yield Point("board code", False, "none on the board; first: sootline board install")
        raise UserError(f"{console.path}: nothing more can be checked without board code")
    version, wrong = "", 0
    for words in map(str.split, text.splitlines()):
        if words[:1] == ["version"]:
            version = words[1]
        if words[:1] == ["file"]:
            found = console.hash(f"{slot}/{words[3]}")
            wrong += found is None or found.hex() != words[2]
    detail = f"version {version} in slot {slot}"
    yield Point("board code", not wrong, detail if not wrong else f"{detail}: {wrong} files are damaged; install again")


def _about(console: Console) -> Iterator[Point]:
    version, port, size, free, number = console.ask("selfcheck.about()")
    fresh = tuple(map(int, version.split("."))) >= OLDEST
    needed = "" if fresh else f"; {'.'.join(map(str, OLDEST[:2]))} or later is needed"
    yield Point("MicroPython", fresh, f"{version} on {port}, chip {number}{needed}")
    detail = f"{free // 1024} KiB of {size // 1024} KiB free"
    enough = free >= ROOM_BYTES
    yield Point("room", enough, detail if enough else f"{detail}; an update needs {ROOM_BYTES // 1024} KiB")


def _sensors(console: Console, settings: dict[str, Any]) -> Iterator[Point]:
    try:
        values, faults, states = console.ask("selfcheck.readings()", 30)
        probes = console.ask(f"selfcheck.probes({settings.get('board', 'esp32')!r})", 30)
    except BoardError as error:
        yield Point("sensors", False, str(error))
        return
    for name in sorted({*values, *faults}):
        passed = name in values
        yield Point(name, passed, values[name] if passed else f"{faults[name]}: {_FAULTS.get(faults[name], '')}")
    for name, on in states.items():
        yield Point(name, True, "on" if on else "off")
    if not {*values, *faults, *states}:
        yield Point("sensors", False, "the settings name none")
    for rom, _, _ in probes:
        if rom not in settings.get("onewire", {}):
            yield Point("thermometers", False, f"{rom} is on the line but no channel; do: sootline board configure")


def _attempt(what: str, console: Console, expression: str, words: Any) -> Point:
    try:
        return Point(what, True, words(console.ask(expression, NETWORK_S)))
    except BoardError as error:
        return Point(what, False, str(error).rpartition("the board says: ")[2])
