"""The board's settings: one JSON file, checked before anything starts."""

import binascii
import json

from . import channels

_DEFAULTS = {
    "root": "sootline",
    "board": "esp32",
    "link": "mqtt",
    "interval": 5,
    "idle_interval": 60,
    "poll_ms": 20,
    "mains_hz": 50,
    "wifi": {},
    "onewire": {},
    "spi": {},
    "contacts": {},
    "analog": {},
    "limits": {},
    "ntp": None,
    "data": None,
    "update_key": None,
}


class ConfigError(ValueError):
    """What is wrong and what to do, in one line."""


def load(path):
    """Settings of the file at `path` with defaults filled in."""
    try:
        with open(path) as f:
            given = json.load(f)
    except OSError:
        raise ConfigError("no %s on this board: install one" % path) from None
    except ValueError:
        raise ConfigError("%s is not JSON" % path) from None
    return check(given)


def check(given):
    if not isinstance(given, dict):
        raise ConfigError("the settings must be one JSON object")
    out = {}
    for key in _DEFAULTS:
        out[key] = _DEFAULTS[key]
    for key in given:
        if key not in _DEFAULTS and key not in ("furnace", "broker"):
            raise ConfigError("unknown setting %s" % key)
        out[key] = given[key]
    if out["link"] not in ("mqtt", "usb"):
        raise ConfigError("link must be mqtt or usb")
    for key in ("furnace", "broker"):
        if key not in out and (key == "furnace" or out["link"] == "mqtt"):
            raise ConfigError("setting %s is missing" % key)
    _check_furnace(out["furnace"])
    if out["mains_hz"] not in (50, 60):
        raise ConfigError("mains_hz must be 50 or 60")
    for key, low, high in (("interval", 1, 60), ("idle_interval", 5, 600), ("poll_ms", 5, 100)):
        value = out[key]
        if not isinstance(value, int) or not low <= value <= high:
            raise ConfigError("%s must be a whole number from %d to %d" % (key, low, high))
    _check_channels(out)
    _check_key(out["update_key"])
    return out


def _check_key(key):
    if key is not None:
        try:
            good = len(binascii.unhexlify(key)) == 32
        except (ValueError, TypeError):
            good = False
        if not good:
            raise ConfigError("update_key must be 64 hexadecimal digits")


def _check_furnace(name):
    good = isinstance(name, str) and 0 < len(name) <= 32 and not name.startswith("-")
    if good:
        for c in name:
            good = good and (c in "-0123456789" or "a" <= c <= "z")
    if not good:
        raise ConfigError("furnace must be small letters, digits and dashes, at most 32")


def _check_channels(settings):
    seen = []
    named = [(c, channels.numeric) for c in settings["onewire"].values()]
    named += [(chip.get("channel"), channels.numeric) for chip in settings["spi"].values()]
    named += [(part.get("channel"), channels.numeric) for part in settings["analog"].values()]
    named += [(c, channels.switched) for c in settings["contacts"].values()]
    for name, position in named:
        if position(name) is None:
            raise ConfigError("unknown channel %s" % name)
        if name in seen:
            raise ConfigError("channel %s is given twice" % name)
        seen.append(name)
