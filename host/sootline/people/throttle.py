"""How often somebody may try to sign in.

Each failed try counts for ten minutes against its address, and against the name it was for. Ten are allowed. So that
nobody can lock the owner out by trying his name, a browser in which that person has signed in before (after the OWASP
device cookie protocol) has a count of its own and is held up by no other; nor does the count of a name hold up whoever
sits at the machine itself. The counts are in memory: a restart forgets them, and costs an attacker more than it gives.
"""

import ipaddress
from collections import deque

TRIES = 10
WINDOW_MS = 600_000
_MOST_COUNTS = 4000


class Throttle:
    """Not thread-safe: use it from one thread. Times are ms since the Unix epoch."""

    def __init__(self) -> None:
        self._counts: dict[tuple[str, str], deque[int]] = {}

    def try_again_s(self, address: str, name: str, browser: str, now_ms: int) -> int:
        """Count a try; 0 where it may go on, else how long to wait [s] (and then nothing is counted).

        browser: what tells apart a browser in which this person has signed in before; empty for any other
        """
        keys = _keys(address, name, browser)
        wait_ms = max(self._wait_ms(key, now_ms) for key in keys)
        if wait_ms > 0:
            return -(-wait_ms // 1000)
        for key in keys:
            self._counts.setdefault(key, deque(maxlen=TRIES)).append(now_ms)
        if len(self._counts) > _MOST_COUNTS:
            self._forget(now_ms)
        return 0

    def succeeded(self, address: str, name: str, browser: str) -> None:
        """The last try was no failure: take it back, and what was counted for this name with it."""
        for key in _keys(address, name, browser):
            if key[0] == "address":  # somebody with an account must not wash his address clean with it
                if tries := self._counts.get(key):
                    tries.pop()
            else:
                self._counts.pop(key, None)

    def _wait_ms(self, key: tuple[str, str], now_ms: int) -> int:
        tries = self._counts.get(key)
        if tries is None:
            return 0
        while tries and not 0 <= now_ms - tries[0] < WINDOW_MS:  # a clock set back must not hold anybody up
            tries.popleft()
        return tries[0] + WINDOW_MS - now_ms if len(tries) >= TRIES else 0

    def _forget(self, now_ms: int) -> None:
        """Drop what has lapsed; where too much is left, the older half."""
        self._counts = {key: tries for key, tries in self._counts.items() if tries and now_ms - tries[-1] < WINDOW_MS}
        if len(self._counts) > _MOST_COUNTS // 2:
            self._counts = dict(list(self._counts.items())[-_MOST_COUNTS // 2 :])


def _keys(address: str, name: str, browser: str) -> tuple[tuple[str, str], ...]:
    if browser:
        return (("browser", browser),)
    network, at_the_machine = _network(address)
    by_address = ("address", network)
    return (by_address,) if at_the_machine else (by_address, ("name", name[:80].casefold()))


def _network(address: str) -> tuple[str, bool]:
    """What counts as one address, an IPv6 subscriber having a whole /64; and whether it is this machine."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address, False
    if isinstance(parsed, ipaddress.IPv6Address):
        if parsed.ipv4_mapped is not None:
            parsed = parsed.ipv4_mapped
        else:
            return str(ipaddress.ip_network((parsed, 64), strict=False)), parsed.is_loopback
    return str(parsed), parsed.is_loopback
