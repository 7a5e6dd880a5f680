"""Reading back from a server what a mirror has written, with the reading methods of the store."""

import re
from collections.abc import Collection, Iterator
from typing import Any, Protocol, cast

import msgspec
import numpy as np
import urllib3

from sootline.channels import CHANNELS, FAULTS
from sootline.errors import UserError
from sootline.mirror.lines import FAULT, LOG, READINGS, SUM
from sootline.mirror.server import ServerUnavailable
from sootline.profile import LOG_KINDS, LogEntry, LogKind
from sootline.series import EMPTY, Floats, Rows, SensorFault, Times, concatenate
from sootline.store.block import DAY_MS
from sootline.store.hours import Pixels, pixels

YEARS = "50y"  # a range may not begin before 1970
_FIELDS = f"({'|'.join(CHANNELS)})({SUM}|{FAULT})?"
_FIELD = re.compile(_FIELDS)


class Reader(Protocol):
    """What the embedded store and both servers have in common."""

    def furnaces(self) -> list[str]: ...

    def extent(self, furnace: str) -> tuple[int, int] | None: ...

    def read(self, furnace: str, start_ms: int, end_ms: int, channels: Collection[str] | None = None) -> Rows: ...

    def overview(self, furnace: str, channel: str, start_ms: int, end_ms: int, pixels: int) -> Pixels: ...

    def log(self, furnace: str) -> list[LogEntry]: ...


class _Server:
    """What both readers share: asking in pieces of a day, and rows out of the answers."""

    def __init__(self, url: str, timeout_s: float = 30.0) -> None:
        self.url = url.rstrip("/")
        self._http = urllib3.PoolManager(timeout=timeout_s, retries=False)

    def extent(self, furnace: str) -> tuple[int, int] | None:
        raise NotImplementedError

    def _fields(self, furnace: str, start_ms: int, end_ms: int, names: str) -> dict[str, tuple[Times, Floats]]:
        """Field -> (times, values) of [start_ms, end_ms), of fields whose whole name the pattern `names` matches."""
        raise NotImplementedError

    def _log(self, furnace: str) -> Iterator[tuple[int, str, str | None, str, float]]:
        """(time, kind, channel, field, value) of every field of the log's lines."""
        raise NotImplementedError

    def log(self, furnace: str) -> list[LogEntry]:
        """As `Store.log`, without notes. Raises ServerUnavailable, UserError."""
        found: dict[tuple[int, str, str], dict[str, float]] = {}
        for t_ms, kind, channel, name, value in self._log(furnace):
            if kind in LOG_KINDS:
                found.setdefault((t_ms, kind, channel or ""), {})[name] = value
        return [
            LogEntry(t_ms, cast(LogKind, kind), channel or None, told.get("value"))
            for (t_ms, kind, channel), told in sorted(found.items())
            if "undone" not in told
        ]

    def read(self, furnace: str, start_ms: int, end_ms: int, channels: Collection[str] | None = None) -> Rows:
        """As `Store.read`. Raises ServerUnavailable, UserError."""
        extent = self.extent(furnace)
        if extent is None:
            return EMPTY
        start_ms, end_ms = max(start_ms, extent[0]), min(end_ms, extent[1] + 1)
        chosen = _FIELDS if channels is None else f"({'|'.join(sorted(channels))})({SUM}|{FAULT})?"
        days = range(start_ms, end_ms, DAY_MS)
        return concatenate([_rows(self._fields(furnace, t, min(t + DAY_MS, end_ms), chosen)) for t in days])

    def overview(self, furnace: str, channel: str, start_ms: int, end_ms: int, pixels: int) -> Pixels:
        """As `Store.overview`, from every reading."""
        return _pixels(self.read(furnace, start_ms, end_ms, (channel,)), channel, start_ms, end_ms, pixels)

    def _ask(self, path: str, **fields: str) -> Any:
        try:
            answer = self._http.request("POST", self.url + path, fields=fields, encode_multipart=False)
        except urllib3.exceptions.HTTPError as error:
            raise ServerUnavailable(f"{self.url} does not answer: {type(error).__name__}") from None
        if answer.status >= 500:
            raise ServerUnavailable(f"{self.url} answers {answer.status}")
        if answer.status != 200:
            raise UserError(f"{self.url} answers {answer.status}: {answer.data[:200].decode(errors='replace').strip()}")
        return msgspec.json.decode(answer.data)


def _pixels(rows: Rows, channel: str, start_ms: int, end_ms: int, n: int) -> Pixels:
    values = rows.values.get(channel, np.empty(0))
    return pixels(rows.t_ms[: len(values)], values, values, start_ms, end_ms, n)


def _rows(fields: dict[str, tuple[Times, Floats]]) -> Rows:
    told = {name: series for name, series in fields.items() if len(series[0]) and not name.endswith(FAULT)}
    faults = [
        SensorFault(int(t), name.removesuffix(FAULT), FAULTS[int(kind) - 1])
        for name, (t_ms, kinds) in fields.items()
        if name.endswith(FAULT)
        for t, kind in zip(t_ms, kinds, strict=True)
    ]
    times = np.unique(np.concatenate([t_ms for t_ms, _ in told.values()])) if told else EMPTY.t_ms
    columns = {}
    for name, (t_ms, values) in told.items():
        columns[name] = column = np.full(len(times), np.nan)
        column[np.searchsorted(times, t_ms)] = values
    return Rows(
        times,
        {name: column for name, column in columns.items() if not name.endswith(SUM)},
        {name.removesuffix(SUM): column for name, column in columns.items() if name.endswith(SUM)},
        tuple(sorted(faults)),
    )


