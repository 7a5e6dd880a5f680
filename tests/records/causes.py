"""One table: true causes of the records, and the words in a ``detail.causes[].id`` that say the same.

A cause counts as named right when its id equals the key or holds every word of one of the alternatives
(words are split at anything but letters). To be agreed with whoever names the causes; nothing else depends on it.
"""

from __future__ import annotations

import re

SAME = {
    "suction-air-leak": ("empty supply", "supply empty", "air leak", "closed valve", "lost prime", "no oil", "suction"),
    "closed-valve": (
        "empty supply",
        "supply empty",
        "air leak",
        "closed valve",
        "valve closed",
        "lost prime",
        "no oil",
        "suction",
    ),
    "supply-empty": ("empty supply", "supply empty", "supply low", "no oil", "air leak", "lost prime", "consumption"),
    "pump-motor-dead": ("pump motor", "motor", "pump dead", "pump failed"),
    "float-stuck-down": ("float stuck", "stuck float", "overfill"),
    "float-stuck-up": ("float stuck", "stuck float"),
    "pump-relay-welded": ("relay weld", "relay welded", "welded", "relay stuck", "limiter failed", "relay"),
    "pump-sensing-broken": ("sensing", "pump sense", "pump channel", "sensor"),
    "filter-plugged": ("filter", "strainer"),
    "oil-leak": ("leak", "fitting"),
    "siphon": ("siphon", "leak"),
    "float-bounce": ("float", "chatter", "bounce"),
    "half-element": ("half", "element", "low voltage"),
    "element-open": ("element", "fuse", "cut out", "cutout"),
    "cut-out-tripped": ("cut out", "cutout", "element", "fuse"),
    "heater-relay-shorted": ("short", "shorted", "relay", "ssr"),
    "no-spark": ("spark", "electrode", "transformer"),
    "no-fuel": ("fuel", "oil", "valve", "nozzle plugged"),
    "detector-dirty": ("detector", "flame sensor", "flame detector"),
    "electrodes-aged": ("electrode", "spark", "carbon"),
    "water-slug": ("water", "air bubble"),
    "no-air": ("air", "compressor", "regulator"),
    "compressor-worn": ("compressor", "regulator", "air"),
    "primary-dead": ("primary", "control", "burner power", "breaker", "safety chain"),
    "blower-belt": ("blower", "belt", "fan", "filter"),
    "blower-dead": ("blower", "belt", "fan"),
    "overfired": ("overfir", "overfired", "overfiring", "blower", "nozzle"),
    "ash": ("ash", "soot", "fouling", "deposit"),
    "air-shutter": ("shutter", "air", "draft"),
    "nozzle-plugged": ("nozzle", "underfired", "underfiring"),
    "wrong-nozzle": ("nozzle", "overfired", "overfiring"),
    "nozzle-worn": ("nozzle", "overfired", "overfiring", "firing rate"),
    "burner-relay-welded": ("weld", "welded", "relay", "thermostat shorted", "primary relay"),
    "thermostat-position": ("thermostat", "draught", "draft", "door"),
    "probe-open": ("open", "wire", "probe", "broken"),
    "probe-short": ("short", "wire", "probe"),
    "probe-frozen": ("frozen", "stuck", "probe"),
    "probe-spikes": ("spik", "spiking", "contact", "noise", "probe"),
    "probe-drift": ("drift", "drifted", "probe"),
    "outage": ("network", "wifi", "board", "power", "outage"),
}


def same_cause(truth: str, named: str) -> bool:
    """Whether the id ``named`` says what ``truth`` is."""
    words = re.split(r"[^a-z]+", named.lower())
    if named == truth:
        return True
    return any(all(word in words for word in phrase.split()) for phrase in SAME.get(truth, ()))
