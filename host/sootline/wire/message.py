"""A message as it came from the broker or a recording."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Message:
    """One delivery. `retained` marks what the broker kept from before: old news, not a word from the sender now."""

    received_ms: int
    topic: str
    payload: bytes
    retained: bool = False
