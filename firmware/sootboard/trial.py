"""A new version's trial: it becomes the one that runs once it has shown that it works, or gives way in time."""

import asyncio

from micropython import const

from . import slots

_TIME_MS = const(15 * 60000)
_LOOK_MS = const(1000)


async def run(app, beat):
    """Confirm this version once it is connected, a pack of readings was acknowledged and every sensor was asked."""
    begun_ms = app.clock.uptime_ms()
    while not (app.link.connected and app.link.packs and app.sampler.measured):
        beat()
        if app.clock.uptime_ms() - begun_ms > _TIME_MS:
            slots.give_up()
            app.faults.record("trial", None, "not connected, acknowledged and measured in 15 min")
            app.reset("update")
        await asyncio.sleep_ms(_LOOK_MS)
    slots.confirm()
    app.link.announce()
    while True:
        beat()
        await asyncio.sleep_ms(_LOOK_MS * 20)
