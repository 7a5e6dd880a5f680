"""Keeps a server up to date, through whatever happens to it."""

import threading
import time
from collections.abc import Callable

from sootline.errors import StoreDamaged, StoreUnavailable
from sootline.mirror.mirror import Mirror
from sootline.mirror.server import ServerUnavailable

REST_S = 5.0  # between looks when nothing waits
LONGEST_REST_S = 60.0  # between trials of a server that does not answer
REFUSED_SHOWN = 3


def follow(mirror: Mirror, stop: threading.Event, once: bool, tell: Callable[[str], None]) -> int:
    """Copy until told to stop, or (once) until nothing waits; the number of lines sent. Tells trouble, and its end.

    Raises UserError when the server refuses us.
    """
    sent, rest_s, trouble = 0, 0.0, ""
    while not stop.wait(rest_s):
        try:
            progress = mirror.step(time.time_ns() // 1_000_000)
        except (ServerUnavailable, StoreUnavailable, StoreDamaged) as error:
            if str(error) != trouble:
                trouble = str(error)
                tell(f"{trouble}; trying again")
            rest_s = min(LONGEST_REST_S, max(1.0, 2 * rest_s))
            continue
        if trouble:
            tell("going on")
            trouble = ""
        sent += progress.lines
        for line in progress.refused[:REFUSED_SHOWN]:
            tell(f"the server will not take: {line}")
        if once and not progress.behind:
            break
        rest_s = 0.0 if progress.behind else REST_S
    return sent
