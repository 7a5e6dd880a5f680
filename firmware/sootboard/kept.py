"""The memory that outlives a reset."""


class Kept:
    """Memory that outlives a reset but not a power cut, as far as the board has it."""

    LIMIT = 1500

    def __init__(self, rtc):
        self._rtc = rtc if hasattr(rtc, "memory") else None
        self.works = self._rtc is not None
        self._memo = bytes(4)

    def read(self):
        """Memo (4 bytes) and rows the last boot left; anything at all after a power cut."""
        return bytes(self._rtc.memory()) if self.works else b""

    def write_memo(self, memo):
        """Keep `memo` ahead of the rows."""
        self._memo = memo
        self._rtc.memory(memo + self.read()[4:])

    def write(self, parts):
        """Keep as many of `parts`, the newest first in importance, as fit."""
        if not self.works:
            return
        size = 4
        first = len(parts)
        while first and size + len(parts[first - 1]) <= self.LIMIT:
            first -= 1
            size += len(parts[first])
        kept = parts[first:]
        kept.insert(0, self._memo)
        self._rtc.memory(b"".join(kept))
