"""Rows to contract packs as bytes: what a board would have published for them."""

import json
from collections.abc import Iterator
from dataclasses import dataclass

from sootline.channels import CHANNELS
from sootline.series import Rows


@dataclass(frozen=True, slots=True)
class Encoded:
    """One pack on its way. `last_ms` is its newest sample [ms]: no board can send it sooner."""

    seq: int
    last_ms: int
    payload: bytes


def packs(
    rows: Rows,
    furnace: str,
    boot: str,
    boot_ms: int,
    *,
    samples: int = 1,
    span_ms: int = 2**62,
    first_seq: int = 0,
    clock: bool = True,
) -> Iterator[Encoded]:
    """The packs of one boot of one board, up to `samples` rows and up to `span_ms` in each.

    rows:    measured times on the Unix clock [ms], none before boot_ms, the moment of the boot
    samples: rows per pack; 1 is live, more is a back-fill
    clock:   whether the board's clock is set; without it the packs carry times relative to their base
    """
    moments = sorted({*rows.t_ms.tolist(), *(fault.t_ms for fault in rows.faults)})
    records = _records(rows)
    for seq, times in enumerate(_groups(moments, samples, span_ms), first_seq):
        base_ms = times[0]
        head = f'[{{"bn":"{furnace}/"'
        if clock:
            head += f',"bt":{_seconds(base_ms)}'
        head += f',"n":"boot","vs":"{boot}"}},{{"n":"seq","v":{seq}}}'
        head += f',{{"n":"uptime","u":"s","v":{_seconds(base_ms - boot_ms)}}}'
        body = [head]
        for t_ms in times:
            at = "}" if t_ms == base_ms else f',"t":{_seconds(t_ms - base_ms)}}}'
            body.extend(record + at for record in records.get(t_ms, ()))
        yield Encoded(seq, times[-1], (",".join(body) + "]").encode())


def _groups(moments: list[int], samples: int, span_ms: int) -> Iterator[list[int]]:
    group: list[int] = []
    for t_ms in moments:
        if group and (len(group) >= samples or t_ms - group[0] > span_ms):
            yield group
            group = []
        group.append(t_ms)
    if group:
        yield group


def _seconds(ms: int) -> str:
    """Milliseconds as seconds, written exactly."""
    return str(ms // 1000) if ms % 1000 == 0 else f"{ms / 1000:.3f}"


def _records(rows: Rows) -> dict[int, list[str]]:
    """Measured time -> its records, each JSON text up to where `t` and the closing brace go."""
    records: dict[int, list[str]] = {t_ms: [] for t_ms in rows.t_ms.tolist()}
    lists = list(records.values())
    for name in sorted({*rows.values, *rows.on_s}):
        if CHANNELS[name].kind == "state":
            _state_records(rows, name, lists)
            continue
        start = f'{{"n":"{name}","u":"{CHANNELS[name].unit}","v":'
        for row, value in zip(lists, rows.values[name].tolist(), strict=True):
            if value == value:
                row.append(f"{start}{value!r}")
    for fault in rows.faults:
        text = json.dumps({"n": f"{fault.channel}/fault", "vs": fault.kind})[:-1]
        records.setdefault(fault.t_ms, []).append(text)
    return records


def _state_records(rows: Rows, name: str, lists: list[list[str]]) -> None:
    blank = [float("nan")] * len(lists)
    states = rows.values[name].tolist() if name in rows.values else blank
    sums = rows.on_s[name].tolist() if name in rows.on_s else blank
    word = {1.0: f'{{"n":"{name}","vb":true', 0.0: f'{{"n":"{name}","vb":false'}
    only_sum = f'{{"n":"{name}"'
    for row, state, on_s in zip(lists, states, sums, strict=True):
        text = word.get(state)
        if on_s == on_s:
            row.append(f'{text or only_sum},"s":{on_s!r}')
        elif text is not None:
            row.append(text)
