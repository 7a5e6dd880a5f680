"""Recordings: newline-delimited JSON, a message a line, plain or `.gz` or `.zst`.

`{"at": <Unix seconds of receipt>, "topic": "...", "payload": <the JSON>}`. A payload that is no JSON is kept as a JSON
string, so that it is refused again in a replay. `"retained": true` marks old news the broker repeated to a subscriber.
"""

import gzip
import heapq
import io
import itertools
import os
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

import msgspec
import zstandard

from sootline.errors import UserError
from sootline.wire.message import Message

SUFFIXES = (".ndjson", ".jsonl", ".json")


class _Line(msgspec.Struct, gc=False, omit_defaults=True):
    at: float
    topic: str
    payload: msgspec.Raw
    retained: bool = False


class _At(msgspec.Struct, gc=False):
    at: float


_decode_line = msgspec.json.Decoder(_Line).decode
_decode_at = msgspec.json.Decoder(_At).decode
_decode_any = msgspec.json.Decoder().decode
_encode = msgspec.json.Encoder().encode


def is_recording(path: Path) -> bool:
    """Whether the name says that this is a recording."""
    name = path.name.lower().removesuffix(".gz").removesuffix(".zst")
    return name.endswith(SUFFIXES)


def line(message: Message) -> bytes:
    """A message as one line, newline included."""
    try:
        _decode_any(message.payload)
        payload = message.payload.replace(b"\n", b" ").replace(b"\r", b" ")
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        payload = _encode(message.payload.decode(errors="replace"))
    return _encode(_Line(message.received_ms / 1000, message.topic, msgspec.Raw(payload), message.retained)) + b"\n"


def parse_line(text: bytes) -> Message | None:
    """The message on a line, or None when the line holds none."""
    try:
        found = _decode_line(text)
        return Message(round(found.at * 1000), found.topic, bytes(found.payload), found.retained)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, OverflowError):
        return None


class Recordings:
    """The messages of several recordings in the order of their receipt.

    unusable: lines that held no message, counted while reading
    Raises UserError for a file that is missing or damaged.
    """

    def __init__(self, paths: Sequence[Path]) -> None:
        self.paths = paths
        self.unusable = 0

    def __iter__(self) -> Iterator[Message]:
        return heapq.merge(*(self._read(path) for path in self.paths), key=lambda message: message.received_ms)

    def _read(self, path: Path) -> Iterator[Message]:
        messages = self._messages(_lines(path))
        if _in_order(path):
            return messages
        return iter(sorted(messages, key=lambda message: message.received_ms))

    def _messages(self, lines: Iterable[bytes]) -> Iterator[Message]:
        for text in lines:
            message = parse_line(text)
            if message is not None:
                yield message
            elif text.strip():
                self.unusable += 1


def _in_order(path: Path) -> bool:
    before = float("-inf")
    for text in _lines(path):
        try:
            at = _decode_at(text).at
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            continue
        if at < before:
            return False
        before = at
    return True


def _lines(path: Path) -> Iterator[bytes]:
    try:
        with _open(path) as file:
            yield from file
    except EOFError:  # the end is missing because the recorder was stopped in the middle; what came before counts
        return
    except (OSError, zstandard.ZstdError) as error:
        raise UserError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None


def _open(path: Path) -> IO[bytes]:
    if path.suffix == ".gz":
        return io.BufferedReader(gzip.GzipFile(path))
    if path.suffix == ".zst":
        reader = zstandard.ZstdDecompressor().stream_reader(path.open("rb"), read_across_frames=True, closefd=True)
        return io.BufferedReader(reader)
    return path.open("rb")


class Recorder:
    """Writes messages to `<folder>/<UTC time of the first>.ndjson.zst`, a new file a day or `max_bytes` of JSON.

    Each flush ends a zstd frame on the disk, so a killed recorder loses only what came after its last flush.
    """

    def __init__(self, folder: Path, max_bytes: int = 256 * 2**20) -> None:
        self._folder = folder
        self._max_bytes = max_bytes
        self._lines: list[bytes] = []
        self._path: Path | None = None
        self._day = -1
        self._written = 0
        self._compressor = zstandard.ZstdCompressor(level=9)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UserError(f"{folder}: cannot be written: {error.strerror}") from None

    def write(self, message: Message) -> None:
        """Take a message; it is on the disk after the next flush()."""
        day = message.received_ms // 86_400_000
        if self._path is None or day != self._day or self._written >= self._max_bytes:
            self.flush()
            self._path = _unused(self._folder, message.received_ms)
            self._day, self._written = day, 0
        text = line(message)
        self._lines.append(text)
        self._written += len(text)

    def flush(self) -> None:
        """Bring everything taken so far to the disk."""
        if self._path is None or not self._lines:
            return
        with self._path.open("ab") as file:
            file.write(self._compressor.compress(b"".join(self._lines)))
            file.flush()
            os.fsync(file.fileno())
        self._lines.clear()


def _unused(folder: Path, at_ms: int) -> Path:
    stem = datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%dT%H%M%SZ")
    names = (f"{stem}{'' if n == 0 else f'-{n}'}.ndjson.zst" for n in itertools.count())
    return next(folder / name for name in names if not (folder / name).exists())
