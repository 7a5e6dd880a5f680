"""A store filled from a server alone, so that pages and analysis run from what a mirror once sent there."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from sootline.logbook import Logged
from sootline.mirror.readers import Reader
from sootline.series import Rows, SensorFault
from sootline.store import Store
from sootline.store.block import DAY_MS, HOUR_MS
from sootline.wire.pack import Pack

BOOT = "server"  # of the packs that fetching makes, one an hour, numbered by the hour; so it may be done again


def fetch(reader: Reader, store: Store) -> int:
    """Put every reading and log entry of the server into the store; the number of rows that are new.

    Raises ServerUnavailable, UserError, StoreUnavailable; what was fetched until then is kept.
    """
    new = 0
    for furnace in reader.furnaces():
        _log(reader, store, furnace)
        extent = reader.extent(furnace)
        if extent is None:
            continue
        for day_ms in range(extent[0] // DAY_MS * DAY_MS, extent[1] + 1, DAY_MS):
            rows = reader.read(furnace, day_ms, day_ms + DAY_MS)
            with store.batch() as batch:
                for pack in _packs(furnace, day_ms, rows):
                    base_ms = pack.base_ms or 0
                    new += len(pack.rows) * batch.pack(pack, base_ms + HOUR_MS, base_ms)
    return new


def _log(reader: Reader, store: Store, furnace: str) -> None:
    """Entries that the store has under whatever id, undone or not, are left alone."""
    known = {replace(logged.entry, note=None) for logged in store.logbook(furnace)}
    with store.batch() as batch:
        for entry in reader.log(furnace):
            if entry not in known:
                id = "-".join(filter(None, (BOOT, furnace, entry.kind, entry.channel, str(entry.at_ms))))
                batch.log(Logged(id, furnace, entry, "", entry.at_ms))


def _packs(furnace: str, day_ms: int, rows: Rows) -> Iterator[Pack]:
    for hour_ms in range(day_ms, day_ms + DAY_MS, HOUR_MS):
        hour = rows.between(hour_ms, hour_ms + HOUR_MS)
        if not len(hour) and not hour.faults:
            continue
        held = {name: column for name, column in hour.values.items() if not np.isnan(column).all()}
        sums = {name: column for name, column in hour.on_s.items() if not np.isnan(column).all()}
        faults = tuple(SensorFault(f.t_ms - hour_ms, f.channel, f.kind) for f in hour.faults)
        yield Pack(furnace, BOOT, hour_ms // HOUR_MS, 0, hour_ms, Rows(hour.t_ms - hour_ms, held, sums, faults))