class PrometheusReader(_Server):
    """Reads through the Prometheus HTTP API (with `tfirst_over_time`, as VictoriaMetrics has it, for the extent)."""

    def furnaces(self) -> list[str]:
        names = f'{{__name__=~"{READINGS}_({"|".join(CHANNELS)})"}}'
        found = self._ask("/api/v1/label/furnace/values", **{"match[]": names, "start": "0"})
        return sorted(found["data"])

    def extent(self, furnace: str) -> tuple[int, int] | None:
        ends = [
            float(series["value"][1])
            for query in ("min(tfirst_over_time({}[{}]))", "max(tlast_over_time({}[{}]))")
            for series in self._query(query.format(self._select(furnace, _FIELDS), YEARS), "now")
        ]
        return None if len(ends) < 2 else (round(ends[0] * 1000), round(ends[1] * 1000))

    def _fields(self, furnace: str, start_ms: int, end_ms: int, names: str) -> dict[str, tuple[Times, Floats]]:
        # a range ends at the time asked for, included; whether it includes its beginning depends on the server
        query = f"{self._select(furnace, names)}[{end_ms - start_ms + 1}ms]"
        fields = {}
        for series in self._query(query, f"{(end_ms - 1) / 1000:.3f}"):
            field = _FIELD.fullmatch(series["metric"]["__name__"].removeprefix(READINGS + "_"))
            if field is None:
                continue
            t_ms = np.array([round(t * 1000) for t, _ in series["values"]], np.int64)
            values = np.array([float(value) for _, value in series["values"]])
            inside = (t_ms >= start_ms) & (t_ms < end_ms)
            fields[field[0]] = (t_ms[inside], values[inside])
        return fields

    def _log(self, furnace: str) -> Iterator[tuple[int, str, str | None, str, float]]:
        query = f'{{__name__=~"{LOG}_(entered|value|undone)",furnace="{furnace}"}}[{YEARS}]'
        for series in self._query(query, "now"):
            told = series["metric"]
            name = told["__name__"].removeprefix(LOG + "_")
            for t_s, value in series["values"]:
                yield round(t_s * 1000), told["kind"], told.get("channel"), name, float(value)

    def _select(self, furnace: str, names: str) -> str:
        return f'{{__name__=~"{READINGS}_{names}",furnace="{furnace}"}}'

    def _query(self, query: str, time: str) -> Iterator[Any]:
        fields = {"query": query} if time == "now" else {"query": query, "time": time}
        yield from self._ask("/api/v1/query", **fields)["data"]["result"]


class InfluxReader(_Server):
    """Reads through InfluxQL at /query."""

    def __init__(self, url: str, database: str = "sootline", timeout_s: float = 30.0) -> None:
        super().__init__(url, timeout_s)
        self._database = database

    def furnaces(self) -> list[str]:
        return sorted(row[1] for series in self._series(f'SHOW TAG VALUES FROM "{READINGS}" WITH KEY = "furnace"')
                      for row in series["values"])  # fmt: skip

    def extent(self, furnace: str) -> tuple[int, int] | None:
        ends = []
        for order in ("ASC", "DESC"):
            query = f'SELECT * FROM "{READINGS}" WHERE "furnace" = \'{furnace}\' ORDER BY time {order} LIMIT 1'
            ends += [int(series["values"][0][0]) for series in self._series(query)]
        return None if len(ends) < 2 else (ends[0], ends[1])

    def _fields(self, furnace: str, start_ms: int, end_ms: int, names: str) -> dict[str, tuple[Times, Floats]]:
        query = (
            f'SELECT /^{names}$/ FROM "{READINGS}" WHERE "furnace" = \'{furnace}\''
            f" AND time >= {start_ms}ms AND time < {end_ms}ms"
        )
        fields = {}
        for series in self._series(query):
            columns = list(zip(*series["values"], strict=True))
            t_ms = np.array(columns[0], np.int64)
            for name, column in zip(series["columns"][1:], columns[1:], strict=True):
                if _FIELD.fullmatch(name):
                    values = np.array(column, np.float64)
                    given = ~np.isnan(values)
                    fields[name] = (t_ms[given], values[given])
        return fields

    def _log(self, furnace: str) -> Iterator[tuple[int, str, str | None, str, float]]:
        for series in self._series(f'SELECT * FROM "{LOG}" WHERE "furnace" = \'{furnace}\''):
            for values in series["values"]:
                told = dict(zip(series["columns"], values, strict=True))
                for name in ("entered", "value", "undone"):
                    if (value := told.get(name)) is not None:
                        yield told["time"], told["kind"], told.get("channel") or None, name, float(value)

    def _series(self, query: str) -> list[Any]:
        (result,) = self._ask("/query", db=self._database, epoch="ms", q=query)["results"]
        if "error" in result:
            raise UserError(f"{self.url}: {result['error']}")
        return list(result.get("series", ()))
