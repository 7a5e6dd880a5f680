"""Digests of rows: every bit that was measured counts, and nothing else."""

import hashlib
from dataclasses import replace

import numpy as np

from sootline.advice.digest import _of_rows
from sootline.series import Rows, SensorFault

T = np.arange(3, dtype=np.int64) * 5000
ROWS = Rows(
    T, {"tank": np.array([60.0, np.nan, 61.5]), "pump": np.array([0.0, 1.0, 0.0])}, {"pump": np.array([0.0, 1.5, 9.0])},
    (SensorFault(5000, "tank", "open"), SensorFault(5000, "stack", "short")),
)  # fmt: skip


def with_tank(*values: float) -> Rows:
    return replace(ROWS, values={**ROWS.values, "tank": np.array(values)})


def test_the_form_is_fixed() -> None:
    """The bytes of the form, written out: a later version must make the same, or papers handed out prove nothing."""
    said = hashlib.sha256()
    for head, t_ms, values in (
        ("value pump 3", T, [0.0, 1.0, 0.0]), ("value tank 2", T[[0, 2]], [60.0, 61.5]),
        ("on_s pump 3", T, [0.0, 1.5, 9.0]),
    ):  # fmt: skip
        said.update(head.encode() + b"\n")
        said.update(np.asarray(t_ms, "<i8").tobytes())
        said.update(np.asarray(values, "<f8").tobytes())
    said.update(b"fault 5000 stack short\nfault 5000 tank open\n")
    assert _of_rows(ROWS) == said.hexdigest()


def test_every_bit_counts() -> None:
    known = {
        _of_rows(ROWS),
        _of_rows(with_tank(60.0, np.nan, float(np.nextafter(61.5, 62.0)))),
        _of_rows(with_tank(60.0, 60.0, 61.5)),
        _of_rows(replace(ROWS, t_ms=T + 1)),
        _of_rows(replace(ROWS, on_s={"pump": np.array([0.0, 1.5, 9.1])})),
        _of_rows(replace(ROWS, faults=ROWS.faults[:1])),
    }
    assert len(known) == 6


def test_what_says_nothing_does_not_count() -> None:
    """A channel without a reading, and the order of columns and faults."""
    empty = replace(ROWS, values={"stack": np.full(3, np.nan), **dict(reversed(ROWS.values.items()))})
    assert _of_rows(replace(empty, faults=ROWS.faults[::-1])) == _of_rows(ROWS)
