"""Live updates: one waiting thread for all open pages; what they share is rendered once and sent to each.

A page receives the parts of itself that changed since its last message, as server-sent events (HTML Living Standard,
section 9.2). A beat every few seconds tells the page that the connection stands, and the host's clock.
"""

import asyncio
import contextlib
import json
import threading
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass, field

from sootline.units import System
from sootline.web.source import Live

# a burst of packs becomes one update; well inside the second that a sample may take to a page
GATHER_S = 0.3
BEAT_S = 10.0

Parts = dict[str, str]
Subject = tuple[System, str | None, bool]
"""What a page shows: its units, one furnace or, with None, all of them, and whether to a guest who came by a link."""


@dataclass(slots=True)
class _Group:
    """All pages that show the same: their newest parts, and the message that leads there from the parts before."""

    parts: Parts
    number: int = 0
    message: bytes = b""
    pages: int = 0
    changed: asyncio.Event = field(default_factory=asyncio.Event)


class Feed:
    """Use between `start` and `stop`, both called in the event loop that serves the pages."""

    def __init__(self, live: Live, render: Callable[[System, str | None, bool], Parts], now: Callable[[], int]) -> None:
        self._live = live
        self._render = render
        self._now = now
        self._groups: dict[Subject, _Group] = {}
        self._stopping = threading.Event()
        self._dirty = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._publisher: asyncio.Task[None] | None = None

    @property
    def pages(self) -> int:
        """How many pages listen."""
        return sum(group.pages for group in self._groups.values())

    async def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        threading.Thread(target=self._wait_for_changes, name="sootline-feed", daemon=True).start()
        self._publisher = asyncio.create_task(self._publish())

    def release(self) -> None:
        """Let all open pages go, so that the server can end. May be called from any thread."""
        self._stopping.set()
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop has ended, and the pages with it
                self._loop.call_soon_threadsafe(self._wake_pages)

    def _wake_pages(self) -> None:
        for group in self._groups.values():
            group.changed.set()

    async def stop(self) -> None:
        self.release()
        if self._publisher is not None:
            self._publisher.cancel()
            await asyncio.gather(self._publisher, return_exceptions=True)

    def _wait_for_changes(self) -> None:
        version = self._live.version
        while not self._stopping.is_set():
            newer = self._live.wait(version, 1.0)
            if newer != version and not self._stopping.is_set():
                version = newer
                assert self._loop is not None
                try:
                    self._loop.call_soon_threadsafe(self._dirty.set)
                except RuntimeError:  # the loop is closed: nobody is left to tell
                    return

    async def _publish(self) -> None:
        while True:
            # without news too: readings grow old by themselves
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._dirty.wait(), BEAT_S)
            self._dirty.clear()
            for subject, group in self._groups.items():
                parts = self._render(*subject)
                changed = {name: text for name, text in parts.items() if group.parts.get(name) != text}
                if changed:
                    group.parts = parts
                    group.number += 1
                    group.message = _message("parts", {"now": self._now(), "parts": changed})
                    group.changed.set()
                    group.changed = asyncio.Event()
            await asyncio.sleep(GATHER_S)

    async def messages(self, system: System, furnace: str | None, guest: bool = False) -> AsyncGenerator[bytes]:
        """The stream of one page: everything first, then what changes."""
        subject = (system, furnace, guest)
        group = self._groups.get(subject)
        if group is None:
            group = self._groups[subject] = _Group(self._render(*subject))
        group.pages += 1
        try:
            number = group.number
            yield b"retry: 3000\n" + _message("parts", {"now": self._now(), "parts": group.parts})
            while not self._stopping.is_set():
                if number == group.number:
                    try:
                        await asyncio.wait_for(group.changed.wait(), BEAT_S)
                    except TimeoutError:
                        yield _message("beat", {"now": self._now()})
                    continue
                missed = group.number - number > 1
                number = group.number
                yield _message("parts", {"now": self._now(), "parts": group.parts}) if missed else group.message
        finally:
            group.pages -= 1
            if group.pages == 0:
                self._groups.pop(subject, None)


def _message(event: str, data: object) -> bytes:
    return f"event: {event}\ndata: {json.dumps(data, ensure_ascii=False, separators=(',', ':'))}\n\n".encode()
