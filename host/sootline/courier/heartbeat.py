"""A sign of life to a watcher outside: asked for only while the whole chain works, so that its absence is the alarm."""

import http.client
import urllib.error
import urllib.request
from dataclasses import dataclass

from sootline.courier.ways import scrub
from sootline.messages.contacts import Heartbeat

TIMEOUT_S = 10.0
RETRY_S = 10.0
BEAR_MS = 60_000  # a start, or a moment without the internet, is nothing to tell people of


@dataclass(slots=True)
class Beat:
    """next_ms: when it is due; last_ms: when it last got through; problem: why it has not for a minute, in one line."""

    next_ms: int = 0
    last_ms: int | None = None
    problem: str | None = None
    _failing_ms: int | None = None

    def go(self, heartbeat: Heartbeat, broken: str | None, now_ms: int) -> None:
        """Send it. broken: what of the chain does not work; then nothing is sent."""
        problem = broken or ping(heartbeat.url)
        if problem is None:
            self.last_ms, self.problem, self._failing_ms = now_ms, None, None
            self.next_ms = now_ms + round(heartbeat.every_s * 1000)
            return
        if self._failing_ms is None:
            self._failing_ms = now_ms
        self.problem = problem if now_ms - self._failing_ms >= BEAR_MS else None
        self.next_ms = now_ms + round(min(RETRY_S, heartbeat.every_s) * 1000)


def ping(url: str) -> str | None:
    """Ask for the address. None when it answered well, else why not, without the address."""
    request = urllib.request.Request(url, headers={"User-Agent": "sootline"})
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
            answer.read(1024)
        return None
    except urllib.error.HTTPError as error:
        error.close()
        return f"the watcher outside answered {error.code}"
    except (OSError, http.client.HTTPException, ValueError) as error:
        reason = getattr(error, "reason", None) or error
        return scrub(f"the watcher outside cannot be reached: {reason}", url)
