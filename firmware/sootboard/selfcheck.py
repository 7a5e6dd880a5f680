"""What a person who sets the board up wants to know, asked over the console while the program does not run.

Every function answers with plain values, or raises what stands in the way.
"""

import asyncio
import binascii
import json
import os
import sys

import machine

from . import assemble, config, inputs, senml, storage
from .channels import FAULTS, NUMERIC, SWITCHED
from .clock import Clock, set_rtc
from .drivers import ds18b20
from .drivers.onewire_bus import OneWireBus

KEPT = "(kept on the board)"  # stands for a secret: none ever leaves the board
_SECRETS = (("wifi", "password"), ("broker", "password"), ("broker", "tls", "psk_key"))
_SETTLE_MS = 800  # the inputs' filters charge, then three samples


def about():
    """Interpreter, port, bytes of the code's file system and bytes free, the chip's own number."""
    status = os.statvfs(".")
    version = ".".join([str(n) for n in sys.implementation.version[:3]])
    number = binascii.hexlify(machine.unique_id()).decode()
    return version, sys.platform, status[0] * status[2], status[0] * status[3], number


def settings(path="config.json"):
    """The settings with secrets replaced by KEPT; empty where there are none that can be read."""
    given = _read(path)
    for place in _SECRETS:
        part = _part(given, place)
        if part.get(place[-1]):
            part[place[-1]] = KEPT
    return given


def accept(new, path="config.json"):
    """Put the secrets of the file at `path` where the one at `new` says KEPT; ConfigError if that cannot be used."""
    given, old = _read(new), _read(path)
    for place in _SECRETS:
        part = _part(given, place)
        if part.get(place[-1]) == KEPT:
            part[place[-1]] = _part(old, place).get(place[-1])
    config.check(given)
    with open(new, "w") as f:
        json.dump(given, f)


def _read(path):
    try:
        with open(path) as f:
            given = json.load(f)
    except (OSError, ValueError):
        return {}
    return given if isinstance(given, dict) else {}


def _part(given, place):
    for key in place[:-1]:
        given = given.get(key)
        if not isinstance(given, dict):
            return {}
    return given


def probes(board):
    """`[(ROM id, Celsius or None, fault)]` of the thermometers on the 1-Wire line of a board type."""
    from .drivers import onewire_search

    pins = inputs.board_pins(board).PINS
    bus = OneWireBus(machine.Pin(pins["onewire"], machine.Pin.OPEN_DRAIN, machine.Pin.PULL_UP))
    roms = onewire_search.scan(bus)
    return asyncio.run(_read_probes(bus, roms))


async def _read_probes(bus, roms):
    ds18b20.start_all(bus)
    await asyncio.sleep_ms(ds18b20.CONVERSION_MS)
    out = []
    for rom in roms:
        value, fault = ds18b20.DS18B20(bus, rom).read()
        out.append((binascii.hexlify(rom).decode(), value, fault))
    return out


def readings(path="config.json"):
    """Every input of the settings read once: `(values as text, faults, states)` by channel."""
    settings = config.load(path)
    board = inputs.board_pins(settings["board"])
    contacts = inputs.contacts(settings, board)
    return asyncio.run(_readings(inputs.sensors(settings, board), contacts, settings["poll_ms"]))


async def _readings(sensors, contacts, poll_ms):
    values, faults = await sensors.read()
    for t_ms in range(0, _SETTLE_MS, poll_ms):
        contacts.poll(t_ms)
        await asyncio.sleep_ms(poll_ms)
    numbers = {}
    for i in values:
        name, (_, places) = NUMERIC[i]
        numbers[name] = senml.decimal(values[i], places)
    wrong = {}
    for i in faults:
        wrong[NUMERIC[i][0]] = FAULTS[faults[i]]
    states = {}
    for i, name in enumerate(SWITCHED):
        if contacts.mask >> i & 1:
            states[name] = bool(contacts.states >> i & 1)
    return numbers, wrong, states


def join(path="config.json"):
    """Join the wireless network; the signal strength [dBm]."""
    from .wifi import Wifi

    wifi = config.load(path)["wifi"]
    station = Wifi(wifi.get("ssid", ""), wifi.get("password", ""), Clock())
    asyncio.run(station.ensure(lambda: None))
    return station.rssi()


def publish(path="config.json"):
    """Connect to the broker as the program would, and have one message acknowledged; whether the clock was set."""
    return asyncio.run(_publish(config.load(path)))


async def _publish(settings):
    from . import mqtt

    clock = Clock()
    where, needs_time = assemble.broker(settings)
    if settings["ntp"]:
        await _set_clock(settings["ntp"], clock, needs_time)
    prefix = "%s/%s/" % (settings["root"], settings["furnace"])
    client = mqtt.Client(where, lambda topic, payload: None, bytearray(512))
    try:
        await client.open(assemble.client_id(settings["furnace"]), prefix + "board", b'{"online": false}')
        await client.publish(prefix + "command-result", b'{"id": "check", "ok": true, "error": null}')
    finally:
        await client.close()
    return clock.synced


async def _set_clock(server, clock, needed):
    from . import ntp

    where = ntp.address(server["host"], server.get("port", 123))
    for _ in range(3 if needed else 1):
        offset = await ntp.offset_ms(where, clock)
        if offset is not None:
            now = clock.uptime_ms()
            clock.set_utc(now + offset, now)
            set_rtc(now + offset)
            return
    if needed:
        raise OSError("the time server does not answer, and certificates cannot be checked without a clock")


def faults(path="config.json"):
    """What went wrong, oldest first, as text: the files of the fault log."""
    where = storage.directory(config.load(path)["data"]) or "."
    text = ""
    for name in ("faults.log.old", "faults.log"):
        try:
            with open(where + "/" + name) as f:
                text += f.read()
        except OSError:
            pass
    return text
