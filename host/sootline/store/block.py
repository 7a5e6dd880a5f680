"""Rows as packs brought them: each still knows its boot, its sequence number and when it arrived.

A block is what is kept; `Rows` is what is read. Two packs may both speak of one moment, so a block may hold two rows of
one time; on reading they become one, and where they disagree on a channel the pack with the greater (boot, seq) wins,
whatever the order in which they came.

Columns of a block: `<channel>` the reading, `<channel>.s` the seconds on since boot, `<channel>/fault` the index of the
fault in `channels.FAULTS`; NaN where the row has none.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import zstandard

from sootline.channels import FAULTS
from sootline.series import EMPTY, Floats, Rows, SensorFault, Times

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
SUM, FAULT = ".s", "/fault"
_FAULT_INDEX = {kind: float(i) for i, kind in enumerate(FAULTS)}
_ORIGIN = 4  # planes before the columns: time, boot, seq, arrival


@dataclass(frozen=True, slots=True)
class Block:
    """n rows in any order. t_ms, boot, seq, received_ms: (n,) int64; columns: name -> (n,) float64.

    Where the origin was not asked for, boot, seq and received_ms are empty.
    """

    t_ms: Times
    boot: Times
    seq: Times
    received_ms: Times
    columns: Mapping[str, Floats]

    def __len__(self) -> int:
        return len(self.t_ms)

    def take(self, index: Times | slice) -> "Block":
        """The rows at `index`; columns left without a single entry are dropped."""
        columns = {name: column[index] for name, column in self.columns.items()}
        return Block(
            self.t_ms[index],
            self.boot[index],
            self.seq[index],
            self.received_ms[index],
            {name: column for name, column in columns.items() if not np.isnan(column).all()},
        )

    def increasing(self) -> bool:
        return bool((self.t_ms[1:] > self.t_ms[:-1]).all())

    def split(self, span_ms: int) -> dict[int, "Block"]:
        """The rows of each span of the clock (an hour, a day) by its start, sorted by time within."""
        if not len(self):
            return {}
        spans = self.t_ms // span_ms
        order = np.lexsort((self.seq, self.boot, self.t_ms))
        starts, first = np.unique(spans[order], return_index=True)
        ends = [*first[1:], len(order)]
        return {int(start) * span_ms: self.take(order[i:j]) for start, i, j in zip(starts, first, ends, strict=True)}


NO_ORIGIN: Times = np.empty(0, np.int64)
NOTHING = Block(NO_ORIGIN, NO_ORIGIN, NO_ORIGIN, NO_ORIGIN, {})


def join(blocks: Sequence[Block]) -> Block:
    """Several blocks as one, a row given twice (same boot, seq and time) kept once."""
    blocks = [block for block in blocks if len(block)]
    if len(blocks) <= 1:
        return blocks[0] if blocks else NOTHING
    t_ms, boot, seq, received_ms = (
        np.concatenate([getattr(block, name) for block in blocks]) for name in ("t_ms", "boot", "seq", "received_ms")
    )
    names = dict.fromkeys(name for block in blocks for name in block.columns)
    columns = {
        name: np.concatenate([block.columns.get(name, np.full(len(block), np.nan)) for block in blocks])
        for name in names
    }
    joined = Block(t_ms, boot, seq, received_ms, columns)
    order = np.lexsort((seq, boot, t_ms))
    t_ms, boot, seq = t_ms[order], boot[order], seq[order]
    again = (t_ms[1:] == t_ms[:-1]) & (boot[1:] == boot[:-1]) & (seq[1:] == seq[:-1])
    return joined.take(order[np.concatenate([[True], ~again])])


def chain(blocks: Sequence[Block]) -> list[Block]:
    """Blocks one after another in time, neighbours with the same columns made one: many small arrays cost time.

    Only blocks whose times increase are joined, so that the origin is no longer needed.
    """
    chained = []
    for (names, increasing), run in groupby(blocks, key=lambda block: (tuple(block.columns), block.increasing())):
        same = list(run)
        if len(same) == 1 or not increasing:
            chained += same
            continue
        t_ms = np.concatenate([block.t_ms for block in same])
        columns = {name: np.concatenate([block.columns[name] for block in same]) for name in names}
        chained.append(Block(t_ms, NO_ORIGIN, NO_ORIGIN, NO_ORIGIN, columns))
    return chained


def column_names(rows: Rows) -> tuple[str, ...]:
    """The block columns that hold `rows`."""
    faulty = sorted({fault.channel for fault in rows.faults})
    return (*rows.values, *(name + SUM for name in rows.on_s), *(name + FAULT for name in faulty))


def pack_bytes(rows: Rows, names: Sequence[str]) -> bytes:
    """The rows of one pack, a row after the other: time relative to the pack's base [ms], then the columns."""
    times = rows.t_ms
    if rows.faults:
        times = np.union1d(times, np.array([fault.t_ms for fault in rows.faults], np.int64))
    matrix = np.full((len(times), 1 + len(names)), np.nan)
    matrix.view(np.int64)[:, 0] = times
    at: Times | slice = slice(None) if len(times) == len(rows.t_ms) else np.searchsorted(times, rows.t_ms)
    i = 0
    for columns in (rows.values, rows.on_s):
        for column in columns.values():
            i += 1
            matrix[at, i] = column
    place = {name: 1 + j for j, name in enumerate(names)}
    for fault in rows.faults:
        matrix[np.searchsorted(times, fault.t_ms), place[fault.channel + FAULT]] = _FAULT_INDEX[fault.kind]
    matrix[:, 1:] += 0.0  # -0.0 becomes 0.0: the two are one reading
    return matrix.tobytes()


