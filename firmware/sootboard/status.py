"""The board's announcement."""

import gc
import json

from . import VERSION, senml

CONTRACT = 1
HELD_MS = 6 * 3600000  # a clock not set for this long is no longer called synced


def announcement(app):
    """JSON text for the board topic."""
    gc.collect()  # so that the free memory told is what is really free
    uptime_ms = app.clock.uptime_ms()
    rssi = app.wifi.rssi()
    sampler = app.sampler
    parts = (
        ("online", "true"),
        ("version", "%d" % CONTRACT),
        ("firmware", '"%s"' % VERSION),
        ("boot", '"%08x"' % app.boot),
        ("reset", '"%s"' % app.reset_label),
        ("safe_mode", "true" if app.safe else "false"),
        ("channels", json.dumps(app.channels)),
        ("interval", "%d" % sampler.interval_s),
        ("idle_interval", "%d" % sampler.idle_interval_s),
        ("uptime", senml.seconds(uptime_ms)),
        ("buffered", "%d" % app.outbox.buffered()),
        ("buffered_oldest_s", _oldest_s(app, uptime_ms)),
        ("heap_free", "%d" % gc.mem_free()),
        ("rssi", "null" if rssi is None else "%d" % rssi),
        ("clock", '"synced"' if _synced(app.clock, uptime_ms) else '"unsynced"'),
        ("connects", "%d" % app.link.connects),
        ("dropped", "%d" % app.outbox.dropped_rows),
        ("missed_polls", "%d" % sampler.missed),
        ("faults", json.dumps(app.faults.short)),
    )
    return "{" + ", ".join(['"%s": %s' % p for p in parts]) + "}"


def _synced(clock, uptime_ms):
    return clock.synced and uptime_ms - clock.set_at_ms < HELD_MS


def _oldest_s(app, uptime_ms):
    oldest = app.outbox.oldest_ms()
    if oldest is None:
        return "0"
    utc_ms, at_ms = oldest
    if at_ms is not None:
        return senml.seconds(uptime_ms - at_ms)
    now_ms = app.clock.utc_ms(uptime_ms)
    return senml.seconds(now_ms - utc_ms) if now_ms and utc_ms and now_ms > utc_ms else "null"
