"""Do the senses and probes leave the furnace alone? Rules R1 to R7 as fields."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hardware.generate.checks.problem import Problem
from hardware.generate.load import Hardware, Table

VARIANTS = {"current_switch", "relay", "a24", "dry", "leak_switch"}
BARE_CONTACTS = {"relay", "dry", "leak_switch"}
WETTING_MIN_A = 1e-3
CONTACT_SUPPLY_V = 3.3
TRIP_MARGIN = 1.25
PROBE_RULES = ("shares_with_safety", "drills_passage", "below_oil_level")
IMMERSION_DIAMETERS = 5  # least immersion of a probe in oil or metal; gas needs 25
GAS_IMMERSION_DIAMETERS = 25


def problems(hardware: Hardware) -> Iterator[Problem]:
    for sense in hardware.senses:
        yield from _sense(hardware, sense)
    yield from _coverage(hardware)
    yield from _transformers(hardware)
    for probe in hardware.probes:
        yield from _probe(hardware, probe)


def _sense(hardware: Hardware, sense: Table) -> Iterator[Problem]:
    where = f"sense {sense['id']}"
    rules = hardware.rules
    if sense["variant"] not in VARIANTS:
        yield Problem("variant", where, f"{sense['variant']!r} may not be built; choose one of {sorted(VARIANTS)}")
    if sense.get("across") != rules["R1"]["must"]:
        yield Problem("R1", where, rules["R1"]["text"])
    if sense.get("on_thermostat_pair") is not rules["R2"]["must"]:
        yield Problem("R2", where, rules["R2"]["text"])
    if sense["variant"] in rules["R3"]["variants"] and sense.get("volt_free_documented") is not True:
        yield Problem("R3", where, rules["R3"]["text"])
    if sense.get("fault_ma_max", float("inf")) > rules["R5"]["must"]:
        yield Problem("R5", where, rules["R5"]["text"])
    if sense["domain_in"] == "mains" and not (sense["certified"] and sense["qualified_person"]):
        yield Problem("mains-sense", where, "a mains sense is a listed device fitted by a qualified person")
    if sense["domain_in"] == "mains" and sense["variant"] not in ("current_switch", "relay"):
        yield Problem("mains-sense", where, f"{sense['variant']} is not for mains")
    yield from _levels(hardware, sense, where)


def _levels(hardware: Hardware, sense: Table, where: str) -> Iterator[Problem]:
    if sense["variant"] == "current_switch" and sense["loops"] * sense["load_a"] < TRIP_MARGIN * sense["trip_a"]:
        yield Problem("trip", where, f"{sense['loops']} loops of {sense['load_a']} A may not trip {sense['trip_a']} A")
    signal = next((s for s in hardware.signals if s.id == sense["pinmap_id"]), None)
    if signal is None:
        yield Problem("sense-signal", where, f"no signal {sense['pinmap_id']} in the pin map")
    elif sense["variant"] in BARE_CONTACTS and CONTACT_SUPPLY_V / ((signal.pull_ohm or 1e9) + 100) < WETTING_MIN_A:
        yield Problem("wetting", where, "a bare contact needs 1 mA: 2.2 k pull-up")


def _coverage(hardware: Hardware) -> Iterator[Problem]:
    inputs = [signal.id for signal in hardware.signals if signal.role == "di"]
    senses = Counter(sense["pinmap_id"] for sense in hardware.senses)
    for signal_id in inputs:
        if senses[signal_id] != 1:
            yield Problem("sense-missing", f"pinmap {signal_id}", f"has {senses[signal_id]} senses, needs one")


def _transformers(hardware: Hardware) -> Iterator[Problem]:
    rule = hardware.rules["R7"]
    stages = Counter(sense["transformer"] for sense in hardware.senses if sense["variant"] == "a24")
    for transformer, count in stages.items():
        if count > rule["must"]:
            yield Problem("R7", f"transformer {transformer}", f"{count} stages. {rule['text']}")


def _probe(hardware: Hardware, probe: Table) -> Iterator[Problem]:
    where = f"probe {probe['id']}"
    for name in PROBE_RULES:
        if probe.get(name) is not False:
            yield Problem("R6", where, f"{name} must be false. {hardware.rules['R6']['text']}")
    signal = next((s for s in hardware.signals if s.id == probe["signal"]), None)
    if signal is None or probe["channel"] not in signal.channels:
        yield Problem("probe-signal", where, f"{probe['channel']} does not come from {probe['signal']}")
    if probe["channel"] in ("tank", "nozzle", "stack"):
        factor = GAS_IMMERSION_DIAMETERS if probe["channel"] == "stack" else IMMERSION_DIAMETERS
        if probe["immersion_min_mm"] < factor * probe["diameter_mm"]:
            yield Problem("immersion", where, f"less than {factor} diameters in the medium: reads its own stem")