def rows_bytes(t_ms: Times, columns: Sequence[Floats]) -> bytes:
    """Rows in the form of `pack_bytes`, from whole columns."""
    matrix = np.empty((len(t_ms), 1 + len(columns)))
    matrix.view(np.int64)[:, 0] = t_ms
    for i, column in enumerate(columns):
        matrix[:, 1 + i] = column
    return matrix.tobytes()


def from_packs(
    packs: Iterable[tuple[int, int, int, int, int, bytes]], names: Mapping[int, Sequence[str]]
) -> list[Block]:
    """Blocks from (boot, seq, received_ms, base_ms, columns id, rows) of packs; one block for each set of columns."""
    groups: dict[int, list[tuple[int, int, int, int, int, bytes]]] = {}
    for pack in packs:
        groups.setdefault(pack[4], []).append(pack)
    blocks = []
    for columns, group in groups.items():
        width = 1 + len(names[columns])
        matrix = np.frombuffer(b"".join(pack[5] for pack in group)).reshape(-1, width)
        counts = [len(pack[5]) // (8 * width) for pack in group]
        origin = np.array([pack[:4] for pack in group], np.int64).repeat(counts, axis=0)
        t_ms = matrix.view(np.int64)[:, 0] + origin[:, 3]
        values = {name: matrix[:, 1 + i] for i, name in enumerate(names[columns])}
        blocks.append(Block(t_ms, origin[:, 0], origin[:, 1], origin[:, 2], values))
    return blocks


def to_bytes(block: Block) -> bytes:
    """A block as zstd-compressed planes of 8-byte numbers: time, boot, seq, arrival, then each column."""
    planes = np.empty((_ORIGIN + len(block.columns), len(block)))
    whole = planes.view(np.int64)
    whole[0], whole[1], whole[2], whole[3] = block.t_ms, block.boot, block.seq, block.received_ms
    for i, column in enumerate(block.columns.values()):
        planes[_ORIGIN + i] = column
    return zstandard.compress(planes.tobytes(), 3)


def from_bytes(data: bytes, names: Sequence[str]) -> Block:
    planes = np.frombuffer(zstandard.decompress(data)).reshape(_ORIGIN + len(names), -1)
    whole = planes.view(np.int64)
    columns = {name: planes[_ORIGIN + i] for i, name in enumerate(names)}
    return Block(whole[0], whole[1], whole[2], whole[3], columns)


def wanted(name: str, channels: Collection[str] | None) -> bool:
    """Whether a block column belongs to one of `channels` (None: to any)."""
    return channels is None or name.partition("/")[0].removesuffix(SUM) in channels


def read(block: Block, rank: Mapping[int, int], start_ms: int, end_ms: int, channels: Collection[str] | None) -> Rows:
    """What a block says of [start_ms, end_ms). Rows and columns without a single reading are left out.

    rank: of each boot id, where its name stands among the names of all boots; decides between packs that disagree
    """
    t_ms = block.t_ms
    columns = {name: column for name, column in block.columns.items() if wanted(name, channels)}
    if not block.increasing():
        ranks = np.array([rank[boot] for boot in block.boot.tolist()], np.int64)
        t_ms, columns = _one_row_a_time(t_ms, np.lexsort((block.seq, ranks, t_ms)), columns)
    if len(t_ms) and (t_ms[0] < start_ms or t_ms[-1] >= end_ms):
        i, j = np.searchsorted(t_ms, (start_ms, end_ms))
        t_ms, columns = t_ms[i:j], {name: column[i:j] for name, column in columns.items()}
    return _rows(t_ms, columns)


def _one_row_a_time(t_ms: Times, order: Times, columns: Mapping[str, Floats]) -> tuple[Times, dict[str, Floats]]:
    t_ms = t_ms[order]
    new = np.concatenate([[True], t_ms[1:] > t_ms[:-1]])
    row = np.cumsum(new) - 1
    merged = {}
    for name, column in columns.items():
        column = column[order]
        given = ~np.isnan(column)
        merged[name] = target = np.full(int(row[-1]) + 1, np.nan)
        target[row[given]] = column[given]  # of several the last is kept
    return t_ms[new], merged


def _rows(t_ms: Times, columns: Mapping[str, Floats]) -> Rows:
    values: dict[str, Floats] = {}
    on_s: dict[str, Floats] = {}
    faults: list[SensorFault] = []
    missing = np.ones(len(t_ms), bool)
    for name, column in columns.items():
        none = np.isnan(column)
        if none.all():
            continue
        if name.endswith(FAULT):
            for i in np.flatnonzero(~none):
                faults.append(SensorFault(int(t_ms[i]), name.removesuffix(FAULT), FAULTS[int(column[i])]))
            continue
        missing &= none
        if name.endswith(SUM):
            on_s[name.removesuffix(SUM)] = column
        else:
            values[name] = column
    if not values and not on_s:
        return Rows(EMPTY.t_ms, {}, {}, tuple(sorted(faults))) if faults else EMPTY
    if missing.any():
        keep = ~missing
        t_ms = t_ms[keep]
        values = {name: column[keep] for name, column in values.items()}
        on_s = {name: column[keep] for name, column in on_s.items()}
    return Rows(t_ms, values, on_s, tuple(sorted(faults)))
