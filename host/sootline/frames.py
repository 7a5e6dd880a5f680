"""The store as pandas frames: `sootline.open(folder)`.

    data = sootline.open("sootline-data")
    week = data.readings("engine-shed", last="7D", channels=["tank", "stack"])
    week.plot(ylabel=week.attrs["units"]["stack"])

Times are UTC. Every frame has `attrs["units"]`: of each column its unit, "" where it has none. Needs pandas.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sootline.channels import CHANNELS
from sootline.errors import UserError, no_furnace
from sootline.store import Store

Moment = str | date  # also datetime and pandas.Timestamp, which are dates; without a time zone it is UTC
_ENDINGS = ("C", "K", "Pa", "kPa", "l", "W", "kW", "s", "min", "h", "A", "mm2_s", "kWh", "J", "kg", "pct")


class Data:
    """A store opened for reading, also beside the service that writes it. Close it, or use it in a `with` statement."""

    def __init__(self, folder: str | Path) -> None:
        self._store = Store.open(Path(folder).expanduser(), read_only=True)

    def close(self) -> None:
        self._store.close()

    def __enter__(self) -> "Data":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def furnaces(self) -> list[str]:
        """Every furnace in the store, by name."""
        return self._store.furnaces()

    def readings(
        self,
        furnace: str,
        start: Moment | None = None,
        end: Moment | None = None,
        channels: Sequence[str] | None = None,
        *,
        last: str | timedelta | None = None,
    ) -> pd.DataFrame:
        """Readings of start <= time < end, a column a channel in its unit; on/off channels as 0.0 and 1.0.

        An on/off change has a row of its own, in which most columns are NaN: `ffill()` holds the last reading.
        channels: only these, in this order; a channel without a reading is a column of NaN
        last: instead of start, so much before the newest reading, such as "7D" or "12h"
        Raises UserError for a furnace, channel or span that is not known, StoreDamaged, StoreUnavailable.
        """
        self._known(furnace)
        for name in channels or ():
            if name not in CHANNELS:
                raise UserError(f"there is no channel '{name}'; there are {', '.join(CHANNELS)}")
        if last is not None:
            start = self._before_newest(furnace, last)
        rows = self._store.read(furnace, _ms(start, 0), _ms(end, 2**62), channels)
        names = list(rows.values) if channels is None else list(channels)
        none = np.full(len(rows), np.nan)
        frame = pd.DataFrame({name: rows.values.get(name, none) for name in names}, index=_index(rows.t_ms))
        frame.index.name = "time"
        return _with_units(frame, {name: CHANNELS[name].unit for name in names})

    def faults(self, furnace: str, start: Moment | None = None, end: Moment | None = None) -> pd.DataFrame:
        """Readings known to be bad: `channel` and `fault` (open, short, range, crc, absent) by time."""
        self._known(furnace)
        faults = self._store.read(furnace, _ms(start, 0), _ms(end, 2**62)).faults
        frame = pd.DataFrame(
            {"channel": [f.channel for f in faults], "fault": [f.kind for f in faults]},
            index=_index([f.t_ms for f in faults]),
            dtype="object",
        )
        frame.index.name = "time"
        return _with_units(frame, {})

    def events(self, furnace: str | None = None, kind: str | None = None) -> pd.DataFrame:
        """Finished events in order of beginning: furnace, kind, start, end, and a column for each feature."""
        found = self._store.events(furnace, kind)
        frame = pd.DataFrame(
            [{"furnace": e.furnace, "kind": e.kind, "start": e.start_ms, "end": e.end_ms, **e.features} for e in found],
            columns=None if found else ["furnace", "kind", "start", "end"],
        )
        return _with_units(_times(frame, ("start", "end")), {str(name): _ending(str(name)) for name in frame.columns})

    def alarms(self, furnace: str | None = None) -> pd.DataFrame:
        """Alarms in order of raising, with who acknowledged them; `detail` holds the numbers that show why."""
        acts = self._store.acknowledgements(furnace)
        columns = ["furnace", "alarm", "channel", "priority", "state", "raised", "cleared", "found", "hazard",
                   "suppressed_by", "acknowledged_by", "acknowledged", "detail"]  # fmt: skip
        told: list[dict[str, Any]] = []
        for alarm in self._store.alarms(furnace):
            act = acts.get(alarm.key)
            told.append(
                {name: getattr(alarm, name, None) for name in columns}
                | {"raised": alarm.raised_ms, "cleared": alarm.cleared_ms, "found": alarm.found_ms}
                | {"acknowledged_by": act and act.by, "acknowledged": act and act.at_ms, "detail": dict(alarm.detail)}
            )
        frame = _times(pd.DataFrame(told, columns=columns), ("raised", "cleared", "found", "acknowledged"))
        return _with_units(frame, {})

    def _before_newest(self, furnace: str, span: str | timedelta) -> pd.Timestamp:
        try:
            back = pd.Timedelta(span)
        except ValueError:
            raise UserError(f"'{span}' is no span of time; give one such as '7D' or '12h'") from None
        newest_ms = (self._store.extent(furnace) or (0, 0))[1]
        return pd.Timestamp(newest_ms, unit="ms", tz="UTC") - back

    def _known(self, furnace: str) -> None:
        if furnace not in self.furnaces:
            raise no_furnace(furnace, "the store", self.furnaces)


def _with_units(frame: pd.DataFrame, units: dict[str, str]) -> pd.DataFrame:
    frame.attrs["units"] = {str(name): units.get(str(name), "") for name in frame.columns}
    return frame


def _index(t_ms: Any) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(pd.to_datetime(np.asarray(t_ms, np.int64), unit="ms", utc=True))


def _times(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    for name in names:
        frame[name] = pd.to_datetime(frame[name], unit="ms", utc=True)
    return frame


def _ending(name: str) -> str:
    """The unit that a feature's name ends in."""
    return next((unit for unit in sorted(_ENDINGS, key=len, reverse=True) if name.endswith("_" + unit)), "")


def _ms(moment: Moment | None, default_ms: int) -> int:
    if moment is None:
        return default_ms
    time = pd.Timestamp(moment)
    time = time.tz_localize("UTC") if time.tz is None else time
    ms: int = round(time.timestamp() * 1000)
    return ms


def open(folder: str | Path) -> Data:
    """The store in `folder`, opened for reading."""
    return Data(folder)
