"""The board's announcement."""

import gc
import json

from micropython import const

from . import VERSION, senml, slots

_CONTRACT = const(1)
_HELD_MS = const(6 * 3600000)  # a clock not set for this long is no longer called synced
_TEXT = const(
    '{"online": true, "version": %d, "firmware": "%s", "boot": "%08x", "reset": "%s", "safe_mode": %s, '
    '"channels": %s, "interval": %d, "idle_interval": %d, "uptime": %s, "buffered": %d, "buffered_oldest_s": %s, '
    '"heap_free": %d, "rssi": %s, "clock": "%s", "slot": "%s", "trial": %s, '
    '"connects": %d, "dropped": %d, "missed_polls": %d, "faults": %s}'
)


def announcement(app):
    """JSON text for the board topic."""
    gc.collect()  # so that the free memory told is what is really free
    uptime_ms = app.clock.uptime_ms()
    rssi = app.wifi.rssi() if app.wifi else None
    sampler = app.sampler
    return _TEXT % (
        _CONTRACT,
        VERSION,
        app.boot,
        app.reset_label,
        "true" if app.safe else "false",
        json.dumps(app.channels),
        sampler.interval_s,
        sampler.idle_interval_s,
        senml.seconds(uptime_ms),
        app.outbox.buffered(),
        _oldest_s(app, uptime_ms),
        gc.mem_free(),
        "null" if rssi is None else rssi,
        "synced" if _synced(app.clock, uptime_ms) else "unsynced",
        slots.running(),
        "true" if slots.on_trial() else "false",
        app.link.connects,
        app.outbox.dropped_rows,
        sampler.missed,
        json.dumps(app.faults.short),
    )


def _synced(clock, uptime_ms):
    return clock.synced and uptime_ms - clock.set_at_ms < _HELD_MS


def _oldest_s(app, uptime_ms):
    oldest = app.outbox.oldest_ms()
    if oldest is None:
        return "0"
    utc_ms, at_ms = oldest
    if at_ms is not None:
        return senml.seconds(uptime_ms - at_ms)
    now_ms = app.clock.utc_ms(uptime_ms)
    return senml.seconds(now_ms - utc_ms) if now_ms and utc_ms and now_ms > utc_ms else "null"
